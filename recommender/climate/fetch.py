"""The daily record of the nearest suitable weather station, from NOAA's GHCN-Daily over HTTPS, when asked
for.

In: latitude, longitude and, if known, elevation. Out: `Fetched`: the record, the station, how it was chosen,
and where the file lies in the cache. house.md has no such room; weather.py stays free of the network for it.
Layout of the two station lists: NOAA NCEI, readme.txt of GHCN-Daily, sections IV and VII.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from urllib.parse import urlsplit

import numpy as np
import pandas as pd

from recommender.catalog.store import default_cache
from recommender.climate.download import CachedFile, FetchFault, Manners, fetch
from recommender.climate.grid import distance_km
from recommender.climate.normals import checked_coordinates
from recommender.climate.weather import WeatherRecord, read_weather
from recommender.errors import BadInput, OrchardwrightError

__all__ = ["NOAA_BASE", "FetchFault", "Fetched", "Manners", "Station", "fetch_weather", "nearest_stations"]

#: NOAA's public folder of GHCN-Daily; another copy with the same layout can be named (--server, or the
#: variable below).
NOAA_BASE = "https://www.ncei.noaa.gov/pub/data/ghcn/daily"
SERVER_VARIABLE = "ORCHARDWRIGHT_NOAA_URL"

#: Stations farther away, much higher or lower, shorter or long closed are not offered. Our choice; common
#: practice in agroclimatic work is 50 to 100 km and the same side of a mountain.
MAX_KM, MAX_HEIGHT_DIFFERENCE_M, MIN_YEARS, CLOSED_YEARS = 150.0, 500.0, 10, 30
#: How faults of a station are weighed against each other, as extra kilometres. Our choice: 100 m of height
#: change the temperature by 0.65 degC (ICAO standard atmosphere), about as much as 15 km of flat country may;
#: a year short of thirty costs 2 km, a year since it closed 1 km (up to CLOSED_YEARS).
KM_PER_100_M, KM_PER_MISSING_YEAR, KM_PER_YEAR_CLOSED, FULL_YEARS = 15.0, 2.0, 1.0, 30
KM_UNKNOWN_HEIGHT = 15.0


@dataclass(frozen=True)
class Station:
    """A GHCN-Daily station as a candidate for a place.

    distance_km; height_difference_m: station minus place, None if either is unknown; first_year, last_year,
    years: in which both TMIN and TMAX are measured; cost_km: distance with all its faults weighed in.
    """

    id: str
    name: str
    lat: float
    lon: float
    elevation_m: float | None
    distance_km: float
    height_difference_m: float | None
    first_year: int
    last_year: int
    years: int
    cost_km: float

    def __str__(self) -> str:
        height = "height unknown" if self.elevation_m is None else f"{self.elevation_m:.0f} m"
        if self.height_difference_m is not None:
            height += f" ({self.height_difference_m:+.0f} m)"
        return (
            f"{self.name} ({self.id}), {self.distance_km:.0f} km away, {height}, {self.first_year} to"
            f" {self.last_year}"
        )


@dataclass(frozen=True)
class Fetched:
    """A record and how it was come by. candidates: best first; notes: sentences for the reader."""

    record: WeatherRecord
    station: Station
    file: CachedFile
    candidates: tuple[Station, ...]
    notes: tuple[str, ...]


def cache_folder() -> Path:
    """Where fetched weather is kept: the folder `weather` in the project's cache."""
    return default_cache() / "weather"


def server_address(server: str | None = None) -> str:
    """The server's address without a closing slash. Raises BadInput unless it is https (http on this machine
    only).
    """
    address = (server or os.environ.get(SERVER_VARIABLE) or NOAA_BASE).rstrip("/")
    parts = urlsplit(address)
    local = parts.hostname in {"127.0.0.1", "localhost", "::1"}
    if not parts.hostname or not (parts.scheme == "https" or (parts.scheme == "http" and local)):
        raise BadInput(
            f"“{address}” is no server to fetch weather from",
            where=f"--server or {SERVER_VARIABLE}",
            remedy="Give an address that starts with https://",
        )
    return address


# --- the two lists of stations ------------------------------------------------------------------------------


