"""Invented daily weather, written in every layout that the readers know. None of it was measured anywhere."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

STATION = "XXW00012345"  # an invented station; GHCN-Daily knows no country XX
NAME = "WITHY HOLLOW"
LAT, LON, ELEVATION = 51.2000, -2.6000, 62.0


def invented_series(first: str = "1991-01-01", last: str = "2020-12-31", seed: int = 7) -> pd.DataFrame:
    """date, tmin, tmax, rain in whole tenths (of degC and mm), so that every layout can hold them exactly."""
    rng = np.random.default_rng(seed)
    date = pd.date_range(first, last, freq="D")
    season = np.cos(2.0 * np.pi * (date.day_of_year.to_numpy() - 17.0) / 365.25)
    weather = np.zeros(len(date))
    for day in range(1, len(date)):
        weather[day] = 0.75 * weather[day - 1] + rng.normal(0.0, 22.0)
    mean = 105.0 - 75.0 * season + weather
    spread = np.abs(rng.normal(45.0, 15.0, len(date))) + 5.0
    rain = np.where(rng.random(len(date)) < 0.4, rng.gamma(0.8, 50.0, len(date)), 0.0)
    return pd.DataFrame(
        {
            "date": date,
            "tmin": np.round(mean - spread).astype(int),
            "tmax": np.round(mean + spread).astype(int),
            "rain": np.round(rain).astype(int),
        }
    )


def daily_lines(
    series: pd.DataFrame,
    header: str = "date,tmin_degC,tmax_degC,rain_mm",
    form: str = "%Y-%m-%d",
    separator: str = ",",
    point: str = ".",
) -> list[str]:
    """A daily table as lines; the header first."""
    columns = [series["date"].dt.strftime(form)]
    columns += [
        (series[name] / 10.0).map("{:.1f}".format).str.replace(".", point)
        for name in ("tmin", "tmax", "rain")
    ]
    return [header, *columns[0].str.cat(columns[1:], sep=separator).tolist()]


def dly_lines(series: pd.DataFrame, flags: dict[tuple[str, str], str] | None = None) -> list[str]:
    """GHCN-Daily .dly lines: by month TMAX, TMIN, PRCP. flags: (YYYY-MM-DD, element) -> quality flag."""
    flags = flags or {}
    lines = []
    for month, days in series.groupby(series["date"].dt.strftime("%Y%m")):
        for element, name in (("TMAX", "tmax"), ("TMIN", "tmin"), ("PRCP", "rain")):
            cells = ["-9999   "] * 31
            for date, value in zip(days["date"], days[name], strict=True):
                cells[date.day - 1] = f"{value:5d} {flags.get((f'{date:%Y-%m-%d}', element), ' ')}S"
            lines.append(f"{STATION}{month}{element}{''.join(cells)}")
    return lines


def by_station_lines(series: pd.DataFrame, header: bool = False) -> list[str]:
    """GHCN-Daily by-station CSV lines, a day's elements together."""
    lines = ["ID,DATE,ELEMENT,DATA_VALUE,M_FLAG,Q_FLAG,S_FLAG,OBS_TIME"] if header else []
    days = series["date"].dt.strftime("%Y%m%d")
    for day, low, high, rain in zip(days, series["tmin"], series["tmax"], series["rain"], strict=True):
        for element, value in (("TMAX", high), ("TMIN", low), ("PRCP", rain)):
            lines.append(f"{STATION},{day},{element},{value},,,S,0900")
    return lines


def access_lines(series: pd.DataFrame) -> list[str]:
    """GHCN-Daily access CSV lines: quoted, padded, with attributes."""
    names = ["STATION", "DATE", "LATITUDE", "LONGITUDE", "ELEVATION", "NAME"]
    names += [name + end for name in ("PRCP", "TMAX", "TMIN") for end in ("", "_ATTRIBUTES")]
    lines = [",".join(f'"{name}"' for name in names)]
    head = f'"{STATION}"'
    place = f'"{LAT}","{LON}","{ELEVATION}","{NAME}, XX"'
    days = series["date"].dt.strftime("%Y-%m-%d")
    for day, low, high, rain in zip(days, series["tmin"], series["tmax"], series["rain"], strict=True):
        values = ",".join(f'"{value:5d}",",,S"' for value in (rain, high, low))
        lines.append(f'{head},"{day}",{place},{values}')
    return lines


def hours_of(series: pd.DataFrame) -> pd.DataFrame:
    """24 hours a day, in tenths: the minimum at hour 6, the maximum at hour 15, the middle between."""
    n = len(series)
    low, high = series["tmin"].to_numpy()[:, None], series["tmax"].to_numpy()[:, None]
    values = np.repeat((low + high) // 2, 24, axis=1)
    values[:, 5], values[:, 14] = low[:, 0], high[:, 0]
    date = series["date"].repeat(24).reset_index(drop=True)
    return pd.DataFrame({"date": date, "hour": np.tile(np.arange(1, 25), n), "value": values.ravel()})


def epw_lines(series: pd.DataFrame) -> list[str]:
    """EPW lines: eight of header, then hours."""
    hours = hours_of(series)
    date, text = hours["date"].dt, (hours["value"] / 10.0).map("{:.1f}".format)
    tail = ",5.0,80,100200,0,0,300,0,0,0,0,0,0,0,200,2.5,9,9,9999,99999,9,999999999,10,0.1,0,88,0.2,0,1"
    stamp = [
        f"{y},{m},{d},{h},60,?9?9,{t}{tail}"
        for y, m, d, h, t in zip(date.year, date.month, date.day, hours["hour"], text, strict=True)
    ]
    return [
        f"LOCATION,{NAME},-,XXX,INVENTED,999999,{LAT},{LON},0.0,{ELEVATION}",
        "DESIGN CONDITIONS,0",
        "TYPICAL/EXTREME PERIODS,0",
        "GROUND TEMPERATURES,0",
        "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0",
        "COMMENTS 1,invented for a test",
        "COMMENTS 2,",
        "DATA PERIODS,1,1,Data,Tuesday, 1/ 1,12/31",
        *stamp,
    ]


def tmy3_lines(series: pd.DataFrame) -> list[str]:
    """TMY3 lines with the leading and some of the further columns."""
    hours = hours_of(series)
    date, text = hours["date"].dt.strftime("%m/%d/%Y"), (hours["value"] / 10.0).map("{:.1f}".format)
    return [
        f'999999,"{NAME}",XX,0.0,{LAT},{LON},{ELEVATION:.0f}',
        "Date (MM/DD/YYYY),Time (HH:MM),GHI (W/m^2),GHI source,Dry-bulb (C),Dry-bulb source,RHum (%)",
        *(f"{d},{h:02d}:00,0,1,{t},A,80" for d, h, t in zip(date, hours["hour"], text, strict=True)),
    ]


def write(path: Path, lines: list[str], encoding: str = "utf-8") -> Path:
    """Lines to a file."""
    path.write_bytes(("\n".join(lines) + "\n").encode(encoding))
    return path
