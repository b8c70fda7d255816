"""What the spot does to the weather of the country around it: hollow, slope, wall, coast, city, height,
cover.

In come daily extremes of seasons (Y, 548) [degC]; out come those of the spot. Every figure below is common
practice, rounded, except the fall of temperature with height; each adjustment is off unless asked for. Method
page: docs/site-adjustments.md.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from recommender.climate.hourly import Array
from recommender.errors import BadInput

# Still, clear nights on an orchard's floor against the air around [K]: cold air pools in a hollow, a wall or
# a canopy gives some warmth back (common practice; two to three degrees are usual between floor and slope).
STILL_NIGHT_K: dict[str, float] = {"usual": 0.0, "hollow": -2.0, "sheltered": 1.5}
SLOPE_NIGHT_K, SLOPE_DRAINS_DEG = 1.0, 5.0  # cold air runs off from this steepness on
SLOPE_DAY_K_PER_DEG, STEEPEST_DEG = 0.1, 30.0  # sunny days, a slope that faces the midday sun
WALL_DAY_K = 2.0  # sunny days, close to a wall that faces the midday sun
COAST_SHARE = (
    0.2  # of the daily range and of each day's departure from the season's course that the sea takes
)
CITY_STILL_NIGHT_K, CITY_OTHER_K = 2.0, 0.5
COVER_K, COVER_BELOW_DEGC = 2.0, 2.0  # a light fleece, laid on nights that would be colder than this
LAPSE_K_PER_M = 0.0065  # ICAO standard atmosphere (Doc 7488), published
MOST_HEIGHT_M = 1500.0
# A night counts as still and clear by its day's range against the usual one of the time of year: not at all
# up to the first ratio, fully from the second on (house rule: wind and cloud narrow the range).
CLEAR_FROM, CLEAR_FULLY = 0.8, 1.4

_POINTS = {"N": 0.0, "NE": 45.0, "E": 90.0, "SE": 135.0, "S": 180.0, "SW": 225.0, "W": 270.0, "NW": 315.0}


@dataclass(frozen=True)
class Adjustments:
    """Switches for one spot; as it stands it changes nothing.

    frost_hollow: cold air gathers here. slope_deg [degrees], aspect: where the slope faces (N, NE, ... NW).
    wall: where the wall at the tree's back faces (N ... NW). coast: within sight of the sea, where the
    figures are those of the land behind. city: among many buildings, where the figures are those of open
    country.
    higher_m [m]: above (negative: below) the place the figures are for. fleece: cover on cold nights.
    Raises BadInput for a direction that is none, a slope or a height that is no orchard's.
    """

    frost_hollow: bool = False
    slope_deg: float = 0.0
    aspect: str | None = None
    wall: str | None = None
    coast: bool = False
    city: bool = False
    higher_m: float = 0.0
    fleece: bool = False

    def __post_init__(self) -> None:
        for name in ("aspect", "wall"):
            given = getattr(self, name)
            if given is None:
                continue
            point = str(given).strip().upper()
            if point not in _POINTS:
                raise BadInput(
                    f"“{given}” is no direction", where=name, remedy=f"Give one of {', '.join(_POINTS)}"
                )
            object.__setattr__(self, name, point)
        if not 0.0 <= self.slope_deg <= STEEPEST_DEG:
            raise BadInput(
                f"A slope of {self.slope_deg:g} degrees is not taken",
                where="slope",
                remedy=f"Give 0 to {STEEPEST_DEG:.0f} degrees",
            )
        if self.slope_deg and self.aspect is None:
            raise BadInput("A slope faces somewhere", where="aspect", remedy="Say where, such as S or NW")
        if self.aspect is not None and not self.slope_deg:
            raise BadInput(
                "Only a slope has an aspect", where="slope", remedy="Say how steep it is, in degrees"
            )
        if not abs(self.higher_m) <= MOST_HEIGHT_M:
            raise BadInput(
                f"{self.higher_m:g} m is too far from the place the figures are for",
                where="height",
                remedy=f"Give at most {MOST_HEIGHT_M:.0f} m, or name a place nearer in height",
            )

    @property
    def any(self) -> bool:
        """True if something is switched on."""
        return any(getattr(self, field.name) != field.default for field in fields(self))

    def apply(self, tmin: Array, tmax: Array, lat: float) -> tuple[Array, Array]:
        """Daily extremes (Y, D) [degC] of the spot from those of its surroundings; NaN stays NaN.

        Light decides the day, so a slope or a wall matters with the sun; the coldest hour is the one adjusted
        at night. The maximum never falls below the minimum.
        """
        if not self.any:
            return tmin, tmax
        low, high = tmin.copy(), tmax.copy()
        clear = clear_share(tmin, tmax)
        if self.frost_hollow:
            low += STILL_NIGHT_K["hollow"] * clear
        if self.slope_deg:
            low += SLOPE_NIGHT_K * min(self.slope_deg / SLOPE_DRAINS_DEG, 1.0) * clear
            high += SLOPE_DAY_K_PER_DEG * self.slope_deg * _sunward(self.aspect, lat) * clear
        if self.wall:
            sun = max(_sunward(self.wall, lat), 0.0)
            low += STILL_NIGHT_K["sheltered"] * clear
            high += WALL_DAY_K * sun * clear
        if self.city:
            low += CITY_OTHER_K + (CITY_STILL_NIGHT_K - CITY_OTHER_K) * clear
            high += CITY_OTHER_K
        if self.coast:
            middle, half = (low + high) / 2.0, (high - low) / 2.0
            usual = _mean_of_days(middle)
            course = _smooth(np.nan_to_num(usual, nan=float(np.nanmean(usual))))
            middle = middle + COAST_SHARE * (course - middle)
            low, high = middle - (1.0 - COAST_SHARE) * half, middle + (1.0 - COAST_SHARE) * half
        low -= LAPSE_K_PER_M * self.higher_m
        high -= LAPSE_K_PER_M * self.higher_m
        if self.fleece:
            low = np.where(low < COVER_BELOW_DEGC, np.minimum(low + COVER_K, COVER_BELOW_DEGC), low)
        return low, np.maximum(high, low)

    def said(self) -> tuple[str, ...]:
        """One sentence for each adjustment that is on, with its standing."""
        told = []
        if self.frost_hollow:
            told.append(f"Frost hollow: still, clear nights up to {-STILL_NIGHT_K['hollow']:g} K colder.")
        if self.slope_deg:
            told.append(
                f"Slope of {self.slope_deg:g} degrees facing {self.aspect}: sunny days shifted with the sun,"
                f" still nights up to {SLOPE_NIGHT_K:g} K milder where cold air runs off."
            )
        if self.wall:
            told.append(
                f"Wall facing {self.wall}: still nights up to {STILL_NIGHT_K['sheltered']:g} K milder, sunny"
                f" days up to {WALL_DAY_K:g} K warmer if it faces the midday sun."
            )
        if self.coast:
            told.append(f"Coast: {COAST_SHARE:.0%} less range between day and night and from day to day.")
        if self.city:
            told.append(f"City: nights up to {CITY_STILL_NIGHT_K:g} K milder, days {CITY_OTHER_K:g} K.")
        if self.fleece:
            told.append(f"Fleece on nights below {COVER_BELOW_DEGC:g} degC: up to {COVER_K:g} K milder.")
        told = [f"{sentence} (Common practice.)" for sentence in told]
        if self.higher_m:
            told.append(
                f"{abs(self.higher_m):.0f} m {'higher' if self.higher_m > 0 else 'lower'}: "
                f"{-LAPSE_K_PER_M * self.higher_m:+.1f} K (ICAO standard atmosphere)."
            )
        return tuple(told)


def clear_share(tmin: Array, tmax: Array) -> Array:
    """How still and clear the night before each day was (Y, D), 0 to 1, from its range of temperature."""
    day_range = tmax - tmin
    usual = _smooth(np.nan_to_num(_mean_of_days(day_range), nan=float(np.nanmean(day_range))))
    return np.clip((day_range / np.maximum(usual, 0.5) - CLEAR_FROM) / (CLEAR_FULLY - CLEAR_FROM), 0.0, 1.0)


def _mean_of_days(values: Array) -> Array:
    known = np.isfinite(values)
    count = known.sum(axis=0)
    total = np.where(known, values, 0.0).sum(axis=0)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _smooth(course: Array, days: int = 31) -> Array:
    padded = np.pad(course, days // 2, mode="reflect")
    return np.convolve(padded, np.full(days, 1.0 / days), mode="valid")


def _sunward(direction: str | None, lat: float) -> float:
    """1 where it faces the midday sun, -1 where it faces away, 0 to the east or the west."""
    towards = 0.0 if lat < 0.0 else 180.0
    return float(np.cos(np.radians(_POINTS[direction or "E"] - towards)))
