"""When a variety blooms and ripens at a site: a first estimate from heat, and how many weeks of fruit that
makes.

In come the site's daily temperatures by season and what is expected of each variety; out go days of the
season with their error. This is the one place that estimates bloom and harvest, so that a fuller phenology
model can replace it.

A season day counts from 1 July before the harvest year in the north and from 1 January of the year before it
in the south, as in `climate.profile`.

References
    [1] Anderson, Richardson, Kesner 1986: heat above 4 degC drives bloom once winter is over.
    [2] Bloom dates and daily weather of five places, doi 10.60507/FK2/MZIELI: crop sums, and how much more
    heat is
        needed after a mild winter (pears bloom after 236 degree days at Klein-Altendorf, 450 at Zaragoza).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from recommender.climate.profile import Profile
    from recommender.suitability.expectations import Varieties

Floats = NDArray[np.float64]
Days = NDArray[np.intp]

BASE_TEMPERATURE_degC = 4.0
# A mild winter pays out chill late, so part of its heat counts for nothing: the sum to bloom grows by this
# share for each degree by which the two months after midwinter are milder than 3 degC [2].
MILD_WINTER_SHARE_PER_K = 0.14
MILD_WINTER_FROM_degC = 3.0
MIDWINTER = {"north": 184, "south": 181}
# Fruit keeps pace half with the calendar and half with warmth, against a season of 17 degC (estimated; apples
# of one variety take about 140 days at Klein-Altendorf [2] and at Kentville, whose summers differ by two
# degrees).
RIPENING_MEAN_degC = 17.0
RIPENING_CEILING_degC = 22.0
# Fruit freezes a little below the freezing point of water, and stops ripening when days are as cold as a
# cellar.
FRUIT_FREEZES_degC = -2.2
FRUIT_STOPS_degC = 7.0
# How far a date from heat alone is off, beside what the variety's own figures leave open [d].
BLOOM_ERROR_DAYS = 6.0
RIPENING_ERROR_DAYS = 7.0


@dataclass(frozen=True, eq=False)
class Timing:
    """Season days by variety and year: bloom (V, Y), harvest (V, Y), their errors (V,) [d], and the last day
    (Y,) on which fruit still ripens. A day equal to the length of the season means: not within it."""

    bloom: Days
    bloom_error: Floats
    harvest: Days
    harvest_error: Floats
    season_end: Days


def bloom_day(mean: Floats, heat_sum: Floats, midwinter: int) -> Days:
    """First day (C, Y) on which each crop's heat sum is reached.

    mean: daily mean temperature (Y, D) [degC]; heat_sum (C,) [degree days above 4 degC]; midwinter: a season
    day.
    """
    after = mean[:, midwinter:]
    milder = np.maximum(after[:, :59].mean(axis=1) - MILD_WINTER_FROM_degC, 0.0)
    wanted = heat_sum[:, None] * (1.0 + MILD_WINTER_SHARE_PER_K * milder[None, :])
    reached = np.cumsum(np.maximum(after - BASE_TEMPERATURE_degC, 0.0), axis=1)
    days = [np.searchsorted(reached[year], wanted[:, year]) for year in range(len(mean))]
    return np.minimum(np.stack(days, axis=1) + midwinter, mean.shape[1])


def harvest_day(mean: Floats, bloom: Days, ripe_days: Floats) -> Days:
    """First day (V, Y) on which fruit of each variety is ripe; the season's length where it never is.

    mean: daily mean temperature (Y, D) [degC]; bloom (V, Y) season days; ripe_days (V,) [d at 17 degC].
    """
    warmth = np.clip(mean - BASE_TEMPERATURE_degC, 0.0, RIPENING_CEILING_degC - BASE_TEMPERATURE_degC)
    pace = 0.5 + 0.5 * warmth / (RIPENING_MEAN_degC - BASE_TEMPERATURE_degC)
    grown = np.cumsum(pace, axis=1)
    last = mean.shape[1]
    days = np.empty(bloom.shape, dtype=np.intp)
    for year in range(len(mean)):
        start = grown[year][np.minimum(bloom[:, year], last - 1)]
        days[:, year] = np.searchsorted(grown[year], start + ripe_days)
    return np.where(bloom >= last, last, np.minimum(days, last))


def last_ripening_day(tmin: Floats, mean: Floats, midwinter: int) -> Days:
    """Season day (Y,) after which fruit freezes (-2.2 degC) or is too cold to ripen (two weeks below 7
    degC)."""
    midsummer = midwinter + 182
    cumulative = np.cumsum(np.pad(mean, ((0, 0), (14, 0)), mode="edge"), axis=1)
    fortnight = (cumulative[:, 14:] - cumulative[:, :-14]) / 14.0
    over = (tmin <= FRUIT_FREEZES_degC) | (fortnight < FRUIT_STOPS_degC)
    over[:, :midsummer] = False
    return np.where(over.any(axis=1), over.argmax(axis=1), tmin.shape[1])


def timing(profile: Profile, varieties: Varieties, frost_shift: float = 0.0) -> Timing:
    """Bloom and harvest of every variety in every year of the profile."""
    mean = (profile.tmin + profile.tmax) / 2.0
    midwinter = MIDWINTER[profile.hemisphere]
    sums, which = np.unique(varieties.defaults["bloom_heat"].to_numpy(), return_inverse=True)
    shift = np.rint(varieties.bloom_shift.value).astype(np.intp)
    last = mean.shape[1]
    middle = bloom_day(mean, sums, midwinter)[which]
    bloom = np.where(middle >= last, last, np.clip(middle + shift[:, None], midwinter, last))
    return Timing(
        bloom=bloom,
        bloom_error=np.hypot(varieties.bloom_shift.error, BLOOM_ERROR_DAYS),
        harvest=harvest_day(mean, bloom, varieties.ripe_days.value),
        harvest_error=np.hypot(varieties.ripe_days.error, RIPENING_ERROR_DAYS),
        season_end=last_ripening_day(profile.tmin + frost_shift, mean, midwinter),
    )


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
