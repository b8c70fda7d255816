"""Daily weather of seasons -> the figures of a profile, one value a season.

In come daily extremes of whole seasons (Y, 548) [degC]; out come arrays (Y,). What is counted from when to
when is decided here and nowhere else. Method pages: docs/chill.md, docs/heat.md, docs/frost-and-winter.md.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from recommender.climate import chill, frost, heat
from recommender.climate.hourly import Array, hourly_temperatures
from recommender.climate.season import (
    CHILL_EARLIEST_END,
    CHILL_LATEST_END,
    CHILL_START,
    MIDSUMMER,
    MIDWINTER,
    SEASON_DAYS,
    WINTER_END,
    YEAR_DAYS,
    hemisphere_of,
    season_days_of_year,
)

Known = NDArray[np.bool_]

GROWING_BASE_DEGC = 10.0
WINTER_FIGURES = frozenset(
    {
        "annual_min", "chill_hours_0_7", "chill_hours_below_7", "chill_units", "positive_chill_units",
        "chill_portions",
    }
)  # fmt: skip
_SMOOTHING_DAYS = 31
_SUMMER_DAYS = 91


@dataclass(frozen=True, eq=False)
class Figures:
    """Figures of each season, all (Y,).

    annual_min: coldest night of the winter before harvest [degC].
    chill_hours_0_7, chill_hours_below_7: hours of the chill season [h].
    chill_units, positive_chill_units [CU]; chill_portions [CP]: of the chill season.
    last_spring_frost, first_autumn_frost: day index, 0 degC in the air; NaN in a year without.
    frost_free_days: days between the two [d].
    gdd10: degree days above 10 degC from midwinter to midwinter [K d].
    gdh: growing degree hours of the same months [GDH].
    summer_mean: mean of the 91 days that are warmest over the years [degC].
    """

    annual_min: Array
    chill_hours_0_7: Array
    chill_hours_below_7: Array
    chill_units: Array
    positive_chill_units: Array
    chill_portions: Array
    last_spring_frost: Array
    first_autumn_frost: Array
    frost_free_days: Array
    gdd10: Array
    gdh: Array
    summer_mean: Array


def filled(values: Array) -> Array:
    """Seasons (Y, 548) without gaps: a missing day gets the mean of that day over the years, or, where no
    year has it, what lies between its neighbours. For counting through a gap; `known_parts` says what may not
    be believed.
    """
    gaps = np.isnan(values)
    if not gaps.any():
        return values
    known = (~gaps).sum(axis=0)
    course = np.where(gaps, 0.0, values).sum(axis=0) / np.maximum(known, 1)
    days = np.arange(values.shape[1])
    course = np.interp(days, days[known > 0], course[known > 0])
    return np.where(gaps, course, values)


def known_parts(tmin: Array, lat: float, window: tuple[int, int]) -> tuple[Known, Known]:
    """Which seasons (Y,) of a record with gaps (NaN) have a whole winter, and a whole year from midwinter.

    The winter is the chill season, and 1 October to 31 March (1 April to 30 September) where that is longer;
    its figures are chill and the coldest night. The year from midwinter carries frost dates and warmth.
    """
    hemisphere = hemisphere_of(lat)
    finite = np.isfinite(tmin)
    winter = slice(CHILL_START[hemisphere], max(window[1], WINTER_END[hemisphere]))
    growing = slice(MIDWINTER[hemisphere], SEASON_DAYS)
    return np.asarray(finite[:, winter].all(axis=1)), np.asarray(finite[:, growing].all(axis=1))


def mask_unknown(of_season: Figures, winter: Known, growing: Known) -> Figures:
    """The figures with NaN in the seasons whose part is not whole."""
    if winter.all() and growing.all():
        return of_season
    return Figures(
        **{
            field.name: np.where(
                winter if field.name in WINTER_FIGURES else growing, getattr(of_season, field.name), np.nan
            )
            for field in fields(Figures)
        }
    )


def mean_course(tmin: Array, tmax: Array) -> Array:
    """Mean temperature of each day of the season over the years, smoothed over 31 days (548,) [degC]."""
    means = (tmin.mean(axis=0) + tmax.mean(axis=0)) / 2.0
    half = _SMOOTHING_DAYS // 2
    padded = np.pad(means, half, mode="edge")
    return np.convolve(padded, np.full(_SMOOTHING_DAYS, 1.0 / _SMOOTHING_DAYS), mode="valid")


def chill_window(tmin: Array, tmax: Array, lat: float) -> tuple[int, int]:
    """First day index of the chill season and the first one after it.

    From 1 October (1 April in the south) to the site's spring: the first day, from 1 March (1 September) on,
    whose mean temperature over the years is above the limit of a chill hour; 1 June (1 December) at the
    latest.
    """
    hemisphere = hemisphere_of(lat)
    earliest, latest = CHILL_EARLIEST_END[hemisphere], CHILL_LATEST_END[hemisphere]
    spring = mean_course(tmin, tmax)[earliest:latest] > chill.CHILL_HOUR_LIMIT_DEGC
    return CHILL_START[hemisphere], earliest + int(np.argmax(spring)) if spring.any() else latest


def hourly_of_days(tmin: Array, tmax: Array, lat: float, first: int, end: int) -> Array:
    """Hourly temperatures (Y, end - first, 24) [degC] of days `first` to before `end` of seasons (Y, 548).

    The days on either side are looked at, so that a day's hours do not depend on where a count begins or
    ends.
    """
    begin = max(first - 1, 0)
    days = slice(begin, end + 1)
    of_year = season_days_of_year(hemisphere_of(lat))[days]
    return hourly_temperatures(tmin[:, days], tmax[:, days], lat, of_year)[:, first - begin :][
        :, : end - first
    ]


def figures(tmin: Array, tmax: Array, lat: float, window: tuple[int, int] | None = None) -> Figures:
    """All figures of seasons (Y, 548) of daily extremes [degC]; window from `chill_window` unless given."""
    start, end = window or chill_window(tmin, tmax, lat)
    midwinter = MIDWINTER[hemisphere_of(lat)]
    hourly = hourly_of_days(tmin, tmax, lat, start, SEASON_DAYS)
    winter, growing = hourly[:, : end - start], hourly[:, midwinter - start :]
    return Figures(
        **figures_by_day(tmin, tmax, lat),
        chill_hours_0_7=chill.chill_hours_0_7(winter),
        chill_hours_below_7=chill.chill_hours_below_7(winter),
        chill_units=chill.utah_units(winter),
        positive_chill_units=chill.positive_utah_units(winter),
        chill_portions=chill.dynamic_portions(winter),
        gdh=heat.growing_degree_hours(growing),
    )


def figures_by_day(tmin: Array, tmax: Array, lat: float) -> dict[str, Array]:
    """Those of the `Figures` of seasons (Y, 548) [degC] that daily extremes alone give, by name."""
    hemisphere = hemisphere_of(lat)
    midwinter, midsummer = MIDWINTER[hemisphere], MIDSUMMER[hemisphere]
    last = frost.last_frost(tmin[:, midwinter:midsummer]) + midwinter
    first = frost.first_frost(tmin[:, midsummer:]) + midsummer
    summer = warmest_window(tmin, tmax, midwinter)
    return {
        "annual_min": coldest_nights(tmin),
        "last_spring_frost": last,
        "first_autumn_frost": first,
        "frost_free_days": frost.frost_free_days(last, first, midwinter, SEASON_DAYS),
        "gdd10": warmth_sums(tmin, tmax, lat),
        "summer_mean": (tmin[:, summer] + tmax[:, summer]).mean(axis=1) / 2.0,
    }


def coldest_nights(tmin: Array) -> Array:
    """Coldest night (Y,) of the winter before harvest [degC] of seasons (Y, 548)."""
    return np.asarray(tmin[:, :YEAR_DAYS].min(axis=1))


def warmth_sums(tmin: Array, tmax: Array, lat: float) -> Array:
    """Degree days (Y,) above 10 degC from midwinter on [K d] of seasons (Y, 548)."""
    days = slice(MIDWINTER[hemisphere_of(lat)], None)
    return heat.growing_degree_days(tmin[:, days], tmax[:, days], GROWING_BASE_DEGC)


def warmest_window(tmin: Array, tmax: Array, midwinter: int) -> slice:
    """The 91 days in a row after midwinter that are warmest over the years."""
    course = (tmin.mean(axis=0) + tmax.mean(axis=0))[midwinter:]
    sums = np.convolve(course, np.ones(_SUMMER_DAYS), mode="valid")
    start = midwinter + int(np.argmax(sums))
    return slice(start, start + _SUMMER_DAYS)
