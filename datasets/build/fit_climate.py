"""Fit and cross-validate the regression from the climate grid to monthly extremes at a place.

In come `stations.csv`, `build/extreme_anchors.csv` (places with a published annual extreme or zone
only) and `climate_grid.parquet`; out goes `climate_coefficients.json`: ridge
coefficients, station residuals ready for interpolation and the errors measured on stations left out.

    python datasets/build/fit_climate.py

Stations are left out in three ways: one at a time (a place near a station), by blocks of 5 degrees (a region
without stations) and by continent (a part of the world without stations).
"""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from sklearn.linear_model import Ridge
from sklearn.model_selection import GroupKFold
from sklearn.preprocessing import StandardScaler

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))
from recommender.climate import downscaling, winter  # noqa: E402
from recommender.climate.grid import LAPSE_RATE, GridPoint, distance_km, open_grid  # noqa: E402
from recommender.errors import BadInput  # noqa: E402

DATASETS = ROOT / "datasets"
TARGET = DATASETS / "climate_coefficients.json"
Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Fold = tuple[Integers, Integers]

WARMING_PER_YEAR = 0.027
"""Warming of land in recent decades [K per year], from memory (IPCC AR6 WG1 gives about a quarter degree a
decade and more over land); used to bring stations of older periods to the years of the grid."""
GRID_MID_YEAR = 2012.5
KERNEL = downscaling.Kernel(near_km=300, height_m=500, far_km=1500, far_variance=1.0, noise=1.0)
RIDGE = {"range": 100.0, "extreme": 10.0}
WEIGHT_ELSEWHERE = 3.0
"""Weight in the ridge of a station outside North America, where one in seven stations lies."""
ROUNDED = "rounded to 1"
NORTH_AMERICA = ("US", "CA")


@dataclass(frozen=True, eq=False)
class Stations:
    """What is fitted: one row a station. `targets` by kind, NaN where a station has no value."""

    name: list[str]
    lat: Floats
    lon: Floats
    elevation_m: Floats
    trust: Floats
    country: NDArray[np.object_]
    features: dict[str, Floats]
    targets: dict[str, Floats]
    above_grid_m: Floats
    zone: list[str]

    def __len__(self) -> int:
        return len(self.name)


def zone_middle(zone: object) -> float:
    """Middle of a USDA half zone [degC]; NaN if there is none. Zones are 10 degF wide, 1a begins at -60
    degF."""
    if not isinstance(zone, str) or not zone:
        return float("nan")
    fahrenheit = -60 + 10 * (int(zone[:-1]) - 1) + (5 if zone[-1] == "b" else 0) + 2.5
    return (fahrenheit - 32) / 1.8


def trust_and_age(row: pd.Series) -> tuple[float, float]:
    """Trust (1 or 0.5) in a station's normals and the years from their middle to that of the grid."""
    period = str(row["normals_period"])
    if "-" not in period:
        return 0.5, GRID_MID_YEAR - 1995
    first, last = (int(year) for year in period.split("-"))
    return (0.5 if last - first < 20 or first < 1970 else 1.0), GRID_MID_YEAR - (first + last) / 2


def read_stations() -> Stations:
    """Stations with normals to a tenth of a degree, and places with a published annual extreme only."""
    table = pd.read_csv(DATASETS / "stations.csv", keep_default_na=True)
    table = table[~table["basis_note"].fillna("").str.contains(ROUNDED)]
    table = pd.concat([table, pd.read_csv(Path(__file__).parent / "extreme_anchors.csv")], ignore_index=True)
    grid = open_grid(DATASETS)
    rows: list[dict[str, Any]] = []
    for _, row in table.iterrows():
        lat, lon = float(row["lat"]), float(row["lon"])
        try:
            point = grid.sample(lat, lon)
        except BadInput:
            continue
        height = float(row["elevation_m"]) if pd.notna(row["elevation_m"]) else point.ground_m
        rows.append(station_row(row, point, lat, lon, height))
    joined = pd.DataFrame(rows)
    stack = {
        key: np.stack(joined[key].to_list())
        for key in ("mean", "range", "rain", "extreme", "f_range", "f_extreme")
    }
    return Stations(
        name=joined["name"].to_list(),
        lat=joined["lat"].to_numpy(),
        lon=joined["lon"].to_numpy(),
        elevation_m=joined["elevation_m"].to_numpy(),
        trust=joined["trust"].to_numpy(),
        country=joined["country"].to_numpy(object),
        features={"range": stack["f_range"], "extreme": stack["f_extreme"]},
        targets={kind: stack[kind] for kind in downscaling.KINDS},
        above_grid_m=joined["above_grid_m"].to_numpy(),
        zone=joined["zone"].to_list(),
    )


