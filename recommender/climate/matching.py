"""A profile whose hardiness zone and chill hours are those a grower has typed.

In come normals of a similar climate, a zone and a chill figure; out comes the `Profile` of those normals with
the winter shifted until the made weather has both. Method page: docs/weather-generator.md.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq

from recommender.climate import chill, winter
from recommender.climate.adjustments import Adjustments
from recommender.climate.figures import chill_window, hourly_of_days
from recommender.climate.normals import Normals, shift_winter
from recommender.climate.profile import (
    DEFAULT_SEED,
    DEFAULT_YEARS,
    NO_ADJUSTMENTS,
    Profile,
    build_profile,
)
from recommender.climate.season import hemisphere_of
from recommender.climate.seasons import made_weather, seasons_of

SHIFTS_K = np.arange(-8.0, 8.5, 1.0)
_CLOSE_ENOUGH_H = 10.0


def profile_matching(
    normals: Normals,
    zone_number: float,
    chill_hours: float,
    years: int = DEFAULT_YEARS,
    seed: int = DEFAULT_SEED,
    warming_degC: ArrayLike = 0.0,
    adjustments: Adjustments = NO_ADJUSTMENTS,
) -> Profile:
    """Profile with the zone (7.5 = 7b) and the median chill hours (0 to 7.2 degC) asked for, of a similar
    climate.

    The coldest nights are set to the middle of the zone, then the winter is shifted. Chill hours are most
    where winters hover about 4 degC and fewer in warmer and in colder ones, so two shifts may fit: the
    smaller is taken. What cannot be met is said in `made_from`. Warming and adjustments come on top of what
    was typed.
    Raises BadInput for a zone that is none.
    """
    middle = sum(winter.zone_bounds(winter.zone_name(zone_number))) / 2.0
    start = replace(normals, annual_extreme_min_degC=middle)

    def miss(shift: float) -> float:
        return _median_chill_hours(_shifted(start, shift, middle), years, seed) - chill_hours

    misses = np.array([miss(float(shift)) for shift in SHIFTS_K])
    crossings = np.flatnonzero(np.sign(misses[:-1]) != np.sign(misses[1:]))
    if len(crossings):
        nearest = crossings[np.argmin(np.abs(SHIFTS_K[crossings] + 0.5))]
        shift = float(brentq(miss, SHIFTS_K[nearest], SHIFTS_K[nearest + 1], xtol=0.01))
    else:
        shift = float(SHIFTS_K[np.argmin(np.abs(misses))])
    matched = _shifted(start, shift, middle)
    reached = _median_chill_hours(matched, years, seed)
    profile = build_profile(
        matched, years=years, seed=seed, warming_degC=warming_degC, adjustments=adjustments
    )
    said = f"Winter shifted by {shift:+.1f} K to the typed {chill_hours:.0f} chill hours (0 to 7.2 degC)."
    if abs(reached - chill_hours) > max(_CLOSE_ENOUGH_H, 0.02 * chill_hours):
        said = (
            f"The typed {chill_hours:.0f} chill hours do not occur in zone {winter.zone_name(zone_number)} "
            f"with summers like these; the nearest, {reached:.0f}, was taken."
        )
    return replace(profile, made_from=(*profile.made_from, said))


def _shifted(normals: Normals, shift: float, extreme: float) -> Normals:
    return shift_winter(replace(normals, annual_extreme_min_degC=extreme), shift, keep_extreme=True)


def _median_chill_hours(normals: Normals, years: int, seed: int) -> float:
    tmin, tmax = seasons_of(made_weather(normals, years, seed), hemisphere_of(normals.lat))
    hourly = hourly_of_days(tmin, tmax, normals.lat, *chill_window(tmin, tmax, normals.lat))
    return float(np.median(chill.chill_hours_0_7(hourly)))
