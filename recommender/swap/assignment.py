"""The exact assignment of lots to requests, on plain arrays: who is served, then how well.

In: `Problem`, one row a possible match (edge), with the limits of lots, requests, people and rootstocks. Out:
`Solution`, the edges chosen. No variety, person or rule is known here.

What is maximised, in this order: people who get at least one; then people who get at least two; and so on
(which is leximin, the max-min order: fewest with none, then fewest with one, ...); then the sum of benefits.
With `givers_first`, in each round the number of givers who reach it comes right after the number of all.

How: without binding rootstock limits the limits form a network, so what people receive is a polymatroid and
the rounds are prefix maximum flows (Federgruen and Groenevelt 1986, "The greedy procedure for resource
allocation problems: necessary and sufficient conditions for optimality": on a polymatroid the greedy
procedure is optimal for weakly concave aims). These give the target of each round. One linear programme
(HiGHS) then maximises benefit plus a falling bonus for each round; its corners are whole numbers (network
matrix). If its rounds equal the targets, it is optimal: nothing can beat the targets, and among solutions
that meet them the bonuses are constant. Where rootstock limits bind, the flow gives upper bounds and the same
check may prove the answer; the rounds it does not prove are each solved as a mixed-integer programme and
fixed in turn.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse.csgraph import maximum_flow

from recommender.errors import OrchardwrightError

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
_WHOLE = 1e-6
_BONUS = 8.0
NO_STOCK = -1
PROVED_BY_FLOW = "every round reaches its maximum flow, so nothing can do better"
PROVED_BY_ROUNDS = "each round solved to its optimum, then the benefit"


@dataclass(frozen=True, eq=False)
class Problem:
    """E edges between L lots and R requests of P people, with S rootstock piles.

    lot, request, variety, stock (E,): positions; stock NO_STOCK where none is needed. An edge can be chosen
    once; of one variety a request gets one at most. benefit (E,) in [0, 1]. lot_count (L,): how many there
    are. take (R,): room left. person (R,): who asks. already (P,): received before, confirmed.
    gives (P,): brought something. stock_count (S,): how many stand ready; a pile belongs to one request.
    gain_edge, gain_variety, gain (G,): an edge is worth so much more where the request gets that variety too
    (of several such, the largest counts).
    """

    lot: Ints
    request: Ints
    variety: Ints
    stock: Ints
    benefit: Floats
    lot_count: Ints
    take: Ints
    person: Ints
    already: Ints
    gives: NDArray[np.bool_]
    stock_count: Ints
    gain_edge: Ints = field(default_factory=lambda: np.empty(0, np.int64))
    gain_variety: Ints = field(default_factory=lambda: np.empty(0, np.int64))
    gain: Floats = field(default_factory=lambda: np.empty(0, np.float64))

    def __len__(self) -> int:
        return len(self.lot)

    @cached_property
    def _keys(self) -> tuple[Ints, Ints]:
        keys, place = np.unique(self._key(self.request, self.variety), return_inverse=True)
        return keys, place.astype(np.int64)

    def _key(self, request: Ints, variety: Ints) -> Ints:
        return request * (int(self.variety.max(initial=0)) + 1) + variety

    @property
    def pair(self) -> Ints:
        """(E,) position of the request and variety of each edge."""
        return self._keys[1]

    @cached_property
    def gain_pair(self) -> Ints:
        """(G,) position among the pairs of what has to arrive too."""
        key = self._key(self.request[self.gain_edge], self.gain_variety)
        return np.searchsorted(self._keys[0], key).astype(np.int64)

    def gained(self, chosen: NDArray[np.bool_]) -> Floats:
        """(E,) by how much each chosen edge is worth more for what arrives with it."""
        has = np.zeros(len(self._keys[0]), dtype=bool)
        has[self.pair[chosen]] = True
        live = chosen[self.gain_edge] & has[self.gain_pair]
        more = np.zeros(len(self))
        np.maximum.at(more, self.gain_edge[live], self.gain[live])
        return more

    def worth(self, chosen: NDArray[np.bool_]) -> float:
        """Sum of benefits of the chosen edges, with what they gain from each other."""
        return float(self.benefit[chosen].sum() + self.gained(chosen).sum())

    def received(self, chosen: NDArray[np.bool_]) -> Ints:
        """(P,) how many each person has in the end, confirmed ones included."""
        return self.already + np.bincount(self.person[self.request[chosen]], minlength=len(self.already))


@dataclass(frozen=True, eq=False)
class Solution:
    """chosen (E,) bool; rounds: people with at least 1, 2, ...; proof: how optimality was established."""

    chosen: NDArray[np.bool_]
    rounds: tuple[int, ...]
    benefit: float
    proof: str


def rounds_of(received: Ints) -> tuple[int, ...]:
    """How many people have at least one, at least two, and so on.

    >>> rounds_of(np.array([0, 2, 1]))
    (2, 1)
    """
    most = int(received.max(initial=0))
    return tuple(int((received >= k).sum()) for k in range(1, most + 1))


@dataclass(frozen=True)
class Step:
    """Round k for the people in `group` (P,) bool."""

    k: int
    group: NDArray[np.bool_]


def steps_of(problem: Problem, givers_first: bool, rounds: int) -> list[Step]:
    """The rounds in order, givers as a step of their own where they go first."""
    everyone = np.ones(len(problem.already), dtype=bool)
    groups = [problem.gives, ~problem.gives] if givers_first else [everyone]
    return [Step(k, group) for k in range(1, rounds + 1) for group in groups if group.any()]


class _Flow:
    """The limits as a network: source, lots, pairs of request and variety, rootstock piles, requests, people,
    sink. A pair goes through a pile where every edge of it needs that one; other rootstock limits are left
    out, so the flow is an upper bound where they bind."""

    def __init__(self, problem: Problem) -> None:
        pair = problem.pair
        sizes = [
            1,
            len(problem.lot_count),
            int(pair.max(initial=-1)) + 1,
            len(problem.stock_count),
            len(problem.take),
            len(problem.already),
        ]
        at_source, at_lot, at_pair, at_pile, at_request, at_person, sink = np.cumsum([0, *sizes])
        pairs, piles = np.arange(sizes[2]), np.arange(sizes[3])
        request_of, first, last = (np.zeros(sizes[2], np.int64) for _ in range(3))
        request_of[pair] = problem.request
        first[:] = len(piles)
        np.minimum.at(first, pair, problem.stock)
        last[:] = NO_STOCK
        np.maximum.at(last, pair, problem.stock)
        through = (first == last) & (first != NO_STOCK)
        pile_request = np.zeros(len(piles), np.int64)
        used = problem.stock != NO_STOCK
        pile_request[problem.stock[used]] = problem.request[used]
        edges = np.unique(np.stack([problem.lot, pair]), axis=1)
        after_pair = np.where(through, at_pile + first, at_request + request_of)
        arcs = [
            (np.full(sizes[1], at_source), at_lot + np.arange(sizes[1]), problem.lot_count),
            (at_lot + edges[0], at_pair + edges[1], np.ones(edges.shape[1], np.int64)),
            (at_pair + pairs, after_pair, np.ones_like(pairs)),
            (at_pile + piles, at_request + pile_request, problem.stock_count),
            (at_request + np.arange(sizes[4]), at_person + problem.person, problem.take),
        ]
        people = np.arange(sizes[5])
        self._tail = np.concatenate([*(tail for tail, _, _ in arcs), at_person + people])
        self._head = np.concatenate([*(head for _, head, _ in arcs), np.full(len(people), sink)])
        self._cap = np.concatenate([cap for _, _, cap in arcs])
        self._size = int(sink) + 1

    def most(self, person_cap: Ints) -> int:
        """The most units that can be handed out where each person takes at most `person_cap` (P,)."""
        cap = np.concatenate([self._cap, person_cap]).astype(np.int32)
        graph: Any = sp.csr_matrix((cap, (self._tail, self._head)), shape=(self._size, self._size))
        return int(maximum_flow(graph, 0, self._size - 1).flow_value)


def _targets(problem: Problem, givers_first: bool) -> tuple[list[Step], list[int]]:
    """The steps, and the most of each step's people who can be newly lifted to it after the steps before."""
    flow = _Flow(problem)
    reach = problem.already + np.bincount(
        problem.person, weights=problem.take, minlength=len(problem.already)
    ).astype(np.int64)
    all_of_it = flow.most(np.maximum(reach - problem.already, 0))
    steps, targets, before = [], [], 0
    level = np.zeros(len(problem.already), dtype=np.int64)
    # Where rootstocks may bind, a round short of its flow can leave plants for rounds beyond the flow's last.
    limited = bool((problem.stock != NO_STOCK).any())
    possible = np.bincount(problem.person[problem.request], minlength=len(reach)) + problem.already
    for step in steps_of(problem, givers_first, int(np.minimum(reach, possible).max(initial=0))):
        if before >= all_of_it and not limited:
            break
        level = np.where(step.group, step.k, level)
        now = all_of_it if before >= all_of_it else flow.most(np.maximum(level - problem.already, 0))
        steps.append(step)
        targets.append(now - before)
        before = now
    return steps, targets