def station_row(row: pd.Series, point: GridPoint, lat: float, lon: float, height: float) -> dict[str, Any]:
    """Features and targets of one station."""
    trust, age = trust_and_age(row)
    months = [f"{month:02d}" for month in range(1, 13)]
    tmax, tmin, rain = (
        row[[f"{name}_{month}" for month in months]].to_numpy(float)
        for name in ("tmax", "tmin", "precipitation")
    )
    extreme = row["mean_annual_extreme_min_c"]
    base = downscaling.grid_mean(point, height)
    return {
        "name": row["name"],
        "lat": lat,
        "lon": lon,
        "elevation_m": height,
        "trust": trust,
        "country": row["country"],
        "above_grid_m": height - point.elevation_m,
        "zone": row["hardiness_zone"] if isinstance(row["hardiness_zone"], str) else "",
        "mean": (tmax + tmin) / 2 + WARMING_PER_YEAR * age - base,
        "range": np.log(tmax - tmin),
        "rain": np.log((rain + 5) / (point.rain_mm + 5)),
        "extreme": np.array([extreme if pd.notna(extreme) else zone_middle(row["hardiness_zone"])]),
        "f_range": downscaling.range_features(point, lat, height),
        "f_extreme": downscaling.extreme_features(point, height),
    }


def covariances(stations: Stations) -> Floats:
    """(n, n) covariance of the stations' residuals."""
    kilometres = np.stack(
        [
            distance_km(lat, lon, stations.lat, stations.lon)
            for lat, lon in zip(stations.lat, stations.lon, strict=True)
        ]
    )
    return KERNEL.covariance(kilometres, stations.elevation_m[:, None] - stations.elevation_m[None])


def ridge_weights(stations: Stations) -> Floats:
    """Weight of each station in the ridge regressions."""
    away = ~np.isin(stations.country, NORTH_AMERICA)
    return stations.trust * np.where(away, WEIGHT_ELSEWHERE, 1.0)


def fit_line(kind: str, stations: Stations, rows: Integers) -> dict[str, Any]:
    """Ridge regression of one kind on some stations; mean and rain have an intercept only."""
    target, weights = stations.targets[kind][rows], ridge_weights(stations)[rows]
    if kind not in stations.features:
        return {"intercept": float(np.average(target, axis=0, weights=weights).mean())}
    features = stations.features[kind][rows]
    flat = features.reshape(-1, features.shape[-1])
    scaler = StandardScaler().fit(flat)
    ridge = Ridge(alpha=RIDGE[kind])
    ridge.fit(scaler.transform(flat), target.ravel(), sample_weight=np.repeat(weights, target.shape[1]))
    return {
        "centre": scaler.mean_.tolist(),
        "scale": scaler.scale_.tolist(),
        "coefficients": ridge.coef_.tolist(),
        "intercept": float(ridge.intercept_),
    }


def line_at(kind: str, line: dict[str, Any], stations: Stations, rows: Integers) -> Floats:
    """The regression at some stations, shape of the targets."""
    if "coefficients" not in line:
        return np.full((len(rows), stations.targets[kind].shape[1]), line["intercept"])
    centred = (stations.features[kind][rows] - np.array(line["centre"])) / np.array(line["scale"])
    return np.asarray(line["intercept"] + centred @ np.array(line["coefficients"]))


def known(kind: str, stations: Stations, rows: Integers) -> Integers:
    """Those of the rows whose station has the target."""
    return rows[np.isfinite(stations.targets[kind][rows]).all(axis=1)]


