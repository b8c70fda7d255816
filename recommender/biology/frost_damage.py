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
# Blooms this near each other are taken together [d]; far below the error of any date.
BLOOM_STEP_D = 0.25
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
    needs: BloomNeeds | None = None,
) -> FrostDamage:
    """Loss to frost from bud swell to small fruit of each row of the traits (V) in each year (Y).

    table: the catalog's bloom_critical_temps. frost_shift: added to every night's minimum [K], below 0 in a
    frost hollow. The doubt of the bloom date is integrated over.
    """
    parameters = parameters or load_bloom_parameters()
    needs = needs or bloom_needs(traits, parameters)
    weather = bud_weather(profile)
    nights = weather.tmin + frost_shift
    lost = np.full((len(needs), len(nights)), np.nan)
    table_of = np.full(len(needs), "", dtype=object)
    found: dict[str, tuple[str, _Stages | None]] = {}
    for group in groups(needs, profile, parameters):
        own = str(needs.crop[group.rows[0]])
        if own not in found:
            crop, rows = critical_temperatures(table, own)
            found[own] = crop, _stages(rows) if crop else None
        table_of[group.rows], stages = found[own]
        if stages is not None:
            alike, which = _alike(needs, group.rows)
            lost[group.rows] = _worst_nights(alike, group.sums, nights, stages)[which]
    return FrostDamage(lost, table_of)


def _alike(needs: BloomNeeds, rows: NDArray[np.intp]) -> tuple[Floats, NDArray[np.intp]]:
    """Varieties of one curve that bloom within a quarter of a day of each other, with errors alike, taken
    together: log requirement, days per unit of it and error [d] (K, 3), and which of them each row is (R,).
    """
    per_day, error = needs.per_day[rows], needs.error_d[rows]
    step, steps = BLOOM_STEP_D * per_day, 2.0 * BLOOM_STEP_D
    keys = np.column_stack([np.rint(needs.log_requirement[rows] / step), per_day, np.rint(error / steps)])
    _, first, which = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    own = np.column_stack([keys[:, 0] * step, per_day, keys[:, 2] * steps])
    return own[first], which.reshape(-1)


def _worst_nights(alike: Floats, sums: Floats, nights: Floats, stages: _Stages) -> Floats:
    """Loss (K, Y) in the worst night of each year, for rows of `_alike`; the stage
    of a day follows its share of the heat."""
    lost = np.zeros((len(alike), len(nights)))
    requirement, per_day, error = (alike[:, [at]] for at in range(3))
    year, day = np.nonzero(nights <= float(stages.kill10.max()) + 1.5)
    with np.errstate(divide="ignore"):
        logs = np.log(sums[year, day])
    ahead = (logs - requirement) / per_day
    last = stages.days[-1] + AFTER_LAST_STAGE_D
    # Nights long before bud swell or long after small fruit concern no variety of the group.
    reach = NODES[-1][0] * error
    near = ((ahead > stages.days[0] - reach) & (ahead < last + reach)).any(axis=0)
    if not near.any():
        return lost
    ahead, year, night = ahead[:, near], year[near], nights[year[near], day[near]]
    years, starts = np.unique(year, return_index=True)
    for deviation, weight in NODES:
        days = ahead + deviation * error
        ten = np.interp(days, stages.days, stages.kill10)
        ninety = np.interp(days, stages.days, stages.kill90)
        killed = share_killed(night, ten, ninety)
        killed[(days < stages.days[0]) | (days > last)] = 0.0
        lost[:, years] += weight * np.maximum.reduceat(killed, starts, axis=1)
    return lost
