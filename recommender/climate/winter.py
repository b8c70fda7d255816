"""Winter cold: the coldest night of the year, the hardiness zone, the chance of a given temperature.

In come annual or daily minima [degC]; out go distributions, zone names and probabilities.
Method page: docs/frost-and-winter.md.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats
from scipy.special import gamma

from recommender.climate.hourly import Array
from recommender.errors import BadInput
from recommender.units import celsius, fahrenheit

# USDA Plant Hardiness Zone Map 2023: zone 1a starts at -60 degF of mean annual extreme minimum; zones are 10
# degF wide, halves 5 degF; 13b is the last.
ZONE_1_DEGF, ZONE_WIDTH_DEGF, HALF_ZONE_WIDTH_DEGF = -60.0, 10.0, 5.0
WARMEST_ZONE = 13.5
HALF_ZONE_WIDTH_K = HALF_ZONE_WIDTH_DEGF * 5.0 / 9.0

# Lower bounds [degC] of the hardiness ratings of the Royal Horticultural Society (2013), coldest first.
RHS_RATINGS = (
    ("H7", -math.inf),
    ("H6", -20.0),
    ("H5", -15.0),
    ("H4", -10.0),
    ("H3", -5.0),
    ("H2", 1.0),
    ("H1c", 5.0),
    ("H1b", 10.0),
    ("H1a", 15.0),
)

FEWEST_YEARS_FOR_GEV = 15


def zone_number_of(annual_extreme_min_degC: float) -> float:
    """Hardiness zone as a number, halves counting 0.5: 7a = 7.0, 7b = 7.5. Held to 1.0..13.5.

    >>> zone_number_of(celsius(5.0))
    7.5
    """
    if not math.isfinite(annual_extreme_min_degC):
        raise BadInput("A hardiness zone needs a mean annual extreme minimum")
    # A hair's width of tolerance, so that a bound converted from degF falls in the zone that starts there.
    halves = math.floor((fahrenheit(annual_extreme_min_degC) - ZONE_1_DEGF) / HALF_ZONE_WIDTH_DEGF + 1e-9)
    return min(max(1.0 + halves / 2.0, 1.0), WARMEST_ZONE)


def zone_of(annual_extreme_min_degC: float) -> str:
    """Name of the hardiness half zone of a mean annual extreme minimum [degC].

    >>> zone_of(-14.0), zone_of(-60.0)
    ('7b', '1a')
    """
    return zone_name(zone_number_of(annual_extreme_min_degC))


def zone_name(number: float) -> str:
    """7.5 -> "7b". Raises BadInput for anything but 1.0, 1.5 ... 13.5."""
    if number * 2 != int(number * 2) or not 1.0 <= number <= WARMEST_ZONE:
        raise BadInput(
            f"There is no hardiness zone {number}", remedy="Zones run from 1 to 13.5 in steps of a half"
        )
    return f"{int(number)}{'ab'[int(number * 2) % 2]}"


def zone_number(name: str) -> float:
    """ "7b" -> 7.5, "7" -> 7.0. Raises BadInput for a name that is no zone."""
    text = name.strip().lower().removeprefix("zone").strip()
    digits, half = (text[:-1], text[-1]) if text[-1:] in ("a", "b") else (text, "a")
    if not digits.isdecimal() or not 1 <= int(digits) <= 13:
        raise BadInput(
            f"There is no hardiness zone “{name}”", remedy="Write a zone such as 7b, from 1a to 13b"
        )
    return int(digits) + (0.5 if half == "b" else 0.0)


def zone_bounds(zone: str | float) -> tuple[float, float]:
    """Coldest and warmest mean annual extreme minimum [degC] of a half zone, "7b" or 7.5.

    >>> [round(bound, 1) for bound in zone_bounds("7b")]
    [-15.0, -12.2]
    """
    number = zone_number(zone) if isinstance(zone, str) else zone
    low = ZONE_1_DEGF + ZONE_WIDTH_DEGF * (number - 1.0)
    return celsius(low), celsius(low + HALF_ZONE_WIDTH_DEGF)


def zone_probabilities(annual_extreme_min_degC: float, error_degC: float) -> dict[str, float]:
    """Probability of each half zone if the mean annual extreme minimum has a normal error [degC]; above 1 %.

    >>> zone_probabilities(-13.6, 0.0)
    {'7b': 1.0}
    """
    if error_degC <= 0.0:
        return {zone_of(annual_extreme_min_degC): 1.0}
    numbers = np.arange(1.0, WARMEST_ZONE + 0.5, 0.5)
    inner = [zone_bounds(float(number))[0] for number in numbers[1:]]
    below = np.concatenate([[0.0], stats.norm.cdf(inner, annual_extreme_min_degC, error_degC), [1.0]])
    chances = zip(numbers, np.diff(below), strict=True)
    return {zone_name(float(number)): round(float(chance), 4) for number, chance in chances if chance > 0.01}


def rhs_rating(lowest_degC: float) -> str:
    """Hardiness rating (H1a tender ... H7 hardiest) a plant needs where it falls to this temperature [degC].

    Source: bounds of the Royal Horticultural Society hardiness ratings, 2013.

    >>> rhs_rating(-12.0), rhs_rating(3.0)
    ('H5', 'H2')
    """
    return next(rating for rating, low in reversed(RHS_RATINGS) if lowest_degC >= low)


@dataclass(frozen=True)
class ExtremeMinimum:
    """Distribution of the coldest night of a year: extreme value law, or a normal one for few years.

    method: "gev" (generalised extreme value) or "normal"; shape, location, scale as in scipy.stats (of the
    negated minimum for "gev")
    [degC]. mean, standard_error [degC]: of the mean annual extreme minimum, which the hardiness zone is made
    of.
    """

    method: str
    shape: float
    location: float
    scale: float
    mean: float
    standard_error: float
    years: int

    def probability_below(self, temperature: ArrayLike) -> Array:
        """Probability that a year's coldest night is at or below a temperature [degC], any shape."""
        values = np.asarray(temperature, dtype=np.float64)
        if self.scale == 0.0:
            return np.asarray(np.where(values >= self.location, 1.0, 0.0))
        if self.method == "gev":
            return np.asarray(stats.genextreme.sf(-values, self.shape, -self.location, self.scale))
        return np.asarray(stats.norm.cdf(values, self.location, self.scale))

    def level(self, probability: float) -> float:
        """The temperature [degC] that a year falls to or below with a probability (0.1 = one year in ten)."""
        if self.scale == 0.0:
            return self.location
        if self.method == "gev":
            return -float(stats.genextreme.isf(probability, self.shape, -self.location, self.scale))
        return float(stats.norm.ppf(probability, self.location, self.scale))


