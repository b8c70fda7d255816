"""Monthly climate normals of one point: mean daily maximum and minimum, rain and the coldest night of the
year.

In come a latitude, a longitude and an elevation; out goes a `Normals`, with the error of each figure and the
sentences that say what it was made from. Or a hardiness zone and chill hours as typed go in, and the climate
of the station most like them comes out. Knows no crops.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import ndtr

from recommender.catalog.package import datasets_folder
from recommender.climate import winter
from recommender.climate.downscaling import open_downscaling
from recommender.climate.grid import GridPoint, open_grid
from recommender.errors import BadInput

Months = NDArray[np.float64]


def _twelve(values: object, name: str) -> Months:
    array = np.array(values, dtype=np.float64)
    if array.shape != (12,) or not np.isfinite(array).all():
        raise BadInput(
            f"The monthly {name} must be twelve numbers, January to December",
            remedy="Give one figure for each month and leave none out",
        )
    array.setflags(write=False)
    return array


@dataclass(frozen=True, eq=False)
class Normals:
    """Climate normals of one point. Arrays are (12,), January first, and cannot be written to.

    lat, lon [degrees, north and east positive]; elevation_m [m above the sea].
    tmax, tmin: mean daily maximum and minimum of each month [degC].
    rain_mm: mean rain of each month [mm].
    annual_extreme_min_degC: mean over the years of the coldest night of each [degC]; hardiness zones are
    made of it.
    error_monthly_degC, error_extreme_degC: root mean square error [degC] of a monthly value and of the
    extreme.
    made_from: one sentence for each thing that went in.

    Raises BadInput if a month is missing, not a number, or has a maximum below its minimum.
    """

    lat: float
    lon: float
    elevation_m: float
    tmax: Months
    tmin: Months
    rain_mm: Months
    annual_extreme_min_degC: float
    error_monthly_degC: float
    error_extreme_degC: float
    made_from: tuple[str, ...] = field(default=())

    def __post_init__(self) -> None:
        object.__setattr__(self, "tmax", _twelve(self.tmax, "maxima"))
        object.__setattr__(self, "tmin", _twelve(self.tmin, "minima"))
        object.__setattr__(self, "rain_mm", _twelve(self.rain_mm, "rain"))
        if (self.tmax < self.tmin).any():
            month = int(np.argmax(self.tmax < self.tmin)) + 1
            raise BadInput(
                f"The mean maximum of month {month} is below its mean minimum",
                remedy="Check that the maxima and the minima were not exchanged",
            )

    @property
    def hemisphere(self) -> str:
        """`north` or `south`; the equator counts as north."""
        return "south" if self.lat < 0 else "north"


HIGHEST_M, LOWEST_M = 6000.0, -450.0
STATION_REACH_KM = 150.0
"""Stations this near [km] are named in `made_from`; farther ones still weigh a little."""


def normals_at(lat: float, lon: float, elevation_m: float | None = None) -> Normals:
    """Climate normals of any point on land north of 60 S.

    lat [degrees north], lon [degrees east, -180 to 180 or 0 to 360]; elevation_m [m], by default that of the
    ground in the world raster, which can be 150 m and more off in mountain valleys.
    Raises BadInput for coordinates out of range, an elevation no orchard has, open sea and Antarctica.

    >>> minneapolis = normals_at(44.883, -93.229, 255)
    >>> bool(minneapolis.tmin[0] < -10 < 25 < minneapolis.tmax[6])
    True
    """
    lat, lon = checked_coordinates(lat, lon)
    point = open_grid().sample(lat, lon)
    height = point.ground_m if elevation_m is None else checked_elevation(elevation_m)
    found = open_downscaling().estimate(point, lat, lon, height)
    return Normals(
        lat=lat,
        lon=lon,
        elevation_m=height,
        tmax=found.tmax,
        tmin=found.tmin,
        rain_mm=found.rain_mm,
        annual_extreme_min_degC=found.extreme_min,
        error_monthly_degC=found.error_monthly,
        error_extreme_degC=found.error_extreme,
        made_from=_sentences(point, elevation_m, height, found.stations),
    )


def checked_coordinates(lat: float, lon: float) -> tuple[float, float]:
    """Latitude and longitude as floats, longitude brought to -180..180. Raises BadInput if out of range."""
    try:
        north, east = float(lat), float(lon)
    except (TypeError, ValueError) as fault:
        raise BadInput(
            f"{lat!r}, {lon!r} are not coordinates", remedy="Give latitude and longitude in decimal degrees"
        ) from fault
    if not (math.isfinite(north) and -90 <= north <= 90):
        raise BadInput(
            f"Latitude {lat} is not between -90 and 90",
            remedy="Give decimal degrees, south negative; perhaps latitude and longitude were exchanged",
        )
    if not (math.isfinite(east) and -180 <= east <= 360):
        raise BadInput(
            f"Longitude {lon} is not between -180 and 180",
            remedy="Give decimal degrees, west negative (0 to 360 counted eastward is accepted too)",
        )
    return north, east - 360 if east > 180 else east


def checked_elevation(elevation_m: float) -> float:
    """Metres above the sea as a float. Raises BadInput for a height at which no orchard stands."""
    try:
        height = float(elevation_m)
    except (TypeError, ValueError) as fault:
        raise BadInput(f"{elevation_m!r} is not an elevation", remedy="Give metres above the sea") from fault
    if not (math.isfinite(height) and LOWEST_M <= height <= HIGHEST_M):
        raise BadInput(
            f"An elevation of {elevation_m} m is not between {LOWEST_M:.0f} and {HIGHEST_M:.0f} m",
            remedy="Give metres above the sea; one foot is 0.3048 m",
        )
    return height


def _sentences(
    point: GridPoint, typed_m: float | None, height: float, stations: tuple[tuple[str, float], ...]
) -> tuple[str, ...]:
    said = [
        "Monthly mean temperature and rain from the ERA5 reanalysis, 2000-2025, on a grid of 0.25 degrees."
    ]
    if point.moved_km:
        said.append(f"The point lies at sea; the nearest land, {point.moved_km:.0f} km off, was taken.")
    given = (
        "as given" if typed_m is not None else "from a world raster, perhaps 150 m off in mountain valleys"
    )
    said.append(
        f"Elevation {height:.0f} m, {given}; the grid's ground there lies at {point.elevation_m:.0f} m."
    )
    near = [f"{name} ({distance:.0f} km)" for name, distance in stations if distance <= STATION_REACH_KM]
    if near:
        said.append(f"Corrected by the measured normals of {_listed(near)}.")
    else:
        name, distance = stations[0]
        said.append(
            f"No station with measured normals within {STATION_REACH_KM:.0f} km (the nearest is {name}, "
            f"{distance:.0f} km), so day and night temperatures and the coldest night are less certain."
        )
    said.append(
        "Daily range and coldest night of the year estimated by a regression fitted on published stations."
    )
    return tuple(said)


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


DAY_TO_DAY_SPREAD = 4.0
"""Standard deviation of winter temperature about its normal hour of the day [K]; with it the estimate below
is within 15 % of the chill hours of `profile.build_profile` on ten climates from Minneapolis to Hobart; a
house figure."""
WINTER_SHAPE = np.array([1.0, 0.9, 0.6, 0.25, 0.05, 0.0, 0.0, 0.0, 0.05, 0.25, 0.6, 0.9])
"""Share of a winter shift that each month takes, January first, in the north; a house rule."""
_CHILL_RANGE = (0.0, 7.2)
_HOURS_IN_MONTH = 730.5
_MOST_SHIFT = 6.0
_WINTER_HALF = np.array([9, 10, 11, 0, 1, 2])
_TYPED_EXTREME_ERROR = winter.HALF_ZONE_WIDTH_K / math.sqrt(12)


def shift_winter(normals: Normals, delta: float, *, keep_extreme: bool = False) -> Normals:
    """The same climate with a winter warmer by `delta` [K]; summer stays.

    The annual extreme minimum moves by as much, unless `keep_extreme`; it stays at least 1 K below the
    coldest monthly minimum either way.
    """
    shape = np.roll(WINTER_SHAPE, 6) if normals.hemisphere == "south" else WINTER_SHAPE
    tmin = normals.tmin + delta * shape
    extreme = normals.annual_extreme_min_degC + (0.0 if keep_extreme else delta)
    return replace(
        normals,
        tmin=tmin,
        tmax=normals.tmax + delta * shape,
        annual_extreme_min_degC=min(extreme, float(tmin.min()) - 1.0),
    )


def estimated_chill_hours(normals: Normals) -> float:
    """Hours between 0 and 7.2 degC in the winter half-year, estimated from monthly normals alone.

    Temperature is taken as normally distributed about a cosine through the day.
    """
    months = (_WINTER_HALF + 6) % 12 if normals.hemisphere == "south" else _WINTER_HALF
    tmin, tmax = normals.tmin[months], normals.tmax[months]
    through_the_day = np.cos(2 * np.pi * (np.arange(24) + 0.5) / 24)
    hourly = ((tmax + tmin) / 2)[:, None] + ((tmax - tmin) / 2)[:, None] * through_the_day
    low, high = _CHILL_RANGE
    share = ndtr((high - hourly) / DAY_TO_DAY_SPREAD) - ndtr((low - hourly) / DAY_TO_DAY_SPREAD)
    return float(share.mean(axis=1).sum() * _HOURS_IN_MONTH)


def normals_like(zone: str, chill_hours: float | None = None, lat: float | None = None) -> Normals:
    """A climate with the hardiness zone and the chill hours (0 to 7.2 degC) a grower has typed: an analogue.

    zone: USDA zone such as 7b; chill_hours [h]; lat [degrees, south negative] sets day length and hemisphere.
    The station with the most similar winter is taken, its extreme minimum set to the middle of the zone and
    its winter shifted by no more than 6 K until the estimated chill hours fit. What could not be met is said
    in `made_from`.
    Raises BadInput for a zone that is none, chill hours below 0 or above 4000, a latitude out of range.
    """
    low, high = winter.zone_bounds(zone)
    middle = (low + high) / 2
    if chill_hours is not None and not (math.isfinite(chill_hours) and 0 <= chill_hours <= 4000):
        raise BadInput(
            f"Chill hours of {chill_hours} cannot be",
            remedy="Give hours a winter, from 0 to 4000, or leave them out",
        )
    if lat is not None:
        lat, _ = checked_coordinates(lat, 0.0)
    name, analogue = _most_similar(middle, chill_hours, lat)
    said = [
        f"No place was given: this is the climate of {name}, the most similar station, with its winter "
        f"adjusted.",
        f"Coldest night of the year set to {middle:.1f} °C, the middle of zone {winter.zone_of(middle)}.",
    ]
    if chill_hours is None:
        fitted = shift_winter(analogue, middle - analogue.annual_extreme_min_degC)
    else:
        start = replace(analogue, annual_extreme_min_degC=min(middle, float(analogue.tmin.min()) - 1.0))
        fitted = _fit_chill(start, chill_hours)
        reached = estimated_chill_hours(fitted)
        said.append(
            f"Winter shifted to about {reached:.0f} chill hours (0 to 7.2 °C); {chill_hours:.0f} were typed."
        )
    extreme = min(middle, float(fitted.tmin.min()) - 1.0)
    if extreme < middle - 0.05:
        said.append(
            f"The typed zone and chill do not go together here: the months are so cold that the coldest "
            f"night had to be "
            f"put at {extreme:.1f} °C."
        )
    said.append(
        "Summer, rain and day-to-day weather are the station's, so season length is a guess. A place is "
        "better."
    )
    return replace(fitted, annual_extreme_min_degC=extreme, made_from=tuple(said))


def _fit_chill(normals: Normals, chill_hours: float) -> Normals:
    """The smallest winter shift that brings the estimated chill within 25 h of the typed, or as near as it
    gets."""
    shifts = np.arange(-_MOST_SHIFT, _MOST_SHIFT + 0.05, 0.1)
    shifts = shifts[np.argsort(np.abs(shifts), kind="stable")]
    shifted = [shift_winter(normals, float(shift), keep_extreme=True) for shift in shifts]
    misses = np.array([abs(estimated_chill_hours(each) - chill_hours) for each in shifted])
    good = np.flatnonzero(misses <= 25.0)
    return shifted[int(good[0]) if good.size else int(misses.argmin())]


def _most_similar(middle: float, chill_hours: float | None, lat: float | None) -> tuple[str, Normals]:
    stations = _measured_stations(datasets_folder())
    extremes = np.array([normals.annual_extreme_min_degC for _, normals in stations])
    unlike = ((extremes - middle) / winter.HALF_ZONE_WIDTH_K) ** 2
    if chill_hours is not None:
        hours = np.array([estimated_chill_hours(normals) for _, normals in stations])
        unlike = unlike + ((hours - chill_hours) / 200.0) ** 2
    if lat is not None:
        lats = np.array([normals.lat for _, normals in stations])
        unlike = unlike + ((np.abs(lats) - abs(lat)) / 8.0) ** 2
    name, normals = stations[int(unlike.argmin())]
    if lat is None:
        return name, normals
    if (normals.hemisphere == "south") != (lat < 0):
        turned = {part: np.roll(getattr(normals, part), 6) for part in ("tmax", "tmin", "rain_mm")}
        normals = replace(normals, **turned)
    return name, replace(normals, lat=lat)


@lru_cache(maxsize=2)
def _measured_stations(folder: Path) -> tuple[tuple[str, Normals], ...]:
    """Stations with published normals and a published zone or annual extreme."""
    table = pd.read_csv(folder / "stations.csv")
    months = [f"{month:02d}" for month in range(1, 13)]
    found = []
    for row in table.to_dict("records"):
        zone, extreme = row["hardiness_zone"], row["mean_annual_extreme_min_c"]
        measured = not pd.isna(extreme)
        if not measured and not isinstance(zone, str):
            continue
        tmax, tmin, rain = (
            np.array([row[f"{kind}_{month}"] for month in months], float)
            for kind in ("tmax", "tmin", "precipitation")
        )
        normals = Normals(
            lat=float(row["lat"]),
            lon=float(row["lon"]),
            elevation_m=0.0 if pd.isna(row["elevation_m"]) else float(row["elevation_m"]),
            tmax=tmax,
            tmin=tmin,
            rain_mm=np.where(np.isfinite(rain), rain, 50.0),
            annual_extreme_min_degC=float(extreme if measured else sum(winter.zone_bounds(zone)) / 2),
            error_monthly_degC=1.5,
            error_extreme_degC=_TYPED_EXTREME_ERROR,
        )
        found.append((str(row["name"]), normals))
    return tuple(found)
