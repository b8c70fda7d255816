"""Estimate the traits nobody published: datasets/estimates.parquet, and docs/gaps.md with the errors.

Run: python datasets/build/build_estimates.py

In: the settled traits of datasets/. Takes about a minute. The file carries a key of the traits it was made
from; the catalog says in its account when the data have changed since.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

HERE = Path(__file__).resolve()
sys.path.insert(0, str(HERE.parents[2]))

from recommender.catalog.gaps import COMPANIONS, FILE, Gaps, fill, traits_key  # noqa: E402
from recommender.catalog.store import open_catalog  # noqa: E402

DATASETS, PAGE = HERE.parents[1], HERE.parents[2] / "docs" / "gaps.md"
_HEAD = """# Estimated traits and their errors

Made by `python datasets/build/build_estimates.py`; do not edit by hand.

Most varieties have no published figure for most traits: {zones} of {apples} apples have a zone
rating, {chills} a chill need. What is missing is estimated (`recommender/catalog/gaps.py`,
scikit-learn) from the crop, parents and offspring, related traits, country and year of origin,
species named in parentage or note, uses and skin. Regional recommendations and the identity of
sources are left out, so that validation against such lists stays honest.

- **Estimator**: mean of ridge regression and extremely randomised trees, on departures from the
  crop's usual value in the crop's scatter.
- **Held out** (5 folds): whole families, that is a variety with its sports and full siblings.
- **Dummy**: the crop's median in the training folds, drawn towards all crops where few are known.
- **Two cases** are judged apart, since traits that say nearly the same are mostly missing together:
  {companions}.
- **Used** only where the mean absolute error is below the dummy's by more than chance (t of 1.645
  or more), and not in a crop with ten or more held-out values that does worse.
- **Interval**: the 80 % quantile of held-out errors in crop scatters (split conformal). The
  coverage below is that of intervals taken from the other folds.

An estimate stands as `estimated`, never counts as known or as proof, and enters the ranking with
the error below, as a departure from the crop's usual value. Tried and left out, because the crop's
usual answer was as good: {left}. Uses and incompatibilities were not tried.

| trait | case | unit | n | dummy error | error | gain [t] | coverage | used | not used in |
|---|---|---|---|---|---|---|---|---|---|
"""
_FOOT = """
{count} estimates of {varieties} varieties ship in `datasets/estimates.parquet`:

| trait | estimates |
|---|---|
{counts}

What to doubt: hardy varieties get rated most, low-chill varieties get a chill figure most. The
held-out ones come from the rated, so the true error on the unrated is likely larger; for that
reason the crop's usual value, not the rated varieties' mean, is what the estimate departs from in
the ranking (`suitability/expectations.py`).
"""


def page(gaps: Gaps, traits: pd.DataFrame) -> str:
    """The documentation page."""
    apples = traits[traits["crop"] == "apple"]
    told = "; ".join(", ".join(sorted(group)) for group in COMPANIONS)
    used = gaps.errors.groupby("trait")["used"].any()
    left = ", ".join(sorted(str(name) for name in used.index[~used]))
    lines = [
        _HEAD.format(
            zones=int(apples["zone_min"].notna().sum()), apples=len(apples), companions=told, left=left,
            chills=int(apples["chill_hours"].notna().sum()),
        )
    ]  # fmt: skip
    for row in gaps.errors.to_dict("records"):
        out = str(row["crops_left_out"]).replace("|", ", ")
        lines.append(
            f"| {row['trait']} | {row['case']} | {row['unit']} | {row['n']} | {row['dummy_error']:.3g} | "
            f"{row['error']:.3g} | {row['gain_t']:.1f} | {row['coverage']:.2f} | "
            f"{'yes' if row['used'] else 'no'} | {out} |\n"
        )
    counts = gaps.estimates["trait"].value_counts()
    rows = "\n".join(f"| {name} | {count} |" for name, count in counts.items())
    varieties = len(gaps.estimates.drop_duplicates(["crop", "variety"]))
    lines.append(_FOOT.format(count=len(gaps.estimates), varieties=varieties, counts=rows))
    return "".join(lines)


def main() -> None:
    """Estimate, write the table and the page."""
    catalog = open_catalog(DATASETS)
    traits = catalog.traits()
    gaps = fill(
        traits,
        catalog.varieties(),
        catalog.names(),
        progress=lambda what, share: print(f"{share:4.0%} {what}"),
    )
    table = pa.Table.from_pandas(gaps.estimates, preserve_index=False)
    table = table.replace_schema_metadata(
        {"traits_key": traits_key(traits), "made_by": "recommender.catalog.gaps"}
    )
    partial = DATASETS / f"{FILE}.partial"
    pq.write_table(table, partial, compression="zstd")
    partial.replace(DATASETS / FILE)
    draft = PAGE.with_name(f"{PAGE.name}.partial")
    draft.write_text(page(gaps, traits), encoding="utf-8")
    draft.replace(PAGE)
    print(gaps.errors.to_string())


if __name__ == "__main__":
    main()
