"""Pollen partners: of one variety among all, and of all varieties among the trees that stand at a site.

Without a site bloom is taken from what is published, at a site by the days expected to be shared there.

In: the catalog and, for a site, its climate profile. Out: the pollination matrix of the crops concerned, the
variety's position in it, and its partners as `PollinationMatrix.partners` lists them, best first; or
`Standing`. The matrix of the whole catalog is worked out once and kept as long as the catalog lives.
"""

from __future__ import annotations

import weakref
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from recommender.biology.bloom import Bloom, bloom
from recommender.biology.bloom_order import TWO_TIMES_CROPS
from recommender.biology.bloom_overlap import overlap_days
from recommender.biology.crosses import crop_crosses
from recommender.biology.fertility import IS_FEMALE, NEEDED, NEEDS
from recommender.biology.pollination import catalog_matrix
from recommender.biology.pollination_result import PollinationMatrix
from recommender.biology.reasons_pollination import REASONS

if TYPE_CHECKING:
    from recommender.catalog.catalog import Catalog
    from recommender.climate.profile import Profile

Floats = NDArray[np.float64]
Found = tuple[PollinationMatrix, int, pd.DataFrame]
Name = tuple[str, str]

NO_DAYS = (*TWO_TIMES_CROPS, "fig")
"""Crops of which one date of bloom does not say when pollen meets flowers; no shared days are given."""

NEEDS_MALE = "needed, a male one"

LIKELY = 0.75
_SAME_CLONE = np.array([name.startswith(("self-", "sport-")) for name in REASONS])

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


def site_overlap(catalog: Catalog, blooms: Bloom) -> NDArray[np.float32]:
    """Expected shared days of bloom (V, V) [d] of every two varieties, in the order of the traits.

    blooms: of all rows of the traits, at the site. NaN between crops that do not cross, and where dates do
    not tell (`NO_DAYS`).
    """
    crop = catalog.traits()["crop"].to_numpy(dtype=object)
    out = np.full((len(crop), len(crop)), np.nan, dtype=np.float32)
    for bears, gives in crop_crosses(catalog.crops()):
        if bears not in NO_DAYS and gives not in NO_DAYS:
            trees, donors = np.flatnonzero(crop == bears), np.flatnonzero(crop == gives)
            out[np.ix_(trees, donors)] = overlap_days(blooms, trees, donors)[0]
    return out


def site_matrix(catalog: Catalog, profile: Profile, blooms: Bloom | None = None) -> PollinationMatrix:
    """The matrix of every variety with the days of bloom expected to be shared at a site.

    blooms: of all rows of the traits at the site, if at hand.
    """
    blooms = blooms or bloom(catalog.traits(), profile)
    return catalog_matrix(catalog, overlap_days=site_overlap(catalog, blooms))


def matrix_among(catalog: Catalog, keys: Sequence[Name], profile: Profile | None = None) -> PollinationMatrix:
    """The matrix of the named varieties alone, in their order; with a profile, shared days of bloom are the
    site's, else those published. Raises UnknownName."""
    crops = {crop for crop, _ in keys}
    plain = catalog_matrix(catalog, crops)
    rows = [plain.position(*key) for key in keys]
    if profile is None:
        return plain.take(rows)
    traits = catalog.traits().set_index(["crop", "variety"])
    traits = traits.loc[pd.MultiIndex.from_frame(plain.index)].reset_index()
    each = np.arange(len(rows))
    blooms = bloom(traits, profile).taken(np.array(rows, dtype=np.intp))
    known = np.full((len(plain), len(plain)), np.nan)
    known[np.ix_(rows, rows)] = shared_days_at([crop for crop, _ in keys], blooms, each, each)
    return catalog_matrix(catalog, crops, overlap_days=known).take(rows)


def partner_need(catalog: Catalog, crop: str, variety: str) -> str:
    """Whether a variety needs a pollen partner: one of `fertility.NEEDS`, or `NEEDS_MALE`.

    As the matrix has it, which is what reasons, plans and tables go by. Raises UnknownName.
    """
    matrix = whole_matrix(catalog)
    here = matrix.position(crop, variety)
    if matrix.need[here] == NEEDED and matrix.own["self"].iloc[here] == IS_FEMALE:
        return NEEDS_MALE
    return NEEDS[matrix.need[here]]


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


@dataclass(frozen=True, eq=False)
class Standing:
    """What trees that stand at a site do for V varieties.

    chance (V,): that one of them serves in the usual year, 0 where none can; tree (V,): which of them serves
    best, -1 for none; days (V,): bloom they share [d], NaN where it does not tell; both (V,): whether the
    variety serves the tree in return.
    """

    chance: Floats
    tree: NDArray[np.intp]
    days: Floats
    both: NDArray[np.bool_]


def standing_partners(
    matrix: PollinationMatrix, trees: Sequence[int], rows: ArrayLike, blooms: Bloom
) -> Standing:
    """Trees at positions `trees` as partners of the varieties at positions `rows` (V,).

    blooms: of all varieties of the matrix, at the site. The chance is that of the pollen
    (`PollinationMatrix.chance`) times the share of years with enough shared days of bloom. A tree of the same
    clone does not count.
    """
    at, donors = np.asarray(rows, dtype=np.intp), np.asarray(trees, dtype=np.intp)
    pairs = np.ix_(at, donors)
    pollen = np.where(_SAME_CLONE[matrix.reason[pairs]], 0.0, matrix.chance(at, donors))
    back = np.where(_SAME_CLONE[matrix.reason[pairs]], 0.0, matrix.chance(donors, at).T)
    silent = np.isin(matrix.index["crop"].to_numpy(dtype=object), NO_DAYS)
    dated = ~(silent[at][:, None] | silent[donors][None, :])
    days, often = np.full(pollen.shape, np.nan), np.ones(pollen.shape)
    serving = np.flatnonzero((pollen > 0.0).any(axis=1))
    days[serving], often[serving] = overlap_days(blooms, at[serving], donors)
    days[~dated], often[~dated] = np.nan, 1.0
    chance = pollen * often
    best = chance.argmax(axis=1)
    each = np.arange(len(at))
    found = chance[each, best] > 0.0
    return Standing(
        chance[each, best],
        np.where(found, best, -1),
        np.where(found, days[each, best], np.nan),
        back[each, best] >= LIKELY,
    )
