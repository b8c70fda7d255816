"""Chill and warmth of a site turned into the day of full bloom, for any requirement.

In come hourly temperatures by season and one crop's parameters; out go days of the season. Knows crops only
as parameters; which variety wants how much stands in `variety_bloom`. Method page: docs/bloom.md.

The model: buds sum up warmth all the time, but each hour counts only as far as the buds are awake. Warmth of
an hour is a rising curve of its temperature; wakefulness rises with the chill portions collected so far, and
goes on rising with chill beyond the need. Chill and warmth so overlap, and chill that falls short delays
bloom rather than forbids it. Warmth counts only after the shortest day, from about the day on which the days
have grown long enough. Full bloom is the day on which the sum reaches the requirement.

Season days count from 1 July before the harvest year in the north, from 1 January in the south
(`climate.season`). A bloom day of 260.4 lies in the course of day 260; NaN: no bloom before the next autumn.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import ArrayLike, NDArray

from recommender.climate.chill import dynamic_portions
from recommender.climate.hourly import day_length, hourly_temperatures
from recommender.climate.season import YEAR_DAYS, season_day, season_days_of_year

if TYPE_CHECKING:
    from recommender.climate.profile import Profile

Floats = NDArray[np.float64]

# Buds of deciduous fruit start counting chill on 1 September (south: 1 March) and are given a year to bloom.
BUDS_FROM = {"north": "09-01", "south": "03-01"}
BUD_DAYS = YEAR_DAYS
# Buds that have had no chill at all still open in the end, late and few (trees without winter; estimated).
LEAST_AWAKE = 0.02
# Chill by which wakefulness beyond the need is measured [portions].
EXTRA_CHILL_PORTIONS = 50.0
# How gradually lengthening days let warmth count [h]; fitted values of single crops lay at 0.2 to 0.3.
LIGHT_WIDTH_h = 0.25
# Last bud day on which the shortest day is looked for (either hemisphere's solstice is day 111 or 112).
SHORTEST_DAY_BY = 150


@dataclass(frozen=True)
class BudCurve:
    """How the buds of a crop answer to chill and warmth.

    chill_portions, chill_width [CP]: chill at which buds are half awake, and how gradually they wake; a need
    of NaN means that warmth counts without chill (evergreens).
    extra: how much more an hour counts for 50 portions beyond the need. warmth_degC, steepness [1/K]: the
    temperature at which an hour counts half, and how sharply. heat_from: date "MM-DD" in the north before
    which warmth does not count; empty: from autumn on (six months later in the south).
    light_h [h]: light (`light`) at which an hour of warmth counts half; NaN: warmth counts in any light.
    """

    chill_portions: float
    chill_width: float
    extra: float
    warmth_degC: float
    steepness: float
    heat_from: str = ""
    light_h: float = float("nan")


@dataclass(frozen=True, eq=False)
class BudWeather:
    """Weather of the bud year: hourly (Y, N, 24) [degC], running chill (Y, N) [CP], season day of the first
    of the N days, tmin (Y, N) and mean (Y, N) of the day [degC], light (N,) [h]."""

    hourly: NDArray[np.float32]
    chill: Floats
    first_day: int
    tmin: Floats
    mean: Floats
    light: Floats


_KEPT: WeakKeyDictionary[Profile, BudWeather] = WeakKeyDictionary()


def bud_weather(profile: Profile) -> BudWeather:
    """The bud year of every season of a profile; kept as long as the profile lives."""
    kept = _KEPT.get(profile)
    if kept is None:
        hourly = bud_hours(profile)
        kept = keep_bud_weather(profile, hourly, dynamic_portions(hourly, running=True))
    return kept


def bud_days(profile: Profile) -> slice:
    """Season days of the bud year."""
    first = season_day(BUDS_FROM[profile.hemisphere], profile.hemisphere)
    return slice(first, first + BUD_DAYS)


def bud_hours(profile: Profile) -> Floats:
    """Hourly temperatures (Y, N, 24) of the bud years [degC]."""
    days = bud_days(profile)
    of_year = season_days_of_year(profile.hemisphere)[days]
    return hourly_temperatures(profile.tmin[:, days], profile.tmax[:, days], profile.lat, of_year)


def keep_bud_weather(profile: Profile, hourly: Floats, chill: Floats) -> BudWeather:
    """The bud year from its hours (Y, N, 24) and running chill portions (Y, N), kept as by `bud_weather`. For
    those who count the chill of many sites at once."""
    days = bud_days(profile)
    tmin, tmax = profile.tmin[:, days], profile.tmax[:, days]
    kept = BudWeather(
        hourly.astype(np.float32),
        chill,
        days.start,
        np.asarray(tmin),
        np.asarray((tmin + tmax) / 2.0),
        light(profile.lat, season_days_of_year(profile.hemisphere)[days]),
    )
    _KEPT[profile] = kept
    return kept


def light(lat: float, day_of_year: ArrayLike) -> Floats:
    """What the days of a bud year (N,) tell of spring [h]: day length, less half that of the shortest day.

    Minus infinity until the shortest day. The half lets the calendar and the day length weigh alike: with all
    of the day length northern buds wait too long, with none of it southern ones do.
    """
    hours = day_length(lat, day_of_year)
    shortest = int(np.argmin(hours[:SHORTEST_DAY_BY]))
    out = hours - 0.5 * hours[shortest]
    out[:shortest] = -np.inf
    return np.asarray(out)


def lit(light_of_days: Floats, light_h: float) -> Floats:
    """Share of the warmth that counts, of the same shape; 0.5 at `light_h`, 1 where that is NaN."""
    if np.isnan(light_h):
        return np.ones(np.shape(light_of_days))
    return np.asarray(0.5 * (1.0 + np.tanh(0.5 * (light_of_days - light_h) / LIGHT_WIDTH_h)))


def warmth(hourly: ArrayLike, warmth_degC: float, steepness: float) -> Floats:
    """Warmth of each day (..., N) [warm hours]: hours of the day, each counted by a logistic curve.

    >>> float(warmth(np.full((1, 24), 15.0), 15.0, 0.25)[0])
    12.0
    """
    exponent = np.asarray(hourly, dtype=np.float32) * np.float32(-steepness)
    exponent += np.float32(steepness * warmth_degC)
    np.exp(exponent, out=exponent)
    exponent += np.float32(1.0)
    np.reciprocal(exponent, out=exponent)
    return np.asarray(exponent.sum(axis=-1), dtype=np.float64)


def wakefulness(chill: ArrayLike, curve: BudCurve) -> Floats:
    """How much an hour of warmth counts after so much chill [CP], any shape; 0.5 at the crop's need.

    >>> float(wakefulness(60.0, BudCurve(60.0, 5.0, 0.0, 15.0, 0.25)))
    0.5
    """
    if np.isnan(curve.chill_portions):
        return np.ones(np.shape(chill))
    beyond = (np.asarray(chill, dtype=np.float64) - curve.chill_portions) / curve.chill_width
    # The logistic curve and log(1 + exp(beyond)), from one exponential that cannot overflow.
    small = np.exp(-np.abs(beyond))
    half = np.where(beyond > 0.0, 1.0, small) / (1.0 + small)
    past_need = curve.chill_width * (np.log1p(small) + np.maximum(beyond, 0.0))
    awake = half * (1.0 + curve.extra * past_need / EXTRA_CHILL_PORTIONS)
    return np.asarray(np.maximum(awake, LEAST_AWAKE))


def heat_sum(
    daily_warmth: Floats, chill: Floats, curve: BudCurve, light_of_days: Floats, heat_from: int = 0
) -> Floats:
    """Running sum (Y, N) of the warmth that counted [warm hours], from day `heat_from` of the bud year on.

    daily_warmth, chill (Y, N); light_of_days (N,), see `light`.
    """
    counted = daily_warmth * wakefulness(chill, curve) * lit(light_of_days, curve.light_h)
    counted[..., :heat_from] = 0.0
    return np.asarray(counted.cumsum(axis=-1))


def day_reached(running: Floats, requirement: ArrayLike) -> Floats:
    """When a running sum (N,) reaches each requirement (R,): days and parts of a day; NaN if it never does.
    Running sums (Y, N) give (R, Y).

    >>> day_reached(np.array([1.0, 2.0, 4.0]), [2.0, 3.0, 9.0])
    array([1. , 1.5, nan])
    """
    wanted = np.asarray(requirement, dtype=np.float64)
    if running.ndim == 1:
        return day_reached(running[None, :], wanted)[..., 0]
    years, days = running.shape
    wanted = wanted[..., None]
    # One search for all years: each year's sums and wants are moved beyond those of the year before.
    apart = 1.0 + max(float(running.max()), float(wanted.max(initial=0.0)))
    moved = apart * np.arange(years)
    at = np.searchsorted((running + moved[:, None]).ravel(), wanted + moved) - np.arange(years) * days
    inside = np.clip(at, 1, days - 1)
    sums, starts = running.ravel(), np.arange(years) * days
    before, after = sums.take(inside + (starts - 1)), sums.take(inside + starts)
    part = np.clip((wanted - before) / np.maximum(after - before, 1e-9), 0.0, 1.0)
    return np.where(at < days, inside - 1 + part, np.nan)


def curve_at(running: Floats, day: ArrayLike) -> Floats:
    """The running sum (N,) at days and parts of a day; the inverse of `day_reached`."""
    return np.interp(np.asarray(day, dtype=np.float64), np.arange(len(running)), running)


def bud_day_of(date: str, profile: Profile) -> int:
    """Day of the bud year of a northern date "MM-DD", half a year later in the south; 0 for no date."""
    if not date:
        return 0
    first = season_day(BUDS_FROM["north"], "north")
    return season_day(date, "north", after=first) - first
