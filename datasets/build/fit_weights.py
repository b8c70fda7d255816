"""Fit the weights of the score on published lists, and write which are used: score_weights.csv.

In comes the catalog; out goes one row a criterion: weight set by hand, learned, and used. Learned weights are
used only if, on regions left out of the fit, their mean AUC is higher and no fewer explicit pairs stand in
order. The errors of both go to score_weights.json beside it.

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
from recommender.suitability.agreement import fitted, summary_row  # noqa: E402
from recommender.suitability.validation import Validation  # noqa: E402
from recommender.suitability.weights import HAND, Weights  # noqa: E402

TARGET = ROOT / "datasets" / "score_weights.csv"


def listed(weights: Weights) -> dict[tuple[str, str], float]:
    """(part, term) -> weight."""
    return {
        **{("power", name): value for name, value in weights.powers.items()},
        ("record", "rating"): weights.rating,
        **{("record", name): value for name, value in weights.record.items()},
    }


def put(path: Path, text: str) -> None:
    """Write a file in one step."""
    partial = path.with_name(path.name + ".partial")
    partial.write_text(text, encoding="utf-8")
    partial.replace(path)


def main() -> int:
    """Fit, compare, write."""
    validation = Validation(open_catalog())
    weights, final = fitted(validation)
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
    put(TARGET, frame.sort_values(["part", "term"]).to_csv(index=False, lineterminator="\n"))
    errors = {"used": "learned" if better else "hand", "learned": learned, "hand": hand}
    put(TARGET.with_suffix(".json"), json.dumps(errors, indent=1) + "\n")
    sys.stdout.write(f"{json.dumps(errors, indent=1)}\n{frame.to_string(index=False)}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
