"""Whether what is offered would find pollen where it goes, and serve what stands there.

In: the offered varieties, the trees at each request (standing, or promised by a confirmed match). Out: the
share of the benefit that hangs on fruit, for each variety alone and for two varieties that arrive together.
The shares are house rules, said in docs/swap-matching.md; who pollinates whom is the biology room's.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from recommender.biology.fertility import GAINS, NEEDED, NO_FRUIT, NOT_NEEDED
from recommender.biology.pollination import catalog_matrix
from recommender.swap.people import Desk, Taker

if TYPE_CHECKING:
    from recommender.catalog.store import Catalog

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Variety = tuple[str, str]
# Share of the benefit that hangs on fruit at all; on its own pollen partner; on serving a tree that has none.
FRUIT = {"always": 0.6, "partner": 0.3, "serves": 0.1}
NEIGHBOUR_PARTNER = {"yes": 0.85, "unknown": 0.5, "no": 0.0}
BEARS_ALONE_IN_PART = 0.8
PARTNER_UNKNOWN = 0.7
# A tree whose best partner is less likely than this waits for one.
LONELY_BELOW = 0.5


class Pollen:
    """What each offered variety finds, and gives, among the trees that stand at a request's site."""

    def __init__(self, catalog: Catalog, varieties: list[Variety], desk: Desk) -> None:
        trees = {tree for taker in desk.takers for tree in _trees(desk, taker)}
        self.matrix = catalog_matrix(catalog, {crop for crop, _ in [*varieties, *trees]})
        self._desk = desk
        self._at = np.array([self.matrix.position(*variety) for variety in varieties], dtype=np.int64)
        self._chance = self.matrix.chance().astype(np.float64)
        self._cache: dict[object, _Judged] = {}

    def judge(self, taker: Taker) -> tuple[Floats, Ints, Ints]:
        """(fruit (V,), partner (V,), serves (V,)) of each variety among the trees that stand at the request;
        the latter two are positions in the matrix, -1 where none."""
        found = self._of(taker)
        partner = np.where(self._indifferent(), -1, found.partner)
        return self._fruit(found.best, found.gives), partner, found.serves

    def together(self, taker: Taker, varieties: Ints) -> Floats:
        """(k, k) by how much `fruit` of the row's variety rises when the column's arrives with it."""
        found = self._of(taker)
        at = self._at[varieties]
        here = np.where(at[:, None] == at[None, :], 0.0, self._chance[np.ix_(at, at)])
        best = found.best[varieties][:, None]
        gives = found.gives[varieties][:, None]
        wants = self.matrix.need[at][:, None]
        return _fruit(wants, np.maximum(best, here), gives) - _fruit(wants, best, gives)

    def name(self, variety: int) -> str:
        """Name of an offered variety."""
        return self.matrix.variety_of[int(self._at[variety])]

    def _indifferent(self) -> NDArray[np.bool_]:
        return np.isin(self.matrix.need[self._at], (NOT_NEEDED, NO_FRUIT))

    def _fruit(self, best: Floats, gives: Floats) -> Floats:
        return _fruit(self.matrix.need[self._at], best, gives)

    def _of(self, taker: Taker) -> _Judged:
        trees, neighbours = _trees(self._desk, taker), taker.entry.neighbours_have_fruit_trees
        key = (trees, neighbours)
        if key not in self._cache:
            self._cache[key] = self._judged(trees, NEIGHBOUR_PARTNER[neighbours])
        return self._cache[key]

    def _judged(self, trees: tuple[Variety, ...], next_door: float) -> _Judged:
        at, need = self._at, self.matrix.need
        size = len(at)
        best, partner = np.full(size, next_door), np.full(size, -1, dtype=np.int64)
        gives, serves = np.zeros(size), np.full(size, -1, dtype=np.int64)
        stand = np.array([self.matrix.position(*tree) for tree in trees], dtype=np.int64)
        if len(stand):
            here = np.where(at[:, None] == stand[None, :], 0.0, self._chance[np.ix_(at, stand)])
            first = here.argmax(axis=1)
            better = here.max(axis=1) > best
            best = np.where(better, here.max(axis=1), best)
            partner = np.where(better, stand[first], partner)
            among = self._chance[np.ix_(stand, stand)] * (stand[:, None] != stand[None, :])
            lonely = np.isin(need[stand], (NEEDED, GAINS)) & (among.max(axis=1) < LONELY_BELOW)
            if lonely.any():
                waiting = stand[lonely]
                given = np.where(at[:, None] == waiting[None, :], 0.0, self._chance[np.ix_(waiting, at)].T)
                gives, most = given.max(axis=1), given.argmax(axis=1)
                serves = np.where(gives >= LONELY_BELOW, waiting[most], -1)
        return _Judged(best, partner, gives, serves)


class _Judged:
    """best (V,): chance of the likeliest partner; partner (V,): which; gives, serves (V,): the same for the
    lonely tree it serves."""

    def __init__(self, best: Floats, partner: Ints, gives: Floats, serves: Ints) -> None:
        self.best, self.partner, self.gives, self.serves = best, partner, gives, serves


def _trees(desk: Desk, taker: Taker) -> tuple[Variety, ...]:
    """Varieties that stand at the request or are promised to it, each once."""
    promised = sorted(variety for variety in desk.promised(taker) if variety[1])
    return tuple(dict.fromkeys((*taker.trees, *promised)))


def _fruit(wants: NDArray[np.int8], best: Floats, gives: Floats) -> Floats:
    own = np.where(wants == NEEDED, best, PARTNER_UNKNOWN + (1 - PARTNER_UNKNOWN) * best)
    own = np.where(wants == GAINS, BEARS_ALONE_IN_PART + (1 - BEARS_ALONE_IN_PART) * best, own)
    own = np.where((wants == NOT_NEEDED) | (wants == NO_FRUIT), 1.0, own)
    fruit = FRUIT["always"] + FRUIT["partner"] * own + FRUIT["serves"] * gives
    return np.asarray(np.minimum(fruit, 1.0), dtype=np.float64)
