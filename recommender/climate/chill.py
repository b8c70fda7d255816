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

_LANES = 2048  # winters side by side: enough to drown the cost of a NumPy call, few enough for the cache
_STRETCH_H = 240  # hours computed ahead of the recurrence
_SHORTEST_STRETCH_H = 120


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
    for first in range(0, len(series), _LANES):
        block = series[first : first + _LANES]
        work = _hour_by_hour
        portions[first : first + _LANES] = work(block).reshape(days, 24, len(block)).sum(axis=1).T
    portions = portions.reshape(*lead, days)
    return np.asarray(portions.cumsum(axis=-1) if running else portions.sum(axis=-1))


def safe_level(totals: ArrayLike, share_of_winters: float) -> Array:
    """The chill reached in a share of winters (0.9 = nine of ten); totals (Y, ...) along axis 0."""
    return np.asarray(np.quantile(np.asarray(totals, dtype=np.float64), 1.0 - share_of_winters, axis=0))


def _by_day(weights: NDArray[np.generic], running: bool) -> Array:
    daily = weights.sum(axis=-1, dtype=np.float64)
    return np.asarray(daily.cumsum(axis=-1) if running else daily.sum(axis=-1))


# The intermediate product E obeys E[i] = gain[i] + E[i-1] * keep[i], with keep[i] * (1 - fixed[i-1]) in place
# of keep[i] when E[i-1] >= 1, that is when the hour before fixed a portion. Arrays below are (hours, lanes).


def _coefficients(temperature: Array, fixed_before: Array | float) -> tuple[Array, Array, Array, Array]:
    """keep, keep after a fixing hour, gain, fixed share; fixed_before belongs to the hour before the first."""
    kelvin = temperature + KELVIN_OFFSET
    inverse = 1.0 / kelvin
    keep = np.exp(-A1 * np.exp(-E1 * inverse))
    gain = (A0 / A1) * np.exp((E1 - E0) * inverse) * (1.0 - keep)
    fixed = 1.0 / (1.0 + np.exp(-SLOPE * TRANSITION_K * (1.0 - TRANSITION_K * inverse)))
    after_fixing = np.empty_like(keep)
    after_fixing[0] = keep[0] * (1.0 - fixed_before)
    np.multiply(keep[1:], 1.0 - fixed[:-1], out=after_fixing[1:])
    return keep, after_fixing, gain, fixed


def _recur(keep: Array, after_fixing: Array, gain: Array, start: Array) -> Array:
    """The product E at each hour (hours, lanes) from E before the first (lanes,)."""
    products = np.empty_like(keep)
    before = start
    for kept, kept_after_fixing, gained, product in zip(keep, after_fixing, gain, products, strict=True):
        np.multiply(np.where(before >= 1.0, kept_after_fixing, kept), before, out=product)
        product += gained
        before = product
    return products


def _hour_by_hour(series: Array) -> Array:
    """(lanes, hours) of temperature -> (hours, lanes) of portions, for many winters at once."""
    lanes, hours = series.shape
    portions = np.empty((hours, lanes))
    product, fixed_before = np.zeros(lanes), np.zeros(lanes)
    for first in range(0, hours, _STRETCH_H):
        part = np.ascontiguousarray(series[:, first : first + _STRETCH_H].T)
        keep, after_fixing, gain, fixed = _coefficients(part, fixed_before)
        if first == 0:
            gain[0] = 0.0
        products = _recur(keep, after_fixing, gain, product)
        product, fixed_before = products[-1], fixed[-1]
        portions[first : first + _STRETCH_H] = np.where(products >= 1.0, products * fixed, 0.0)
    return portions


def _stretches_side_by_side(series: Array) -> Array:
    """(lanes, hours) of temperature -> (hours, lanes) of portions, for few winters.

    Hours must follow each other, so few winters would mean one tiny NumPy call after another. Each winter is
    cut into stretches run side by side, each from the end of the stretch before as far as that is known. A
    pass is repeated for the stretches whose start has changed, until none has: the first stretch is right at
    once, the second after one more pass at the latest, and so on. The end result is therefore the exact
    recurrence; and because E soon forgets its start in chilling weather, few passes are needed.
    """
    lanes, hours = series.shape
    count = max(1, min(hours // _SHORTEST_STRETCH_H, _LANES // (2 * lanes)))
    length = -(-hours // count)
    padded = np.zeros((lanes, count * length))  # hours after the end are computed and dropped
    padded[:, :hours] = series
    columns = np.ascontiguousarray(
        padded.reshape(lanes * count, length).T
    )  # column w * count + k: stretch k of winter w
    last_fixed = _coefficients(columns[-1:], 0.0)[3][0]
    keep, after_fixing, gain, fixed = _coefficients(columns, _handed_on(last_fixed, count))
    gain[0, ::count] = 0.0
    start = np.zeros(lanes * count)
    products = _recur(keep, after_fixing, gain, start)
    while True:
        begin = _handed_on(products[-1], count)
        redo = np.flatnonzero(begin != start)
        if not len(redo):
            break
        start = begin
        products[:, redo] = _recur(keep[:, redo], after_fixing[:, redo], gain[:, redo], start[redo])
    portions = np.where(products >= 1.0, products * fixed, 0.0)
    return portions.T.reshape(lanes, count * length)[:, :hours].T


def _handed_on(last: Array, count: int) -> Array:
    """The last value of each stretch, given to the next stretch of the same winter; zero for the first."""
    handed = np.zeros_like(last)
    handed[1:] = last[:-1]
    handed[::count] = 0.0
    return handed
