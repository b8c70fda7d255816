"""The choice of a set as a mixed-integer programme: which trees are best together, proven.

In comes a `Problem`; out goes a `Solution` with the trees chosen, the value and the gap left to the
proven bound. docs/selection.md states the programme with its symbols.

Solver: HiGHS through `scipy.optimize.milp`.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp

from recommender.orchard.problem import STORED_IN_FRESH_WEEK, Flags, Floats, Ints, Problem, evaluate

SMALL = 60
"""Up to so many varieties all donors are written out at once; above, those of the trees that come up."""
_ROUNDING = 1e-7
_IN_LINE = 20


@dataclass(frozen=True, eq=False)
class Solution:
    """chosen (n,): planted (trees that stand already are not). gap: relative, 0 when proven best; nan where
    nothing was found in time. status: optimal | time limit | infeasible."""

    chosen: Flags
    value: float
    bound: float
    gap: float
    seconds: float
    status: str


class Model:
    """Columns and rows of the programme under construction; columns 0..n-1 are the trees."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.gain: list[float] = []
        self.upper: list[float] = []
        self.integer: list[int] = []
        self._at: list[tuple[NDArray[np.intp], NDArray[np.intp], Floats]] = []
        self.row_low: list[float] = []
        self.row_high: list[float] = []

    def columns(self, count: int, gain: Floats | float, integer: bool = False, upper: float = 1.0) -> Ints:
        """New columns in [0, upper]; their numbers."""
        first = len(self.gain)
        self.gain.extend(np.broadcast_to(np.asarray(gain, dtype=float), count).tolist())
        self.upper.extend([upper] * count)
        self.integer.extend([int(integer)] * count)
        return np.arange(first, first + count)

    def row(self, columns: NDArray[np.intp], values: Floats, low: float, high: float) -> int:
        """One constraint low <= values . columns <= high; its number."""
        at = len(self.row_low)
        self._at.append((np.full(len(columns), at), np.asarray(columns), np.asarray(values, dtype=float)))
        self.row_low.append(low)
        self.row_high.append(high)
        return at

    def at_most(self, column: int, helpers: NDArray[np.intp]) -> int:
        """column <= sum of helpers."""
        values = np.concatenate(([1.0], np.full(len(helpers), -1.0)))
        return self.row(np.concatenate(([column], helpers)), values, -np.inf, 0.0)

    def loosen(self, row: int, column: int, by: float) -> None:
        """Let a column ease a row: adds `by` times the column to it."""
        self._at.append((np.array([row]), np.array([column]), np.array([by])))

    def matrix(self) -> tuple[sparse.csr_array, Floats, Floats]:
        """The rows as a sparse matrix, their lower and their upper ends."""
        rows, columns, values = (np.concatenate(part) for part in zip(*self._at, strict=True))
        shape = (len(self.row_low), len(self.gain))
        table = sparse.csr_array((values, (rows, columns)), shape=shape)
        return table, np.asarray(self.row_low), np.asarray(self.row_high)

    def solve(self, lower: Floats, time_limit: float) -> tuple[Floats | None, float, float, str]:
        """(values, value, bound, status) of the maximum."""
        low = np.zeros(len(self.gain))
        low[: len(lower)] = lower
        found = milp(
            -np.asarray(self.gain),
            integrality=np.asarray(self.integer),
            bounds=Bounds(low, np.asarray(self.upper)),
            constraints=LinearConstraint(*self.matrix()),
            options={"time_limit": time_limit, "mip_rel_gap": 0.0},
        )
        status = {0: "optimal", 1: "time limit", 2: "infeasible"}.get(int(found.status), "failed")
        if found.x is None:
            return None, np.nan, np.nan, status
        bound = found.mip_dual_bound
        return found.x, -float(found.fun), -float(bound if bound is not None else found.fun), status


@dataclass(frozen=True)
class Rows:
    """Which row of the model stands for which wish, so that a wish can be eased."""

    trees: int
    area: int | None
    budget: int | None
    fewest: dict[int, int]
    most: dict[int, int]


def build(problem: Problem, exact: Flags | None = None, cuts: bool = True) -> tuple[Model, Rows]:
    """The programme without the bounds of fixed and standing trees.

    exact (n,): of which varieties the donors are written out one by one (all if None). Of the others the
    programme only knows what their crop as a whole needs, so its value is a bound. cuts: with rows that
    follow from the others and only tighten the bound; without them where a wish is to be eased.
    """
    model, n = Model(problem), len(problem)
    weights, trees = problem.weights, problem.trees
    new = ~problem.standing
    sure_gain = (weights.known_donor + weights.second_donor) / trees
    x = model.columns(
        n, np.where(new, problem.score / trees + np.where(problem.needs, 0.0, sure_gain), 0.0), integer=True
    )
    rows = add_limits(model, problem, x)
    if cuts:
        add_cuts(model, problem, x)
    add_weeks(model, problem, x)
    crops = add_company(model, problem, x)
    _donors(model, problem, x, np.ones(n, dtype=bool) if exact is None else exact, crops)
    add_wished_crops(model, problem, x)
    return model, rows


