"""NOAA GHCN-Daily station files: .dly (fixed width), by-station CSV (one element a row), access CSV (one day
a row).

In: the lines of a file. Out: `RawWeather` without the values that failed NOAA's own quality checks.
Column positions and flags: NOAA NCEI, readme.txt and readme-by_station.txt of GHCN-Daily version 3.
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

#: GHCN-Daily quality flags (readme.txt, section III): a value with any of them failed NOAA's own check.
GHCN_QUALITY_FLAGS = {
    "D": "duplicate",
    "G": "gap in the distribution",
    "I": "internal contradiction",
    "K": "streak of equal values",
    "L": "sum of several days",
    "M": "contradicts the record of the station",
    "N": "zero for missing",
    "O": "climatological outlier",
    "R": "contradicts the days before and after (lagged range)",
    "S": "contradicts the neighbours",
    "T": "jump in time",
    "W": "too warm for snow",
    "X": "outside physical bounds",
    "Z": "found by hand",
}
GHCN_MISSING = -9999
_GHCN_ELEMENTS = {"TMIN": "tmin", "TMAX": "tmax", "PRCP": "rain"}


def _without_failed(readings: pd.DataFrame, flags: pd.Series, findings: Findings) -> pd.DataFrame:
    """Readings without those that failed NOAA's quality checks; what failed is counted by flag."""
    failed = (flags != "") & readings["value"].notna()
    if failed.any():
        counts = flags[failed].value_counts()
        said = "; ".join(
            f"{flag} {GHCN_QUALITY_FLAGS.get(str(flag), 'unknown flag')}: {n}" for flag, n in counts.items()
        )
        findings.add(
            "quality flag",
            "note",
            f"{some(int(failed.sum()), 'value')} that failed NOAA's own quality checks, counted as missing"
            f" ({said})",
            readings["line"][failed],
            count=int(failed.sum()),
        )
    return readings.assign(value=readings["value"].mask(failed))


def _one_station(path: Path, ids: pd.Series, lines: pd.Series) -> str:
    names = ids.unique()
    if len(names) > 1:
        other = lines[ids != names[0]].iloc[0]
        raise BadInput(
            f"The file holds {len(names)} stations ({', '.join(map(str, names[:3]))})",
            where=f"{path}, row {other}",
            remedy="Give the file of one station",
        )
    return str(names[0])


def _need_temperatures(path: Path, present: Sequence[str], where: str) -> None:
    missing = [name for name in ("TMIN", "TMAX") if name not in present]
    if missing:
        raise BadInput(
            f"The station has no {' and no '.join(missing)}",
            where=f"{path}, {where}",
            remedy="Choose a station that measures both daily minimum and maximum",
        )


