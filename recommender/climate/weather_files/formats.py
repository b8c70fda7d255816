"""Which layout a weather file has, told from its content; the file's name does not matter.

In: the lines of a file. Out: `RawWeather` from the reader of that layout.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from pathlib import Path

from recommender.climate.weather_files.daily_csv import read_daily_csv
from recommender.climate.weather_files.ghcn import read_access, read_by_station, read_dly
from recommender.climate.weather_files.hourly import read_epw, read_tmy3
from recommender.climate.weather_files.raw import RawWeather
from recommender.climate.weather_files.text import Findings


def read_format(path: Path, lines: Sequence[str], findings: Findings) -> RawWeather:
    """Recognise the layout by its content and read it. Raises BadInput if no layout fits."""
    return _reader_of(lines)(path, lines, findings)


def _reader_of(lines: Sequence[str]) -> Callable[[Path, Sequence[str], Findings], RawWeather]:
    head = [line for line in lines[:40] if line.strip()]
    first = head[0].lstrip() if head else ""
    names = {cell.strip().strip('"').upper() for cell in first.split(",")}
    if first.upper().startswith("LOCATION,"):
        return read_epw
    if len(head) > 1 and "dry-bulb (c)" in head[1].lower():
        return read_tmy3
    if any(re.match(r"[A-Z]{2}[A-Z0-9_-]{9}\d{6}[A-Z0-9]{4}[ \-\d]{5}", line) for line in head[:5]):
        return read_dly
    if {"ID", "ELEMENT"} <= names or any(
        re.match(r'"?[A-Z]{2}[A-Z0-9_-]{9}"?,"?\d{8}"?,"?[A-Z0-9]{4}"?,', line) for line in head[:5]
    ):
        return read_by_station
    if {"STATION", "DATE"} <= names and names & {"TMIN", "TMAX"}:
        return read_access
    return read_daily_csv
