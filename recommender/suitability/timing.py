"""When each variety blooms and ripens at a site, and how many weeks of fruit that makes.

In come the site's climate and what is expected of each variety; out goes `Timing`: the phenology (bloom and
ripening: `biology.phenology`) as the criteria ask for it, worked out once for a catalog and a climate.

A season day counts from 1 July before the harvest year in the north and from 1 January of the year before it
in the south, as in `climate.profile`.
"""

from __future__ import annotations

import weakref
from dataclasses import dataclass, fields
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from recommender.biology.phenology import (
    Bloom,
    BloomNeeds,
    Harvest,
    RipeningNeeds,
    bloom_needs,
    phenology,
    ripening_needs,
)
from recommender.climate.season import SEASON_DAYS
from recommender.suitability.kept import kept

if TYPE_CHECKING:
    from recommender.climate.profile import Profile
    from recommender.suitability.expectations import Varieties

Floats = NDArray[np.float64]
Days = NDArray[np.intp]
# Stands for the harvest of a year without bloom.
NEVER = 2.0 * SEASON_DAYS


@dataclass(frozen=True, eq=False)
class Timing:
    """Season days by variety and year: bloom (V, Y), harvest (V, Y), their errors (V,) [d], and the last day
    (Y,) on which fruit still ripens. A day at or beyond the length of the season means: not within it.

    picking (V,): days from first to last picking, the same in every year [d], NaN where it never blooms.
    harvest_known (V,): the day rests on more than the usual time of its crop. blooms: first and last
    flowers by year.
    """

    bloom: Days
    bloom_error: Floats
    harvest: Floats
    harvest_error: Floats
    picking: Floats
    season_end: Floats
    harvest_known: NDArray[np.bool_]
    blooms: Bloom

    @cached_property
    def bears(self) -> NDArray[np.bool_]:
        """Whether a variety flowers in a year (V, Y), where it is chill that it lacks. Where no winter falls
        short of its need, a year without flowers is too cool: it counts as borne, and as never ripe."""
        unchilled = np.asarray(self.blooms.chill_failure.any(axis=1))
        return np.asarray((self.harvest < NEVER) | ~unchilled[:, None])

    def taken(self, rows: Days) -> Timing:
        """The same of some varieties."""
        parts: dict[str, Any] = {part.name: getattr(self, part.name) for part in fields(self)}
        by_variety = {
            name: value[rows]
            for name, value in parts.items()
            if isinstance(value, np.ndarray) and name != "season_end"
        }
        return Timing(**{**parts, **by_variety, "blooms": self.blooms.taken(rows)})


_KEPT: weakref.WeakKeyDictionary[Any, weakref.WeakKeyDictionary[Any, dict[float, Timing]]] = (
    weakref.WeakKeyDictionary()
)


def timing(profile: Profile, varieties: Varieties, frost_shift: float = 0.0) -> Timing:
    """Bloom and harvest of every variety in every year of the profile; kept as long as both of them live.

    frost_shift: how much colder (negative) still nights are at the spot [K].
    """
    kept = _KEPT.setdefault(varieties, weakref.WeakKeyDictionary()).setdefault(profile, {})
    if frost_shift not in kept:
        kept[frost_shift] = _timing(profile, varieties, frost_shift)
    return kept[frost_shift]


def _timing(profile: Profile, varieties: Varieties, frost_shift: float) -> Timing:
    blooms, ripens = _needs(varieties)
    found = phenology(varieties.frame, profile, frost_shift=frost_shift, needs=blooms, ripe_needs=ripens)
    return timing_of(found.bloom, found.harvest)


@kept
def _needs(varieties: Varieties) -> tuple[BloomNeeds, RipeningNeeds]:
    """What each variety wants to bloom and to ripen, the same at every site."""
    blooms = bloom_needs(varieties.frame)
    return blooms, ripening_needs(varieties.frame, blooms.shift_d)


def bloom_days(bloom: Bloom) -> Days:
    """Whole season days of bloom (V, Y), the length of the season in a year without."""
    blooming = np.isfinite(bloom.day)
    return np.where(blooming, np.rint(np.nan_to_num(bloom.day)), SEASON_DAYS).astype(np.intp)


def timing_of(bloom: Bloom, harvest: Harvest) -> Timing:
    """The same from bloom and harvest of the same varieties."""
    return Timing(
        bloom=bloom_days(bloom),
        bloom_error=bloom.error_d,
        harvest=np.where(np.isfinite(harvest.start), harvest.start, NEVER),
        harvest_error=harvest.error_d,
        picking=_picking(harvest),
        season_end=harvest.season_end,
        harvest_known=harvest.told_by != "crop",
        blooms=bloom,
    )


def _picking(harvest: Harvest) -> Floats:
    lasts = harvest.end - harvest.start
    borne = np.isfinite(lasts)
    return np.where(borne.any(axis=1), np.where(borne, lasts, 0.0).max(axis=1), np.nan)


def weeks_of_fruit(start: Floats, end: Floats) -> float:
    """Weeks in which at least one variety is ripe, from each one's first and last ripe day (N,), end not
    included.

    >>> weeks_of_fruit(np.array([200.0, 207.0]), np.array([214.0, 221.0]))
    3.0
    """
    order = np.argsort(start, kind="stable")
    covered, until = 0.0, -np.inf
    for first, last in zip(start[order], end[order], strict=True):
        covered += max(0.0, last - max(first, until))
        until = max(until, last)
    return float(covered) / 7.0