def add_limits(model: Model, problem: Problem, x: Ints) -> Rows:
    new = ~problem.standing
    ones = np.ones(int(new.sum()))
    trees = model.row(x[new], ones, 0, problem.trees)
    area = budget = None
    if np.isfinite(problem.area_limit):
        area = model.row(x[new], problem.area[new], 0, problem.area_limit)
    if np.isfinite(problem.budget):
        budget = model.row(x[new], problem.price[new], 0, problem.budget)
    fewest, most = {}, {}
    for crop, (low, high) in problem.quota.items():
        of_crop = x[new & (problem.crop == crop)]
        fewest[crop] = model.row(of_crop, np.ones(len(of_crop)), low, np.inf)
        most[crop] = model.row(of_crop, np.ones(len(of_crop)), 0, high)
    groups, sizes = np.unique(problem.group, return_counts=True)
    for group in groups[sizes > 1]:
        members = problem.group == group
        room = 0.0 if (members & problem.standing).any() else 1.0
        of_group = x[members & new]
        model.row(of_group, np.ones(len(of_group)), 0, room)
    return Rows(trees, area, budget, fewest, most)


def add_cuts(model: Model, problem: Problem, x: Ints) -> None:
    """At most so many trees as the smallest, or the cheapest, of them would fit; each near-identical group
    counts once."""
    new = ~problem.standing
    most = problem.trees
    for part, limit in ((problem.area, problem.area_limit), (problem.price, problem.budget)):
        if np.isfinite(limit) and new.any():
            _, first = np.unique(problem.group[new], return_inverse=True)
            least = np.full(first.max() + 1, np.inf)
            np.minimum.at(least, first, part[new])
            most = min(most, int((np.cumsum(np.sort(least)) <= limit + 1e-6).sum()))
    if most < problem.trees:
        model.row(x[new], np.ones(int(new.sum())), 0, max(most, int((problem.fixed & new).sum())))


def add_weeks(model: Model, problem: Problem, x: Ints) -> None:
    for week, (fresh, value) in enumerate(zip(problem.fresh, problem.week_value, strict=True)):
        worth = float(value) * problem.weights.cover
        ripe, either = problem.ripe[:, week], problem.ripe[:, week] | problem.kept[:, week]
        if fresh:
            (covered,) = model.columns(1, (1 - STORED_IN_FRESH_WEEK) * worth)
            model.at_most(int(covered), x[ripe])
        (held,) = model.columns(1, STORED_IN_FRESH_WEEK * worth if fresh else worth)
        model.at_most(int(held), x[either])


def add_wished_crops(model: Model, problem: Problem, x: Ints) -> dict[int, int]:
    """A premium for each wished crop of which a tree is planted; its column by the crop's number.

    The second row follows from the donors' rows and only tightens the bound: where a crop's tree needs a
    donor and none stands, its crop comes with two trees at least.
    """
    new = ~problem.standing
    columns = {}
    alone = ~problem.needs | (problem.likely & problem.standing[None, :]).any(axis=1)
    for crop in problem.wished_crops:
        of_crop = problem.crop == crop
        (met,) = model.columns(1, problem.weights.crops / len(problem.wished_crops), integer=True)
        columns[crop] = int(met)
        model.at_most(int(met), x[new & of_crop])
        gives = new & ~of_crop & problem.likely[of_crop & problem.needs].any(axis=0)
        trees = np.concatenate(([met], x[new & of_crop], x[gives]))
        worth = np.concatenate(([2.0], -np.where(alone[new & of_crop], 2.0, 1.0), np.full(gives.sum(), -1.0)))
        model.row(trees, worth, -np.inf, 0.0)
    return columns