def _fixed_width(path: Path, width: int, need: int, elements: tuple[bytes, ...] = ()) -> np.ndarray:
    """Lines of at least `need` bytes, of these elements only, as a byte table (n, width) padded with blanks.

    Raises BadInput if many lines are too short or none is left.
    """
    lines = [line for line in path.read_bytes().splitlines() if line.strip()]
    long = [line for line in lines if len(line) >= need]
    good = [line[:width].ljust(width) for line in long if not elements or line[31:35] in elements]
    if not good or len(long) < 0.9 * len(lines):
        raise BadInput(
            "The list of stations is not laid out as GHCN-Daily lays it out",
            where=str(path),
            remedy="Fetch it anew with --refresh",
        )
    return np.frombuffer(b"".join(good), dtype="S1").reshape(len(good), width)


def _cells(block: np.ndarray, first: int, last: int) -> pd.Series:
    """Columns first..last (counted from 1, as the readme counts) as text without outer blanks."""
    width = last - first + 1
    part = np.ascontiguousarray(block[:, first - 1 : last]).view(f"S{width}").reshape(-1)
    return pd.Series(np.char.decode(part, "latin-1")).str.strip()


def read_stations(path: Path) -> pd.DataFrame:
    """ghcnd-stations.txt: id, lat, lon [degrees], elevation_m (NaN if unknown), name. Raises BadInput for
    garbage.
    """
    block = _fixed_width(path, 85, 42)
    stations = pd.DataFrame(
        {
            "id": _cells(block, 1, 11),
            "lat": pd.to_numeric(_cells(block, 13, 20), errors="coerce"),
            "lon": pd.to_numeric(_cells(block, 22, 30), errors="coerce"),
            "elevation_m": pd.to_numeric(_cells(block, 32, 37), errors="coerce"),
            "name": _cells(block, 42, 71),
        }
    )
    stations["elevation_m"] = stations["elevation_m"].mask(
        stations["elevation_m"] < -900.0
    )  # -999.9 is missing
    return _plausible(path, stations, stations["lat"].between(-90, 90) & stations["lon"].between(-180, 180))


def read_inventory(path: Path) -> pd.DataFrame:
    """ghcnd-inventory.txt: id, first_year, last_year with both TMIN and TMAX. Raises BadInput for garbage."""
    block = _fixed_width(path, 45, 45, (b"TMIN", b"TMAX"))
    rows = pd.DataFrame(
        {
            "id": _cells(block, 1, 11),
            "element": _cells(block, 32, 35),
            "first_year": pd.to_numeric(_cells(block, 37, 40), errors="coerce"),
            "last_year": pd.to_numeric(_cells(block, 42, 45), errors="coerce"),
        }
    )
    rows = _plausible(
        path, rows, rows["first_year"].between(1600, 2200) & rows["last_year"].between(1600, 2200)
    )
    both = (
        rows[rows["element"].isin(["TMIN", "TMAX"])]
        .groupby("id")
        .agg(
            first_year=("first_year", "max"), last_year=("last_year", "min"), elements=("element", "nunique")
        )
    )
    both = both[(both["elements"] == 2) & (both["last_year"] >= both["first_year"])]
    return both.drop(columns="elements").astype(int).reset_index()


def _plausible(path: Path, table: pd.DataFrame, good: pd.Series) -> pd.DataFrame:
    good &= table["id"].str.fullmatch(r"[A-Z]{2}[A-Z0-9_-]{9}")
    if good.mean() < 0.9:
        raise BadInput(
            "The list of stations is not laid out as GHCN-Daily lays it out",
            where=str(path),
            remedy="Fetch it anew with --refresh",
        )
    return table[good].reset_index(drop=True)


# --- choosing -----------------------------------------------------------------------------------------------


