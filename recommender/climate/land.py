"""Where there is land, for drawing a map without asking any network.

In comes a point; out go strips of land from the climate grid's own raster (1/12 of a degree), and the
stations the point's climate was corrected by. Or in come bounds, up to the whole world; out go rectangles as
coarse as the bounds are wide. Source of the raster: see `climate_grid.parquet` in datasets/README.md.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from recommender.climate.downscaling import open_downscaling
from recommender.climate.grid import open_grid
from recommender.climate.normals import STATION_REACH_KM

_CELLS = 3  # raster cells to a side of a grid cell
_PER_DEGREE = 12.0
_SEA = 255
_ROWS, _COLUMNS, _STEP_DEG = 600, 1440, 0.25
# Cells from side to side of a map: more would show nothing more.
_CELLS_ACROSS = 240


def land_strips(lat: float, lon: float, up: float, across: float) -> pd.DataFrame:
    """Land within `up` degrees of latitude and `across` of longitude, as strips from west to east.

    Columns: south, north, west, east [degrees]; west and east may pass 180 so that no strip is broken there.
    """
    nodes = open_grid().nodes(int((90.0 - lat - up) * 4) - 1, int((90.0 - lat + up) * 4) + 1)
    offset = (nodes.column / 4.0 - 180.0 - lon + 180.0) % 360.0 - 180.0
    near = nodes.where(np.abs(offset) <= across + 0.25)
    offset = offset[np.abs(offset) <= across + 0.25]
    parts = []
    for cell in range(_CELLS * _CELLS):
        down, right = divmod(cell, _CELLS)
        dry = near.ground[:, cell] != _SEA
        parts.append(
            pd.DataFrame(
                {
                    "row": (near.row * _CELLS + down)[dry],
                    "column": (np.rint(offset * _PER_DEGREE).astype(int) + right)[dry],
                }
            )
        )
    cells = pd.concat(parts).sort_values(["row", "column"], ignore_index=True)
    starts = (cells["row"].diff() != 0) | (cells["column"].diff() != 1)
    runs = cells.groupby(starts.cumsum()).agg(
        row=("row", "first"), first=("column", "first"), last=("column", "last")
    )
    strips = pd.DataFrame(
        {
            "south": 90.0 - (runs["row"] + 1) / _PER_DEGREE,
            "north": 90.0 - runs["row"] / _PER_DEGREE,
            "west": lon + runs["first"] / _PER_DEGREE,
            "east": lon + (runs["last"] + 1) / _PER_DEGREE,
        }
    )
    kept = strips[(strips["north"] > lat - up) & (strips["south"] < lat + up)]
    clipped = kept.assign(
        south=kept["south"].clip(lower=lat - up),
        north=kept["north"].clip(upper=lat + up),
        west=kept["west"].clip(lower=lon - across),
        east=kept["east"].clip(upper=lon + across),
    )
    return clipped[clipped["east"] > clipped["west"]].reset_index(drop=True)


def stations_around(lat: float, lon: float) -> pd.DataFrame:
    """Stations with measured normals, nearest first: name, lat, lon, km, and whether `normals_at` names it
    (named)."""
    found = open_downscaling().nearest(lat, lon)
    named = (np.arange(len(found)) < 3) & (found["km"] <= STATION_REACH_KM)
    return found.assign(named=named)


@lru_cache(maxsize=1)
def _land() -> NDArray[np.bool_]:
    """Whether each 0.25 degree node (600, 1440), from 90 N and 180 W, is mostly land."""
    held = np.zeros((_ROWS + 2, _COLUMNS), dtype=bool)
    for nodes in open_grid().groups():
        land = nodes.land >= 0.5
        held[np.clip(nodes.row[land], 0, _ROWS + 1), nodes.column[land] % _COLUMNS] = True
    return held


def land_rectangles(west: float, south: float, east: float, north: float) -> list[list[float]]:
    """Land within bounds [degrees] as [west, south, east, north] of each rectangle.

    >>> len(land_rectangles(-10.0, 50.0, 2.0, 59.0)) > 20
    True
    """
    land = _land()
    span = max(east - west, north - south, _STEP_DEG)
    step = max(1, int(np.ceil(span / _STEP_DEG / _CELLS_ACROSS)))
    first, last = int((90.0 - north) / _STEP_DEG), int(np.ceil((90.0 - south) / _STEP_DEG))
    left, right = int((west + 180.0) / _STEP_DEG), int(np.ceil((east + 180.0) / _STEP_DEG))
    found = []
    for row in range(max(first, 0) // step * step, min(last, _ROWS) + 1, step):
        cells = land[row : row + step, max(left, 0) : min(right, _COLUMNS - 1) + 1]
        whole = cells.shape[1] // step * step
        if not whole or not len(cells):
            continue
        here = cells[:, :whole].reshape(len(cells), -1, step).mean(axis=(0, 2)) >= 0.5
        edges = np.flatnonzero(np.diff(np.r_[False, here, False].astype(np.int8)))
        top = 90.0 - (row - 0.5) * _STEP_DEG
        start = -180.0 + (max(left, 0) - 0.5) * _STEP_DEG
        for begin, end in zip(edges[::2], edges[1::2], strict=True):
            found.append(
                [
                    start + begin * step * _STEP_DEG,
                    top - step * _STEP_DEG,
                    start + end * step * _STEP_DEG,
                    top,
                ]
            )
    return found
