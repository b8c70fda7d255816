"""What every reader hands on: readings in one raw form, not yet judged.

In: text cells. Out: `RawWeather`, numbers with what was unreadable reported. No layout stands here.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from recommender.climate.weather_files.text import Findings, some

ELEMENTS = ("tmin", "tmax", "rain")
TEMPERATURE_UNITS = ("degC", "degF", "K", "tenths_degC")
#: Words and numbers that stand for "no reading" in daily tables (common practice of weather services).
_MISSING_WORDS = {
    "",
    "na",
    "n/a",
    "nan",
    "null",
    "none",
    "-",
    "--",
    "---",
    ".",
    "*",
    "m",
    "missing",
    "x",
    "nd",
    "t",
}
_MISSING_NUMBERS = (
    -9999.0,
    -9999.9,
    -999.0,
    -999.9,
    -99.9,
    -99.99,
    9999.0,
    9999.9,
    99999.0,
    999.0,
    999.9,
    -99999.0,
)


@dataclass
class RawWeather:
    """What a reader hands on.

    readings: one row per reading: element (tmin | tmax | rain), date (datetime64), value (in `unit`; rain in
    mm), line. unit: one of TEMPERATURE_UNITS, or None where the file does not say. unit_from: who said so.
    hourly: date, hour (1..24), temperature_degC, line; hourly files only.
    """

    readings: pd.DataFrame
    format: str
    unit: str | None
    unit_from: str = ""
    station_id: str | None = None
    station_name: str | None = None
    lat: float | None = None
    lon: float | None = None
    elevation_m: float | None = None
    hourly: pd.DataFrame | None = None
    typical_year: bool = False
    source_years: dict[int, int] = field(default_factory=dict)


def readings_of(dates: pd.Series, lines: np.ndarray, values: dict[str, pd.Series]) -> pd.DataFrame:
    """One row per reading that is there, from one row per day."""
    parts = [
        pd.DataFrame(
            {"element": element, "date": dates.to_numpy(), "value": column.to_numpy(), "line": lines}
        )
        for element, column in values.items()
    ]
    # A day whose every value is missing still says that the day was not forgotten; it is a gap either way.
    return pd.concat(parts, ignore_index=True)


def numbers(
    cells: pd.Series, lines: pd.Series, name: str, findings: Findings, *, decimal_comma: bool = False
) -> pd.Series:
    """Text cells -> float (NaN = missing). Unreadable cells are reported with their lines and count as
    missing.
    """
    text = cells.str.strip()
    if decimal_comma:
        text = text.str.replace(",", ".", regex=False)
    plain = text.str.fullmatch(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d{1,2})?")
    value = pd.to_numeric(text.where(plain), errors="coerce").astype(float)
    missing = text.str.lower().isin(_MISSING_WORDS)
    unreadable = ~plain & ~missing
    if unreadable.any():
        example = text[unreadable].iloc[0][:30]
        findings.add(
            "unreadable number",
            "fault",
            f"{some(int(unreadable.sum()), 'cell')} in column {name} that no number can be read from (first:"
            f" “{example}”),"
            " counted as missing",
            lines[unreadable],
            count=int(unreadable.sum()),
            remedy="Put in the number, or leave the cell empty",
        )
    coded = value.isin(_MISSING_NUMBERS)
    if coded.any():
        codes = ", ".join(f"{code:g}" for code in sorted(value[coded].unique()))
        findings.add(
            "missing code",
            "note",
            f"{some(int(coded.sum()), 'code')} for missing in column {name} ({codes})",
            lines[coded],
            count=int(coded.sum()),
        )
    return value.mask(coded)


def split_cells(line: str, separator: str) -> list[str]:
    """Cells of one line; a space stands for any run of blanks."""
    if separator == " ":
        return line.split()
    return next(csv.reader([line], delimiter=separator), [])
