"""Weather records from files: daily minimum and maximum, judged, with everything odd reported by line number.

In: a daily table (CSV), a GHCN-Daily station file (.dly, by-station CSV or access CSV, plain or gzip), an EPW
or a TMY3 file. Out: `WeatherRecord`. No network is used here (see fetch.py); the readers stand in
weather_files/.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from recommender.climate.weather_files.checks import GAP_DAYS, fill_gaps, judged
from recommender.climate.weather_files.formats import read_format
from recommender.climate.weather_files.raw import TEMPERATURE_UNITS
from recommender.climate.weather_files.text import Finding, Findings, read_lines, some
from recommender.errors import BadInput

__all__ = ["FIGURES", "GAP_DAYS", "FigureNeed", "Finding", "WeatherRecord", "read_weather"]

#: Parts of a season by hemisphere: month of its first day, months, years before the harvest year.
_PARTS: dict[str, dict[str, tuple[int, int, int]]] = {
    "winter": {"north": (10, 6, 1), "south": (4, 6, 1)},
    "summer": {"north": (4, 6, 0), "south": (10, 6, 1)},
    "year": {"north": (1, 12, 0), "south": (7, 12, 1)},
}


@dataclass(frozen=True)
class FigureNeed:
    """How many whole seasons a figure needs before it can be trusted. part: winter | summer | year."""

    figure: str
    years: int
    part: str
    basis: str
    source: str


#: Fewer seasons than this still give a figure, but it is named as too short.
FIGURES = (
    FigureNeed("hardiness zone (mean of yearly coldest days)", 20, "winter", "common practice",
               "zone maps average the yearly coldest temperature over at least 20 years"),
    FigureNeed("winter chill, one winter in ten", 10, "winter", "common practice",
               "the 10 % point of fewer than ten winters lies below the lowest of them"),
    FigureNeed("frost dates, one year in ten", 10, "year", "common practice",
               "the 10 % point of fewer than ten years lies beyond the earliest or latest of them"),
    FigureNeed("coldest winter in fifty years", 25, "winter", "common practice",
               "an extreme-value fit is not carried further than about twice the length of the record"),
    FigureNeed("summer warmth and degree days", 10, "summer", "common practice",
               "ten years settle a mean within about a third of the year-to-year spread"),
    FigureNeed("climate normals", 30, "year", "published",
               "WMO-No. 1203, Guidelines on the Calculation of Climate Normals (2017): 30 years"),
)  # fmt: skip


@dataclass(frozen=True)
class WeatherRecord:
    """Daily weather of one station.

    frame: date (datetime64), tmin_degC, tmax_degC, rain_mm (NaN = missing), one row a day without a break.
    unit: the unit the file's temperatures were in. report: what was found, faults first.
    filled_days: days with a value filled over a gap of up to five days. long_gaps: first, last, days of the
    others. hourly: date, hour (1..24, ending), temperature_degC; hourly files only. typical_year: months of
    different years (source_years: month -> year) laid on the year 2001. lat, lon [degrees], elevation_m:
    where the file gives them.
    """

    frame: pd.DataFrame
    path: Path
    format: str
    unit: str
    report: tuple[Finding, ...]
    station_id: str | None = None
    station_name: str | None = None
    lat: float | None = None
    lon: float | None = None
    elevation_m: float | None = None
    filled_days: int = 0
    long_gaps: pd.DataFrame = field(default_factory=pd.DataFrame)
    hourly: pd.DataFrame | None = None
    typical_year: bool = False
    source_years: dict[int, int] = field(default_factory=dict)

    @property
    def southern(self) -> bool:
        """Southern hemisphere: by latitude, or, where the file gives none, by the season of the warmest
        months.
        """
        if self.lat is not None:
            return self.lat < 0.0
        by_month = self.frame.groupby(self.frame["date"].dt.month)["tmax_degC"].mean()
        if len(by_month) < 12:
            return False
        return bool(by_month.loc[[12, 1, 2]].mean() > by_month.loc[[6, 7, 8]].mean())

    def whole_seasons(self, part: str) -> tuple[int, ...]:
        """Harvest years in which no day of the part is missing (29 February aside).

        winter: the October to March before harvest in the north, April to September in the south. summer: the
        half year after it. year: the twelve months from midwinter around the harvest.
        """
        return self._seasons(part)[0]

    def lost_seasons(self, part: str) -> tuple[int, ...]:
        """Harvest years whose part lies inside the record but lacks a day."""
        return self._seasons(part)[1]

    def _seasons(self, part: str) -> tuple[tuple[int, ...], tuple[int, ...]]:
        start, months, years_before = _PARTS[part]["south" if self.southern else "north"]
        leap_day = (self.frame["date"].dt.month == 2) & (self.frame["date"].dt.day == 29)
        good = self.frame[["tmin_degC", "tmax_degC"]].notna().all(axis=1) | leap_day
        good.index = pd.DatetimeIndex(self.frame["date"])
        first, last = good.index[0], good.index[-1]
        whole: list[int] = []
        lost: list[int] = []
        for harvest in range(first.year, last.year + 2):
            opens = pd.Timestamp(harvest - years_before, start, 1)
            closes = opens + pd.DateOffset(months=months) - pd.Timedelta(days=1)
            if opens >= first and closes <= last:
                (whole if good.loc[opens:closes].all() else lost).append(harvest)
        return tuple(whole), tuple(lost)

    def figures(self) -> pd.DataFrame:
        """Per figure: figure, needs (years), has (whole seasons), enough, part, basis, source."""
        has = {part: len(self.whole_seasons(part)) for part in ("winter", "summer", "year")}
        if self.typical_year:
            has = dict.fromkeys(has, 0)
        return pd.DataFrame(
            {
                "figure": [need.figure for need in FIGURES],
                "needs": [need.years for need in FIGURES],
                "has": [has[need.part] for need in FIGURES],
                "enough": [has[need.part] >= need.years for need in FIGURES],
                "part": [need.part for need in FIGURES],
                "basis": [need.basis for need in FIGURES],
                "source": [need.source for need in FIGURES],
            }
        )

    def monthly(self) -> pd.DataFrame:
        """Twelve rows: month, lowest, tmin_p10, tmin_mean, tmax_mean, tmax_p90, highest [degC], rain_mm
        (month's mean).
        """
        group = self.frame.groupby(self.frame["date"].dt.month)
        months = pd.DataFrame(
            {
                "lowest": group["tmin_degC"].min(),
                "tmin_p10": group["tmin_degC"].quantile(0.1),
                "tmin_mean": group["tmin_degC"].mean(),
                "tmax_mean": group["tmax_degC"].mean(),
                "tmax_p90": group["tmax_degC"].quantile(0.9),
                "highest": group["tmax_degC"].max(),
                "rain_mm": group["rain_mm"].mean() * group["date"].first().dt.days_in_month,
            }
        ).reindex(range(1, 13))
        return months.rename_axis("month").reset_index()

    def yearly(self) -> pd.DataFrame:
        """One row a calendar year: year, days (with both values), coldest, warmest [degC]."""
        good = self.frame["tmin_degC"].notna() & self.frame["tmax_degC"].notna()
        year = self.frame["date"].dt.year
        years = pd.DataFrame(
            {
                "days": good.groupby(year).sum(),
                "coldest": self.frame["tmin_degC"].groupby(year).min(),
                "warmest": self.frame["tmax_degC"].groupby(year).max(),
            }
        )
        return years.rename_axis("year").reset_index()

    def to_dict(self) -> dict[str, Any]:
        """Everything but the series itself, as plain data for JSON (no NaN: None)."""
        days, good = len(self.frame), self.frame[["tmin_degC", "tmax_degC"]].notna().all(axis=1)
        return {
            "file": str(self.path),
            "format": self.format,
            "unit": self.unit,
            "station_id": self.station_id,
            "station_name": self.station_name,
            "lat": self.lat,
            "lon": self.lon,
            "elevation_m": self.elevation_m,
            "hemisphere": "south" if self.southern else "north",
            "first_day": f"{self.frame['date'].iloc[0]:%Y-%m-%d}",
            "last_day": f"{self.frame['date'].iloc[-1]:%Y-%m-%d}",
            "days": days,
            "days_with_both": int(good.sum()),
            "filled_days": self.filled_days,
            "typical_year": self.typical_year,
            "source_years": {str(month): year for month, year in self.source_years.items()},
            "whole_winters": list(self.whole_seasons("winter")),
            "whole_years": list(self.whole_seasons("year")),
            "long_gaps": [
                {"first": f"{first:%Y-%m-%d}", "last": f"{last:%Y-%m-%d}", "days": int(days)}
                for first, last, days in self.long_gaps.to_numpy().tolist()
            ],
            "figures": self.figures().to_dict("records"),
            "report": [finding.to_dict() for finding in self.report],
        }


def read_weather(
    path: str | Path, *, units: str | None = None, lat: float | None = None, today: pd.Timestamp | None = None
) -> WeatherRecord:
    """Read a weather file of any known layout.

    units: degC, degF, K or tenths_degC, where the file does not say or says it wrongly. lat: latitude
    [degrees] where the file gives none. today: days after it are set aside (default: the computer's date).
    Raises BadInput (no such file, not text, no known layout, no usable day; with row and column),
    StorageFault.
    """
    if units is not None and units not in TEMPERATURE_UNITS:
        raise BadInput(
            f"“{units}” is no unit of temperature known here",
            where="units",
            remedy=f"Use one of {', '.join(TEMPERATURE_UNITS)}",
        )
    path = Path(path)
    findings = Findings()
    lines = read_lines(path, findings)
    raw = read_format(path, lines, findings)
    if lat is not None:
        raw.lat = lat
    now = pd.Timestamp.now() if today is None else today
    frame, unit = judged(path, raw, findings, units=units, today=now.normalize())
    frame, filled, gaps = fill_gaps(frame, findings)
    columns = ["date", "tmin_degC", "tmax_degC", "rain_mm"]
    record = WeatherRecord(
        frame=frame[columns].reset_index(drop=True),
        path=path,
        format=raw.format,
        unit=unit,
        report=(),
        station_id=raw.station_id,
        station_name=raw.station_name,
        lat=_within(raw.lat, 90.0),
        lon=_within(raw.lon, 180.0),
        elevation_m=raw.elevation_m,
        filled_days=filled,
        long_gaps=gaps,
        hourly=raw.hourly,
        typical_year=raw.typical_year,
        source_years=raw.source_years,
    )
    _report_seasons(record, findings)
    return _with_report(record, findings)


def _within(value: float | None, most: float) -> float | None:
    return value if value is not None and abs(value) <= most else None


def _with_report(record: WeatherRecord, findings: Findings) -> WeatherRecord:
    values = {name: getattr(record, name) for name in record.__dataclass_fields__}
    return WeatherRecord(**(values | {"report": findings.done()}))


def _report_seasons(record: WeatherRecord, findings: Findings) -> None:
    """Which winters and harvests inside the record drop out, and whether the record is long enough at all."""
    if record.typical_year:
        return
    lost = record.lost_seasons("winter")
    if lost:
        named = [str(year - 1) if record.southern else f"{year - 1}/{year % 100:02d}" for year in lost[:12]]
        findings.add(
            "winter left out",
            "warning",
            f"{some(len(lost), 'winter')} lacking days, left out of chill and cold: {', '.join(named)}"
            + (" ..." if len(lost) > 12 else ""),
            count=len(lost),
        )
    years = record.lost_seasons("year")
    if years:
        findings.add(
            "year left out",
            "warning",
            f"{some(len(years), 'harvest')} whose year from midwinter lacks days, left out of frost dates and"
            " warmth: " + ", ".join(map(str, years[:12])) + (" ..." if len(years) > 12 else ""),
            count=len(years),
        )
    figures = record.figures()
    short = figures[~figures["enough"]]
    if len(short):
        needs = "; ".join(f"{row.figure} needs {row.needs}, has {row.has}" for row in short.itertuples())
        findings.add(
            "short record",
            "warning",
            f"The record is short for some figures: {needs}",
            count=int(np.max(short["needs"] - short["has"])),
            remedy="Use a longer record, or the built-in climate, for those",
        )
