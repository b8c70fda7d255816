"""From the climate grid to a place: daily range, coldest night and rain, corrected by the stations around.

In come what the grid says of a point and its elevation; out go monthly maxima, minima and rain, the mean
annual extreme minimum and their errors. The method is regression kriging: a ridge regression on a few
features that can be computed anywhere on Earth, plus its residuals at the stations, interpolated. The
numbers are fitted and cross-validated by `datasets/build/fit_climate.py` and shipped as
`climate_coefficients.json`; see `docs/climate-normals.md`.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from recommender.catalog.package import datasets_folder
from recommender.climate.grid import LAPSE_RATE, GridPoint, distance_km
from recommender.errors import StorageFault

Floats = NDArray[np.float64]

KINDS = ("mean", "range", "rain", "extreme")
"""What is predicted: monthly mean [K above the grid], log of the daily range [K], log of rain over grid rain,
mean annual extreme minimum [degC]. The first three have twelve values, the last one."""

_RANGE_BOUNDS = (2.0, 24.0)
_RAIN_FACTOR_BOUNDS = (0.4, 2.5)
_RAIN_OFFSET_MM = 5.0
_EXTREME_BELOW = (1.0, 20.0)  # bounds of how far the coldest night lies below the coldest monthly minimum [K]
_MID_MONTH_DAYS = np.array([15, 46, 74, 105, 135, 162, 198, 228, 258, 288, 318, 344])


@dataclass(frozen=True)
class Kernel:
    """Covariance of two stations' residuals: a local and a continental part, each falling off exponentially.

    near_km, height_m: scales of the local part, of variance 1; far_km, far_variance: the continental part;
    noise: variance at one station, divided by its trust.
    """

    near_km: float
    height_m: float
    far_km: float
    far_variance: float
    noise: float

    def covariance(self, kilometres: Floats, metres: Floats) -> Floats:
        """Covariance for distances [km] and height differences [m], any shape."""
        near = np.exp(-kilometres / self.near_km - np.abs(metres) / self.height_m)
        return np.asarray(near + self.far_variance * np.exp(-kilometres / self.far_km))


def solar_radiation(lat: float) -> Floats:
    """(12,) radiation above the atmosphere in mid-month [MJ per m2 and day]; FAO-56 equation 21; lat
    [degrees]."""
    phi = np.radians(lat)
    declination = 0.409 * np.sin(2 * np.pi * _MID_MONTH_DAYS / 365 - 1.39)
    nearness = 1 + 0.033 * np.cos(2 * np.pi * _MID_MONTH_DAYS / 365)
    sunset = np.arccos(np.clip(-np.tan(phi) * np.tan(declination), -1, 1))
    height = sunset * np.sin(phi) * np.sin(declination) + np.cos(phi) * np.cos(declination) * np.sin(sunset)
    return np.asarray(37.6 * nearness * height)


def grid_mean(point: GridPoint, elevation_m: float) -> Floats:
    """(12,) monthly mean temperature of the grid [degC], brought to an elevation [m] by the lapse rate."""
    return np.asarray(point.mean - LAPSE_RATE * (elevation_m - point.elevation_m) / 1000)


def range_features(point: GridPoint, lat: float, elevation_m: float) -> Floats:
    """(12, 5) features of the daily range: radiation, rain, aridity of the year, land around, yearly
    swing."""
    mean, sun = grid_mean(point, elevation_m), solar_radiation(lat)
    drying = (
        np.clip(mean + 5, 0, None) * sun
    )  # radiation times warmth, as in Oudin's evaporation formula (2005)
    aridity = np.log((point.rain_mm.sum() + 20) / (drying.mean() + 20))
    whole_year = np.array([aridity, point.land_100km, mean.max() - mean.min()])
    return np.column_stack([sun, np.log(point.rain_mm + _RAIN_OFFSET_MM), np.tile(whole_year, (12, 1))])


def extreme_features(point: GridPoint, elevation_m: float) -> Floats:
    """(1, 2) features of the coldest night: mean of the coldest month and the swing to the warmest."""
    mean = grid_mean(point, elevation_m)
    return np.array([[mean.min(), mean.max() - mean.min()]])


@dataclass(frozen=True, eq=False)
class Estimate:
    """Climate of a place: tmax, tmin (12,) [degC], rain_mm (12,), extreme_min and errors [degC].

    `stations`: names and distances [km] of the three nearest stations with monthly normals, nearest first.
    """

    tmax: Floats
    tmin: Floats
    rain_mm: Floats
    extreme_min: float
    error_monthly: float
    error_extreme: float
    stations: tuple[tuple[str, float], ...]


class Downscaling:
    """The fitted numbers, ready to be asked."""

    def __init__(self, fitted: dict[str, Any]) -> None:
        self.fitted = fitted
        self.kernel = Kernel(**fitted["kernel"])
        stations = fitted["stations"]
        self._names: list[str] = stations["name"]
        self._lat, self._lon, self._height = (
            np.array(stations[key], float) for key in ("lat", "lon", "elevation_m")
        )
        self._weights = {
            kind: np.array(stations[kind], float).reshape(len(self._names), -1) for kind in KINDS
        }
        self._has_normals = self._weights["mean"].any(axis=1)
        self._has_extreme = self._weights["extreme"].any(axis=1)

    def regression(self, kind: str, features: Floats) -> Floats:
        """The ridge regression alone: features (n, k) to (n,)."""
        line = self.fitted[kind]
        centred = (features - np.array(line["centre"])) / np.array(line["scale"])
        return np.asarray(line["intercept"] + centred @ np.array(line["coefficients"]))

    def nearest(self, lat: float, lon: float, most: int = 40) -> pd.DataFrame:
        """The nearest stations with monthly normals, nearest first: name, lat, lon [degrees], km."""
        far = np.where(self._has_normals, distance_km(lat, lon, self._lat, self._lon), np.inf)
        order = np.argsort(far, kind="stable")[:most]
        names = [self._names[at] for at in order]
        return pd.DataFrame(
            {"name": names, "lat": self._lat[order], "lon": self._lon[order], "km": far[order]}
        )

    def estimate(self, point: GridPoint, lat: float, lon: float, elevation_m: float) -> Estimate:
        """Climate at a point of the grid brought to `elevation_m` [m]."""
        kilometres = distance_km(lat, lon, self._lat, self._lon)
        covariance = self.kernel.covariance(kilometres, elevation_m - self._height)
        residual = {kind: covariance @ self._weights[kind] for kind in KINDS}
        mean = grid_mean(point, elevation_m) + self.fitted["mean"]["intercept"] + residual["mean"]
        log_range = self.regression("range", range_features(point, lat, elevation_m)) + residual["range"]
        half = np.clip(np.exp(log_range), *_RANGE_BOUNDS) / 2
        factor = np.clip(np.exp(self.fitted["rain"]["intercept"] + residual["rain"]), *_RAIN_FACTOR_BOUNDS)
        rain = np.clip((point.rain_mm + _RAIN_OFFSET_MM) * factor - _RAIN_OFFSET_MM, 0, None)
        extreme = self.regression("extreme", extreme_features(point, elevation_m)) + residual["extreme"]
        coldest = (mean - half).min()
        errors = self.fitted["errors"]
        reach = errors["distance_km"]
        to_normals = np.where(self._has_normals, kilometres, np.inf)
        to_extreme = np.where(self._has_extreme, kilometres, np.inf)
        nearest = np.argsort(to_normals)[:3]
        return Estimate(
            tmax=mean + half,
            tmin=mean - half,
            rain_mm=rain,
            extreme_min=float(np.clip(extreme[0], coldest - _EXTREME_BELOW[1], coldest - _EXTREME_BELOW[0])),
            error_monthly=float(np.interp(to_normals.min(), reach, errors["monthly_rmse"])),
            error_extreme=float(np.interp(to_extreme.min(), reach, errors["extreme_rmse"])),
            stations=tuple((self._names[i], float(kilometres[i])) for i in nearest),
        )


@lru_cache(maxsize=2)
def open_downscaling(folder: Path | None = None) -> Downscaling:
    """The fitted numbers of the datasets folder, read once. Raises StorageFault if they cannot be read."""
    path = (folder or datasets_folder()) / "climate_coefficients.json"
    try:
        return Downscaling(json.loads(path.read_text(encoding="utf-8")))
    except (OSError, ValueError, KeyError, TypeError) as fault:
        raise StorageFault(
            "The fitted climate coefficients cannot be read",
            where=str(path),
            remedy="Install Orchardwright again, or point ORCHARDWRIGHT_DATASETS at a complete datasets "
            "folder",
        ) from fault
