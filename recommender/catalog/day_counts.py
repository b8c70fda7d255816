"""Days from bloom to harvest as different sources count them, brought to one level.

Comes in: prepared evidence rows. Goes out: the same rows, the counts of a source that stands apart moved.

A count holds the place and the year in which it was made. Within one source counts tell well which variety is
the sooner ripe; between sources they do not compare. So the counts of a source with many varieties of a crop
are moved by the median difference to what others count of the same varieties (docs/settling-evidence.md).
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from recommender.catalog.evidence import COUNTS_MOVED

TRAIT = "bloom_to_harvest"
MANY = 20
"""Counts of a crop in one source that make a level of their own (our own)."""
MIN_SHARED = 5
"""Varieties that others must have counted too, for a level to be told (our own)."""
_NUMBERS = ("value_number", "low_number", "high_number")


def on_one_level(rows: pd.DataFrame) -> pd.DataFrame:
    """Prepared rows with moved counts; `told` says of each by how many days. Other traits stay as they are.

    Where a source with `MANY` counts shares fewer than `MIN_SHARED` varieties with the others, it stays too.
    """
    counts = rows[rows["trait"].eq(TRAIT)]
    middle = counts["value_number"].fillna((counts["low_number"] + counts["high_number"]) / 2.0)
    counts = counts.assign(middle=middle).dropna(subset=["middle"])
    moved = rows.copy()
    for (crop, source), own in counts.groupby(["crop", "source_id"], sort=True):
        if own["variety"].nunique() < MANY:
            continue
        others = counts[counts["crop"].eq(str(crop)) & counts["source_id"].ne(str(source))]
        apart = (
            others.groupby("variety")["middle"].median() - own.groupby("variety")["middle"].median()
        ).dropna()
        if len(apart) < MIN_SHARED:
            continue
        shift = float(np.round(apart.median()))
        moved.loc[own.index, list(_NUMBERS)] += shift
        moved.loc[own.index, "told"] = (
            f"{COUNTS_MOVED} {source} moved by {shift:+.0f}, to the level of the other sources"
        )
    return moved
