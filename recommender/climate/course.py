"""The course of a year at one site, for drawing: chill as it builds up, the risk of frost, the span of
temperature.

In comes a `Profile`; out go frames with a row a day (`day`: index of the day in the season, 0 = 1 July in the
north, 1 January in the south).
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from recommender.climate import frost
from recommender.climate.figures import filled
from recommender.climate.profile import Profile
from recommender.climate.season import MIDSUMMER, MIDWINTER, SEASON_DAYS, YEAR_DAYS

_SMOOTHING_DAYS = 15


def chill_by_winter(profile: Profile, model: str = "portions") -> pd.DataFrame:
    """Running chill of each whole winter: year, day, chill [CP, or the unit of the model], at the end of each
    day."""
    running = profile.chill_build_up(model)[profile.winter_known]
    days = np.arange(*profile.chill_season)
    years = profile.year[profile.winter_known]
    return pd.DataFrame(
        {
            "year": np.repeat(years, len(days)),
            "day": np.tile(days, len(years)),
            "chill": running.ravel(),
        }
    )


def frost_risk(profile: Profile) -> pd.DataFrame:
    """Share of years with a frost still to come (spring) or already come (autumn): day, season, risk
    [0..1]."""
    middle, start = MIDSUMMER[profile.hemisphere], MIDWINTER[profile.hemisphere]
    known = profile.growing_known
    spring, autumn = np.arange(start, middle), np.arange(middle, SEASON_DAYS)
    parts = (
        ("spring", spring, frost.spring_risk(profile.last_spring_frost[known], spring)),
        ("autumn", autumn, frost.autumn_risk(profile.first_autumn_frost[known], autumn)),
    )
    frames = [pd.DataFrame({"day": days, "season": name, "risk": risk}) for name, days, risk in parts]
    return pd.concat(frames, ignore_index=True)


def temperature_bands(profile: Profile) -> pd.DataFrame:
    """From midwinter to the end of the season, 364 days: day, night_low (p10 of the minima), night, high
    (mean minimum and maximum), day_high (p90 of the maxima) [degC], over the years and smoothed over 15 days.
    """
    start = MIDWINTER[profile.hemisphere]
    days = slice(start, start + YEAR_DAYS - 1)
    low, high = filled(profile.tmin)[:, days], filled(profile.tmax)[:, days]
    bands = {
        "night_low": np.quantile(low, 0.1, axis=0),
        "night": low.mean(axis=0),
        "high": high.mean(axis=0),
        "day_high": np.quantile(high, 0.9, axis=0),
    }
    smooth = {name: _smoothed(values) for name, values in bands.items()}
    return pd.DataFrame({"day": np.arange(days.start, days.stop), **smooth})


def _smoothed(values: np.ndarray) -> np.ndarray:
    padded = np.pad(values, _SMOOTHING_DAYS // 2, mode="edge")
    return np.convolve(padded, np.full(_SMOOTHING_DAYS, 1.0 / _SMOOTHING_DAYS), mode="valid")