def read_dly(path: Path, lines: Sequence[str], findings: Findings) -> RawWeather:
    """GHCN-Daily .dly: one element and month a line: ID 1-11, year 12-15, month 16-17, element 18-21, then 31
    times value (5, tenths), measurement, quality and source flag (1 each).
    """
    number = np.arange(1, len(lines) + 1)
    good = np.array(
        [bool(re.match(r"[A-Z]{2}[A-Z0-9_-]{9}\d{4}(0[1-9]|1[0-2])[A-Z0-9]{4}", line)) for line in lines],
        dtype=bool,
    )
    filled = np.array([bool(line.strip()) for line in lines], dtype=bool)
    whole = good & np.array([len(line.rstrip()) >= 261 and len(line) <= 270 for line in lines], dtype=bool)
    if (filled & ~good).any():
        findings.add(
            "unreadable line",
            "fault",
            f"{some(int((filled & ~good).sum()), 'line')} not laid out as a GHCN-Daily month, set aside",
            number[filled & ~good],
            remedy="Fetch the file once more",
        )
    if (good & ~whole).any():
        findings.add(
            "wrong length",
            "fault",
            f"{some(int((good & ~whole).sum()), 'line')} cut off or too long; only what stands at its place"
            " was read",
            number[good & ~whole],
            remedy="Fetch the file once more",
        )
    wanted = good & np.array([line[17:21] in _GHCN_ELEMENTS for line in lines], dtype=bool)
    chosen, at = [line for line, use in zip(lines, wanted, strict=True) if use], number[wanted]
    elements = pd.Series([line[17:21] for line in chosen], dtype=object)
    _need_temperatures(path, list(elements.unique()), f"rows 1 to {len(lines)}")
    station = _one_station(path, pd.Series([line[:11] for line in chosen]), pd.Series(at))
    block = "".join(line[:269].ljust(269) for line in chosen).encode("ascii", errors="replace")
    cells = np.frombuffer(block, dtype="S1").reshape(len(chosen), 269)[:, 21:].reshape(len(chosen), 31, 8)
    text = pd.Series(np.ascontiguousarray(cells[:, :, :5]).view("S5").reshape(-1).astype("U5"))
    flags = pd.Series(np.ascontiguousarray(cells[:, :, 6]).reshape(-1).astype("U1")).str.strip()
    line = pd.Series(np.repeat(at, 31))
    value = _ghcn_numbers(text.str.strip(), line, findings)
    years = np.repeat(np.array([int(row[11:15]) for row in chosen]), 31)
    months = np.repeat(np.array([int(row[15:17]) for row in chosen]), 31)
    civil = CivilDates.of(years, months, np.tile(np.arange(1, 32), len(chosen)))
    impossible = ~civil.real & value.notna().to_numpy()
    if impossible.any():
        findings.add(
            "impossible date",
            "fault",
            f"{some(int(impossible.sum()), 'value')} at days that the month does not have, set aside",
            line[impossible],
            count=int(impossible.sum()),
            remedy="Fetch the file once more",
        )
    readings = pd.DataFrame(
        {
            "element": np.repeat(elements.map(_GHCN_ELEMENTS).to_numpy(), 31),
            "date": civil.dates,
            "value": value,
            "line": line,
        }
    )
    readings = _without_failed(readings, flags, findings)
    readings = readings[civil.real & readings["value"].notna().to_numpy()].reset_index(drop=True)
    return RawWeather(_rain_in_mm(readings), "GHCN-Daily .dly", "tenths_degC", "the format", station)


def _ghcn_numbers(text: pd.Series, lines: pd.Series, findings: Findings) -> pd.Series:
    """GHCN-Daily values are whole tenths; -9999 and an empty place are missing; the rest is reported."""
    plain = text.str.fullmatch(r"-?\d{1,5}")
    value = pd.to_numeric(text.where(plain), errors="coerce").astype(float)
    unreadable = ~plain & (text != "")
    if unreadable.any():
        findings.add(
            "unreadable number",
            "fault",
            f"{some(int(unreadable.sum()), 'value')} that are no whole number (first:"
            f" “{text[unreadable].iloc[0][:30]}”),"
            " counted as missing",
            lines[unreadable],
            count=int(unreadable.sum()),
            remedy="Fetch the file once more",
        )
    return value.mask(value == GHCN_MISSING)


def _rain_in_mm(readings: pd.DataFrame) -> pd.DataFrame:
    """GHCN-Daily rain stands in tenths of a millimetre."""
    rain = readings["element"] == "rain"
    return readings.assign(value=readings["value"].where(~rain, readings["value"] / 10.0))


