"""Hourly files: EPW and TMY3, made into daily extremes; the hours are kept beside them.

In: the lines of a file. Out: `RawWeather` with `hourly`; a typical year is named as such.
EPW: Auxiliary Programs manual (EnergyPlus weather file), US Department of Energy. TMY3: Wilcox & Marion
(2008), Users Manual for TMY3 Data Sets, NREL/TP-581-43156.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pandas as pd

from recommender.climate.weather_files.dates import CivilDates, read_dates
from recommender.climate.weather_files.raw import RawWeather, numbers, readings_of, split_cells
from recommender.climate.weather_files.text import Findings, some, table
from recommender.errors import BadInput

#: A day of an hourly file counts when at least this many of its 24 hours are there (our choice).
HOURS_NEEDED = 20


def read_epw(path: Path, lines: Sequence[str], findings: Findings) -> RawWeather:
    """EPW: eight header lines, then year, month, day, hour 1-24, minute, flags, dry bulb [degC], ..."""
    location = split_cells(lines[0], ",")
    start = next((n + 1 for n, line in enumerate(lines[:40]) if line.upper().startswith("DATA PERIODS")), 8)
    places = {"year": 0, "month": 1, "day": 2, "hour": 3, "temperature": 6}
    frame = table(path, lines[start:], start + 1, ",", places, findings)
    hours = pd.to_numeric(frame["hour"], errors="coerce")
    told = " ".join(
        [*location[4:5], *(line for line in lines[:start] if line.upper().startswith("COMMENTS"))]
    )
    says_typical = bool(re.search(r"\b(TMY|IWEC|CWEC|TRY|typical)", told, re.IGNORECASE))
    return _hourly(path, frame, hours, 99.9, "EPW hourly", location, (1, 6, 7, 9), says_typical, findings)


def read_tmy3(path: Path, lines: Sequence[str], findings: Findings) -> RawWeather:
    """TMY3: a station line, a line of headings, then Date (MM/DD/YYYY), Time (HH:MM, 01:00 to 24:00), ...,
    Dry-bulb (C).
    """
    station, headings = (
        split_cells(lines[0], ","),
        [cell.strip().lower() for cell in split_cells(lines[1], ",")],
    )
    if "dry-bulb (c)" not in headings:
        raise BadInput(
            "No column is headed Dry-bulb (C)",
            where=f"{path}, row 2",
            remedy="Fetch the file once more, or mend its headings",
        )
    places = {
        "date": next((n for n, name in enumerate(headings) if name.startswith("date")), 0),
        "hour": next((n for n, name in enumerate(headings) if name.startswith("time")), 1),
        "temperature": headings.index("dry-bulb (c)"),
    }
    frame = table(path, lines[2:], 3, ",", places, findings)
    parts = frame["date"].str.split("/", expand=True).reindex(columns=range(3)).astype(object).fillna("")
    frame = frame.drop(columns="date").assign(year=parts[2], month=parts[0], day=parts[1])
    hours = pd.to_numeric(frame["hour"].str.split(":").str[0], errors="coerce")
    return _hourly(path, frame, hours, -9900.0, "TMY3 hourly", station, (1, 4, 5, 6), False, findings)


def _hourly(
    path: Path,
    frame: pd.DataFrame,
    hours: pd.Series,
    missing: float,
    name: str,
    header: Sequence[str],
    where: tuple[int, int, int, int],
    says_typical: bool,
    findings: Findings,
) -> RawWeather:
    """Hourly rows -> daily extremes. A typical year (months of different years) is laid on the year 2001."""
    if frame.empty:
        raise BadInput("There are no hours below the header", where=f"{path}, row 1")
    raw_dates = read_dates(path, frame, findings)
    value = numbers(frame["temperature"], frame["line"], "dry bulb", findings)
    value = value.mask(value == missing)
    bad_hour = ~hours.between(0, 24) & raw_dates.notna()
    if bad_hour.any():
        findings.add(
            "impossible hour",
            "fault",
            f"{some(int(bad_hour.sum()), 'line')} without an hour between 0 and 24, set aside",
            frame["line"][bad_hour],
            remedy="Mend the hour in those lines",
        )
    hourly = pd.DataFrame(
        {"date": raw_dates, "hour": hours, "temperature_degC": value, "line": frame["line"]}
    )
    hourly = hourly[raw_dates.notna() & ~bad_hour].reset_index(drop=True)
    if hourly.empty:
        raise BadInput(
            "No line of the file has a date and an hour", where=f"{path}, row {frame['line'].iloc[0]}"
        )
    hourly["hour"] = hourly["hour"].astype(int)
    step = hourly["date"].diff().dt.days.dropna()
    # Months of a typical year come from different years, so its dates leap; a record runs on from day to day.
    one_year = len(hourly) <= 24 * 370 and len(hourly["date"].dt.month.unique()) > 1
    typical = one_year and bool(says_typical or (step < 0).any() or (step > 27).any())
    source_years: dict[int, int] = {}
    if typical:
        source_years = {
            int(m): int(y) for m, y in hourly.groupby(hourly["date"].dt.month)["date"].first().dt.year.items()
        }
        hourly = _on_one_year(hourly, findings)
    _report_hourly(hourly, typical, source_years, findings)
    days = hourly.groupby("date", sort=False).agg(
        tmin=("temperature_degC", "min"),
        tmax=("temperature_degC", "max"),
        n=("temperature_degC", "count"),
        line=("line", "first"),
    )
    thin = days["n"] < HOURS_NEEDED
    if thin.any():
        findings.add(
            "too few hours",
            "fault",
            f"{some(int(thin.sum()), 'day')} with fewer than {HOURS_NEEDED} of 24 hours, counted as missing",
            days["line"][thin],
            remedy="Put in the missing hours",
        )
    dates = pd.Series(days.index)
    values = {e: days[e].mask(thin).reset_index(drop=True) for e in ("tmin", "tmax")}
    raw = RawWeather(
        readings_of(dates, days["line"].to_numpy(), values), name, "degC", "the format",
        hourly=hourly, typical_year=typical, source_years=source_years,
    )  # fmt: skip
    cells = [header[n].strip() if n < len(header) else "" for n in where]
    raw.station_name = cells[0] or None
    position = pd.to_numeric(pd.Series(cells[1:]), errors="coerce")
    raw.lat, raw.lon, raw.elevation_m = (None if np.isnan(x) else float(x) for x in position)
    return raw


def _on_one_year(hourly: pd.DataFrame, findings: Findings) -> pd.DataFrame:
    month, day = hourly["date"].dt.month, hourly["date"].dt.day
    leap = (month == 2) & (day == 29)
    if leap.any():
        findings.add(
            "leap day",
            "note",
            "A typical year has 365 days; its 29 February was left out",
            hourly["line"][leap],
            count=int(leap.sum()),
        )
    hourly, month, day = hourly[~leap], month[~leap], day[~leap]
    dates = CivilDates.of(np.full(len(hourly), 2001), month.to_numpy(), day.to_numpy()).dates
    return hourly.assign(date=dates).reset_index(drop=True)


def _report_hourly(
    hourly: pd.DataFrame, typical: bool, source_years: dict[int, int], findings: Findings
) -> None:
    if typical:
        years = sorted(set(source_years.values()))
        findings.add(
            "typical year",
            "warning",
            f"This is a typical year stitched from chosen months of {years[0]} to {years[-1]}, not a record:"
            " it has no hard winter and no late frost to learn from",
            remedy="Use it for hourly curves; take the zone and the frost dates from a daily record",
        )
    findings.add(
        "hourly",
        "note",
        "Daily minimum and maximum are those of the 24 hourly readings, so they miss the true extremes by"
        " some tenths"
        " of a degree",
        count=len(hourly),
    )
    twice = hourly.duplicated(["date", "hour"])
    if twice.any():
        findings.add(
            "duplicate hour",
            "fault",
            f"{some(int(twice.sum()), 'hour')} given twice; all were used for the day's extremes",
            hourly["line"][twice],
            remedy="Remove the second of each",
        )
