"""The assignment is the best there is: against trying everything, other solvers and other formulations."""

from __future__ import annotations

from typing import Any

import networkx as nx
import numpy as np
import pytest
import scipy.sparse as sp
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse.csgraph import min_weight_full_bipartite_matching

from recommender.swap.assignment import NO_STOCK, PROVED_BY_ROUNDS, Problem, greedy, rounds_of, solve
from tests.swap.invented import by_trying, feasible, order, problem_of, random_problem, small_problems


@settings(max_examples=150, deadline=None)
@given(small_problems(), st.booleans())
def test_nothing_that_can_be_tried_does_better(problem: Problem, givers_first: bool) -> None:
    found = solve(problem, givers_first)
    assert feasible(problem, found.chosen)
    best = by_trying(problem, givers_first)
    assert order(problem, found.chosen, givers_first) == pytest.approx(best, abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(small_problems(stocks=False))
def test_without_rootstocks_the_answer_is_proved_by_flows(problem: Problem) -> None:
    assert solve(problem).proof != PROVED_BY_ROUNDS


@settings(max_examples=80, deadline=None)
@given(small_problems(), st.booleans())
def test_everyone_who_can_be_served_is_served_before_anyone_gets_a_second(
    problem: Problem, givers_first: bool
) -> None:
    """If somebody has nothing, no plant of those with two or more could have gone to them."""
    found = solve(problem, givers_first)
    received = problem.received(found.chosen)
    owner = problem.person[problem.request]
    for edge in np.flatnonzero(found.chosen):
        if received[owner[edge]] < 2:
            continue
        for other in np.flatnonzero(problem.lot == problem.lot[edge]):
            if received[owner[other]] > 0:
                continue
            moved = found.chosen.copy()
            moved[edge], moved[other] = False, True
            assert not feasible(problem, moved)


@settings(max_examples=80, deadline=None)
@given(small_problems(stocks=False))
def test_givers_are_not_worse_off_than_takers_when_asked(problem: Problem) -> None:
    """As many givers have a plant as if givers alone had come, and nobody pays for it with being unserved."""
    found = solve(problem, givers_first=True)
    received = problem.received(found.chosen)
    only = problem.gives[problem.person[problem.request]]
    alone = problem_of(
        [
            (int(problem.lot[e]), int(problem.request[e]), int(problem.variety[e]), NO_STOCK, 1.0)
            for e in np.flatnonzero(only)
        ],
        problem.lot_count.tolist(),
        problem.take.tolist(),
        problem.person.tolist(),
        problem.already.tolist(),
    )
    served_alone = alone.received(solve(alone).chosen)[problem.gives]
    assert (received[problem.gives] > 0).sum() == (served_alone > 0).sum()
    assert found.rounds == solve(problem).rounds


@settings(max_examples=60, deadline=None)
@given(small_problems())
def test_best_first_never_serves_more_people(problem: Problem) -> None:
    plain, best = greedy(problem), solve(problem)
    assert feasible(problem, plain.chosen)
    assert order(problem, plain.chosen, False) <= order(problem, best.chosen, False)


def test_best_first_leaves_somebody_without() -> None:
    """Lot 0 suits both, lot 1 only the second, who likes lot 0 best: taking the best first serves one."""
    problem = problem_of(
        [(0, 0, 0, NO_STOCK, 0.4), (0, 1, 0, NO_STOCK, 0.9), (1, 1, 1, NO_STOCK, 0.5)], [1, 1], [1, 1]
    )
    assert greedy(problem).rounds == (1,)
    best = solve(problem)
    assert best.rounds == (2,)
    assert best.benefit == 0.9


@pytest.mark.parametrize("seed", range(3))
def test_a_whole_number_programme_of_another_shape_finds_the_same(seed: int) -> None:
    """Independent formulation: level variables in order, a single weighted objective, branch and bound."""
    problem = random_problem(seed, lots=60, requests=60, varieties=25, wishes=2, piles=True)
    found = solve(problem)
    edges, people = len(problem), len(problem.already)
    most = int(problem.take.max())
    # z[p, k] = 1 if person p has at least k; z[p, 1] >= z[p, 2] >= ..., sum over k z[p, k] <= received.
    size = edges + people * most
    rows: list[Any] = []
    low: list[float] = []
    high: list[float] = []

    def add(columns: np.ndarray, values: np.ndarray, least: float, limit: float) -> None:
        rows.append(sp.csr_array((values, (np.zeros(len(columns), int), columns)), shape=(1, size)))
        low.append(least)
        high.append(limit)

    for group, limit in ((problem.lot, problem.lot_count), (problem.request, problem.take)):
        for place, most_of_it in enumerate(limit):
            here = np.flatnonzero(group == place)
            add(here, np.ones(len(here)), -np.inf, most_of_it)
    for key in {(int(r), int(v)) for r, v in zip(problem.request, problem.variety, strict=True)}:
        here = np.flatnonzero((problem.request == key[0]) & (problem.variety == key[1]))
        add(here, np.ones(len(here)), -np.inf, 1)
    for pile, most_of_it in enumerate(problem.stock_count):
        here = np.flatnonzero(problem.stock == pile)
        add(here, np.ones(len(here)), -np.inf, most_of_it)
    level = edges + np.arange(people * most).reshape(people, most)
    for p in range(people):
        here = np.flatnonzero(problem.person[problem.request] == p)
        add(
            np.concatenate([level[p], here]), np.concatenate([np.ones(most), -np.ones(len(here))]), -np.inf, 0
        )
        for k in range(1, most):
            add(level[p, k - 1 : k + 1], np.array([-1.0, 1.0]), -np.inf, 0)
    gap = 1.0 + people
    weights = np.tile(gap ** np.arange(most, 0, -1), (people, 1)).ravel()
    stacked: Any = sp.vstack(rows)
    whole: Any = milp(
        -np.concatenate([problem.benefit / people, weights]),
        constraints=LinearConstraint(stacked, low, high),
        integrality=np.ones(size, dtype=np.int64),
        bounds=Bounds(0, 1),
        options={"mip_rel_gap": 0.0},
    )
    chosen = whole.x[:edges] > 0.5
    assert rounds_of(problem.received(chosen)) == found.rounds
    assert problem.benefit[chosen].sum() == pytest.approx(found.benefit, abs=2e-3)


@pytest.mark.parametrize("seed", range(3))
def test_a_network_simplex_finds_the_same(seed: int) -> None:
    """Independent solver: a min-cost flow with whole-number costs, where each further plant of a person costs
    more than all benefits together can save."""
    problem = random_problem(seed, lots=120, requests=100, varieties=40, wishes=2)
    found = solve(problem)
    graph = nx.DiGraph()
    step = 10_000 * (len(problem) + 1)
    for lot, count in enumerate(problem.lot_count.tolist()):
        graph.add_edge("source", ("lot", lot), capacity=count, weight=0)
    for e in range(len(problem)):
        lot, request, variety = int(problem.lot[e]), int(problem.request[e]), int(problem.variety[e])
        cost = -round(problem.benefit[e] * 10_000)
        graph.add_edge(("lot", lot), ("pair", request, variety), capacity=1, weight=cost)
        graph.add_edge(("pair", request, variety), ("request", request), capacity=1, weight=0)
    for request, take in enumerate(problem.take.tolist()):
        for k in range(1, take + 1):
            # A node for each plant, because a DiGraph holds one edge between two nodes.
            graph.add_edge(("request", request), ("level", request, k), capacity=1, weight=step * k)
            graph.add_edge(("level", request, k), "sink", capacity=1, weight=0)
    flow = nx.max_flow_min_cost(graph, "source", "sink")
    received = np.array([sum(flow["request", r].values()) for r in range(len(problem.take))])
    assert rounds_of(received) == found.rounds
    benefit = sum(
        flow["lot", int(problem.lot[e])]["pair", int(problem.request[e]), int(problem.variety[e])]
        * problem.benefit[e]
        for e in range(len(problem))
    )
    assert benefit == pytest.approx(found.benefit, abs=1e-3)


def test_one_for_each_agrees_with_bipartite_matching() -> None:
    """One plant a lot, one a person, everybody servable: SciPy's full bipartite matching (LAPJVsp)."""
    rng = np.random.default_rng(5)
    size = 80
    worth = np.round(rng.uniform(0.1, 1.0, (size, size)), 4)
    mask = (rng.random((size, size)) < 0.1) | np.eye(size, dtype=bool)
    lot, request = np.nonzero(mask)
    problem = problem_of(
        [(int(i), int(j), int(i), NO_STOCK, float(worth[i, j])) for i, j in zip(lot, request, strict=True)],
        [1] * size,
        [1] * size,
    )
    cost: sp.csr_array = sp.csr_array((worth[lot, request], (lot, request)), shape=(size, size))
    rows, columns = min_weight_full_bipartite_matching(cost, maximize=True)
    found = solve(problem)
    assert found.rounds == (size,)
    assert found.benefit == pytest.approx(worth[rows, columns].sum(), abs=1e-3)


def test_one_rootstock_carries_one_graft() -> None:
    """Two scions for one rootstock, a third for a tree: the pile is the limit, not the room."""
    problem = problem_of(
        [(0, 0, 0, 0, 0.9), (1, 0, 1, 0, 0.8), (2, 0, 2, NO_STOCK, 0.3)], [1, 1, 1], [3], stock_count=[1]
    )
    found = solve(problem)
    assert problem.received(found.chosen).tolist() == [2]
    assert found.chosen.tolist() == [True, False, True]


def test_rootstocks_that_a_flow_cannot_see_are_solved_round_by_round() -> None:
    """Two varieties, each as a plant lot that is gone and as scion wood, and one rootstock for both."""
    edges = [(0, 0, 0, NO_STOCK, 0.5), (1, 0, 0, 0, 0.9), (2, 0, 1, NO_STOCK, 0.5), (3, 0, 1, 0, 0.8)]
    problem = problem_of(edges, [0, 1, 0, 1], [2], stock_count=[1])
    found = solve(problem)
    assert found.chosen.tolist() == [False, True, False, False]
    assert found.proof == PROVED_BY_ROUNDS


def test_what_is_confirmed_counts_as_received() -> None:
    """Who has one confirmed plant waits until the other has one too."""
    edges = [(0, 0, 0, NO_STOCK, 0.9), (0, 1, 0, NO_STOCK, 0.2)]
    assert solve(problem_of(edges, [1], [1, 1])).chosen.tolist() == [True, False]
    assert solve(problem_of(edges, [1], [1, 1], already=[1, 0])).chosen.tolist() == [False, True]


def test_nothing_to_match_is_no_error() -> None:
    assert solve(problem_of([], [], [1], already=[0])).rounds == ()
