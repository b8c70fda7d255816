"""Warmth from hourly or daily temperatures: growing degree hours and growing degree days.

In come hourly temperatures (..., D, 24) or daily extremes (..., D) [degC]; out go sums over the days, or with
`running=True` the running total at the end of each day, shape (..., D). Method page: docs/heat.md.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from recommender.climate.hourly import Array
from recommender.errors import BadInput

# Anderson, Richardson & Kesner (1986), Validation of chill unit and flower bud phenology models for
# Montmorency sour cherry, Acta Horticulturae 184: base, optimum and critical temperature [degC].
GDH_BASE_DEGC, GDH_OPTIMUM_DEGC, GDH_CRITICAL_DEGC = 4.0, 25.0, 36.0

# Richardson et al. (1975): the straight form, from 4.5 to 25 degC and level above.
LINEAR_BASE_DEGC, LINEAR_TOP_DEGC = 4.5, 25.0


def growing_degree_hours(hourly: ArrayLike, running: bool = False) -> Array:
    """Growing degree hours [GDH] by two cosine limbs: up from 4 to 25 degC, down to nothing at 36 degC.

    Source: Anderson, Richardson & Kesner (1986), stress factor 1.

    >>> growing_degree_hours(np.full((1, 24), 25.0)) / 24
    np.float64(21.0)
    """
    temperature = np.asarray(hourly, dtype=np.float64)
    span = GDH_OPTIMUM_DEGC - GDH_BASE_DEGC
    warming = np.clip((temperature - GDH_BASE_DEGC) / span, 0.0, 1.0)
    cooling = np.clip((temperature - GDH_OPTIMUM_DEGC) / (GDH_CRITICAL_DEGC - GDH_OPTIMUM_DEGC), 0.0, 1.0)
    # Up to the optimum the second factor is 1, above it the first one is 1: one product holds both limbs.
    weights = span / 2.0 * (1.0 - np.cos(np.pi * warming)) * (1.0 - np.sin(np.pi / 2.0 * cooling))
    return _total(weights.sum(axis=-1), running)


def linear_growing_degree_hours(hourly: ArrayLike, running: bool = False) -> Array:
    """Growing degree hours [GDH] by the straight form: degrees above 4.5 degC, no more than 20.5.

    Source: Richardson et al. (1975).
    """
    temperature = np.asarray(hourly, dtype=np.float64)
    above = np.clip(temperature, LINEAR_BASE_DEGC, LINEAR_TOP_DEGC) - LINEAR_BASE_DEGC
    return _total(above.sum(axis=-1), running)


def growing_degree_days(
    tmin: ArrayLike, tmax: ArrayLike, base: float = 10.0, upper: float | None = None, running: bool = False
) -> Array:
    """Growing degree days [K d] by the averaging method: mean of the day's extremes above a base.

    tmin, tmax: (..., D) [degC]. With `upper`, extremes above it count as `upper` (horizontal cut-off). Days
    below the base count nothing. Raises BadInput if the cut-off is not above the base.
    Source: averaging method as in McMaster & Wilhelm (1997), their method 1.

    >>> float(growing_degree_days([8.0, 4.0], [20.0, 12.0]))
    4.0
    """
    low, high = np.asarray(tmin, dtype=np.float64), np.asarray(tmax, dtype=np.float64)
    if upper is not None:
        if upper <= base:
            raise BadInput(f"The upper cut-off ({upper} degC) must lie above the base ({base} degC)")
        low, high = np.minimum(low, upper), np.minimum(high, upper)
    return _total(np.maximum((low + high) / 2.0 - base, 0.0), running)


def _total(daily: Array, running: bool) -> Array:
    return np.asarray(daily.cumsum(axis=-1) if running else daily.sum(axis=-1))