def read_by_station(path: Path, lines: Sequence[str], findings: Findings) -> RawWeather:
    """GHCN-Daily by-station CSV: ID, YYYYMMDD, element, value (tenths), M, Q, S flags, time; with or without
    headings.
    """
    start = 1 if lines[0].upper().replace('"', "").startswith("ID,") else 0
    places = {"id": 0, "date": 1, "element": 2, "value": 3, "quality": 5}
    frame = table(path, lines[start:], start + 1, ",", places, findings)
    known = frame["element"].str.fullmatch(r"[A-Z0-9]{4}")
    if (~known).any():
        findings.add(
            "unreadable line",
            "fault",
            f"{some(int((~known).sum()), 'line')} naming no element, set aside",
            frame["line"][~known],
            remedy="Fetch the file once more",
        )
    frame = frame[frame["element"].isin(list(_GHCN_ELEMENTS))].reset_index(drop=True)
    _need_temperatures(path, list(frame["element"].unique()), "column 3")
    station = _one_station(path, frame["id"], frame["line"])
    readings = pd.DataFrame(
        {
            "element": frame["element"].map(_GHCN_ELEMENTS),
            "date": read_dates(path, frame, findings),
            "value": _ghcn_numbers(frame["value"], frame["line"], findings),
            "line": frame["line"],
        }
    )
    readings = _without_failed(readings, frame["quality"], findings)
    return RawWeather(
        _rain_in_mm(readings), "GHCN-Daily by-station CSV", "tenths_degC", "the format", station
    )


def read_access(path: Path, lines: Sequence[str], findings: Findings) -> RawWeather:
    """GHCN-Daily access CSV: one day a row, STATION and DATE, an element a column, its flags in
    <element>_ATTRIBUTES.

    Values in whole numbers are tenths of degC, as NOAA serves them; with decimals they were asked for in
    other units.
    """
    at = next(n for n, line in enumerate(lines) if line.strip())
    headings = [cell.strip().upper() for cell in split_cells(lines[at], ",")]
    _need_temperatures(path, headings, f"row {at + 1}")
    if not {"STATION", "DATE"} <= set(headings):
        raise BadInput(
            "The headings name no STATION or no DATE",
            where=f"{path}, row {at + 1}",
            remedy="Fetch the file once more, or mend its headings",
        )
    names = ("STATION", "DATE", "LATITUDE", "LONGITUDE", "ELEVATION", "NAME")
    wanted = [*names, *(e + s for e in _GHCN_ELEMENTS for s in ("", "_ATTRIBUTES"))]
    places = {name.lower(): headings.index(name) for name in wanted if name in headings}
    frame = table(path, lines[at + 1 :], at + 2, ",", places, findings)
    if frame.empty:
        raise BadInput("There are no days below the headings", where=f"{path}, row {at + 1}")
    station = _one_station(path, frame["station"], frame["line"])
    dates = read_dates(path, frame, findings)
    decimals = bool(pd.concat([frame["tmin"], frame["tmax"]]).str.contains(".", regex=False).any())
    parts, flags = [], []
    for name, element in _GHCN_ELEMENTS.items():
        column = name.lower()
        if column not in frame:
            continue
        value = numbers(frame[column], frame["line"], name, findings)
        parts.append(readings_of(dates, frame["line"].to_numpy(), {element: value}))
        attributes = frame.get(column + "_attributes", pd.Series("", index=frame.index))
        flags.append(attributes.str.extract(r"^[^,]*,([^,]*)", expand=False).fillna("").str.strip())
    readings = _without_failed(
        pd.concat(parts, ignore_index=True), pd.concat(flags, ignore_index=True), findings
    )
    raw = RawWeather(
        readings if decimals else _rain_in_mm(readings),
        "GHCN-Daily access CSV",
        None if decimals else "tenths_degC",
        "" if decimals else "the format",
        station,
    )
    for attribute, column in (("lat", "latitude"), ("lon", "longitude"), ("elevation_m", "elevation")):
        if column in frame:
            value = pd.to_numeric(frame[column], errors="coerce").dropna()
            setattr(raw, attribute, float(value.iloc[-1]) if len(value) else None)
    if raw.elevation_m == -999.9:
        raw.elevation_m = None
    raw.station_name = str(frame["name"].iloc[-1]) if "name" in frame else None
    return raw
