"""What the tests of weather files share: the layouts, and reading invented lines. All weather is invented."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd

from recommender.climate.weather import Finding, WeatherRecord, read_weather
from tests.climate.weather_samples import (
    access_lines,
    by_station_lines,
    daily_lines,
    dly_lines,
    epw_lines,
    tmy3_lines,
    write,
)

TODAY = pd.Timestamp("2026-06-01")
LAYOUTS: dict[str, Callable[[pd.DataFrame], list[str]]] = {
    "daily CSV": daily_lines,
    "GHCN-Daily .dly": dly_lines,
    "GHCN-Daily by-station CSV": by_station_lines,
    "GHCN-Daily access CSV": access_lines,
    "EPW hourly": epw_lines,
    "TMY3 hourly": tmy3_lines,
}


def read(tmp_path: Path, lines: list[str], **options: Any) -> WeatherRecord:
    return read_weather(write(tmp_path / "weather.txt", lines), today=TODAY, **options)


def of_kind(record: WeatherRecord, kind: str) -> Finding:
    found = [finding for finding in record.report if finding.kind == kind]
    assert found, f"no finding “{kind}” among {[f.kind for f in record.report]}"
    return found[0]


def kinds(record: WeatherRecord) -> set[str]:
    return {finding.kind for finding in record.report}


Edit = Callable[[list[str]], list[str]]


def put(line: int, text: str) -> Edit:
    return lambda lines: [*lines[: line - 1], text, *lines[line:]]


def insert(line: int, text: str) -> Edit:
    return lambda lines: [*lines[: line - 1], text, *lines[line - 1 :]]


def drop(first: int, last: int) -> Edit:
    return lambda lines: [*lines[: first - 1], *lines[last:]]
