"""Plants that arrive together as each other's pollen: exact on small cases and in another formulation, never
worse than without, and told."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pytest
import scipy.sparse as sp
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp

from recommender.swap import together
from recommender.swap.assignment import NO_STOCK, Problem, rounds_of, solve
from recommender.swap.together import PROVED, solve_together
from tests.swap.invented import (
    by_trying,
    feasible,
    order,
    problem_of,
    random_problem,
    small_problems,
    with_gains,
    worth,
)
from tests.swap.test_matching import ask, offer, swap


@settings(max_examples=150, deadline=None)
@given(small_problems(), st.integers(0, 10**6), st.booleans())
def test_nothing_beats_it_among_all_subsets(problem: Problem, seed: int, givers_first: bool) -> None:
    problem = with_gains(problem, seed, 0.7)
    found = solve_together(problem, givers_first)
    assert feasible(problem, found.chosen)
    assert found.benefit == pytest.approx(worth(problem, found.chosen), abs=1e-4)
    best = by_trying(problem, givers_first)
    got = order(problem, found.chosen, givers_first)
    assert got[:-1] == best[:-1]
    assert got[-1] == pytest.approx(best[-1], abs=1e-6)


def test_a_pair_that_pollinates_goes_to_one_garden() -> None:
    """Two gardens with room for two, four plants of which two pollinate each other: benefit alone is blind to
    it, so the pair would be parted as often as not."""
    edges = [(lot, request, lot, NO_STOCK, 0.5) for request in (0, 1) for lot in range(4)]
    partner = {0: 1, 1: 0, 2: 3, 3: 2}
    gains = [(4 * request + lot, partner[lot], 0.2) for request in (0, 1) for lot in range(4)]
    problem = problem_of(edges, [1] * 4, [2, 2], gains=gains)
    found = solve_together(problem)
    assert found.rounds == (2, 2)
    assert found.benefit == pytest.approx(4 * 0.7)
    assert found.proof.endswith(PROVED)


def test_people_come_before_pollen() -> None:
    """Both compatible plants could go to one garden, but somebody else would have none."""
    edges = [(0, 0, 0, NO_STOCK, 0.5), (1, 0, 1, NO_STOCK, 0.5), (1, 1, 1, NO_STOCK, 0.1)]
    problem = problem_of(edges, [1, 1], [2, 2], gains=[(0, 1, 0.5), (1, 0, 0.5)])
    assert solve_together(problem).rounds == (2,)


def _in_bundles(problem: Problem) -> tuple[tuple[int, ...], float]:
    """Independent formulation: one column for each set of edges a request could get, at its whole worth."""
    columns: list[tuple[int, tuple[int, ...]]] = []
    for request, take in enumerate(problem.take.tolist()):
        edges = np.flatnonzero(problem.request == request).tolist()
        for size in range(int(take) + 1):
            columns += [
                (request, bundle)
                for bundle in itertools.combinations(edges, size)
                if len({int(problem.variety[e]) for e in bundle}) == size
            ]
    value = []
    for _, bundle in columns:
        chosen = np.zeros(len(problem), dtype=bool)
        chosen[list(bundle)] = True
        value.append(worth(problem, chosen))
    n = len(columns)
    lots = np.zeros((len(problem.lot_count), n))
    one = np.zeros((len(problem.take), n))
    for place, (request, bundle) in enumerate(columns):
        one[request, place] = 1
        for e in bundle:
            lots[problem.lot[e], place] += 1
    rules: list[Any] = [
        LinearConstraint(sp.csr_array(lots), -np.inf, problem.lot_count),
        LinearConstraint(sp.csr_array(one), 1, 1),
    ]
    sizes = np.array([len(bundle) for _, bundle in columns])
    rounds = []
    best: Any = None
    for k in [*range(1, int(sizes.max()) + 1), None]:
        aim = np.array(value) if k is None else (sizes >= k).astype(float)
        best = milp(
            -aim,
            constraints=rules,
            integrality=np.ones(n, dtype=np.int64),
            bounds=Bounds(0, 1),
            options={"mip_rel_gap": 0.0},
        )
        if k is not None:
            rounds.append(round(-best.fun))
            rules.append(LinearConstraint(sp.csr_array(aim[None, :]), rounds[-1], rounds[-1]))
    return tuple(number for number in rounds if number), float(-best.fun)


@pytest.mark.parametrize("seed", range(4))
def test_a_formulation_in_bundles_finds_the_same(seed: int) -> None:
    problem = with_gains(random_problem(seed, lots=45, requests=40, varieties=15, wishes=4), seed, 0.5)
    found = solve_together(problem, time_limit_s=120.0)
    rounds, benefit = _in_bundles(problem)
    assert found.proof.endswith(PROVED)
    assert found.rounds == rounds
    assert found.benefit == pytest.approx(benefit, abs=2e-3)


@pytest.mark.parametrize("seed", range(3))
def test_without_time_it_is_never_worse_and_says_how_much_it_may_miss(seed: int) -> None:
    """Branch and bound is given no time: the rounds stay, the benefit does not fall, and the bound told holds
    against the exact answer."""
    problem = with_gains(random_problem(seed, lots=60, requests=45, varieties=20, wishes=4), seed, 0.6)
    exact = solve_together(problem, time_limit_s=120.0)
    hurried = solve_together(problem, time_limit_s=0.0)
    plain = solve(problem)
    assert hurried.rounds == exact.rounds == plain.rounds == rounds_of(problem.received(hurried.chosen))
    assert plain.benefit <= hurried.benefit <= exact.benefit + 1e-4
    if not hurried.proof.endswith(PROVED):
        more = float(hurried.proof.split("with at most ")[1].split(" more")[0])
        assert exact.benefit <= hurried.benefit + more + 0.006


@pytest.mark.parametrize("seed", range(3))
def test_a_large_problem_is_climbed_from_unless_one_waits(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Feasible, between the answer without pollen and the exact one; who waits gets the exact one."""
    problem = with_gains(random_problem(seed, lots=60, requests=45, varieties=20, wishes=4), seed, 0.6)
    exact = solve_together(problem, time_limit_s=120.0)
    monkeypatch.setattr(together, "LARGE", 10)
    found = solve_together(problem)
    assert feasible(problem, found.chosen)
    assert found.rounds == exact.rounds
    assert solve(problem).benefit <= found.benefit <= exact.benefit + 1e-4
    waited = solve_together(problem, time_limit_s=120.0)
    assert waited.benefit == pytest.approx(exact.benefit, abs=1e-4)
    programme = together._Together(problem, solve(problem), False)
    relaxed = programme.relaxed()
    assert relaxed is not None
    near = programme.branched_near(relaxed, 60.0)
    assert near is None or (feasible(problem, near) and problem.worth(near) <= exact.benefit + 1e-4)


