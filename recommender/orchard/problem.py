"""What a choice of trees is made of and what a set is worth, without a solver.

In come plain arrays over candidate varieties and trees that already stand, as a `Problem`; `evaluate` values
any set by the rules of the programme, so that a greedy choice and a search by brute force can be compared.
docs/selection.md states the rules.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from recommender.errors import BadInput

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]

STORED_IN_FRESH_WEEK = 0.5
"""What fruit from store is worth in a week in which ripe fruit was wanted (our choice)."""


@dataclass(frozen=True)
class Weights:
    """What each aim is worth beside the mean suitability of the trees, which counts 1 (our choice)."""

    cover: float = 0.8
    crops: float = 0.4
    known_donor: float = 0.10
    second_donor: float = 0.05


@dataclass(frozen=True, eq=False)
class Problem:
    """n varieties, W wanted weeks. All arrays have one row a variety.

    score (n,): suitability in [0, 1]; 0 for one that is there for its pollen only.
    likely, known (n, n): column's pollen probably / surely sets fruit on the row.
    needs (n,): bears nothing without a donor; triploid (n,): wants two donors that serve each other.
    ripe, kept (n, W): has ripe fruit / fruit in store in that week; fresh (W,): ripe fruit is wanted then.
    group (n,): near-identical varieties share a number; crop (n,): number of the crop.
    area (n,) [m2], price (n,): what one tree takes and costs; area_limit, budget: what there is.
    standing (n,): stands already, takes nothing. fixed (n,): must be planted.
    trees: how many to plant at most. quota: crop number -> (fewest, most) trees to plant.
    wished_crops: crop numbers of which at least one tree each is wished for.
    """

    score: Floats
    likely: Flags
    known: Flags
    needs: Flags
    triploid: Flags
    ripe: Flags
    kept: Flags
    fresh: Flags
    group: Ints
    crop: Ints
    area: Floats
    price: Floats
    standing: Flags
    fixed: Flags
    trees: int
    area_limit: float = np.inf
    budget: float = np.inf
    quota: Mapping[int, tuple[int, int]] = field(default_factory=dict)
    wished_crops: tuple[int, ...] = ()
    weights: Weights = Weights()

    def __post_init__(self) -> None:
        n, weeks = self.ripe.shape
        square = (n, n)
        wrong = [
            name
            for name, shape in (
                ("likely", square),
                ("known", square),
                ("kept", (n, weeks)),
                ("fresh", (weeks,)),
                ("score", (n,)),
                ("group", (n,)),
                ("standing", (n,)),
                ("fixed", (n,)),
            )
            if getattr(self, name).shape != shape
        ]
        if wrong or self.trees < 1:
            raise BadInput(
                f"The choice of trees has {'the wrong shape in ' + wrong[0] if wrong else 'no trees'}",
                remedy="Give one row a variety, one column a week, and at least one tree",
            )

    def __len__(self) -> int:
        return len(self.score)

    def take(self, rows: NDArray[np.intp]) -> Problem:
        """The same problem over some of the varieties."""
        per_row = ("score", "needs", "triploid", "ripe", "kept", "group", "crop", "area", "price", "standing")
        parts = {name: getattr(self, name)[rows] for name in (*per_row, "fixed")}
        square = np.ix_(rows, rows)
        return replace(self, likely=self.likely[square], known=self.known[square], **parts)

    @property
    def week_value(self) -> Floats:
        """(W,) value of each wanted week; they sum to 1."""
        return np.full(len(self.fresh), 1.0 / max(len(self.fresh), 1))


@dataclass(frozen=True)
class Evaluation:
    """What a set is worth. served: share of the planted trees that need a donor and have one that is likely
    (1 where none needs one); served_known, served_twice: that have a sure one, that have two; cover: share of
    the wanted weeks with ripe fruit (fruit in store, where that was wanted); faults: rules broken, in words.
    """

    value: float
    suitability: float
    cover: float
    served: float
    served_known: float
    served_twice: float
    faults: tuple[str, ...]


def evaluate(problem: Problem, chosen: Flags) -> Evaluation:
    """Value of planting `chosen` (n,), by the rules of the programme and without it."""
    chosen = chosen & ~problem.standing
    there = chosen | problem.standing
    donors = problem.likely & there[None, :] & ~np.eye(len(problem), dtype=bool)
    count = donors.sum(axis=1)
    sure = (problem.known & donors).any(axis=1)
    needs = problem.needs & chosen
    pairs = np.array([_has_pair(problem.likely, donors[row]) for row in np.flatnonzero(chosen)], dtype=bool)
    weights, weeks = problem.weights, problem.week_value
    ripe = problem.ripe[there].any(axis=0)
    kept = ripe | problem.kept[there].any(axis=0)
    covered = np.where(problem.fresh, ripe, kept)
    worth = np.where(problem.fresh, (1 - STORED_IN_FRESH_WEEK) * ripe + STORED_IN_FRESH_WEEK * kept, kept)
    suitability = float(problem.score[chosen].sum()) / problem.trees
    alone = chosen & ~problem.needs
    with_known = (float((needs & sure).sum()) + float(alone.sum())) / problem.trees
    twice = (float((needs & (count >= 2)).sum()) + float(alone.sum())) / problem.trees
    crops = set(problem.crop[chosen].tolist())
    met = sum(crop in crops for crop in problem.wished_crops) / max(len(problem.wished_crops), 1)
    value = (
        suitability
        + weights.cover * float((weeks * worth).sum())
        + weights.crops * met
        + weights.known_donor * with_known
        + weights.second_donor * twice
    )
    n_needs = max(int(needs.sum()), 1)
    nobody = not needs.any()
    return Evaluation(
        value=value,
        suitability=suitability * problem.trees / max(int(chosen.sum()), 1),
        cover=float((weeks * covered).sum()) if len(weeks) else 1.0,
        served=1.0 if nobody else float((needs & (count > 0)).sum()) / n_needs,
        served_known=1.0 if nobody else float((needs & sure).sum()) / n_needs,
        served_twice=1.0 if nobody else float((needs & (count >= 2)).sum()) / n_needs,
        faults=tuple(_faults(problem, chosen, count, pairs)),
    )


def _has_pair(likely: Flags, donors: Flags) -> bool:
    rows = np.flatnonzero(donors)
    inside = likely[np.ix_(rows, rows)]
    both = inside & inside.T
    np.fill_diagonal(both, False)
    return bool(both.any())


def _faults(problem: Problem, chosen: Flags, donors: Ints, pairs: Flags) -> Iterable[str]:
    rows = np.flatnonzero(chosen)
    if len(rows) > problem.trees:
        yield "too many trees"
    if (problem.fixed & ~chosen).any():
        yield "a fixed tree is missing"
    if (problem.needs[rows] & (donors[rows] == 0)).any():
        yield "a tree has no donor"
    if (problem.needs[rows] & problem.triploid[rows] & ~pairs).any():
        yield "a triploid has no two donors that serve each other"
    groups = problem.group[chosen | problem.standing]
    planted = set(problem.group[chosen].tolist())
    if any((groups == group).sum() > 1 for group in planted):
        yield "two of a near-identical group"
    if problem.area[chosen].sum() > problem.area_limit + 1e-6:
        yield "no room"
    if problem.price[chosen].sum() > problem.budget + 1e-6:
        yield "over the budget"
    for crop, (fewest, most) in problem.quota.items():
        if not fewest <= (problem.crop[chosen] == crop).sum() <= most:
            yield "a crop quota is not met"


def greedy(problem: Problem, order: NDArray[np.intp]) -> Flags:
    """What a person with a ranked list does: from the top, whatever is not the same tree again and fits.

    order: rows, best first. Fixed trees first; quotas' upper ends, room and money are kept to; pollen is not
    looked at.
    """
    chosen = problem.fixed & ~problem.standing
    for row in order:
        there = chosen | problem.standing
        crop = int(problem.crop[row])
        most = problem.quota.get(crop, (0, problem.trees))[1]
        fits = (
            chosen.sum() < problem.trees
            and not there[row]
            and problem.score[row] > 0
            and problem.group[row] not in problem.group[there]
            and (problem.crop[chosen] == crop).sum() < most
            and problem.area[chosen].sum() + problem.area[row] <= problem.area_limit
            and problem.price[chosen].sum() + problem.price[row] <= problem.budget
        )
        if fits:
            chosen[row] = True
    return chosen
