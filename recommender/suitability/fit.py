"""How one variety fits a site, as the figures behind its pictures: chill winter by winter, bloom and frost,
the score's parts.

In comes a `Ranking` and a row of its frame; out goes a `Fit`. It weighs nothing itself: the ranking has.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from recommender.suitability.ranking import LIMITS, Ranking

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Fit:
    """One variety at one site.

    year (Y,), chill (Y,): each whole winter's chill, in `chill_unit` ("h" at or below 7.2 degC, or "CP");
    need, need_error in the same unit, NaN where the crop needs none; need_known: published, not estimated.
    bloom_start, bloom_middle, bloom_end [day of the season], bloom_error [d], NaN where it does not bloom.
    parts: one row a criterion: criterion, value [0..1], kind ("limit" or "wish"), sound, doubtful (NaN for
    wishes); the least of the limits first.
    """

    crop: str
    variety: str
    year: NDArray[np.int64]
    chill: Floats
    chill_unit: str
    need: float
    need_error: float
    need_known: bool
    bloom_start: float
    bloom_middle: float
    bloom_end: float
    bloom_error: float
    parts: pd.DataFrame


def fit_of(ranking: Ranking, at: int) -> Fit:
    """The variety at index `at` of `ranking.frame`, held against the ranking's site."""
    from recommender.biology.bloom_table import bloom_summary

    context = ranking.context
    row: Any = ranking.frame.loc[at]
    varieties, profile = context.varieties, context.profile
    by_portions = bool(varieties.by_portions[at])
    need = varieties.chill_portions if by_portions else varieties.chill_hours
    years = profile.chill_portions if by_portions else profile.chill_hours_below_7
    known = profile.winter_known
    traits = varieties.frame.iloc[[at]].reset_index(drop=True)
    bloom = bloom_summary(traits, profile, context.when.blooms.taken(np.array([at]))).iloc[0]
    needed = float(need.value[at])
    return Fit(
        crop=str(row["crop"]),
        variety=str(row["variety"]),
        year=profile.year[known],
        chill=years[known],
        chill_unit="CP" if by_portions else "h",
        need=needed if needed > 0 else float("nan"),
        need_error=float(need.error[at]),
        need_known=bool(need.known[at]),
        bloom_start=float(bloom["start_day"]),
        bloom_middle=float(bloom["middle_day"]),
        bloom_end=float(bloom["end_day"]),
        bloom_error=float(bloom["error_days"]),
        parts=_parts(row),
    )


def _parts(row: Any) -> pd.DataFrame:
    names = [str(name).removeprefix("c_") for name in row.index if str(name).startswith("c_")]
    frame = pd.DataFrame(
        {
            "criterion": names,
            "value": [float(row[f"c_{name}"]) for name in names],
            "kind": ["limit" if name in LIMITS else "wish" for name in names],
            "sound": [LIMITS[name].sound if name in LIMITS else np.nan for name in names],
            "doubtful": [LIMITS[name].doubtful if name in LIMITS else np.nan for name in names],
        }
    )
    return frame.dropna(subset="value").sort_values(["kind", "value"], kind="stable", ignore_index=True)
