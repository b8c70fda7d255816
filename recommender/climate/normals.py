"""Monthly climate normals of one point: the mean daily maximum and minimum, the rain and the coldest night of the year.

In come a latitude, a longitude and an elevation (or a hardiness zone and a chill figure); out goes a `Normals`,
with the error of each figure and the sentences that say what it was made from. Knows no crops.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

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
    annual_extreme_min_degC: mean over the years of each year's coldest night [degC]; hardiness zones are made of it.
    error_monthly_degC, error_extreme_degC: root mean square error [degC] of one monthly value and of the extreme.
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
