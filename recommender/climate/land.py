"""Where there is land around a point, for drawing a map without asking any network.

In comes a point; out go strips of land from the climate grid's own raster (1/12 of a degree), and the
stations the point's climate was corrected by. Source of the raster: see `climate_grid.parquet` in
datasets/README.md.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from recommender.climate.downscaling import open_downscaling
from recommender.climate.grid import open_grid
from recommender.climate.normals import STATION_REACH_KM

_CELLS = 3  # raster cells to a side of a grid cell
_PER_DEGREE = 12.0
_SEA = 255


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
