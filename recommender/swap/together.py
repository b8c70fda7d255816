"""The assignment with pollen among plants that arrive together: the same rounds, the greatest benefit.

In: a `Problem` whose edges gain from each other (`Problem.gain`). Out: a `Solution`.

Who gets how many is settled first, without regard to pollen (`assignment.solve`): the rounds come before any
benefit, so they stay. Among all assignments with these rounds the benefit, gains included, is then maximised.
For each gain there is a variable z: it is no more than the edge, no more than the arrival of the other
variety, and an edge counts one gain at most, which at the optimum is its largest; so the programme states the
worth of an assignment exactly. Its linear form is solved first. If that ends in whole numbers it is the
optimum; else branch and bound goes on for a limited time, and again near what the linear form leaves
undecided. Without time (or in a large problem, where it would be too short) the assignment is only climbed
from. The best one found is taken, never worse than the one without regard to pollen, and `proof` says how
much more the bound of the linear form allows.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, linprog, milp

from recommender.swap.assignment import Problem, Programme, Solution, edges_of, solution, solve, steps_of

Floats = NDArray[np.float64]
Chosen = NDArray[np.bool_]
TIME_LIMIT_S = 6.0
# Above so many edges there is only a search for those who wait as long as PATIENT_S.
LARGE = 6_000
PATIENT_S = 20.0
MOST_STEPS = 4
_WHOLE = 1e-6
_ENOUGH = 5e-5
PROVED = "pollen among plants that arrive together weighed exactly"
NOT_PROVED = (
    "pollen among plants that arrive together weighed as far as time allowed, with at most {more:.2f} more "
    "benefit possible"
)


def solve_together(
    problem: Problem, givers_first: bool = False, time_limit_s: float = TIME_LIMIT_S
) -> Solution:
    """The best assignment with what edges gain from each other; see the module. time_limit_s [s]: for branch
    and bound, where the linear programme does not end in whole numbers."""
    plain = solve(problem, givers_first)
    if not len(problem.gain) or not plain.chosen.any():
        return plain
    programme = _Together(problem, plain, givers_first)
    relaxed = programme.relaxed()
    if relaxed is not None and programme.whole(relaxed):
        return solution(problem, edges_of(problem, relaxed), f"{plain.proof}; {PROVED}")
    bound = programme.most if relaxed is None else programme.value(relaxed)
    tried: list[Chosen | None] = [plain.chosen]
    searched = len(problem) <= LARGE or time_limit_s >= PATIENT_S
    if searched:
        found, bound = programme.branched(bound, time_limit_s)
        tried.append(found)
        if relaxed is not None and (found is None or bound - problem.worth(found) >= _ENOUGH):
            tried.append(programme.branched_near(relaxed, time_limit_s))
    if tried[-1] is None or not searched or bound - problem.worth(tried[-1]) >= _ENOUGH:
        tried.append(_climbed(programme, max((one for one in tried if one is not None), key=problem.worth)))
    best = max((one for one in tried if one is not None), key=problem.worth)
    more = bound - problem.worth(best)
    told = PROVED if more < _ENOUGH else NOT_PROVED.format(more=more)
    return solution(problem, best, f"{plain.proof}; {told}")


class _Together:
    """x (E,) edges, y a unit for each person and step, z (G,) gains; each step keeps its sum of units."""

    def __init__(self, problem: Problem, plain: Solution, givers_first: bool) -> None:
        self.problem = problem
        received = problem.received(plain.chosen)
        steps = steps_of(problem, givers_first, int(received.max(initial=0)))
        self.base = Programme(problem, steps)
        edges, gains = len(problem), len(problem.gain)
        before = edges + self.base.n_units
        self.size = before + gains
        z = before + np.arange(gains)

        def rows(group: NDArray[np.int64], columns: NDArray[np.int64], n: int) -> sp.csr_array:
            return sp.csr_array((np.ones(len(group)), (group, columns)), shape=(n, self.size))

        pairs = int(problem.pair.max(initial=-1)) + 1
        one_for_edge = rows(problem.gain_edge, z, edges) - rows(np.arange(edges), np.arange(edges), edges)
        # Of one variety a request gets one at most, so all edges of a pair share the arrival of the other.
        both = problem.pair[problem.gain_edge] * pairs + problem.gain_pair
        kinds, kind = np.unique(both, return_inverse=True)
        arrives = sp.csr_array(
            (np.ones(edges), (problem.pair, np.arange(edges))), shape=(pairs, self.size)
        ).tocsr()[kinds % pairs]
        if_it_arrives = rows(kind.astype(np.int64), z, len(kinds)) - arrives
        wide = sp.csr_array((self.base.upper.shape[0], gains))
        self.upper: Any = sp.vstack([sp.hstack([self.base.upper, wide]), one_for_edge, if_it_arrives]).tocsr()
        self.upper_limit = np.concatenate([self.base.upper_limit, np.zeros(edges + len(kinds))])
        kept = np.zeros((len(steps), self.size))
        units = []
        for place, step in enumerate(steps):
            kept[place, edges:before] = self.base.step_of == place
            lifted = step.group & (problem.already < step.k) & (received >= step.k)
            units.append(int(lifted.sum()))
        self.equal: Any = sp.vstack(
            [
                sp.hstack([self.base.equal, sp.csr_array((self.base.equal.shape[0], gains))]),
                sp.csr_array(kept),
            ]
        ).tocsr()
        self.equal_value = np.concatenate([np.zeros(self.base.equal.shape[0]), units])
        self.fixed = [(np.eye(len(steps))[place], units[place]) for place in range(len(steps))]
        self.cost = -np.concatenate([problem.benefit, np.zeros(self.base.n_units), problem.gain])
        best = np.zeros(edges)
        np.maximum.at(best, problem.gain_edge, problem.gain)
        self.most = float((problem.benefit + best).sum())

    def relaxed(self) -> Floats | None:
        """The optimum of the linear form, None where the solver gives up."""
        found: Any = linprog(
            self.cost,
            A_ub=self.upper,
            b_ub=self.upper_limit,
            A_eq=self.equal,
            b_eq=self.equal_value,
            bounds=(0, 1),
            method="highs",
        )
        return np.asarray(found.x) if found.status == 0 else None

    def whole(self, point: Floats) -> bool:
        """Every edge is chosen or not; gains then take care of themselves."""
        edges = point[: len(self.problem)]
        return bool(np.abs(edges - np.round(edges)).max(initial=0.0) < _WHOLE)

    def value(self, point: Floats) -> float:
        """Benefit with gains at a point."""
        return float(-self.cost @ point)

    def branched(self, bound: float, time_limit_s: float) -> tuple[Chosen | None, float]:
        """(the best edges that branch and bound finds in time, the least bound known)."""
        found = self._branched(Bounds(0, 1), time_limit_s)
        told = getattr(found, "mip_dual_bound", None)
        if told is not None and np.isfinite(told):
            bound = min(bound, -float(told))
        return (None if found.x is None else edges_of(self.problem, np.asarray(found.x))), bound

    def branched_near(self, point: Floats, time_limit_s: float) -> Chosen | None:
        """The best edges where only those stay open that share a lot or request with an undecided one."""
        problem, edges = self.problem, len(self.problem)
        undecided = np.abs(point[:edges] - np.round(point[:edges])) >= _WHOLE
        lots, requests = np.zeros(len(problem.lot_count), bool), np.zeros(len(problem.take), bool)
        lots[problem.lot[undecided]] = requests[problem.request[undecided]] = True
        kept = np.flatnonzero(~(lots[problem.lot] | requests[problem.request]))
        low, high = np.zeros(self.size), np.ones(self.size)
        low[kept] = high[kept] = np.round(point[kept])
        found = self._branched(Bounds(low, high), time_limit_s)
        return None if found.x is None else edges_of(problem, np.asarray(found.x))

    def _branched(self, bounds: Bounds, time_limit_s: float) -> Any:
        return milp(
            self.cost,
            constraints=[
                LinearConstraint(self.upper, -np.inf, self.upper_limit),
                LinearConstraint(self.equal, self.equal_value, self.equal_value),
            ],
            integrality=np.concatenate(
                [np.ones(len(self.problem)), np.zeros(self.size - len(self.problem))]
            ).astype(np.int64),
            bounds=bounds,
            options={"mip_rel_gap": 0.0, "time_limit": time_limit_s},
        )


def _climbed(programme: _Together, chosen: Chosen) -> Chosen:
    """Better and better assignments: each is the best if everybody else's plants were those of the last.

    Every step keeps the rounds; only a step that is worth more is taken, so it ends and never loses.
    """
    problem, best = programme.problem, chosen
    for _ in range(MOST_STEPS):
        has = np.zeros(int(problem.pair.max(initial=-1)) + 1, dtype=bool)
        has[problem.pair[best]] = True
        hoped = np.zeros(len(problem))
        live = has[problem.gain_pair]
        np.maximum.at(hoped, problem.gain_edge[live], problem.gain[live])
        no_weight = np.zeros(programme.base.n_steps)
        point = programme.base.solve(
            programme.base.objective(problem.benefit + hoped, no_weight), programme.fixed
        )
        tried = edges_of(problem, point)
        if problem.worth(tried) <= problem.worth(best) + _ENOUGH:
            return best
        best = tried
    return best
