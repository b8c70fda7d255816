"""Gazetteer, offline: a place name as a grower types it -> one place, and the others it could have been.

In comes a name, with or without a region or a country after a comma; out goes a `PlaceMatch`. Also the
stations with measured normals nearest to a point. Names are compared by their keys (`place_names.folded`),
so accents, capitals, hyphens and `St.` do not matter.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq
from numpy.typing import NDArray

from recommender.catalog.package import datasets_folder
from recommender.climate.grid import distance_km
from recommender.climate.normals import checked_coordinates
from recommender.climate.place_names import folded
from recommender.errors import BadInput, StorageFault, UnknownName

ALTERNATE_NAME_SHARE = 0.03
"""A place known by an alternate name counts as this share of its people, so that `York` is not Toronto (once
called York) but `Cologne` is Köln rather than a village; a house rule."""
MOST_OTHERS = 8
SUGGESTIONS = 3

_DETAILS = ["name", "region", "region_code", "country", "country_code", "lat", "lon", "elevation_m"]

# What people write for a country or for a region whose code in GeoNames is a number; usual abbreviations.
COUNTRY_WORDS = {
    "uk": "GB",
    "britain": "GB",
    "great britain": "GB",
    "usa": "US",
    "america": "US",
    "united states of america": "US",
    "holland": "NL",
    "the netherlands": "NL",
    "czech republic": "CZ",
    "czechia": "CZ",
    "turkiye": "TR",
    "deutschland": "DE",
    "schweiz": "CH",
    "suisse": "CH",
    "osterreich": "AT",
    "espana": "ES",
    "italia": "IT",
    "aotearoa": "NZ",
}
REGION_WORDS = {
    ("AU", "act"): "01",
    ("AU", "nsw"): "02",
    ("AU", "nt"): "03",
    ("AU", "qld"): "04",
    ("AU", "sa"): "05",
    ("AU", "tas"): "06",
    ("AU", "vic"): "07",
    ("AU", "wa"): "08",
    ("CA", "ab"): "01",
    ("CA", "bc"): "02",
    ("CA", "mb"): "03",
    ("CA", "nb"): "04",
    ("CA", "nl"): "05",
    ("CA", "ns"): "07",
    ("CA", "on"): "08",
    ("CA", "pe"): "09",
    ("CA", "pei"): "09",
    ("CA", "qc"): "10",
    ("CA", "sk"): "11",
    ("CA", "yt"): "12",
    ("CA", "nt"): "13",
    ("CA", "nu"): "14",
}


@dataclass(frozen=True)
class PlaceMatch:
    """One place. lat, lon [degrees]; elevation_m [m], from a world raster, perhaps 150 m off in mountain
    valleys.

    others: what else the name could have meant, most people first, each as `name, region, country`.
    """

    name: str
    region: str
    country: str
    lat: float
    lon: float
    elevation_m: float
    population: int
    others: tuple[str, ...] = ()
    country_code: str = ""

    @property
    def label(self) -> str:
        """`name, region, country`."""
        return _label(self.name, self.region, self.country)


@dataclass(frozen=True)
class StationNearby:
    """A station with measured normals; distance_km [km], elevation_m [m] or None if not stated."""

    name: str
    country: str
    lat: float
    lon: float
    elevation_m: float | None
    normals_period: str
    distance_km: float


def find_place(text: str, *, suggest: bool = True) -> PlaceMatch:
    """The place a name means: the one with most people among those called so, unless a region or country is
    given.

    `Paris`, `Paris, TX`, `York, GB`, `Springfield, Illinois`, `Hobart Tasmania` all work; `Cologne` finds
    Köln.
    Raises BadInput for an empty name, UnknownName for one that is not known, with the three nearest names
    unless suggest is false: looking for them takes most of the time.
    """
    name, qualifiers = _split(text)
    gazetteer = _open_gazetteer(datasets_folder())
    found = gazetteer.called(name, qualifiers)
    if not found.size and not qualifiers and " " in name:
        found = _with_last_words_as_region(gazetteer, name)
    if not found.size:
        raise UnknownName("place", text.strip(), gazetteer.nearest(name, qualifiers) if suggest else ())
    others = tuple(dict.fromkeys(gazetteer.label(row) for row in found[1:]))
    first = gazetteer.match(int(found[0]))
    return replace(first, others=tuple(other for other in others if other != first.label)[:MOST_OTHERS])


def places_of(country: str | None = None) -> pd.DataFrame:
    """All places of a country (its name or two-letter code), of the world without one: name, region, country,
    lat, lon [degrees], elevation_m [m], population.

    Raises UnknownName for a country that is not known.
    """
    return _open_gazetteer(datasets_folder()).listed(country)


@lru_cache(maxsize=4096)
def country_at(lat: float, lon: float) -> str:
    """Two-letter country of the place nearest to a point [degrees]; near a border it may be the other one.

    Raises BadInput for coordinates out of range.
    """
    lat, lon = checked_coordinates(lat, lon)
    return _open_gazetteer(datasets_folder()).country_at(lat, lon)


def nearest_stations(lat: float, lon: float, n: int = 5) -> list[StationNearby]:
    """The `n` stations with measured normals nearest to a point, nearest first.

    lat, lon [degrees]. Raises BadInput for coordinates out of range or n below 1.
    """
    if n < 1:
        raise BadInput(f"{n} stations cannot be listed", remedy="Ask for one or more")
    lat, lon = checked_coordinates(lat, lon)
    stations = _open_stations(datasets_folder())
    distance = distance_km(lat, lon, stations["lat"].to_numpy(), stations["lon"].to_numpy())
    return [
        StationNearby(distance_km=float(distance[row]), **stations.slice(int(row), 1).to_pylist()[0])
        for row in np.argsort(distance)[:n]
    ]


def _split(text: str) -> tuple[str, list[str]]:
    parts = [folded(part) for part in str(text).replace(";", ",").split(",")]
    parts = [part for part in parts if part]
    if not parts:
        raise BadInput(
            "No place name was given", remedy="Type a town, for example “Hobart” or “Paris, Texas”"
        )
    return parts[0], parts[1:]


def _with_last_words_as_region(gazetteer: Gazetteer, name: str) -> NDArray[np.int64]:
    words = name.split()
    for split in range(len(words) - 1, 0, -1):
        found = gazetteer.called(" ".join(words[:split]), [" ".join(words[split:])])
        if found.size:
            return found
    return np.zeros(0, np.int64)


def _label(*parts: str) -> str:
    return ", ".join(dict.fromkeys(part for part in parts if part))


class Gazetteer:
    """The places of `places.parquet`, most people first; keys are read at once, the rest row group by row
    group."""

    def __init__(self, path: Path) -> None:
        try:
            self._file = pq.ParquetFile(path)
            self._table = self._file.read(columns=["key", "other_keys", "population"])
        except (OSError, ValueError) as fault:
            raise StorageFault(
                "The gazetteer cannot be read",
                where=str(path),
                remedy="Install Orchardwright again, or point ORCHARDWRIGHT_DATASETS at a complete "
                "datasets folder",
            ) from fault
        self._population = self._table["population"].to_numpy()
        self._lock = threading.Lock()
        self._group = lru_cache(maxsize=None)(self._read_group)
        self._group_rows = self._file.metadata.row_group(0).num_rows

    def _read_group(self, group: int) -> pa.Table:
        with self._lock:
            return self._file.read_row_group(group, columns=_DETAILS)

    def _details(self, row: int) -> dict[str, Any]:
        group, offset = divmod(int(row), self._group_rows)
        return dict(self._group(group).slice(offset, 1).to_pylist()[0])

    def called(self, key: str, qualifiers: list[str]) -> NDArray[np.int64]:
        """Rows of the places called so, likeliest first."""
        main = np.flatnonzero(pc.equal(self._table["key"], key).to_numpy())
        other = np.flatnonzero(pc.match_substring(self._table["other_keys"], f"|{key}|").to_numpy())
        rows = np.concatenate([main, np.setdiff1d(other, main)])
        if not rows.size:
            return rows
        people = self._population[rows].astype(float) + 1
        people[main.size :] *= ALTERNATE_NAME_SHARE
        rows = rows[np.argsort(-people, kind="stable")]
        return rows[self._qualified(rows, qualifiers)]

    def _qualified(self, rows: NDArray[np.int64], qualifiers: list[str]) -> NDArray[np.bool_]:
        keep = np.ones(rows.size, bool)
        if not qualifiers:
            return keep
        for position, row in enumerate(rows):
            words = self._words_for(self._details(row))
            keep[position] = all(qualifier in words for qualifier in qualifiers)
        return keep

    @staticmethod
    def _words_for(place: dict[str, Any]) -> set[str]:
        country, code = place["country_code"], place["region_code"]
        words = {folded(place["region"]), folded(place["country"]), country.casefold()}
        words.update(word for word, meant in COUNTRY_WORDS.items() if meant == country)
        words.update(
            word for (where, word), meant in REGION_WORDS.items() if (where, meant) == (country, code)
        )
        if code.isalpha():
            words.add(code.casefold())
        return words - {""}

    def nearest(self, key: str, qualifiers: list[str]) -> list[str]:
        """The three likeliest places for a name that is not known, as `name, region, country`."""
        from rapidfuzz import fuzz, process

        keys = self._table["key"].to_pylist()
        scored = process.extract(key, keys, scorer=fuzz.ratio, processor=None, limit=60, score_cutoff=60)
        rows = np.array([row for _, _, row in scored], np.int64)
        if qualifiers and rows.size:
            kept = self._qualified(rows, qualifiers)
            scored = [entry for entry, keep in zip(scored, kept, strict=True) if keep] or scored
        likely = sorted(scored, key=lambda entry: (-round(entry[1]), -int(self._population[entry[2]])))
        return list(dict.fromkeys(self.label(row) for _, _, row in likely))[:SUGGESTIONS]

    def listed(self, country: str | None) -> pd.DataFrame:
        """The places of a country, or all of them, most people first."""
        wanted = [name for name in _DETAILS if name != "region_code"]
        with self._lock:
            table = self._file.read(columns=[*wanted, "population"])
        frame = table.to_pandas()
        if country is not None:
            key = folded(country)
            code = COUNTRY_WORDS.get(key, key.upper())
            names = frame["country"].astype(str)
            rows = (frame["country_code"].astype(str) == code) | (names.map(folded) == key)
            if not rows.any():
                from rapidfuzz import process

                known = sorted(set(names))
                near = [match[0] for match in process.extract(country, known, limit=SUGGESTIONS)]
                raise UnknownName("country", country, near)
            frame = frame[rows]
        return pd.DataFrame(
            {
                "name": frame["name"].astype(str),
                "region": frame["region"].astype(str),
                "country": frame["country"].astype(str),
                "lat": frame["lat"] / 1000.0,
                "lon": frame["lon"] / 1000.0,
                "elevation_m": frame["elevation_m"].astype(float),
                "population": frame["population"].astype("int64"),
            }
        ).reset_index(drop=True)

    @cached_property
    def _points(self) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.object_]]:
        with self._lock:
            table = self._file.read(columns=["lat", "lon", "country_code"])
        lat, lon = (table[name].to_numpy() / 1000.0 for name in ("lat", "lon"))
        return lat, lon, np.asarray(table["country_code"].to_numpy(zero_copy_only=False), dtype=object)

    def country_at(self, lat: float, lon: float) -> str:
        """Two-letter country of the place nearest to a point [degrees]."""
        lats, lons, countries = self._points
        near = np.flatnonzero(np.abs(lats - lat) < 2.0)
        rows = near if near.size else np.arange(len(lats))
        return str(countries[rows[np.argmin(distance_km(lat, lon, lats[rows], lons[rows]))]])

    def label(self, row: int) -> str:
        """`name, region, country` of a row."""
        place = self._details(row)
        return _label(place["name"], place["region"], place["country"])

    def match(self, row: int) -> PlaceMatch:
        """A row as a PlaceMatch without others."""
        place = self._details(row)
        return PlaceMatch(
            name=place["name"],
            region=place["region"],
            country=place["country"],
            lat=place["lat"] / 1000,
            lon=place["lon"] / 1000,
            elevation_m=float(place["elevation_m"]),
            population=int(self._population[row]),
            country_code=str(place["country_code"]),
        )


@lru_cache(maxsize=2)
def _open_gazetteer(folder: Path) -> Gazetteer:
    return Gazetteer(folder / "places.parquet")


@lru_cache(maxsize=2)
def _open_stations(folder: Path) -> pa.Table:
    from pyarrow import csv

    path = folder / "stations.csv"
    columns = ["name", "country", "lat", "lon", "elevation_m", "normals_period"]
    try:
        return csv.read_csv(
            path,
            convert_options=csv.ConvertOptions(include_columns=columns, strings_can_be_null=False),
        )
    except (OSError, pa.ArrowException) as fault:
        raise StorageFault(
            "The stations cannot be read",
            where=str(path),
            remedy="Install Orchardwright again, or point ORCHARDWRIGHT_DATASETS at a complete datasets "
            "folder",
        ) from fault