def add_company(model: Model, problem: Problem, x: Ints) -> dict[int, tuple[int, int]]:
    """For each crop, two columns: a tree that needs a donor is planted; one with two donors is.

    Follows from the donors' rows: the first takes two trees of the crop and what serves it, the second three,
    standing ones counted. Few columns to branch on, in place of as many as there are varieties.
    """
    new, likely = ~problem.standing, problem.likely
    columns = {}
    for crop in np.unique(problem.crop[problem.needs & new]):
        wanting = new & problem.needs & (problem.crop == crop)
        gives = likely[wanting].any(axis=0)
        company = (problem.crop == crop) | gives
        stand = float((gives & problem.standing).sum())
        some, well = (int(c) for c in model.columns(2, 0.0, integer=True))
        of_it, donors = x[company & new], x[gives & new]
        for column, least, trees in (
            (some, 2.0, of_it),
            (well, 3.0, of_it),
            (some, 1.0, donors),
            (well, 2.0, donors),
        ):
            values = np.concatenate(([least], np.full(len(trees), -1.0)))
            model.row(np.concatenate(([column], trees)), values, -np.inf, stand)
        for row in np.flatnonzero(wanting):
            model.at_most(int(x[row]), np.array([some]))
        columns[int(crop)] = (some, well)
    return columns


def _donors(model: Model, problem: Problem, x: Ints, exact: Flags, crops: dict[int, tuple[int, int]]) -> None:
    weights, trees = problem.weights, problem.trees
    likely = problem.likely & ~np.eye(len(problem), dtype=bool)
    for row in np.flatnonzero(problem.needs & ~problem.standing).tolist():
        own = int(x[row])
        (second,) = model.columns(1, weights.second_donor / trees)
        model.at_most(int(second), x[[row]])
        model.at_most(int(second), np.array([crops[int(problem.crop[row])][1]]))
        sure_donors = x[likely[row] & problem.known[row]]
        if len(sure_donors):
            (sure,) = model.columns(1, weights.known_donor / trees)
            model.at_most(int(sure), x[[row]])
            model.at_most(int(sure), sure_donors)
        if not likely[row].any():
            model.row(x[[row]], np.ones(1), 0.0, 0.0)
        elif exact[row]:
            donors = x[likely[row]]
            # x + second <= donors: no donor, no tree; one donor, no premium for a second.
            model.row(
                np.concatenate(([own, second], donors)),
                np.concatenate(([1.0, 1.0], np.full(len(donors), -1.0))),
                -np.inf,
                0.0,
            )
            if problem.triploid[row]:
                _pair_of_donors(model, likely, row, x)


def _pair_of_donors(model: Model, likely: Flags, row: int, x: Ints) -> None:
    """A triploid's donor counts if another of its donors and it serve each other."""
    donors = np.flatnonzero(likely[row])
    both = (likely & likely.T)[np.ix_(donors, donors)]
    serves = model.columns(len(donors), 0.0)
    for place, donor in enumerate(donors):
        model.at_most(int(serves[place]), x[[donor]])
        model.at_most(int(serves[place]), x[donors[both[place]]])
    model.at_most(int(x[row]), serves)


def solve(
    problem: Problem,
    *,
    time_limit: float = 10.0,
    different_from: Sequence[Flags] = (),
    differ_by: Sequence[int] = (),
) -> Solution:
    """The best set, with its gap. time_limit [s]: the best found by then is given back, with its gap.

    different_from: sets already seen; of each, so many trees must be missing as `differ_by` says.
    """
    start = time.perf_counter()
    exact = np.full(len(problem), len(problem) <= SMALL)
    lower = (problem.standing | problem.fixed).astype(float)
    while True:
        model, _ = build(problem, exact)
        for seen, missing in zip(different_from, differ_by, strict=True):
            at = np.flatnonzero(seen & ~problem.standing)
            model.row(at, np.ones(len(at)), 0, len(at) - missing)
        left = time_limit - (time.perf_counter() - start)
        values, value, bound, status = model.solve(lower, max(left, 0.05))
        seconds = time.perf_counter() - start
        if values is None:
            return Solution(np.zeros(len(problem), dtype=bool), np.nan, np.nan, np.nan, seconds, status)
        chosen = (values[: len(problem)] > 0.5) & ~problem.standing
        worth = evaluate(problem, chosen)
        if worth.value >= value - _ROUNDING and not worth.faults:
            gap = max(0.0, bound - value) / max(abs(value), 1e-9)
            return Solution(chosen, value, bound, 0.0 if gap < _ROUNDING else gap, seconds, status)
        if status != "optimal":
            return Solution(np.zeros(len(problem), dtype=bool), np.nan, bound, np.nan, seconds, status)
        # What was promised without its donors is written out, and the programme solved again.
        exact = exact | chosen | _next_in_line(problem, chosen, exact)


def _next_in_line(problem: Problem, chosen: Flags, exact: Flags) -> Flags:
    """The best of the chosen crops that are not written out yet: they would be promised next."""
    line = np.isin(problem.crop, problem.crop[chosen]) & ~exact & ~problem.standing
    rows = np.flatnonzero(line)
    best = rows[np.argsort(-problem.score[rows], kind="stable")][:_IN_LINE]
    return np.asarray(np.isin(np.arange(len(problem)), best))
