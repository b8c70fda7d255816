"""Profiles of many sites at once: what `build_profile` makes, without the figures that ranking does not read.

In come the normals of sites; out go their `Profile`s. Chill portions follow hour upon hour, which is slow for
one site and quick for many side by side, so they are counted for all sites together. Growing degree hours and
chill units are left out (NaN), and of the errors those of the coldest night and of chill are kept. All else
is the same as from `build_profile` to the last digits.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from recommender.climate import chill, winter
from recommender.climate.doubt import error_of_mean, median_error, seasons_for_errors
from recommender.climate.figures import chill_window, figures_by_day, hourly_of_days
from recommender.climate.generator import MONTH_DAYS
from recommender.climate.hourly import Array
from recommender.climate.normals import Normals
from recommender.climate.profile import DEFAULT_SEED, DEFAULT_YEARS, Profile
from recommender.climate.season import hemisphere_of, season_days_of_year
from recommender.climate.seasons import made_weather, seasons_of
from recommender.climate.warming import offsets


@dataclass(frozen=True, eq=False)
class _Winters:
    """Hourly temperatures (Y, days, 24) of the chill seasons of some years, and how many days count."""

    hourly: Array
    days: int


def _winters(tmin: Array, tmax: Array, lat: float) -> _Winters:
    first, end = chill_window(tmin, tmax, lat)
    return _Winters(hourly_of_days(tmin, tmax, lat, first, end), end - first)


def _portions(winters: Sequence[_Winters]) -> list[Array]:
    """Chill portions (Y,) of each, counted side by side."""
    longest = max(each.days for each in winters)
    rows = np.cumsum([0, *(len(each.hourly) for each in winters)])
    # What follows the end of a shorter season is not looked at.
    together = np.zeros((rows[-1], longest, 24))
    for each, first, end in zip(winters, rows[:-1], rows[1:], strict=True):
        together[first:end, : each.days] = each.hourly
    running = chill.dynamic_portions(together, running=True)
    return [
        running[first:end, each.days - 1]
        for each, first, end in zip(winters, rows[:-1], rows[1:], strict=True)
    ]


def build_profiles(
    normals: Sequence[Normals],
    years: int = DEFAULT_YEARS,
    seed: int = DEFAULT_SEED,
    warming_degC: ArrayLike = 0.0,
) -> list[Profile]:
    """Profiles of sites from their normals; arguments as for `build_profile`. A score of sites at once is
    enough.
    """
    warmer = np.repeat(offsets(warming_degC), MONTH_DAYS)
    seasons, winters = [], []
    for site in normals:
        hemisphere = hemisphere_of(site.lat)
        weather = made_weather(site, years, seed)
        by_day = warmer[season_days_of_year(hemisphere) - 1]
        tmin, tmax = (each + by_day for each in seasons_of(weather, hemisphere))
        some, error = seasons_for_errors(), site.error_monthly_degC
        seasons.append((tmin, tmax))
        winters += [
            _winters(tmin, tmax, site.lat),
            _winters(tmin[some] + error, tmax[some] + error, site.lat),
            _winters(tmin[some] - error, tmax[some] - error, site.lat),
        ]
    portions = _portions(winters)
    warming = tuple(float(each) for each in np.atleast_1d(np.asarray(warming_degC, dtype=np.float64)))
    return [
        _profile(site, *days, winters[3 * at : 3 * at + 3], portions[3 * at : 3 * at + 3], warming)
        for at, (site, days) in enumerate(zip(normals, seasons, strict=True))
    ]


def _profile(
    site: Normals,
    tmin: Array,
    tmax: Array,
    winters: list[_Winters],
    portions: list[Array],
    warming: tuple[float, ...],
) -> Profile:
    by_day = figures_by_day(tmin, tmax, site.lat)
    below_7 = [chill.chill_hours_below_7(each.hourly) for each in winters]
    mean_extreme = float(by_day["annual_min"].mean())
    errors = {
        "annual_extreme_min_degC": float(site.error_extreme_degC),
        "chill_hours_below_7": median_error(below_7[0], error_of_mean(below_7[1], below_7[2])),
        "chill_portions": median_error(portions[0], error_of_mean(portions[1], portions[2])),
    }
    known, left_out = np.ones(len(tmin), dtype=bool), np.full(len(tmin), np.nan)
    window = chill_window(tmin, tmax, site.lat)
    return Profile(
        lat=site.lat,
        lon=site.lon,
        elevation_m=site.elevation_m,
        hemisphere=hemisphere_of(site.lat),
        year=np.arange(1, len(tmin) + 1),
        tmin=tmin,
        tmax=tmax,
        winter_known=known,
        growing_known=known,
        chill_season=window,
        **by_day,
        chill_hours_0_7=chill.chill_hours_0_7(winters[0].hourly),
        chill_hours_below_7=below_7[0],
        chill_units=left_out,
        positive_chill_units=left_out,
        chill_portions=portions[0],
        gdh=left_out,
        annual_extreme_min_degC=mean_extreme,
        zone=winter.zone_of(mean_extreme),
        zone_number=winter.zone_number_of(mean_extreme),
        zone_probabilities=winter.zone_probabilities(mean_extreme, site.error_extreme_degC),
        warming_degC=warming,
        errors=errors,
        made_from=site.made_from,
    )
