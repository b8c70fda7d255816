"""Fit the weights of the score on published lists, and write which are used: score_weights.csv.

In comes the catalog; out goes one row a criterion: weight set by hand, learned, and used. Learned weights are
used only if, on regions left out of the fit, their mean AUC is higher and no fewer explicit pairs stand in
order. The errors of both go to score_weights.json beside it, and what `orchardwright validate` measures of
the weights that ship to docs/validation.md and docs/validation.svg.

    python datasets/build/fit_weights.py
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pandas as pd

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))
from recommender import open_catalog  # noqa: E402
from recommender.files import write_whole  # noqa: E402
from recommender.suitability.agreement import fitted, report, summary_row  # noqa: E402
from recommender.suitability.agreement_page import draw, write_page  # noqa: E402
from recommender.suitability.track_record import kernel_of  # noqa: E402
from recommender.suitability.validation import Validation  # noqa: E402
from recommender.suitability.weights import HAND, Weights  # noqa: E402

TARGET = ROOT / "datasets" / "score_weights.csv"


def listed(weights: Weights) -> dict[tuple[str, str], float]:
    """(part, term) -> weight; the kernel beside them, by hand where the weights name none."""
    return {
        **{("power", name): value for name, value in weights.powers.items()},
        ("record", "rating"): weights.rating,
        **{("record", name): value for name, value in weights.record.items()},
        **{("kernel", name): value for name, value in kernel_of(weights).by_name().items()},
    }


def write(validation: Validation, weights: list[Weights], final: Weights) -> dict[str, object]:
    """Compare the weights fitted elsewhere with those set by hand, and write both and which are used."""
    cases = validation.cases()
    learned = summary_row(validation, cases, validation.scores(weights))
    hand = summary_row(validation, cases, validation.scores([HAND] * len(weights)))
    better = learned["auc"] > hand["auc"] and learned["pairs_in_order"] >= hand["pairs_in_order"]
    frame = pd.DataFrame(
        [
            (term, part, round(by_hand, 4), round(listed(final)[part, term], 4))
            for (part, term), by_hand in listed(HAND).items()
        ],
        columns=["term", "part", "hand", "learned"],
    )
    frame["used"] = frame["learned" if better else "hand"]
    errors: dict[str, object] = {"used": "learned" if better else "hand", "learned": learned, "hand": hand}
    write_whole(TARGET, frame.sort_values(["part", "term"]).to_csv(index=False, lineterminator="\n"))
    write_whole(TARGET.with_suffix(".json"), json.dumps(errors, indent=1) + "\n")
    sys.stdout.write(f"{json.dumps(errors, indent=1)}\n{frame.to_string(index=False)}\n")
    return errors


def main() -> int:
    """Fit, compare, write; then the page and plot that say how well they do."""
    validation = Validation(open_catalog())
    fits = fitted(validation)
    write(validation, *fits)
    # The weights just written are those the page is about.
    validation.catalog = open_catalog()
    found = report(validation, fits=fits)
    write_page(validation, found, fits, ROOT / "docs" / "validation.md")
    draw(found, ROOT / "docs" / "validation.svg")
    return 0


if __name__ == "__main__":
    sys.exit(main())
