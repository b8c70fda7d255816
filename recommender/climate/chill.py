"""Winter chill from hourly temperatures: hours, Utah units, Dynamic Model portions.

In come hourly temperatures [degC] of shape (..., D, 24), days in sequence; out goes a sum over the days, or
with `running=True` the running total at the end of each day, shape (..., D). Method page: docs/chill.md.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from recommender.climate.hourly import Array
from recommender.errors import BadInput

CHILL_HOUR_LIMIT_DEGC = 7.2  # 45 degF, Weinberger (1950)

# Upper ends of the steps [degC] and the units of one hour in each; the last holds above the last end.
# Richardson, Seeley & Walker (1974), A model for estimating the completion of rest for Redhaven and Elberta
# peach trees, HortScience 9. The printed table leaves 0.1 degC between steps; they are closed with "greater
# than".
UTAH_STEP_ENDS_DEGC = np.array([1.4, 2.4, 9.1, 12.4, 15.9, 18.0])
UTAH_STEP_UNITS = np.array([0.0, 0.5, 1.0, 0.5, 0.0, -0.5, -1.0])

# Fishman, Erez & Couvillon (1987), The temperature dependence of dormancy breaking in plants, J. theor. Biol.
# 124; constants as in Erez, Fishman et al. (1990). 273 and not 273.15: the constants were fitted so.
E0, E1 = 4153.5, 12888.8  # activation energies over the gas constant [K]
A0, A1 = 139500.0, 2.567e18  # rate constants [1/h]
SLOPE, TRANSITION_K, KELVIN_OFFSET = 1.6, 277.0, 273.0

_WINTERS_AT_ONCE = 2048  # enough to drown the cost of a NumPy call, few enough for the cache
_HOURS_AHEAD = 20_000  # hours of all winters whose coefficients are worked out before the recurrence


def chill_hours_below_7(hourly: ArrayLike, running: bool = False) -> Array:
    """Hours at or below 7.2 degC [h], freezing hours counted. Source: Weinberger (1950)."""
    return _by_day(np.asarray(hourly) <= CHILL_HOUR_LIMIT_DEGC, running)


def chill_hours_0_7(hourly: ArrayLike, running: bool = False) -> Array:
    """Hours from 0 to 7.2 degC, both ends counted [h]: the usual "chill hours" of nursery lists."""
    temperature = np.asarray(hourly)
    return _by_day((temperature >= 0.0) & (temperature <= CHILL_HOUR_LIMIT_DEGC), running)


def utah_weights(temperature: ArrayLike) -> Array:
    """Chill units of one hour at a temperature [degC], any shape. Source: Richardson, Seeley & Walker (1974).

    >>> utah_weights([1.4, 1.5, 9.1, 18.1]).tolist()
    [0.0, 0.5, 1.0, -1.0]
    """
    return np.asarray(UTAH_STEP_UNITS[np.searchsorted(UTAH_STEP_ENDS_DEGC, np.asarray(temperature), "left")])


def utah_units(hourly: ArrayLike, running: bool = False) -> Array:
    """Utah chill units [CU]; warm hours count against. Can be below zero where winters are warm."""
    return _by_day(utah_weights(hourly), running)


def positive_utah_units(hourly: ArrayLike, running: bool = False) -> Array:
    """Positive chill units [PCU]: Utah units summed by day, a day below zero counting as zero.

    Source: the daily (Infruitec) form used in South Africa, Linsley-Noakes et al. (1995); some software clips
    each hour instead and gets more.
    """
    daily = np.maximum(utah_weights(hourly).sum(axis=-1), 0.0)
    return np.asarray(daily.cumsum(axis=-1) if running else daily.sum(axis=-1))


def dynamic_portions(hourly: ArrayLike, running: bool = False) -> Array:
    """Chill portions [CP] of the Dynamic Model, the exact recurrence.

    hourly: (..., D, 24) [degC]; result (...), or (..., D) with running=True. The first hour only sets the
    intermediate product to zero. Portions are the sum of what is fixed each hour, not whole portions.
    Raises BadInput if a temperature is missing or not finite.
    Source: Fishman, Erez & Couvillon (1987); Erez et al. (1990).

    >>> cold = np.full((41, 24), 6.0)
    >>> round(float(dynamic_portions(cold, running=True)[-1]), 2)
    34.2
    """
    temperature = np.asarray(hourly, dtype=np.float64)
    if temperature.ndim < 2 or temperature.shape[-1] != 24:
        raise BadInput(f"Hourly temperatures must have shape (..., days, 24), not {temperature.shape}")
    if not (np.abs(temperature) < 100.0).all():
        raise BadInput(
            "Chill portions need a temperature for every hour, between -100 and 100 degC",
            remedy="Fill short gaps in the daily record or leave that winter out",
        )
    *lead, days, _ = temperature.shape
    series = temperature.reshape(-1, days * 24)
    portions = np.empty((len(series), days))
    for first in range(0, len(series), _WINTERS_AT_ONCE):
        part = slice(first, first + _WINTERS_AT_ONCE)
        portions[part] = _portions_by_day(series[part])
    portions = portions.reshape(*lead, days)
    return np.asarray(portions.cumsum(axis=-1) if running else portions.sum(axis=-1))


def safe_level(totals: ArrayLike, share_of_winters: float) -> Array:
    """The chill reached in a share of winters (0.9 = nine of ten); totals (Y, ...) along axis 0."""
    return np.quantile(np.asarray(totals, dtype=np.float64), 1.0 - share_of_winters, axis=0)


def _by_day(weights: NDArray[np.generic], running: bool) -> Array:
    daily = weights.sum(axis=-1, dtype=np.float64)
    return np.asarray(daily.cumsum(axis=-1) if running else daily.sum(axis=-1))


# The intermediate product E obeys E[i] = gain[i] + E[i-1] * keep[i], with keep[i] * (1 - fixed[i-1]) in place
# of keep[i] when E[i-1] >= 1, that is when the hour before fixed a portion. Arrays are (hours, winters).


def _coefficients(temperature: Array, fixed_before: Array | float) -> tuple[Array, Array, Array, Array]:
    """keep, keep after a fixing hour, gain, share fixed; fixed_before is the share of the hour before the
    first."""
    # In place throughout: fresh arrays would cost more here than the arithmetic.
    inverse = temperature + KELVIN_OFFSET
    np.divide(1.0, inverse, inverse)
    keep = inverse * -E1
    np.exp(keep, keep)
    keep *= -A1
    np.exp(keep, keep)
    after_fixing = 1.0 - keep
    gain = inverse * (E1 - E0)
    np.exp(gain, gain)
    gain *= A0 / A1
    gain *= after_fixing
    fixed = inverse
    fixed *= SLOPE * TRANSITION_K * TRANSITION_K
    fixed -= SLOPE * TRANSITION_K
    np.exp(fixed, fixed)
    fixed += 1.0
    np.divide(1.0, fixed, fixed)
    after_fixing[0] = 1.0 - fixed_before
    np.subtract(1.0, fixed[:-1], after_fixing[1:])
    after_fixing *= keep
    return keep, after_fixing, gain, fixed


def _recur(keep: Array, after_fixing: Array, gain: Array, start: Array) -> Array:
    """E at each hour (hours, winters) from E before the first (winters,); overwrites keep and gain."""
    one, fixing, before = np.ones_like(start), np.empty(start.shape, dtype=bool), start
    for kept, kept_after_fixing, product in zip(keep, after_fixing, gain, strict=True):
        np.greater_equal(before, one, fixing)
        np.putmask(kept, fixing, kept_after_fixing)
        np.multiply(kept, before, kept)
        np.add(product, kept, product)
        before = product
    return gain


def _portions_by_day(series: Array) -> Array:
    """(winters, hours) of temperature -> (winters, days) of portions.

    The hours must follow each other; the winters go side by side. The coefficients of some days are worked
    out ahead, few enough to stay in the cache, so that each hour costs four NumPy calls.
    """
    winters, hours = series.shape
    portions = np.empty((winters, hours // 24))
    product, fixed_before = np.zeros(winters), np.zeros(winters)
    days_ahead = max(1, min(_HOURS_AHEAD // (24 * winters), hours // 24))
    for day in range(0, hours // 24, days_ahead):
        part = np.ascontiguousarray(series[:, 24 * day : 24 * (day + days_ahead)].T)
        keep, after_fixing, gain, fixed = _coefficients(part, fixed_before)
        if day == 0:
            gain[0] = 0.0
        products = _recur(keep, after_fixing, gain, product)
        product, fixed_before = products[-1].copy(), fixed[-1].copy()
        fixed *= products
        fixed *= products >= 1.0
        portions[:, day : day + days_ahead] = fixed.reshape(-1, 24, winters).sum(axis=1).T
    return portions