def nearest_stations(
    lat: float,
    lon: float,
    elevation_m: float | None,
    stations: pd.DataFrame,
    inventory: pd.DataFrame,
    *,
    count: int = 5,
    max_km: float = MAX_KM,
    min_years: int = MIN_YEARS,
    this_year: int | None = None,
) -> tuple[Station, ...]:
    """Suitable stations, best first: near, of like height, long, lately at work. Raises BadInput if there is
    none.
    """
    year = this_year or pd.Timestamp.now().year
    table = stations.merge(inventory, on="id", validate="one_to_one")
    table["distance"] = distance_km(lat, lon, table["lat"].to_numpy(), table["lon"].to_numpy())
    table["years"] = table["last_year"] - table["first_year"] + 1
    here = float("nan") if elevation_m is None else elevation_m
    table["higher"] = table["elevation_m"] - here
    closed = (year - 1 - table["last_year"]).clip(lower=0)
    near = table["distance"] <= max_km
    like = ~(table["higher"].abs() > MAX_HEIGHT_DIFFERENCE_M)
    usable = near & like & (table["years"] >= min_years) & (closed <= CLOSED_YEARS)
    table["cost"] = (
        table["distance"]
        + (table["higher"].abs() / 100.0 * KM_PER_100_M).fillna(KM_UNKNOWN_HEIGHT)
        + (FULL_YEARS - table["years"]).clip(lower=0) * KM_PER_MISSING_YEAR
        + closed * KM_PER_YEAR_CLOSED
    )
    chosen = table[usable].sort_values(["cost", "id"]).head(count)
    if chosen.empty:
        raise BadInput(
            f"No station within {max_km:.0f} km and {MAX_HEIGHT_DIFFERENCE_M:.0f} m of height has"
            f" {min_years} years of"
            " daily minimum and maximum",
            where=f"lat {lat:.2f}, lon {lon:.2f}; {int(near.sum())} stations are near enough",
            remedy="The built-in climate serves anywhere (orchardwright climate); or widen with --within",
        )
    return tuple(
        Station(
            row["id"], row["name"], row["lat"], row["lon"],
            None if np.isnan(row["elevation_m"]) else row["elevation_m"], row["distance"],
            None if np.isnan(row["higher"]) else row["higher"],
            int(row["first_year"]), int(row["last_year"]), int(row["years"]), row["cost"],
        )
        for row in chosen.to_dict("records")
    )  # fmt: skip


# --- fetching -----------------------------------------------------------------------------------------------


def _looks_like(reader: Callable[[Path], object]) -> Callable[[Path], None]:
    def check(path: Path) -> None:
        reader(path)

    return check


def fetch_weather(
    lat: float,
    lon: float,
    elevation_m: float | None = None,
    *,
    server: str | None = None,
    cache: Path | None = None,
    manners: Manners | None = None,
    refresh: bool = False,
    max_km: float = MAX_KM,
    tries: int = 3,
    progress: Callable[[str, float], None] | None = None,
    sleep: Callable[[float], None] = time.sleep,
) -> Fetched:
    """The record of the nearest suitable station. Uses the network: call it only when the user asked for it.

    tries: how many stations to go through if a file is missing or has fewer than MIN_YEARS whole winters.
    Raises FetchFault (no network, no such file, garbage), BadInput (no suitable station), StorageFault
    (cache).
    """
    lat, lon = checked_coordinates(lat, lon)
    address, folder = server_address(server), cache or cache_folder()
    say = progress or (lambda what, share: None)
    manners = manners or Manners()
    notes: list[str] = []

    def get(name: str, check: Callable[[Path], None]) -> CachedFile:
        file = fetch(
            f"{address}/{name}", folder / name, manners=manners, refresh=refresh, check=check, sleep=sleep
        )
        if file.stale:
            notes.append(
                f"The server could not be reached; {name} of {file.fetched_at[:10]} from the cache was used."
            )
        if not file.from_cache:
            sleep(manners.pause)
        return file

    say("the list of stations", 0.0)
    stations = read_stations(get("ghcnd-stations.txt", _looks_like(read_stations)).path)
    say("what the stations measure", 0.2)
    inventory = read_inventory(get("ghcnd-inventory.txt", _looks_like(read_inventory)).path)
    candidates = nearest_stations(
        lat, lon, elevation_m, stations, inventory, count=max(5, tries), max_km=max_km
    )
    best: Fetched | None = None
    fault: OrchardwrightError | None = None
    for turn, station in enumerate(candidates[:tries]):
        say(station.name, 0.4 + 0.5 * turn / tries)
        try:
            file = get(f"by_station/{station.id}.csv.gz", _looks_like(read_weather))
            record = read_weather(file.path, lat=station.lat)
        except FetchFault as missed:
            fault = missed
            if missed.transient:
                break
            notes.append(f"{station.name}: {missed.what}.")
            continue
        record = replace(
            record,
            lon=station.lon,
            elevation_m=station.elevation_m,
            station_name=station.name,
            station_id=station.id,
        )
        winters = len(record.whole_seasons("winter"))
        found = Fetched(record, station, file, candidates, ())
        if best is None or winters > len(best.record.whole_seasons("winter")):
            best = found
        if winters >= MIN_YEARS:
            best = found
            break
        notes.append(f"{station.name} has only {winters} winters without a gap.")
    say("done", 1.0)
    if best is None:
        raise fault or BadInput("No station could be read")
    return replace(best, notes=tuple(notes))
