"""Pollen partners of one variety: without a site by published bloom, at a site by shared days expected there.

In: the catalog and, for a site, its climate profile. Out: the pollination matrix of the crops concerned, the
variety's position in it, and its partners as `PollinationMatrix.partners` lists them, best first. The matrix
of the whole catalog is worked out once and kept as long as the catalog lives.
"""

from __future__ import annotations

import weakref
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from recommender.biology.bloom import Bloom, bloom
from recommender.biology.bloom_order import TWO_TIMES_CROPS
from recommender.biology.bloom_overlap import overlap_days
from recommender.biology.pollination import catalog_matrix
from recommender.biology.pollination_result import PollinationMatrix

if TYPE_CHECKING:
    from recommender.catalog.catalog import Catalog
    from recommender.climate.profile import Profile

Floats = NDArray[np.float64]
Found = tuple[PollinationMatrix, int, pd.DataFrame]
Name = tuple[str, str]

NO_DAYS = (*TWO_TIMES_CROPS, "fig")
"""Crops of which one date of bloom does not say when pollen meets flowers; no shared days are given."""

_KEPT: weakref.WeakKeyDictionary[Any, PollinationMatrix] = weakref.WeakKeyDictionary()


def whole_matrix(catalog: Catalog) -> PollinationMatrix:
    """The matrix of every variety, in the order of the traits frame; worked out once for an open catalog."""
    kept = _KEPT.get(catalog)
    if kept is None:
        kept = _KEPT[catalog] = catalog_matrix(catalog)
    return kept


def shared_days_at(crop: ArrayLike, blooms: Bloom, one: ArrayLike, other: ArrayLike) -> Floats:
    """Expected shared days of bloom (I, J) [d] of rows `one` (I,) and `other` (J,) of a site's bloom.

    crop (V,): of each row of the bloom. NaN where a date of bloom does not tell (`NO_DAYS`).
    """
    rows, columns = np.asarray(one, dtype=np.intp), np.asarray(other, dtype=np.intp)
    days, _ = overlap_days(blooms, rows, columns)
    silent = np.isin(np.asarray(crop, dtype=object), NO_DAYS)
    days[silent[rows], :] = np.nan
    days[:, silent[columns]] = np.nan
    return days


def pollinators_of(catalog: Catalog, own: Name, donors: Sequence[Name] = ()) -> Found:
    """Partners of `own` with bloom taken from published offsets, groups and seasons. Raises UnknownName."""
    return _partners(catalog_matrix(catalog, {own[0], *(crop for crop, _ in donors)}), own, donors)


def pollinators_at(catalog: Catalog, own: Name, profile: Profile, donors: Sequence[Name] = ()) -> Found:
    """Partners of `own` with the days of bloom they are expected to share at a site. Raises UnknownName."""
    plain = catalog_matrix(catalog, {own[0], *(crop for crop, _ in donors)})
    here = plain.position(*own)
    traits = catalog.traits()
    looked_at = pd.MultiIndex.from_frame(plain.index)
    traits = traits.set_index(["crop", "variety"]).loc[looked_at].reset_index()
    days = shared_days_at(traits["crop"], bloom(traits, profile), [here], np.arange(len(traits)))[0]
    # Only the pairs of this variety are asked for; of the others nothing is said.
    known = np.full((len(traits), len(traits)), np.nan)
    known[here, :], known[:, here] = days, days
    crops = {own[0], *(crop for crop, _ in donors)}
    return _partners(catalog_matrix(catalog, crops, overlap_days=known), own, donors)


def _partners(matrix: PollinationMatrix, own: Name, donors: Sequence[Name]) -> Found:
    here = matrix.position(*own)
    asked = [matrix.position(*donor) for donor in donors] or None
    return matrix, here, matrix.partners(here, asked)
