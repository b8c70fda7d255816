"""Days -> whole seasons of 548 days, from made weather, from a daily record, or from one typical year.

In come daily series; out come arrays (Y, 548) of daily extremes [degC], NaN where a record has no day. Which
figures a gap costs is decided in figures.py. Method page: docs/weather-files.md.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from recommender.climate.generator import DailyWeather, generate
from recommender.climate.hourly import Array
from recommender.climate.normals import Normals
from recommender.climate.season import (
    SEASON_DAYS,
    YEAR_DAYS,
    YEAR_STARTS,
    Hemisphere,
    hemisphere_of,
    season_days_of_year,
)
from recommender.errors import BadInput

_DAYS_WITH_LEAPS = SEASON_DAYS + 2
FEWEST_SEASONS_FOR_ZONE = 20


@dataclass(frozen=True, eq=False)
class Seasons:
    """year (Y,): harvest years; tmin, tmax (Y, 548): daily extremes [degC], NaN where no day is known."""

    year: NDArray[np.int64]
    tmin: Array
    tmax: Array


def made_weather(normals: Normals, seasons: int, seed: int) -> DailyWeather:
    """Daily weather made from the normals of a site, long enough for so many seasons. Raises as
    `generate`.
    """
    start = YEAR_STARTS[hemisphere_of(normals.lat)]
    extreme = normals.annual_extreme_min_degC
    return generate(normals.tmin, normals.tmax, extreme, seasons + 1, seed, winter_year_start=start)


def seasons_of(weather: DailyWeather, hemisphere: Hemisphere) -> tuple[Array, Array]:
    """Cut a run of N made years into N - 1 overlapping seasons: tmin, tmax (N - 1, 548) [degC]."""
    days = (
        YEAR_STARTS[hemisphere]
        + np.arange(len(weather.tmin) - 1)[:, None] * YEAR_DAYS
        + np.arange(SEASON_DAYS)
    )
    return weather.tmin.ravel()[days], weather.tmax.ravel()[days]


def checked_record(frame: pd.DataFrame) -> pd.DataFrame:
    """The record by date: tmin_degC, tmax_degC.

    frame: columns date, tmin_degC, tmax_degC, one row a day in any order. Raises BadInput if it is empty or
    lacks a column, a date comes twice, or a cell is no date or no temperature.
    """
    missing = {"date", "tmin_degC", "tmax_degC"} - set(frame.columns)
    if missing:
        raise BadInput(f"The daily record has no column {', '.join(sorted(missing))}")
    if frame.empty:
        raise BadInput("The daily record is empty")
    try:
        dates = pd.DatetimeIndex(pd.to_datetime(frame["date"])).normalize()
        values = frame[["tmin_degC", "tmax_degC"]].astype(np.float64)
    except (ValueError, TypeError) as fault:
        raise BadInput(
            f"The daily record holds something that is no date or no temperature: {fault}",
            remedy="Check the file with `orchardwright weather check`, which names the line",
        ) from fault
    if dates.has_duplicates:
        twice = dates[dates.duplicated()][0]
        raise BadInput(
            f"{twice:%Y-%m-%d} occurs twice in the daily record", remedy="Keep one row for each day"
        )
    return values.set_axis(dates).sort_index()


def seasons_of_record(record: pd.DataFrame, hemisphere: Hemisphere) -> Seasons:
    """Every season that the record (as `checked_record` gives it) touches, 29 February left out."""
    first, last = record.index[0], record.index[-1]
    years, cut = [], []
    for harvest in range(first.year, last.year + 2):
        start = pd.Timestamp(harvest - 1, 7 if hemisphere == "north" else 1, 1)
        days = pd.date_range(start, periods=_DAYS_WITH_LEAPS)
        days = days[~((days.month == 2) & (days.day == 29))][:SEASON_DAYS]
        season = record.reindex(days).to_numpy(copy=True)
        # A day with one extreme only says neither what its hours were nor how cold it got.
        season[np.isnan(season).any(axis=1)] = np.nan
        if np.isfinite(season).any():
            years.append(harvest)
            cut.append(season)
    if not cut:
        raise BadInput("No day of the record has both a minimum and a maximum")
    both = np.array(cut)
    return Seasons(np.array(years), both[:, :, 0].copy(), both[:, :, 1].copy())


def season_of_typical_year(record: pd.DataFrame, hemisphere: Hemisphere) -> Seasons:
    """The one season that a typical year makes when it is laid end to end with itself.

    record: as `checked_record` gives it. Raises BadInput if a day of the calendar is missing.
    """
    dates = pd.DatetimeIndex(record.index)
    usual = record[~((dates.month == 2) & (dates.day == 29))]
    of_year = pd.DatetimeIndex(usual.index).map(lambda day: day.replace(year=2001).day_of_year)
    year = usual.set_axis(pd.Index(of_year)).groupby(level=0).first().reindex(range(1, YEAR_DAYS + 1))
    gaps = int(year.isna().any(axis=1).sum())
    if gaps:
        raise BadInput(
            f"The typical year lacks {gaps} days",
            remedy="Use a whole file, or the built-in climate with --place",
        )
    days = year.to_numpy()[season_days_of_year(hemisphere) - 1]
    return Seasons(np.array([1]), days[None, :, 0].copy(), days[None, :, 1].copy())


def record_sentences(
    year: NDArray[np.int64], winters: NDArray[np.bool_], growing: NDArray[np.bool_]
) -> list[str]:
    """How much of a record could be used, and what could not; ends that the record never reached go
    unsaid."""
    said = [
        f"Daily record: {winters.sum()} whole winters and {growing.sum()} whole years of frosts and warmth."
    ]
    for known, what in ((winters, "winters before the harvests"), (growing, "frosts and warmth")):
        inside = np.flatnonzero(known)
        span = slice(inside[0], inside[-1]) if len(inside) else slice(0)
        lost = year[span][~known[span]]
        if len(lost):
            said.append(f"Left out, with days missing: the {what} of {', '.join(map(str, lost))}.")
    if winters.sum() < FEWEST_SEASONS_FOR_ZONE:
        said.append(
            f"A hardiness zone should rest on {FEWEST_SEASONS_FOR_ZONE} winters; here are {winters.sum()}."
        )
    return said
