"""A first guess at shared days of bloom from offsets, groups and seasons, with no weather in it.

In: the wide traits frame. Out: `bloom_day` (each variety's bloom on its crop's own scale) and
`shared_days`. Where a site is known, the phenology's matrix of expected shared days takes its place
(`pollination_matrix(overlap_days=...)`).

Figures
- Length of bloom 7 to 15 days (standards table, `bloom-overlap`, durango-pollinators): the middle, 11, is
  used.
- Neighbouring groups serve each other, groups two apart do not (same table, habitataid-pollination,
  sussex-flower-groups): five days a group puts neighbours 6 shared days apart from 1.
- Early with mid and mid with late serve each other (same table, durango-pollinators); so five days a season.
"""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from recommender.biology.fertility import column, numeric

BLOOM_LENGTH_DAYS = 11.0
DAYS_A_GROUP = 5.0
ENOUGH_DAYS = 2.0
"""Fewer shared days than this and bees seldom carry pollen between the two (common practice)."""

SEASON_DAY = {
    "very-early": -10.0,
    "early": -5.0,
    "early-mid": -2.5,
    "mid": 0.0,
    "mid-late": 2.5,
    "late": 5.0,
    "very-late": 10.0,
}
GROUPED_CROPS = ("apple", "european-pear", "european-plum", "cherry-plum", "japanese-plum")
"""Crops whose `bloom_group` is a bloom group; in sweet cherry it often is the incompatibility group."""
TWO_TIMES_CROPS = ("walnut", "hazelnut", "avocado", "pawpaw", "jujube")
"""Crops that shed and receive at different times; one bloom date (of walnut, leafing) says nothing of the
two.
"""
_GROUP = re.compile(r"(\d)(?:[-/](\d))?")


def _group_day(text: str) -> float:
    """Days of a bloom group from the middle of its scale; letters A.. as 1.. ; NaN where it is no group."""
    match = _GROUP.fullmatch(text)
    if match:
        first, last = int(match[1]), int(match[2] or match[1])
        return ((first + last) / 2 - 3.0) * DAYS_A_GROUP
    if len(text) == 1 and text.isalpha() and text.isupper():
        return float(ord(text) - ord("A") - 2) * DAYS_A_GROUP
    return float("nan")


def bloom_day(traits: pd.DataFrame) -> np.ndarray:
    """(n, 3) float64: bloom by offset, by group and by season [d], each on its own scale, NaN where not
    known.

    Days compare only within a crop and a column; `shared_days` takes the first column both varieties have.
    """
    season = pd.Series(column(traits, "bloom_season")).map(SEASON_DAY).to_numpy(np.float64)
    text = column(traits, "bloom_group")
    by_name = {name: _group_day(str(name)) for name in set(text)}
    group = np.array([by_name[name] for name in text], dtype=np.float64)
    crop_of = column(traits, "crop")
    group[~np.isin(crop_of, GROUPED_CROPS)] = np.nan
    days = np.column_stack([numeric(traits, "bloom_offset"), group, season])
    days[np.isin(crop_of, TWO_TIMES_CROPS)] = np.nan
    return days


def shared_days(rows: np.ndarray, cols: np.ndarray) -> np.ndarray:
    """(r, c) float64 shared days of bloom of two lists of varieties of one crop, NaN where not comparable.

    rows (r, 3) and cols (c, 3): slices of `bloom_day`.
    """
    apart = np.full((len(rows), len(cols)), np.nan, dtype=np.float64)
    for kind in (2, 1, 0):
        i, j = np.flatnonzero(np.isfinite(rows[:, kind])), np.flatnonzero(np.isfinite(cols[:, kind]))
        apart[np.ix_(i, j)] = np.abs(rows[i, kind, None] - cols[None, j, kind])
    return np.clip(BLOOM_LENGTH_DAYS - apart, 0, None)