def interpolation_weights(kind: str, line: dict[str, Any], stations: Stations, rows: Integers) -> Floats:
    """(n, m) weights: residual at a point = covariance with the stations @ weights; 0 where nothing is
    known."""
    weights = np.zeros(stations.targets[kind].shape)
    residual = stations.targets[kind][rows] - line_at(kind, line, stations, rows)
    inner = covariances(stations)[np.ix_(rows, rows)] + np.diag(KERNEL.noise / stations.trust[rows])
    weights[rows] = np.linalg.solve(inner, residual)
    return weights


def out_of_fold(kind: str, stations: Stations, folds: Sequence[Fold], corrected: bool) -> Floats:
    """Predictions for stations left out, with or without the residuals of the others; NaN where never left
    out."""
    covariance = covariances(stations)
    predicted = np.full(stations.targets[kind].shape, np.nan)
    for train, test in folds:
        rows = known(kind, stations, train)
        line = fit_line(kind, stations, rows)
        predicted[test] = line_at(kind, line, stations, test)
        if corrected:
            predicted[test] += covariance[test] @ interpolation_weights(kind, line, stations, rows)
    return predicted


def parts_of_the_world(stations: Stations) -> NDArray[np.str_]:
    """Part of the world of each station."""
    north = np.where(stations.lon > 60, "asia", "europe and mediterranean")
    north = np.where(np.isin(stations.country, NORTH_AMERICA), "north america", north)
    return np.where(stations.lat < 0, "southern hemisphere", north)


def ways_of_leaving_out(stations: Stations) -> dict[str, list[Fold]]:
    """Folds by name."""
    rows = np.arange(len(stations))
    blocks = np.floor(stations.lat / 5) * 1000 + np.floor(stations.lon / 5)
    part = parts_of_the_world(stations)
    return {
        "station": [(np.delete(rows, row), rows[row : row + 1]) for row in rows],
        "block": list(GroupKFold(10).split(rows, groups=blocks)),
        "continent": [(rows[part != name], rows[part == name]) for name in np.unique(part)],
    }


def scores(error: Floats) -> dict[str, float]:
    """Mean absolute and root mean square error and the bias (predicted minus measured)."""
    error = error[np.isfinite(error)]
    return {
        "mae": round(float(np.abs(error).mean()), 2),
        "rmse": round(float(np.sqrt((error**2).mean())), 2),
        "bias": round(float(error.mean()), 2),
        "values": int(error.size),
    }


def measure(stations: Stations) -> dict[str, Any]:
    """Errors by way of leaving out, of monthly maxima and minima, rain and extremes, in and outside North
    America."""
    part = parts_of_the_world(stations)
    everywhere = np.ones(len(stations), bool)
    wheres = {"all": everywhere, **{str(name): part == name for name in np.unique(part)}}
    measured_half = np.exp(stations.targets["range"]) / 2
    report: dict[str, Any] = {}
    for way, folds in ways_of_leaving_out(stations).items():
        for corrected in (False, True):
            mean, log_range, rain, extreme = (
                out_of_fold(kind, stations, folds, corrected) for kind in ("mean", "range", "rain", "extreme")
            )
            off_mean = mean - stations.targets["mean"]
            off_half = np.exp(log_range) / 2 - measured_half
            errors = {
                "tmax": off_mean + off_half,
                "tmin": off_mean - off_half,
                "mean": off_mean,
                "extreme": extreme - stations.targets["extreme"],
                "rain_ratio": rain - stations.targets["rain"],
            }
            report[f"{way}, {'corrected' if corrected else 'regression only'}"] = {
                where: {
                    name: scores(error[rows])
                    for name, error in errors.items()
                    if np.isfinite(error[rows]).any()
                }
                for where, rows in wheres.items()
            }
    return report


