"""How long two varieties bloom together: expected shared days, and in what share of years enough of them.

In comes the bloom of V varieties in Y years; out go matrices by pair. Weather moves both alike and is in the
years; what is not sure of each variety itself is integrated over.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from recommender.biology.bloom import Bloom

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]

# Days of flowers together that give insects a fair chance of weather to fly in (common practice).
ENOUGH_DAYS = 3.0
# What two trees of one garden scatter against each other in a year, beside their varieties [d] (estimated).
TREE_SCATTER_D = 1.5
# Gauss-Hermite rule of three nodes for a normal distribution: deviations, weights.
NODES = ((-(3.0**0.5), 1.0 / 6.0), (0.0, 2.0 / 3.0), (3.0**0.5, 1.0 / 6.0))
_CELLS_AT_ONCE = 2_000_000
_FAR = 1e6


def overlap_days(
    bloom: Bloom, one: ArrayLike, other: ArrayLike, enough: float = ENOUGH_DAYS
) -> tuple[Floats, Floats]:
    """Expected shared days (I, J), and the probability over years of at least `enough` of them.

    one (I,), other (J,): rows of `bloom`, usually the trees and their possible pollen donors. A year in which
    either has no bloom counts as no shared day.
    """
    rows, columns = np.asarray(one, dtype=np.intp), np.asarray(other, dtype=np.intp)
    # A year without bloom starts after and ends before anything.
    start = np.nan_to_num(bloom.start, nan=_FAR).astype(np.float32)
    end = np.nan_to_num(bloom.end, nan=-_FAR).astype(np.float32)
    doubt = bloom.variety_error_d.astype(np.float32)
    days = np.zeros((len(rows), len(columns)))
    often = np.zeros_like(days)
    years = start.shape[1]
    step = max(1, _CELLS_AT_ONCE // max(len(columns), 1))
    for first in range(0, len(rows), step):
        mine = rows[first : first + step]
        sigma = np.sqrt(doubt[mine, None] ** 2 + doubt[columns] ** 2 + np.float32(TREE_SCATTER_D**2))
        # A tree has no doubt of itself.
        sigma[mine[:, None] == columns] = 0.0
        for deviation, weight in NODES:
            shift = np.float32(deviation) * sigma
            for year in range(years):
                shared = _shared(
                    start[mine, year], end[mine, year], start[columns, year], end[columns, year], shift
                )
                days[first : first + step] += weight / years * shared
                often[first : first + step] += weight / years * (shared >= enough)
    return days, often


def _shared(
    start: Singles, end: Singles, other_start: Singles, other_end: Singles, shift: Singles
) -> Singles:
    """Days (I, J) in both intervals, the second moved by `shift` (I, J)."""
    last = np.minimum(end[:, None], other_end + shift)
    last -= np.maximum(start[:, None], other_start + shift)
    return np.asarray(np.maximum(last, 0.0, out=last))


def shared_by_year(bloom: Bloom, one: int, other: int) -> Floats:
    """Shared days (Y,) of two varieties, as the model has it, without the varieties' own doubt."""
    last = np.fmin(bloom.end[one], bloom.end[other])
    first = np.fmax(bloom.start[one], bloom.start[other])
    both = np.isfinite(bloom.day[one]) & np.isfinite(bloom.day[other])
    return np.where(both, np.maximum(last - first, 0.0), 0.0)
