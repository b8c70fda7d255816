"""Daily tables: one line a day, headings to be guessed among common ones.

In: the lines of a table (separators , ; tab | or blanks; decimal point or comma). Out: `RawWeather`.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from recommender.climate.weather_files.dates import read_dates
from recommender.climate.weather_files.raw import ELEMENTS, RawWeather, numbers, readings_of, split_cells
from recommender.climate.weather_files.text import Findings, table
from recommender.errors import BadInput
from recommender.units import METRES_PER_INCH

_DATE_NAMES = {"date", "datum", "fecha", "time", "timestamp", "datetime", "obs_date",
               "observation_date", "valid",
               "yyyymmdd", "yearmoda", "mess_datum", "day_date", "date_time", "dates"}  # fmt: skip
_YEAR_NAMES, _MONTH_NAMES = (
    {"year", "yr", "yyyy", "jahr", "ano"},
    {"month", "mo", "mm", "mon", "monat", "mes"},
)
_DAY_NAMES = {"day", "dd", "da", "dy", "tag", "dia", "mday", "day_of_month"}
_DAY_OF_YEAR_NAMES = {"doy", "yday", "jday", "julian", "julian_day", "day_of_year", "dayofyear"}
_MIN_WORDS, _MAX_WORDS = (
    {"min", "minimum", "low", "tn", "tnk", "mn"},
    {"max", "maximum", "high", "tx", "txk", "mx"},
)
_TEMPERATURE_WORDS = {
    "t",
    "temp",
    "temperature",
    "air",
    "daily",
    "2m",
    "ta",
    "temps",
    "airtemp",
    "tair",
    "day",
}
_RAIN_NAMES = {"rain", "rainfall", "prcp", "precip", "precipitation", "precipitation_sum", "rain_sum", "rr",
               "rsk", "ppt", "pp", "pcp", "daily_rain", "precipitation_amount", "prec"}  # fmt: skip
_UNIT_WORDS = {"c": "degC", "degc": "degC", "celsius": "degC", "f": "degF", "degf": "degF",
               "fahrenheit": "degF", "k": "K", "kelvin": "K", "mm": "mm", "in": "inch", "inch": "inch",
               "inches": "inch"}  # fmt: skip


@dataclass(frozen=True)
class _Column:
    """What a heading says: role (date, year, month, day, doy, tmin, tmax, rain or '') and unit ('' if it says
    none).
    """

    role: str
    unit: str


def _meaning(heading: str) -> _Column:
    """Role and unit of a heading.

    >>> _meaning("Min Temp (°F)"), _meaning("tmax_degC"), _meaning("wind")
    (_Column(role='tmin', unit='degF'), _Column(role='tmax', unit='degC'), _Column(role='', unit=''))
    """
    plain = re.sub(r"(?<=[a-z])(?=[A-Z][a-z])", "_", heading.strip().strip('"')).lower()
    plain = plain.replace("°", " deg ").replace("º", " deg ").replace("ñ", "n")
    words = [word for word in re.split(r"[^a-z0-9]+", plain) if word]
    unit = ""
    if len(words) > 1 and words[-1] in _UNIT_WORDS:
        unit = _UNIT_WORDS[words.pop()]
        while len(words) > 1 and words[-1] in {"deg", "degree", "degrees"}:
            words.pop()
    name = "_".join(words)
    for role, known in (
        ("date", _DATE_NAMES), ("year", _YEAR_NAMES), ("month", _MONTH_NAMES), ("day", _DAY_NAMES),
        ("doy", _DAY_OF_YEAR_NAMES), ("rain", _RAIN_NAMES),
    ):  # fmt: skip
        if name in known:
            return _Column(role, unit)
    glued = re.fullmatch(
        r"(?:t|temp|temperature)?(min|max)(?:imum)?(?:t|temp|temperature)?", name.replace("_", "")
    )
    if glued:
        return _Column(f"t{glued.group(1)}", unit)
    rest = set(words) - _TEMPERATURE_WORDS
    if rest and rest <= _MIN_WORDS:
        return _Column("tmin", unit)
    if rest and rest <= _MAX_WORDS:
        return _Column("tmax", unit)
    return _Column("", "")


def _separator_of(line: str) -> str:
    for separator in ("\t", ";", "|", ","):
        if separator in line:
            return separator
    return " "


def _find_header(path: Path, lines: Sequence[str]) -> tuple[int, str, dict[str, tuple[int, str]], int]:
    """Index of the first data line, separator, role -> (position, unit), and the number of headings (0:
    none).
    """
    best: tuple[str, set[str], int] = ("", set(), 0)
    for at, line in enumerate(lines[:60]):
        if not line.strip():
            continue
        separator = _separator_of(line)
        headings = split_cells(line.lstrip("#").strip(), separator)
        roles: dict[str, tuple[int, str]] = {}
        for position, heading in enumerate(headings):
            meaning = _meaning(heading)
            if meaning.role and meaning.role not in roles:
                roles[meaning.role] = (position, meaning.unit)
        if "tmin" in roles and "tmax" in roles and ("date" in roles or "year" in roles):
            return at + 1, separator, roles, len(headings)
        if len(roles) > len(best[1]):
            best = (line, set(roles), at + 1)
        if re.match(r'\s*"?\d{4}-?\d{2}-?\d{2}"?[\s,;|]', line) and not best[1] and len(headings) >= 3:
            places = {"date": (0, ""), "tmin": (1, ""), "tmax": (2, "")}
            return at, separator, places | ({"rain": (3, "")} if len(headings) > 3 else {}), 0
    missing = [name for name in ("date", "tmin", "tmax") if name not in best[1]]
    if "date" in missing and "year" in best[1]:
        missing.remove("date")
    raise BadInput(
        f"No heading was found for: {', '.join(missing)}"
        if best[1]
        else "This is none of the weather files known here",
        where=f"{path}, row {best[2] or 1}",
        remedy="Give a daily table with the headings date, tmin, tmax (and rain if there is one), a"
        " GHCN-Daily file, an EPW or a TMY3 file",
    )


def _preamble(lines: Sequence[str], raw: RawWeather) -> None:
    """Station name, position and height from lines above the table, where they are plainly written."""
    text = "\n".join(lines)
    for attribute, pattern in (
        ("lat", r"\blat(?:itude)?\b[^\d\n+-]{0,12}([-+]?\d{1,2}(?:\.\d+)?)"),
        ("lon", r"\blon(?:g|gitude)?\b[^\d\n+-]{0,12}([-+]?\d{1,3}(?:\.\d+)?)"),
        (
            "elevation_m",
            r"\b(?:elev(?:ation)?|altitude)\b(?:[_ (]*m\)?)?[^\d\n+-]{0,12}([-+]?\d{1,4}(?:\.\d+)?)",
        ),
    ):
        found = re.search(pattern, text, re.IGNORECASE)
        if found:
            setattr(raw, attribute, float(found.group(1)))
    name = re.search(r"\bstation(?:\s*name)?\s*[:=,;]\s*\"?([^\n\",;]+)", text, re.IGNORECASE)
    if name:
        raw.station_name = name.group(1).strip()


def read_daily_csv(path: Path, lines: Sequence[str], findings: Findings) -> RawWeather:
    """A table with one line a day; headings, separator, decimal sign and date order are recognised."""
    start, separator, roles, header_cells = _find_header(path, lines)
    if not header_cells:
        findings.add(
            "no headings",
            "warning",
            "The table has no headings; the columns were taken as date, minimum, maximum"
            + (", rain" if "rain" in roles else ""),
            (start + 1,),
            remedy="Put the line date,tmin,tmax on top",
        )
    places = {role: position for role, (position, _) in roles.items()}
    body = [line if not line.lstrip().startswith("#") else "" for line in lines[start:]]
    frame = table(path, body, start + 1, separator, places, findings, header_cells=header_cells)
    if frame.empty:
        raise BadInput("There are no days below the headings", where=f"{path}, row {start + 1}")
    comma = separator != "," and bool(
        pd.concat([frame["tmin"], frame["tmax"]]).str.fullmatch(r"[-+]?\d+,\d+").any()
    )
    dates = read_dates(path, frame, findings)
    values = {
        element: numbers(frame[element], frame["line"], element, findings, decimal_comma=comma)
        for element in ELEMENTS
        if element in frame
    }
    if "rain" in values and roles["rain"][1] == "inch":
        values["rain"] = values["rain"] * (1000.0 * METRES_PER_INCH)
    units = {unit for role in ("tmin", "tmax") if (unit := roles[role][1])}
    if len(units) > 1:
        raise BadInput(
            "The headings give the minimum and the maximum in different units",
            where=f"{path}, row {start}",
            remedy="Use one unit for both",
        )
    raw = RawWeather(
        readings_of(dates, frame["line"].to_numpy(), values),
        "daily CSV",
        units.pop() if units else None,
        "its heading" if units or any(roles[role][1] for role in ("tmin", "tmax")) else "",
    )
    _preamble(lines[:start], raw)
    return raw