def zone_hits(stations: Stations) -> dict[str, dict[str, float]]:
    """How often the published hardiness zone is met by a station, or a block, left out."""
    published = np.array([bool(zone) and zone[-1] in "ab" for zone in stations.zone])
    wanted = np.array([winter.zone_number(zone) for zone in np.array(stations.zone)[published]])
    america = np.isin(stations.country, NORTH_AMERICA)[published]
    hits: dict[str, dict[str, float]] = {}
    ways = ways_of_leaving_out(stations)
    for way in ("station", "block"):
        extreme = out_of_fold("extreme", stations, ways[way], corrected=True)[published, 0]
        off = np.abs(np.array([winter.zone_number_of(value) for value in extreme]) - wanted)
        for where, rows in (("north america", america), ("elsewhere", ~america)):
            hits[f"{way} left out, {where}"] = {
                "places": int(rows.sum()),
                "same half zone": round(float((off[rows] == 0).mean()), 2),
                "within half a zone": round(float((off[rows] <= 0.5).mean()), 2),
                "within a zone": round(float((off[rows] <= 1.0).mean()), 2),
            }
    return hits


def lapse_rate_test(stations: Stations) -> dict[str, float]:
    """Error of the monthly mean [K] by lapse rate [K/km], at stations 150 m and more above or below the
    grid."""
    off = -stations.targets["mean"]
    used = (np.abs(stations.above_grid_m) > 150) & np.isfinite(off).all(axis=1)
    kilometres = stations.above_grid_m[used, None] / 1000
    return {
        f"{rate:.1f}": scores(off[used] + (LAPSE_RATE - rate) * kilometres)["rmse"]
        for rate in (4.0, 4.5, 5.0, 5.5, 6.5)
    } | {"stations": float(used.sum())}


def error_by_distance(report: dict[str, Any]) -> dict[str, list[float]]:
    """Errors a place is given by its distance to the nearest station [km]."""
    near, region, far = (report[f"{way}, corrected"]["all"] for way in ("station", "block", "continent"))
    monthly = [
        float(np.hypot(part["tmax"]["rmse"], part["tmin"]["rmse"]) / np.sqrt(2))
        for part in (near, region, far)
    ]
    return {
        "distance_km": [75.0, 400.0, 2500.0],
        "monthly_rmse": [round(value, 2) for value in monthly],
        "extreme_rmse": [part["extreme"]["rmse"] for part in (near, region, far)],
    }


def main() -> None:
    """Fit, measure and write."""
    stations = read_stations()
    rows = np.arange(len(stations))
    result: dict[str, Any] = {
        "about": "Fitted by datasets/build/fit_climate.py; method and errors in docs/climate-normals.md",
        "lapse_rate_K_per_km": LAPSE_RATE,
        "warming_K_per_year": WARMING_PER_YEAR,
        "kernel": {field: getattr(KERNEL, field) for field in KERNEL.__dataclass_fields__},
        "stations": {
            "name": stations.name,
            "lat": stations.lat.tolist(),
            "lon": stations.lon.tolist(),
            "elevation_m": stations.elevation_m.tolist(),
        },
    }
    for kind in downscaling.KINDS:
        used = known(kind, stations, rows)
        line = fit_line(kind, stations, used)
        weights = interpolation_weights(kind, line, stations, used)
        result[kind] = {
            name: np.round(value, 6).tolist() if isinstance(value, list) else round(value, 6)
            for name, value in line.items()
        }
        result["stations"][kind] = np.round(weights, 4).tolist()
    report = measure(stations)
    result["errors"] = error_by_distance(report)
    result["cross_validation"] = report
    result["zones"] = zone_hits(stations)
    result["lapse_rate_test"] = lapse_rate_test(stations)
    partial = TARGET.with_suffix(".partial")
    partial.write_text(json.dumps(result, separators=(",", ":")) + "\n", encoding="utf-8")
    partial.replace(TARGET)
    for way, parts in report.items():
        for where, part in parts.items():
            figures = "  ".join(
                f"{name} {score['rmse']:.2f} ({score['bias']:+.2f})" for name, score in part.items()
            )
            print(f"{way:32s} {where:24s} {figures}")
    print(result["zones"], result["lapse_rate_test"], sep="\n")
    print(
        f"{TARGET.name}: {len(stations)} stations, {TARGET.stat().st_size / 1e3:.0f} kB; {result['errors']}"
    )


if __name__ == "__main__":
    main()