def test_climbing_alone_keeps_rounds_and_never_loses(monkeypatch: pytest.MonkeyPatch) -> None:
    """The way out where the solver gives up."""
    monkeypatch.setattr(together._Together, "relaxed", lambda self: None)
    monkeypatch.setattr(together._Together, "branched", lambda self, bound, limit: (None, bound))
    monkeypatch.setattr(together._Together, "branched_near", lambda self, point, limit: None)
    for seed in range(3):
        problem = with_gains(random_problem(seed, lots=60, requests=60, varieties=20, wishes=4), seed, 0.6)
        plain, found = solve(problem), solve_together(problem)
        assert found.rounds == plain.rounds
        assert found.benefit >= plain.benefit
        assert feasible(problem, found.chosen)
        assert "at most" in found.proof


def test_two_apples_that_arrive_together_pollinate_each_other() -> None:
    """Real apples: no tree stands and none next door; two that cross are worth more than two that do not."""
    garden = ask("Moss", crops=("apple",), neighbours_have_fruit_trees="no", take=2)
    offers = [offer("Wren", "Discovery"), offer("Teasel", "Egremont Russet")]
    alone = [swap([one], [garden]).matches[0].benefit for one in offers]
    both = swap(offers, [garden])
    assert both.benefit > sum(alone) + 0.1
    assert all("which comes with it, can pollinate it" in match.reason for match in both.matches)
    assert both.benefit == pytest.approx(sum(match.benefit for match in both.matches), abs=1e-3)


def test_a_confirmed_plant_counts_as_pollen_for_the_next() -> None:
    from recommender.swap.people import Confirmed

    garden = ask("Moss", crops=("apple",), neighbours_have_fruit_trees="no", take=2, id="R1")
    offers = [offer("Wren", "Discovery", id="O1"), offer("Teasel", "Egremont Russet", id="O2")]
    found = swap(offers, [garden], confirmed=[Confirmed("O1", "R1", 1, 0.4, "agreed")])
    new = next(match for match in found.matches if not match.confirmed)
    assert new.variety == "Egremont Russet"
    assert "their Discovery can pollinate it" in new.reason