def extreme_minimum(annual_minima: ArrayLike) -> ExtremeMinimum:
    """Fit the distribution of annual minima (Y,) [degC]; NaN years are left out.

    From 15 years on a generalised extreme value law by L-moments, with fewer years a normal law.
    Raises BadInput with no year at all.
    Source: Hosking (1990), L-moments, J. R. Statist. Soc. B 52, with his approximation of the shape.
    """
    minima = np.asarray(annual_minima, dtype=np.float64)
    minima = np.sort(minima[np.isfinite(minima)])
    count = len(minima)
    if not count:
        raise BadInput("There is no complete winter to take the coldest night from")
    mean = float(minima.mean())
    spread = float(minima.std(ddof=1)) if count > 1 else 0.0
    error = spread / math.sqrt(count) if count > 1 else math.nan
    if count < FEWEST_YEARS_FOR_GEV or spread == 0.0:
        return ExtremeMinimum("normal", 0.0, mean, spread, mean, error, count)
    coldness = -minima[::-1]
    rank = np.arange(count)
    b1 = float((coldness * rank).sum() / (count * (count - 1)))
    b2 = float((coldness * rank * (rank - 1)).sum() / (count * (count - 1) * (count - 2)))
    l1, l2, l3 = -mean, 2 * b1 + mean, 6 * b2 - 6 * b1 - mean
    c = 2.0 / (3.0 + l3 / l2) - math.log(2.0) / math.log(3.0)
    shape = 7.8590 * c + 2.9554 * c * c
    if abs(shape) < 1e-6:
        shape = 1e-6  # the Gumbel limit
    scale = l2 * shape / ((1.0 - 2.0**-shape) * gamma(1.0 + shape))
    location = l1 - scale * (1.0 - gamma(1.0 + shape)) / shape
    return ExtremeMinimum("gev", float(shape), -float(location), float(scale), mean, error, count)


def chance_of_cold(tmin: ArrayLike, temperature: float, first: int, last: int) -> float:
    """Share of years that reach a temperature [degC] from day `first` to day `last`, both counted.

    tmin: daily minima (Y, D) [degC]. Raises BadInput if the window lies outside the days.
    """
    minima = np.asarray(tmin, dtype=np.float64)
    if not 0 <= first <= last < minima.shape[-1]:
        raise BadInput(f"Days {first} to {last} do not lie within 0 to {minima.shape[-1] - 1}")
    return float((minima[:, first : last + 1].min(axis=1) <= temperature).mean())
