"""How sure the figures of a profile are: the error of the normals and the small number of years.

In come seasons and their figures; out go standard errors by figure. Method page: docs/weather-generator.md.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from recommender.climate.figures import Figures, figures
from recommender.climate.hourly import Array

# Monthly errors are one standard deviation; this many seasons suffice to see what they do to a median.
_SEASONS_FOR_ERRORS = 12
_MEDIAN_PER_MEAN_ERROR = 1.253  # of the standard errors, normal law: root of pi / 2


def errors_of_normals(
    tmin: Array, tmax: Array, lat: float, error: float, names: Mapping[str, str]
) -> dict[str, float]:
    """Half the difference of the means when all months are warmer and colder by their error [K].

    names: what a figure is called -> its attribute of `Figures`.
    """
    some = seasons_for_errors()
    warm = figures(tmin[some] + error, tmax[some] + error, lat)
    cold = figures(tmin[some] - error, tmax[some] - error, lat)
    return {name: error_of_mean(getattr(warm, at), getattr(cold, at)) for name, at in names.items()}


def seasons_for_errors() -> slice:
    """The seasons that are made warmer and colder."""
    return slice(0, _SEASONS_FOR_ERRORS)


def error_of_mean(warm: Array, cold: Array) -> float:
    """Half the difference of the means of a figure in warmer and in colder seasons (Y,)."""
    return abs(_mean(warm) - _mean(cold)) / 2.0


def median_error(values: Array, of_normals: float) -> float:
    """Standard error of the median of years (Y,) that all have the figure, that of the normals included."""
    of_mean = float(values.std(ddof=1) / np.sqrt(len(values)))
    return float(np.hypot(of_normals, _MEDIAN_PER_MEAN_ERROR * of_mean))


def errors_of_sampling(of_season: Figures, names: Mapping[str, str]) -> dict[str, float]:
    """Standard error of the median of so many years, of the mean for the coldest night; NaN from one year."""
    out = {}
    for name, attribute in names.items():
        values = getattr(of_season, attribute)
        values = values[np.isfinite(values)]
        of_mean = float(values.std(ddof=1) / np.sqrt(len(values))) if len(values) > 1 else float("nan")
        out[name] = of_mean if attribute == "annual_min" else _MEDIAN_PER_MEAN_ERROR * of_mean
    return out


def _mean(values: Array) -> float:
    """Mean over the years; years without frost are left out: only the shift of the middle matters here."""
    values = values[np.isfinite(values)]
    return float(np.mean(values)) if len(values) else float("nan")
