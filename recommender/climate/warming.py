"""Warmer years: one offset, four of the seasons or twelve of the months, added to the daily series.

In come numbers or what a person types; out come twelve offsets [K], January first.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from recommender.climate.hourly import Array
from recommender.errors import BadInput

MOST_K = 10.0
# December to February, March to May, June to August, September to November -> months, January first.
_SEASON_OF_MONTH = (0, 0, 1, 1, 1, 2, 2, 2, 3, 3, 3, 0)


def offsets(warming: ArrayLike) -> Array:
    """Twelve offsets [K] from one, four (DJF, MAM, JJA, SON) or twelve (January first).

    Raises BadInput for any other number of them.

    >>> offsets([2.0, 1.0, 3.0, 1.5]).tolist()
    [2.0, 2.0, 1.0, 1.0, 1.0, 3.0, 3.0, 3.0, 1.5, 1.5, 1.5, 2.0]
    """
    given = np.asarray(warming, dtype=np.float64)
    if given.shape in ((), (1,)):
        given = np.full(12, float(given.reshape(())))
    elif given.shape == (4,):
        given = given[list(_SEASON_OF_MONTH)]
    if given.shape != (12,) or not np.isfinite(given).all():
        raise BadInput("Warming is one offset in K, four of the seasons, or twelve, January first")
    return given


def typed_offsets(text: str) -> tuple[float, ...]:
    """What a person types, "2" or "2,1.5,2.5,2", as one, four or twelve offsets [K].

    Raises BadInput for words, another number of them, or an offset beyond 10 K.
    """
    remedy = "Write one number such as 2, or four for Dec-Feb, Mar-May, Jun-Aug, Sep-Nov: 2,1.5,2.5,2"
    try:
        given = tuple(float(part) for part in text.replace(";", ",").split(","))
    except ValueError:
        raise BadInput(f"“{text}” is no warming in degrees", where="--warming", remedy=remedy) from None
    if len(given) not in (1, 4, 12) or not all(abs(offset) <= MOST_K for offset in given):
        raise BadInput(
            f"“{text}” is not one, four or twelve offsets of at most {MOST_K:.0f} degrees",
            where="--warming",
            remedy=remedy,
        )
    return given


def spoken(of_months: Array) -> str:
    """Offsets in a few words: "2.0" or "1.0 to 3.0"."""
    low, high = of_months.min(), of_months.max()
    return f"{low:.1f}" if low == high else f"{low:.1f} to {high:.1f}"
