"""Hardiness zones as numbers, and the temperatures they stand for.

A zone number is 5.0 for 5a and 5.5 for 5b. In come zone numbers or temperatures, out go the others.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

# A variety rated for a zone is expected to stand that zone's usual coldest nights. A zone is bounded by the
# mean of the yearly extremes, which vary by about 4 K from winter to winter, so the tree's own limit lies
# about that much below the cold end of its zone (common practice; the error covers catalogues that rate by a
# whole zone or by hearsay).
ZONE_MARGIN_K = 4.0
# A zone is 10 degF wide.
ZONES_PER_K = 0.18


def zone_bound(zone: ArrayLike) -> Floats:
    """Cold end of a USDA zone [degC] from its number (5.0 = 5a, 5.5 = 5b): zones are 10 degF wide from -60
    degF.

    Source: USDA Plant Hardiness Zone Map, https://planthardiness.ars.usda.gov (zone 1a begins at -60 degF).

    >>> zone_bound(np.array([5.0, 5.5])).round(1).tolist()
    [-28.9, -26.1]
    """
    return ((np.asarray(zone, dtype=float) - 1.0) * 10.0 - 60.0 - 32.0) / 1.8


def zone_of_hardiness(coldest: ArrayLike) -> Floats:
    """Zone number that a tree standing `coldest` [degC] would be rated for (see ZONE_MARGIN_K).

    >>> zone_of_hardiness(zone_bound(np.array([5.0])) - 4.0).round(6).tolist()
    [5.0]
    """
    return ((np.asarray(coldest, dtype=float) + ZONE_MARGIN_K) * 1.8 + 92.0) / 10.0 + 1.0
