"""Candidates no best planting needs, left out with proof, so that the whole catalog is solved in seconds.

In comes a `Problem`; out goes a `Solution` over all of it. Leaving pollen out of the programme gives a small
linear programme whose value no planting can exceed; its reduced costs say how much of that value is lost, at
least, when a given variety must be planted. Whatever loses more than what separates a planting already found
from the bound cannot be in a better one (reduced-cost fixing; Dantzig, Fulkerson and Johnson 1954). The
full programme is then solved over what is left. docs/selection.md has the argument.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import replace
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.optimize import linprog

from recommender.orchard.problem import Flags, Floats, Problem
from recommender.orchard.programme import (
    SMALL,
    Model,
    Solution,
    add_company,
    add_cuts,
    add_limits,
    add_weeks,
    add_wished_crops,
    solve,
)

_FIRST_TRY, _SECOND_TRY, _MANY = 40, 80, 200
_MOST_PAIRS = 4
_ROUNDING = 1e-7


def ceilings(problem: Problem) -> Floats:
    """(n,) no planting that holds the variety is worth more than this; -inf where none can hold it.

    Pollen is left out: who needs a donor gets it, and the premium for a sure or a second one wherever any
    candidate or standing tree could give it. Quotas hold.
    """
    n, weights = len(problem), problem.weights
    others = problem.likely & ~np.eye(n, dtype=bool)
    sure = others & problem.known
    new = ~problem.standing
    premium = weights.second_donor * ((others.sum(axis=1) >= 2) | ~problem.needs)
    premium = premium + weights.known_donor * ~problem.needs
    model = Model(problem)
    x = model.columns(n, np.where(new, (problem.score + premium) / problem.trees, 0.0))
    add_limits(model, problem, x)
    add_cuts(model, problem, x)
    add_weeks(model, problem, x)
    for row in np.flatnonzero(problem.needs & new & sure.any(axis=1)):
        (known,) = model.columns(1, weights.known_donor / problem.trees)
        model.at_most(int(known), x[[row]])
        model.at_most(int(known), x[sure[row]])
    add_company(model, problem, x)
    met = add_wished_crops(model, problem, x)
    matrix, low, high = model.matrix()
    upper_rows, lower_rows = np.isfinite(high), np.isfinite(low)
    table: Any = sparse.vstack((matrix[upper_rows], -matrix[lower_rows]), format="csr")
    right = np.concatenate((high[upper_rows], -low[lower_rows]))
    served: Flags = np.asarray((others & problem.standing[None, :]).any(axis=1))
    hopeless = new & ~problem.fixed & problem.needs & ~(served if problem.trees < 2 else others.any(axis=1))
    must = problem.standing | problem.fixed
    top = np.full(n, -np.inf)
    for planted in product((0.0, 1.0), repeat=len(_pairs_only(problem, served))):
        lower, upper = np.zeros(len(model.gain)), np.asarray(model.upper)
        lower[:n] = must
        upper[:n] = np.where(hopeless, 0.0, 1.0)
        for crop, there in zip(_pairs_only(problem, served), planted, strict=True):
            lower[met[crop]] = upper[met[crop]] = there
            if not there:
                upper[:n] = np.where(new & (problem.crop == crop) & ~problem.fixed, 0.0, upper[:n])
        found = linprog(
            -np.asarray(model.gain),
            A_ub=table,
            b_ub=right,
            bounds=list(zip(lower.tolist(), upper.tolist(), strict=True)),
            method="highs",
        )
        if found.status == 2:
            continue
        if found.status != 0:
            return np.full(n, np.inf)
        # Marginals at the lower bound: what forcing the variety in from 0 costs, per unit.
        loss = np.where(must, 0.0, np.maximum(np.asarray(found.lower.marginals)[:n], 0.0))
        top = np.maximum(top, np.where(upper[:n] > 0, -float(found.fun or 0.0) - loss, -np.inf))
    return top


def _pairs_only(problem: Problem, served: Flags) -> list[int]:
    """Wished crops that come with two trees or not at all: no tree of theirs does with what stands already.

    Each is looked at planted and not planted, since half a pair would loosen the ceiling.
    """
    alone = (~problem.needs | served) & ~problem.standing
    return [crop for crop in problem.wished_crops if not (alone & (problem.crop == crop)).any()][:_MOST_PAIRS]


def solve_all(
    problem: Problem,
    *,
    time_limit: float = 10.0,
    different_from: Sequence[Flags] = (),
    differ_by: int = 1,
) -> Solution:
    """As `programme.solve`, over any number of varieties."""
    start = time.perf_counter()

    def over(rows: NDArray[np.intp], limit: float) -> Solution:
        seen = [flags[rows] for flags in different_from]
        # Trees of a seen set that are not among the rows are missing already.
        asked = [
            max(0, differ_by - int(f.sum() - s.sum())) for f, s in zip(different_from, seen, strict=True)
        ]
        return solve(problem.take(rows), time_limit=limit, different_from=seen, differ_by=asked)

    everyone = np.arange(len(problem))
    if len(problem) <= SMALL:
        return over(everyone, time_limit)
    top = ceilings(problem)
    must = problem.standing | problem.fixed
    order = np.argsort(-np.where(must, np.inf, top), kind="stable")
    rows = np.sort(order[: _FIRST_TRY + int(must.sum())])
    first = over(rows, time_limit / 3)
    if not np.isfinite(first.value):
        rows = np.sort(order[: 4 * _FIRST_TRY + int(must.sum())])
        first = over(rows, time_limit / 3)
    kept = np.flatnonzero(must | (top >= _floor(first)))
    if len(kept) > _MANY and np.isfinite(first.value):
        # A better planting found among a few more makes many of the rest hopeless.
        wider = np.sort(order[: _SECOND_TRY + int(must.sum())])
        again = over(wider, time_limit / 3)
        if not again.value < first.value and np.isfinite(again.value):
            rows, first = wider, again
        kept = np.flatnonzero(must | (top >= _floor(first)))
    if not len(kept) or (first.status == "optimal" and set(kept) <= set(rows)):
        return _whole(problem, rows, first, start)
    left = time_limit - (time.perf_counter() - start)
    second = over(kept, max(left, 0.1))
    if not np.isfinite(first.value) or second.value >= first.value:
        return _whole(problem, kept, second, start)
    # The wider search ended early or found nothing better: what it proved still bounds the first set.
    bound = max(first.value, second.bound if np.isfinite(second.bound) else float(top.max()))
    gap = bound / first.value - 1.0 if first.value > 0 else np.nan
    return _whole(problem, rows, replace(first, bound=bound, gap=gap, status=second.status), start)


def _floor(found: Solution) -> float:
    return found.value - _ROUNDING if np.isfinite(found.value) else float(np.finfo(float).min)


def _whole(problem: Problem, rows: NDArray[np.intp], found: Solution, start: float) -> Solution:
    chosen = np.zeros(len(problem), dtype=bool)
    chosen[rows[found.chosen]] = True
    seconds = time.perf_counter() - start
    return Solution(chosen, found.value, found.bound, found.gap, seconds, found.status)
