"""Monthly normals and the mean annual extreme minimum -> many synthetic years of daily minima and maxima.

In come twelve mean maxima, twelve mean minima and the mean of the annual coldest nights [degC]; out go daily
series (years, 365) whose monthly means are the normals and whose coldest nights average the given one, with
the day-to-day scatter that chill, frost dates and bloom depend on. Method page: docs/weather-generator.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.optimize import brentq
from scipy.signal import lfilter

from recommender.climate.hourly import Array
from recommender.errors import BadInput

MONTH_DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
YEAR_DAYS = 365  # 29 February is left out everywhere, so that a day of the season is a date

# Estimated on daily series of eleven places, 1991-2020 where there were as many years; the table of what was
# measured and where stands in docs/weather-generator.md. Standard deviations in K, the rest without unit.
DAY_TO_DAY = 0.73  # autocorrelation of the daily mean's weather-scale anomaly at one day
# Share of variance in slow anomalies, which make warm and cold seasons, and their memory from day to day.
SLOW_SHARE, SLOW_MEMORY = 0.05, 0.985
RANGE_DAY_TO_DAY = 0.43  # autocorrelation of the daily range at one day
SUMMER_SD_BASE, SUMMER_SD_SLOPE = 1.2, 0.4  # sd of the daily mean in summer from the one in winter
# The sd of the daily range is a factor times the root of the mean range [K^0.5]; spring and autumn have most.
WINTER_RANGE_SD, SUMMER_RANGE_SD, BETWEEN_RANGE_SD = 1.13, 0.95, 0.15
WINTER_RANGE_CORRELATION, SUMMER_RANGE_CORRELATION = 0.0, 0.4  # of daily mean and range
SUMMER_SKEW = 0.0
SKEW_GAP_START_K, SKEW_GAP_SPAN_K, STRONGEST_SKEW = 6.5, 10.0, 0.6
FULL_SEASONS_K = 6.0  # annual range from which winter and summer are told apart fully
LEAST_RANGE_K = 0.2
SMALLEST_WINTER_SD, LARGEST_WINTER_SD = 0.5, 9.0


@dataclass(frozen=True, eq=False)
class DailyWeather:
    """Synthetic daily weather. tmin, tmax: (years, 365) [degC] from 1 January, years in sequence.

    winter_sd: the fitted standard deviation of the daily mean at the coldest time of the year [K].
    extreme_min_misfit: mean of the annual minima less the one asked for [K]; zero but where no scatter fits.
    """

    tmin: Array
    tmax: Array
    winter_sd: float
    extreme_min_misfit: float


@cache
def _matrices() -> tuple[Array, Array]:
    """Smooth year from monthly means (365, 12), and monthly means of a year (12, 365)."""
    ends = np.cumsum(MONTH_DAYS)
    middles = ends - MONTH_DAYS / 2.0
    knots = np.append(middles, middles[0] + YEAR_DAYS)
    basis = np.vstack([np.eye(12), np.eye(12)[:1]])
    days = np.arange(YEAR_DAYS) + 0.5
    spline = CubicSpline(knots, basis, bc_type="periodic")(days)
    averaging = np.zeros((12, YEAR_DAYS))
    for month, (end, length) in enumerate(zip(ends, MONTH_DAYS, strict=True)):
        averaging[month, end - length : end] = 1.0 / length
    return spline @ np.linalg.inv(averaging @ spline), averaging


def smooth_year(monthly: Array) -> Array:
    """Twelve monthly means -> 365 daily values without steps whose monthly means they are, any unit.

    A periodic cubic spline through mid-month values chosen so that the averages come out right.
    """
    return np.asarray(_matrices()[0] @ np.asarray(monthly, dtype=np.float64))


def monthly_means(daily: Array) -> Array:
    """Means of the twelve months (..., 12) of daily values (..., 365)."""
    return np.asarray(daily @ _matrices()[1].T)


def generate(
    tmin: Array,
    tmax: Array,
    annual_extreme_min_degC: float,
    years: int,
    seed: int = 20261125,
    winter_year_start: int = 0,
) -> DailyWeather:
    """Synthetic daily weather of so many years.

    tmin, tmax: (12,) mean daily minimum and maximum of each month [degC]; annual_extreme_min_degC: the mean
    over years of the coldest night [degC], each year counted from day index `winter_year_start` (0 = 1
    January, 181 = 1 July). The same seed gives the same years, and different places the same run of luck.
    Raises BadInput for fewer than two years or figures that are not finite.
    """
    low, high = np.asarray(tmin, dtype=np.float64), np.asarray(tmax, dtype=np.float64)
    if years < 2:
        raise BadInput(f"At least two years must be made, not {years}")
    if not (np.isfinite(low).all() and np.isfinite(high).all() and np.isfinite(annual_extreme_min_degC)):
        raise BadInput("Monthly normals and the annual extreme minimum must be numbers")
    weather = _Scatter(low, high, annual_extreme_min_degC, years, seed)

    def misfit(winter_sd: float) -> float:
        nights = weather.daily(winter_sd)[0].ravel()
        whole = nights[winter_year_start : winter_year_start + (years - 1) * YEAR_DAYS].reshape(-1, YEAR_DAYS)
        return float(whole.min(axis=1).mean() - annual_extreme_min_degC)

    # More scatter, colder nights: the misfit falls with the standard deviation.
    calmest, wildest = misfit(SMALLEST_WINTER_SD), misfit(LARGEST_WINTER_SD)
    if calmest <= 0.0:
        winter_sd = SMALLEST_WINTER_SD
    elif wildest >= 0.0:
        winter_sd = LARGEST_WINTER_SD
    else:
        winter_sd = float(brentq(misfit, SMALLEST_WINTER_SD, LARGEST_WINTER_SD, xtol=1e-3))
    day_min, day_max = weather.daily(winter_sd)
    return DailyWeather(day_min, day_max, winter_sd, misfit(winter_sd))


class _Scatter:
    """The random part, drawn once, so that only its size is fitted."""

    def __init__(self, low: Array, high: Array, extreme: float, years: int, seed: int) -> None:
        self.target_mean, self.target_range = (low + high) / 2.0, np.maximum(high - low, 2 * LEAST_RANGE_K)
        self.mean, self.range = (
            smooth_year(self.target_mean),
            np.maximum(smooth_year(self.target_range), LEAST_RANGE_K),
        )
        middle, span = (self.mean.max() + self.mean.min()) / 2.0, np.ptp(self.mean)
        self.winter = np.clip(0.5 - (self.mean - middle) / max(span, FULL_SEASONS_K), 0.0, 1.0)
        gap = float(low.min()) - extreme
        winter_skew = -np.clip((gap - SKEW_GAP_START_K) / SKEW_GAP_SPAN_K, 0.0, STRONGEST_SKEW)
        skew = self._blend(float(winter_skew), SUMMER_SKEW)
        common, own = _noise(years, seed)
        # Second-order Cornish-Fisher: a skewed variable with mean 0 and sd 1 from a normal one.
        self.anomaly = (common + skew / 6.0 * (common**2 - 1.0)) / np.sqrt(1.0 + skew**2 / 18.0)
        tie = self._blend(WINTER_RANGE_CORRELATION, SUMMER_RANGE_CORRELATION)
        self.day_range = self._daily_range(tie * common + np.sqrt(1.0 - tie**2) * own)

    def _blend(self, winter: float, summer: float) -> Array:
        return np.asarray(summer + (winter - summer) * self.winter)

    def _daily_range(self, normal: Array) -> Array:
        """Squares of normal variables: never negative, of the right mean and sd, skewed as observed."""
        factor = self._blend(WINTER_RANGE_SD, SUMMER_RANGE_SD)
        factor += BETWEEN_RANGE_SD * 4.0 * self.winter * (1.0 - self.winter)
        variance = np.minimum(factor**2 * self.range, 1.5 * self.range**2)
        spread = self.range - np.sqrt(self.range**2 - variance / 2.0)
        ranges = (np.sqrt(self.range - spread) + np.sqrt(spread) * normal) ** 2
        ratio = self.target_range / monthly_means(ranges.mean(axis=0))
        return np.maximum(ranges * smooth_year(ratio), LEAST_RANGE_K)

    def daily(self, winter_sd: float) -> tuple[Array, Array]:
        summer_sd = min(SUMMER_SD_BASE + SUMMER_SD_SLOPE * winter_sd, winter_sd)
        means = self.mean + self._blend(winter_sd, summer_sd) * self.anomaly
        means += smooth_year(self.target_mean - monthly_means(means.mean(axis=0)))
        return means - self.day_range / 2.0, means + self.day_range / 2.0


@lru_cache(maxsize=4)
def _noise(years: int, seed: int) -> tuple[Array, Array]:
    """Anomalies of the daily mean and of the daily range (years, 365), normal with variance 1: the same run
    of luck for every place, so drawn once."""
    noise = np.random.default_rng(seed).standard_normal((3, years * YEAR_DAYS))
    fast = _autoregression(noise[0], DAY_TO_DAY)
    slow = _autoregression(noise[1], SLOW_MEMORY)
    common = (np.sqrt(1.0 - SLOW_SHARE) * fast + np.sqrt(SLOW_SHARE) * slow).reshape(years, YEAR_DAYS)
    own = _autoregression(noise[2], RANGE_DAY_TO_DAY).reshape(years, YEAR_DAYS)
    common.setflags(write=False)
    own.setflags(write=False)
    return common, own


def _autoregression(noise: Array, memory: float) -> Array:
    """First-order autoregression with variance 1 from white noise, started in its stationary state."""
    shocks = noise * np.sqrt(1.0 - memory**2)
    shocks[0] = noise[0]
    return np.asarray(lfilter([1.0], [1.0, -memory], shocks))
