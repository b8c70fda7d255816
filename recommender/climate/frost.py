"""Frost dates at any temperature and probability: last in spring, first in autumn, the season between.

In come daily minima (Y, D) [degC] from midwinter on; out go day indices along the last axis, NaN where a year
had no frost there, and quantiles that count such years. Method page: docs/frost-and-winter.md.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from recommender.climate.hourly import Array
from recommender.errors import BadInput


def last_frost(tmin: ArrayLike, threshold: float = 0.0) -> Array:
    """Index of the last day at or below the threshold [degC] along the last axis; NaN if there is none.

    >>> last_frost([[-1.0, 3.0, -0.5, 4.0], [5.0, 5.0, 5.0, 5.0]])
    array([ 2., nan])
    """
    frost = np.asarray(tmin, dtype=np.float64) <= threshold
    last = frost.shape[-1] - 1 - np.argmax(frost[..., ::-1], axis=-1)
    return np.where(frost.any(axis=-1), last.astype(np.float64), np.nan)


def first_frost(tmin: ArrayLike, threshold: float = 0.0) -> Array:
    """Index of the first day at or below the threshold [degC] along the last axis; NaN if there is none.

    >>> first_frost([[1.0, 3.0, -0.5, -4.0], [5.0, 5.0, 5.0, 5.0]])
    array([ 2., nan])
    """
    frost = np.asarray(tmin, dtype=np.float64) <= threshold
    return np.where(frost.any(axis=-1), np.argmax(frost, axis=-1).astype(np.float64), np.nan)


def spring_risk(last: ArrayLike, day: ArrayLike) -> Array:
    """Share of years with a frost on or after a day, from the last frosts (Y,); NaN years are safe."""
    dates = np.asarray(last, dtype=np.float64)
    return np.asarray((dates[:, None] >= np.atleast_1d(np.asarray(day, dtype=np.float64))).mean(axis=0))


def autumn_risk(first: ArrayLike, day: ArrayLike) -> Array:
    """Share of years with a frost on or before a day, from the first frosts (Y,); NaN years are safe."""
    dates = np.asarray(first, dtype=np.float64)
    return np.asarray((dates[:, None] <= np.atleast_1d(np.asarray(day, dtype=np.float64))).mean(axis=0))


def last_frost_at(last: ArrayLike, probability: float) -> float:
    """The day after which frost still comes in a share of years (0.1 = one spring in ten).

    NaN if it comes in fewer years. Years without frost count: where 3 springs of 10 have none, there is no
    date of 80 % probability. Raises BadInput for a probability outside 0..1.
    """
    return _date(np.nan_to_num(np.asarray(last, dtype=np.float64), nan=-np.inf), 1.0 - _share(probability))


def first_frost_at(first: ArrayLike, probability: float) -> float:
    """The day by which frost has come in a share of years (0.1 = one autumn in ten); NaN if in fewer years.

    Raises BadInput for a probability outside 0..1.
    """
    return _date(np.nan_to_num(np.asarray(first, dtype=np.float64), nan=np.inf), _share(probability))


def frost_free_days(last: ArrayLike, first: ArrayLike, start: float, end: float) -> Array:
    """Days between the last spring frost and the first autumn frost (Y,); 365 in a year without either.

    start, end: the days to count from and to where a year had no spring or no autumn frost.
    """
    spring, autumn = np.asarray(last, dtype=np.float64), np.asarray(first, dtype=np.float64)
    never = np.isnan(spring) & np.isnan(autumn)
    spring = np.where(np.isnan(spring), start - 1.0, spring)
    autumn = np.where(np.isnan(autumn), end, autumn)
    return np.where(never, 365.0, np.clip(autumn - spring - 1.0, 0.0, 365.0))


def _share(probability: float) -> float:
    if not 0.0 <= probability <= 1.0:
        raise BadInput(f"A probability must lie between 0 and 1, not {probability}")
    return probability


def _date(dates: Array, quantile: float) -> float:
    """A quantile that may be infinite: neighbours are not blended, since a date and "never" have no mean."""
    ordered = np.sort(dates)
    position = quantile * (len(ordered) - 1)
    below, above = ordered[int(np.floor(position))], ordered[int(np.ceil(position))]
    nearer = below if position % 1.0 < 0.5 else above
    if not np.isfinite(nearer):
        return float("nan")
    if not (np.isfinite(below) and np.isfinite(above)):
        return float(nearer)
    return float(below + (above - below) * (position % 1.0))
