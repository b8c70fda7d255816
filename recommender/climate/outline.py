"""The outline of the land as the climate grid knows it, for maps.

In come bounds in degrees; out go rectangles of land, joined along each row, as coarse as the bounds are wide.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from recommender.climate.grid import open_grid

_ROWS, _COLUMNS, _STEP_DEG = 600, 1440, 0.25
# Cells from side to side of a map: more would show nothing more.
_CELLS_ACROSS = 240


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