class Programme:
    """The linear programme: x (E,) edges, then one unit y for each person and step."""

    def __init__(self, problem: Problem, steps: list[Step]) -> None:
        self.problem = problem
        self.n_steps = len(steps)
        people, at_step = [], []
        for position, step in enumerate(steps):
            members = np.flatnonzero(step.group & (problem.already < step.k))
            people.append(members)
            at_step.append(np.full(len(members), position))
        self.step_of = np.concatenate(at_step) if at_step else np.empty(0, np.int64)
        unit_of = np.concatenate(people) if people else np.empty(0, np.int64)
        self.n_edges, self.n_units = len(problem), len(unit_of)
        every = np.arange(self.n_edges)
        pair = problem.pair
        bound = [
            (problem.lot, problem.lot_count),
            (pair, np.ones(int(pair.max(initial=-1)) + 1, np.int64)),
            (problem.request, problem.take),
        ]
        needs = np.flatnonzero(problem.stock != NO_STOCK)
        blocks = [self._rows(group, every, len(limit)) for group, limit in bound]
        limits = [limit for _, limit in bound]
        if len(needs):
            used = np.bincount(problem.stock[needs], minlength=len(problem.stock_count))
            binding = used > problem.stock_count
            tight = needs[binding[problem.stock[needs]]]
            blocks.append(self._rows(problem.stock[tight], tight, len(problem.stock_count)))
            limits.append(problem.stock_count)
        self.upper = sp.vstack(blocks).tocsr()
        self.upper_limit = np.concatenate(limits).astype(float)
        P = len(problem.already)
        got = self._rows(problem.person[problem.request], every, P)
        units = sp.csr_array(
            (-np.ones(self.n_units), (unit_of, self.n_edges + np.arange(self.n_units))), shape=got.shape
        )
        self.equal = (got + units).tocsr()

    def _rows(self, group: Ints, columns: Ints, n: int) -> sp.csr_array:
        shape = (n, self.n_edges + self.n_units)
        return sp.csr_array((np.ones(len(columns)), (group, columns)), shape=shape)

    def objective(self, benefit: Floats, weight: Floats) -> Floats:
        """Costs for benefit on edges and `weight` (steps,) on units."""
        return -np.concatenate([benefit, weight[self.step_of]])

    def solve(self, cost: Floats, fixed: list[tuple[Floats, int]]) -> Floats:
        """A best whole-number point; `fixed` holds (weight of each step (steps,), sum of units to keep)."""
        equal: Any = self.equal
        upper: Any = self.upper
        value = np.zeros(self.equal.shape[0])
        if fixed:
            kept = np.stack([np.concatenate([np.zeros(self.n_edges), w[self.step_of]]) for w, _ in fixed])
            equal = sp.vstack([equal, sp.csr_array(kept)]).tocsr()
            value = np.concatenate([value, [float(number) for _, number in fixed]])
        relaxed: Any = linprog(
            cost,
            A_ub=upper,
            b_ub=self.upper_limit,
            A_eq=equal,
            b_eq=value,
            bounds=(0, 1),
            method="highs-ds",
        )
        if relaxed.status == 0 and np.abs(relaxed.x - np.round(relaxed.x)).max(initial=0.0) < _WHOLE:
            return np.asarray(np.round(relaxed.x))
        whole: Any = milp(
            cost,
            constraints=[
                LinearConstraint(upper, -np.inf, self.upper_limit),
                LinearConstraint(equal, value, value),
            ],
            integrality=np.ones(len(cost), dtype=np.int64),
            bounds=Bounds(0, 1),
            options={"mip_rel_gap": 0.0},
        )
        if whole.status != 0:
            raise OrchardwrightError(
                f"The solver did not finish: {whole.message}",
                remedy="Try again with fewer rootstocks listed beside each request",
            )
        return np.asarray(np.round(whole.x))

    def units(self, point: Floats) -> list[int]:
        """How many units each step got."""
        counts = np.bincount(self.step_of, weights=point[self.n_edges :], minlength=self.n_steps)
        return [round(float(number)) for number in counts]


