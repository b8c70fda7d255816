"""What spring frost takes: published kill temperatures of buds and flowers against each year's nights.

In come bloom needs, a climate profile and the catalog's table of critical temperatures; out goes the share of
flowers lost, by variety and year. The table gives, for each stage, the air temperature at which 10 % and 90 %
of buds die within half an hour; between and beyond them a logistic curve is laid through both. The year's
loss is that of its worst night. Method page: docs/bloom.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from recommender.biology.bloom import groups
from recommender.biology.bloom_model import bud_weather
from recommender.biology.bloom_overlap import NODES
from recommender.biology.bloom_parameters import (
    BloomNeeds,
    BloomParameters,
    bloom_needs,
    load_bloom_parameters,
)

if TYPE_CHECKING:
    from recommender.climate.profile import Profile

Floats = NDArray[np.float64]

# Days from each stage (BBCH) to full bloom at the usual pace. First flowers and the end of bloom are observed
# (datasets/bloom_parameters.csv); the others are common practice.
STAGE_DAYS = {
    51: -28.0, 53: -22.0, 54: -18.0, 55: -15.0, 56: -13.0, 57: -9.0, 59: -7.0, 61: -4.5, 65: 0.0, 67: 4.0,
    69: 9.0, 71: 16.0,
}  # fmt: skip
# Fruit this long after the last stage of the table is no longer looked at [d at the usual pace].
AFTER_LAST_STAGE_D = 14.0
# Where the source names no 90 % temperature: so much below the 10 % one (the mean gap at bud swell).
UNKNOWN_GAP_K = 8.0
# Tables of the nearest relative, for crops without one of their own (common practice).
LIKE = {
    "nectarine": "peach", "plum-apricot": "japanese-plum", "cherry-plum": "japanese-plum",
    "american-plum": "european-plum", "bush-cherry": "sour-cherry", "duke-cherry": "sweet-cherry",
    "asian-pear": "european-pear", "quince": "apple", "medlar": "apple", "japanese-plum": "european-plum",
    "sour-cherry": "sweet-cherry", "almond": "peach",
}  # fmt: skip
FEWEST_STAGES = 4
_LOGIT_90 = float(np.log(9.0))


@dataclass(frozen=True, eq=False)
class FrostDamage:
    """lost (V, Y): expected share of buds, flowers or young fruit killed in the year's worst night, NaN for
    crops without published temperatures; table_of (V,): the crop whose table was used, "" for none."""

    lost: Floats
    table_of: NDArray[np.object_]

    def probability(self, share: float) -> Floats:
        """Share of years (V,) in which at least this share is lost (0.1 and 0.9 are the published levels)."""
        known = np.isfinite(self.lost).any(axis=1)
        return np.where(known, (self.lost >= share).mean(axis=1), np.nan)


@dataclass(frozen=True)
class _Stages:
    days: Floats
    kill10: Floats
    kill90: Floats


def critical_temperatures(table: pd.DataFrame, crop: str) -> tuple[str, pd.DataFrame]:
    """The crop whose published stages serve for this one, and those rows of its fullest source; "" if none.

    table: columns crop, stage_order, bbch_nearest, kill10_degC, kill90_degC, source_id.
    """
    looked: set[str] = set()
    while crop and crop not in looked:
        looked.add(crop)
        mine = table[(table["crop"] == crop) & table["kill10_degC"].notna()]
        sizes = mine.groupby("source_id").size()
        if len(sizes) and sizes.max() >= FEWEST_STAGES:
            fullest = sorted(sizes[sizes == sizes.max()].index)[0]
            return crop, mine[mine["source_id"] == fullest].sort_values("stage_order")
        crop = LIKE.get(crop, "")
    return "", table.iloc[:0]


def _stages(rows: pd.DataFrame) -> _Stages:
    bbch = rows["bbch_nearest"].astype(str).str.extract(r"(\d+)")[0].astype(float)
    known = np.array(sorted(STAGE_DAYS))
    days = np.interp(bbch, known, [STAGE_DAYS[stage] for stage in known.tolist()])
    ten = rows["kill10_degC"].to_numpy(dtype=float)
    ninety = rows["kill90_degC"].to_numpy(dtype=float)
    ninety = np.where(np.isfinite(ninety), ninety, ten - UNKNOWN_GAP_K)
    together = pd.DataFrame({"d": days, "ten": ten, "ninety": np.minimum(ninety, ten - 0.5)})
    together = together.groupby("d", as_index=False).mean()
    return _Stages(*(together[name].to_numpy() for name in ("d", "ten", "ninety")))


def share_killed(tmin: Floats, kill10: Floats, kill90: Floats) -> Floats:
    """Share of buds killed at a night's minimum [degC], through 10 % and 90 % at the published temperatures.

    >>> share_killed(np.array([-2.2, -3.9]), np.array([-2.2]), np.array([-3.9])).round(2).tolist()
    [0.1, 0.9]
    """
    middle, half = (kill10 + kill90) / 2.0, (kill10 - kill90) / 2.0
    return 1.0 / (1.0 + np.exp(np.clip((tmin - middle) / half * _LOGIT_90, -50.0, 50.0)))


def frost_damage(
    traits: pd.DataFrame,
    profile: Profile,
    table: pd.DataFrame,
    frost_shift: float = 0.0,
    parameters: BloomParameters | None = None,
) -> FrostDamage:
    """Loss to frost from bud swell to small fruit of each row of the traits (V) in each year (Y).

    table: the catalog's bloom_critical_temps. frost_shift: added to every night's minimum [K], below 0 in a
    frost hollow. The doubt of the bloom date is integrated over.
    """
    parameters = parameters or load_bloom_parameters()
    needs = bloom_needs(traits, parameters)
    weather = bud_weather(profile)
    nights = weather.tmin + frost_shift
    lost = np.full((len(needs), len(nights)), np.nan)
    table_of = np.full(len(needs), "", dtype=object)
    for group in groups(needs, profile, parameters):
        crop, rows = critical_temperatures(table, str(needs.crop[group.rows[0]]))
        table_of[group.rows] = crop
        if crop:
            stages = _stages(rows)
            lost[group.rows] = _worst_nights(needs, group.rows, group.sums, nights, stages)
    return FrostDamage(lost, table_of)


def _worst_nights(
    needs: BloomNeeds, rows: NDArray[np.intp], sums: Floats, nights: Floats, stages: _Stages
) -> Floats:
    """Loss (R, Y) in the worst night of each year; the stage of a day follows its share of the heat."""
    out = np.zeros((len(rows), len(nights)))
    per_day = needs.per_day[rows][:, None]
    highest = float(stages.kill10.max()) + 1.5
    with np.errstate(divide="ignore"):
        logs = np.log(sums)
    for year, night in enumerate(nights):
        cold = np.flatnonzero(night <= highest)
        if not len(cold):
            continue
        ahead = (logs[year, cold] - needs.log_requirement[rows][:, None]) / per_day
        for deviation, weight in NODES:
            days = ahead + deviation * needs.error_d[rows][:, None]
            ten = np.interp(days, stages.days, stages.kill10)
            ninety = np.interp(days, stages.days, stages.kill90)
            killed = share_killed(night[cold], ten, ninety)
            killed[(days < stages.days[0]) | (days > stages.days[-1] + AFTER_LAST_STAGE_D)] = 0.0
            out[:, year] += weight * killed.max(axis=1)
    return out
