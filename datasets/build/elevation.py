"""World elevation as pvlib carries it, as one array in metres. Only the build scripts use it.

In comes nothing; out goes a (2160, 4320) float array, north first, west first, cell size 1/12 degree, sea as
NaN. The file holds one byte a cell in steps of 28 m; 255 marks the sea.
"""

from __future__ import annotations

from importlib.resources import files

import h5py
import numpy as np
from numpy.typing import NDArray

STEP_M, LOWEST_M, SEA = 28, -450, 255
ATTRIBUTION = (
    "Elevation: pvlib world raster (BSD-3), aggregated by Mapzen (Joerd) from ArcticDEM, Geoscience "
    "Australia, "
    "data.gv.at, Open Government Licence Canada, EU-DEM (Copernicus), ETOPO1 and 3DEP, GMTED2010, SRTM "
    "(NOAA, USGS), "
    "INEGI, Land Information New Zealand, Kartverket, Environment Agency (UK)."
)


def raster_bytes() -> NDArray[np.uint8]:
    """(2160, 4320) bytes as stored, north first, west first."""
    with h5py.File(str(files("pvlib") / "data" / "Altitude.h5"), "r") as file:
        return np.asarray(file["Altitude"][:])


def raster_m() -> NDArray[np.float64]:
    """(2160, 4320) elevation [m], sea as NaN."""
    stored = raster_bytes()
    return np.where(stored == SEA, np.nan, stored.astype(float) * STEP_M + LOWEST_M)


def at(
    raster: NDArray[np.float64], lat: NDArray[np.float64], lon: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Elevation [m] of the cells that hold the points, sea as NaN."""
    row = np.clip(((90.0 - lat) * 12).astype(int), 0, raster.shape[0] - 1)
    column = np.clip(((lon + 180.0) * 12).astype(int), 0, raster.shape[1] - 1)
    return raster[row, column]
