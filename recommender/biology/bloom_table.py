"""Bloom of a list of varieties as tables: one row a variety and year, or one row a variety.

In come the catalog's wide traits and a climate profile; out go frames with dates as text, for commands, pages
and charts.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from recommender.biology.bloom import Bloom, bloom
from recommender.biology.phenology import iso_date

if TYPE_CHECKING:
    from recommender.climate.profile import Profile

FIRST_MADE_UP_YEAR = 2001
"""Made-up seasons, numbered from 1, are dated from here on, so that every date is one."""


def made_up_years(profile: Profile) -> bool:
    """Whether the seasons of a profile are numbered from 1 because no real years stand behind them."""
    return bool(profile.year.max() < 1000)


def bloom_records(traits: pd.DataFrame, profile: Profile, blooms: Bloom | None = None) -> pd.DataFrame:
    """One row a variety and year: crop, variety, year, full_bloom (ISO date, None without bloom), error_days,
    first_flowers, last_flowers, short_of_chill, told_by, standing.

    Years whose winter a weather record lacks are left out. `year` is the harvest year; under made-up weather
    season 1 bears `FIRST_MADE_UP_YEAR`, and `made_up` is true.
    """
    blooms = blooms or bloom(traits, profile)
    invented = made_up_years(profile)
    named = profile.year + (FIRST_MADE_UP_YEAR - 1 if invented else 0)
    years = np.tile(named, len(traits))
    each = np.repeat(np.arange(len(traits)), len(profile.year))

    def dates(days: np.ndarray[tuple[int, int], np.dtype[np.float64]]) -> list[str | None]:
        pairs = zip(days.ravel().tolist(), years.tolist(), strict=True)
        return [iso_date(day, year, profile.hemisphere) for day, year in pairs]

    whole = np.tile(profile.winter_known | np.isfinite(blooms.day).any(axis=0), len(traits))
    frame = pd.DataFrame(
        {
            "crop": traits["crop"].to_numpy()[each],
            "variety": traits["variety"].to_numpy()[each],
            "year": years,
            "full_bloom": pd.Series(dates(blooms.day), dtype=object),
            "error_days": blooms.error_d[each].round(1),
            "first_flowers": pd.Series(dates(blooms.start), dtype=object),
            "last_flowers": pd.Series(dates(blooms.end), dtype=object),
            "short_of_chill": blooms.short_of_chill.ravel().round(2),
            "told_by": blooms.told_by[each],
            "standing": blooms.standing[each],
            "made_up": np.full(len(years), invented),
        }
    )
    return frame[whole].reset_index(drop=True)


def bloom_summary(traits: pd.DataFrame, profile: Profile, blooms: Bloom | None = None) -> pd.DataFrame:
    """One row a variety, earliest first: crop, variety, early, middle, late (MM-DD of p10, p50, p90 over the
    years, None where most years have no bloom), their days of the season, start_day and end_day (median first
    and last flowers), error_days, short_of_chill (share of winters), told_by, standing."""
    blooms = blooms or bloom(traits, profile)
    day = np.where(np.isnan(blooms.day), np.inf, blooms.day)
    ordered = np.sort(day, axis=1)
    last = ordered.shape[1] - 1
    parts = {
        name: ordered[:, round(q * last)] for name, q in (("early", 0.1), ("middle", 0.5), ("late", 0.9))
    }
    frame = traits[["crop", "variety"]].reset_index(drop=True)
    for name, days in parts.items():
        known = np.where(np.isfinite(days), days, np.nan)
        dates = [profile.date(value) for value in known.tolist()]
        frame[name] = pd.Series(dates, dtype=object).where(np.isfinite(parts["middle"]), None)
        frame[f"{name}_day"] = known
    blooming = np.isfinite(blooms.day).any(axis=1)
    for name, days in (("start_day", blooms.start), ("end_day", blooms.end)):
        values = np.full(len(frame), np.nan)
        values[blooming] = np.nanmedian(days[blooming], axis=1)
        frame[name] = values
    frame["error_days"] = blooms.error_d
    frame["short_of_chill"] = blooms.chill_failure.mean(axis=1)
    frame["told_by"], frame["standing"] = blooms.told_by, blooms.standing
    return frame.sort_values("middle_day", kind="stable", ignore_index=True)
