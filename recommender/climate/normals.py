"""Monthly climate normals of one point: mean daily maximum and minimum, rain and the coldest night of the year.

In come a latitude, a longitude and an elevation; out goes a `Normals`, with the error of each figure and the
sentences that say what it was made from. Knows no crops. For a typed zone and chill see `analogues.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

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
    annual_extreme_min_degC: mean over the years of the coldest night of each [degC]; hardiness zones are made of it.
    error_monthly_degC, error_extreme_degC: root mean square error [degC] of a monthly value and of the extreme.
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

    lat [degrees north], lon [degrees east, -180 to 180 or 0 to 360]; elevation_m [m], by default that of the ground
    in the world raster, which can be 150 m and more off in mountain valleys.
    Raises BadInput for coordinates out of range, an elevation no orchard has, open sea and Antarctica.

    >>> minneapolis = normals_at(44.883, -93.229, 255)
    >>> bool(minneapolis.tmin[0] < -10 < 25 < minneapolis.tmax[6])
    True
    """
    lat, lon = checked_coordinates(lat, lon)
    point = open_grid().sample(lat, lon)
    height = point.ground_m if elevation_m is None else _checked_elevation(elevation_m)
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


def _checked_elevation(elevation_m: float) -> float:
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