def solve(problem: Problem, givers_first: bool = False) -> Solution:
    """The best assignment, exactly; see the module for what best means. What edges gain from each other is
    not weighed here (`together` does), only counted in the benefit told."""
    if len(problem) == 0:
        return Solution(np.zeros(0, bool), rounds_of(problem.already), 0.0, "nothing can be matched")
    steps, targets = _targets(problem, givers_first)
    if not sum(targets):
        return solution(problem, np.zeros(len(problem), bool), "nothing more can be handed out")
    programme = Programme(problem, steps)
    falling = np.arange(len(steps), 0, -1, dtype=float)
    point = programme.solve(programme.objective(problem.benefit, _BONUS * falling), [])
    if programme.units(point) == targets:
        return solution(problem, edges_of(problem, point), PROVED_BY_FLOW)
    return _by_rounds(problem, programme, steps, targets, point)


def edges_of(problem: Problem, point: Floats) -> NDArray[np.bool_]:
    """The edges (E,) chosen at a point of the programme."""
    return point[: len(problem)] > 0.5


def _by_rounds(
    problem: Problem, programme: Programme, steps: list[Step], targets: list[int], point: Floats
) -> Solution:
    """Each round to its optimum (of all, then of givers where they are a step of their own), then benefit.

    point: the best with bonuses. A round in which it reaches the flow needs no solving while all rounds
    before it do; and if it turns out to reach the optimum of every round, it is the answer.
    """
    fixed: list[tuple[Floats, int]] = []
    rounds = np.array([step.k for step in steps])
    got, no_benefit = np.array(programme.units(point)), np.zeros(len(problem))
    reached = programme.solve(programme.objective(no_benefit, np.ones(len(steps))), [])
    left = sum(programme.units(reached))
    by_flow = holds = True
    for k in np.unique(rounds):
        at_k = np.flatnonzero(rounds == k)
        by_flow &= bool((got[at_k] == np.array(targets)[at_k]).all())
        for members in (at_k, at_k[:1]) if len(at_k) > 1 else (at_k,):
            weight = np.zeros(len(steps))
            weight[members] = 1.0
            best = min(int(weight @ got), left)
            # As many as there are plants left is a bound too, and spares most of the later rounds.
            if not by_flow and (best < left or (left and not holds)):
                reached = programme.solve(programme.objective(no_benefit, weight), fixed)
                best = round(float(weight[programme.step_of] @ reached[len(problem) :]))
            holds &= best == int(weight @ got)
            fixed.append((weight, best))
        left -= fixed[-1 if len(at_k) == 1 else -2][1]
    if not holds:
        point = programme.solve(programme.objective(problem.benefit, np.zeros(len(steps))), fixed)
    return solution(problem, edges_of(problem, point), PROVED_BY_ROUNDS)


def solution(problem: Problem, chosen: NDArray[np.bool_], proof: str) -> Solution:
    """The account of chosen edges."""
    return Solution(chosen, rounds_of(problem.received(chosen)), round(problem.worth(chosen), 4), proof)


def greedy(problem: Problem) -> Solution:
    """What a person at the table would do: again and again the match of highest benefit that still fits."""
    lots, room = problem.lot_count.copy(), problem.take.copy()
    stocks, pair = problem.stock_count.copy(), problem.pair
    had = np.zeros(int(pair.max(initial=-1)) + 1, dtype=bool)
    chosen = np.zeros(len(problem), dtype=bool)
    for edge in np.lexsort((problem.request, problem.lot, -problem.benefit)).tolist():
        lot, request, stock = problem.lot[edge], problem.request[edge], problem.stock[edge]
        if lots[lot] and room[request] and not had[pair[edge]] and (stock == NO_STOCK or stocks[stock]):
            chosen[edge] = had[pair[edge]] = True
            lots[lot] -= 1
            room[request] -= 1
            if stock != NO_STOCK:
                stocks[stock] -= 1
    return solution(problem, chosen, "best first; no claim to be best")
