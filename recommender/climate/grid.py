"""The climate grid on disk: ERA5 monthly means 2000-2025 on land, read a few rows at a time.

In comes a point; out goes a `GridPoint`: monthly mean temperature and rain, interpolated between the grid
nodes that have land, and the ground there. The columns of `climate_grid.parquet` are described in its schema
metadata.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
from numpy.typing import NDArray

from recommender.catalog.package import datasets_folder
from recommender.errors import BadInput, StorageFault

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

LAPSE_RATE = 5.0
"""Fall of temperature with height [K/km]. The ICAO standard atmosphere (Doc 7488) has 6.5; near the ground
valleys hold cold air, and 5.0 fits the stations better (compared in docs/climate-normals.md)."""

FARTHEST_LAND_KM = 40.0
"""A point at sea takes the nearest land no farther away than this [km]; a house rule."""

_COLUMNS = 1440
_SOUTHERN_EDGE = -60.0
_RASTER_STEP_M, _RASTER_LOWEST_M, _SEA = 28.0, -450.0, 255
_KM_PER_DEGREE = 111.195
_MEANS = [f"mean_{month:02d}" for month in range(1, 13)]
_RAINS = [f"rain_{month:02d}" for month in range(1, 13)]


@dataclass(frozen=True, eq=False)
class Nodes:
    """Grid nodes, one a row of each array: place on the grid, ground, shares of land (0..1), (n, 12)
    climate."""

    row: Integers
    column: Integers
    elevation_m: Floats
    land: Floats
    land_100km: Floats
    land_500km: Floats
    ground: NDArray[np.uint8]
    mean: Floats
    rain_mm: Floats

    def where(self, wanted: NDArray[np.bool_]) -> Nodes:
        """The nodes marked true."""
        return Nodes(*(getattr(self, name)[wanted] for name in self.__dataclass_fields__))


@dataclass(frozen=True, eq=False)
class GridPoint:
    """What the grid says of a point.

    mean (12,) [degC], the mean temperature at `elevation_m` [m], the height of the grid's ground there;
    rain_mm (12,) [mm]; ground_m [m], the finer ground of the 1/12 degree raster;
    land_100km, land_500km: share of land (0..1) within that distance;
    moved_km: how far off the land is whose climate was taken [km], 0 on land.
    """

    mean: Floats
    rain_mm: Floats
    elevation_m: float
    ground_m: float
    land_100km: float
    land_500km: float
    moved_km: float


def distance_km(lat: float, lon: float, lats: Floats, lons: Floats) -> Floats:
    """Great-circle distance [km] from one point to many (haversine, sphere of 6371 km)."""
    p, q = np.radians(lat), np.radians(lats)
    half = np.sin((q - p) / 2) ** 2 + np.cos(p) * np.cos(q) * np.sin(np.radians(lons - lon) / 2) ** 2
    return np.asarray(2 * 6371.0 * np.arcsin(np.sqrt(np.clip(half, 0, 1))))


class Grid:
    """The grid file, opened once; row groups are read when asked for and the last few kept."""

    def __init__(self, path: Path) -> None:
        self._lock = threading.Lock()
        try:
            self._file = pq.ParquetFile(path)
        except (OSError, ValueError) as fault:
            raise StorageFault(
                "The climate grid cannot be read",
                where=str(path),
                remedy="Install Orchardwright again, or point ORCHARDWRIGHT_DATASETS at a complete "
                "datasets folder",
            ) from fault
        metadata = self._file.metadata
        spans = [metadata.row_group(group).column(0).statistics for group in range(metadata.num_row_groups)]
        self._first = np.array([span.min for span in spans])
        self._last = np.array([span.max for span in spans])
        self._group = lru_cache(maxsize=24)(self._read)

    def _read(self, group: int) -> Nodes:
        with self._lock:
            table = self._file.read_row_group(group, use_threads=False)

        def numbers(name: str) -> NDArray[np.int16]:
            return np.asarray(table.column(name).to_numpy())

        ground = np.frombuffer(b"".join(table.column("ground").to_pylist()), np.uint8).reshape(-1, 9)
        return Nodes(
            row=numbers("row").astype(np.int64),
            column=numbers("column").astype(np.int64),
            elevation_m=numbers("elevation_m").astype(float),
            land=numbers("land") / 16,
            land_100km=numbers("land_100km") / 100,
            land_500km=numbers("land_500km") / 100,
            ground=ground,
            mean=np.column_stack([numbers(name) for name in _MEANS]) / 10,
            rain_mm=np.column_stack([numbers(name) for name in _RAINS]).astype(float),
        )

    def nodes(self, first_row: int, last_row: int) -> Nodes:
        """All nodes of the grid rows from `first_row` to `last_row`, both included."""
        groups = np.flatnonzero((self._last >= first_row) & (self._first <= last_row))
        parts = [self._group(int(group)) for group in groups]
        if not parts:
            return self._group(0).where(np.zeros(len(self._group(0).row), bool))
        joined = Nodes(
            *(np.concatenate([getattr(part, name) for part in parts]) for name in Nodes.__dataclass_fields__)
        )
        return joined.where((joined.row >= first_row) & (joined.row <= last_row))

    def groups(self) -> Iterator[Nodes]:
        """The whole grid, a row group at a time."""
        for group in range(len(self._first)):
            yield self._read(group)

    def sample(self, lat: float, lon: float) -> GridPoint:
        """Climate and ground at a point; lat, lon [degrees], lon from -180 to 180.

        Raises BadInput over open sea and south of 60 S.
        """
        if lat < _SOUTHERN_EDGE:
            raise BadInput(
                f"The climate grid ends at 60° S; {lat:.2f} lies beyond",
                remedy="Give a point north of 60° S, or type hardiness zone and chill hours instead",
            )
        down, right = (90.0 - lat) * 4, (lon + 180.0) * 4
        row, column = int(np.floor(down)), int(np.floor(right))
        near = self.nodes(row - 1, row + 1)
        near = near.where((near.column - column + 1) % _COLUMNS <= 2)
        weights = (
            np.clip(1 - np.abs(near.row - down), 0, None)
            * np.clip(1 - np.abs((near.column - right + _COLUMNS / 2) % _COLUMNS - _COLUMNS / 2), 0, None)
            * near.land
        )
        moved = 0.0
        if not weights.sum() > 0:
            near, moved = self._nearest_land(lat, lon, row)
            weights = np.ones(1)
        weights = weights / weights.sum()
        height = float(weights @ near.elevation_m)
        at_sea_level = near.mean + LAPSE_RATE * near.elevation_m[:, None] / 1000
        ground = height if moved else _ground(near, lat, lon)
        return GridPoint(
            mean=weights @ at_sea_level - LAPSE_RATE * height / 1000,
            rain_mm=weights @ near.rain_mm,
            elevation_m=height,
            ground_m=height if np.isnan(ground) else ground,
            land_100km=float(weights @ near.land_100km),
            land_500km=float(weights @ near.land_500km),
            moved_km=moved,
        )

    def _nearest_land(self, lat: float, lon: float, row: int) -> tuple[Nodes, float]:
        around = self.nodes(row - 2, row + 3)
        around = around.where(around.land > 0)
        distance = distance_km(lat, lon, 90 - around.row / 4, around.column / 4 - 180)
        if not distance.size or distance.min() > FARTHEST_LAND_KM:
            raise BadInput(
                f"The point {lat:.2f}, {lon:.2f} lies in open sea: no land within {FARTHEST_LAND_KM:.0f} km",
                remedy="Check the signs of latitude and longitude (south and west are negative) and their "
                "order",
            )
        nearest = np.zeros(distance.size, bool)
        nearest[int(distance.argmin())] = True
        return around.where(nearest), float(distance.min())


def _ground(nodes: Nodes, lat: float, lon: float) -> float:
    """Elevation [m] between the centres of the four raster cells around a point, sea left out; NaN if all
    are sea."""
    down, right = (90.0 - lat) * 12 - 0.5, (lon + 180.0) * 12 - 0.5
    total = weight_sum = 0.0
    for row in (int(np.floor(down)), int(np.floor(down)) + 1):
        for column in (int(np.floor(right)), int(np.floor(right)) + 1):
            weight = (1 - abs(row - down)) * (1 - abs(column - right))
            held = np.flatnonzero((nodes.row == row // 3) & (nodes.column == (column // 3) % _COLUMNS))
            if not held.size:
                continue
            stored = int(nodes.ground[held[0], 3 * (row % 3) + column % 3])
            if stored != _SEA:
                total += weight * (stored * _RASTER_STEP_M + _RASTER_LOWEST_M)
                weight_sum += weight
    return total / weight_sum if weight_sum > 0 else float("nan")


@lru_cache(maxsize=2)
def open_grid(folder: Path | None = None) -> Grid:
    """The grid of the datasets folder, opened once in a process. Raises StorageFault if it cannot be read."""
    return Grid((folder or datasets_folder()) / "climate_grid.parquet")
