"""The choice of a set is the best there is, keeps its rules, and says what to give up where it cannot."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recommender.errors import BadInput
from recommender.orchard import reduction
from recommender.orchard.problem import Problem, evaluate, greedy
from recommender.orchard.programme import solve
from recommender.orchard.reduction import ceilings, solve_all
from recommender.orchard.relaxation import smallest_relaxation
from tests.orchard.invented import best_by_brute_force, problem, problems


@settings(max_examples=120, deadline=None)
@given(asked=problems())
def test_the_set_is_the_one_brute_force_finds(asked: Problem) -> None:
    best = best_by_brute_force(asked)
    found = solve(asked, time_limit=20)
    if best is None:
        assert found.status == "infeasible"
        return
    assert found.status == "optimal"
    assert found.gap == 0.0
    assert found.value == pytest.approx(best[0], abs=1e-6)
    assert not evaluate(asked, found.chosen).faults
    assert evaluate(asked, found.chosen).value == pytest.approx(found.value, abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(asked=problems())
def test_leaving_out_the_hopeless_and_the_donors_of_the_rest_changes_nothing(asked: Problem) -> None:
    best = best_by_brute_force(asked)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(reduction, "SMALL", 0)
        patch.setattr(reduction, "_FIRST_TRY", 2)
        patch.setattr(reduction, "_SECOND_TRY", 4)
        patch.setattr("recommender.orchard.programme.SMALL", 0)
        found = solve_all(asked, time_limit=20)
    if best is None:
        assert found.status == "infeasible"
    else:
        assert found.value == pytest.approx(best[0], abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(asked=problems(most=7))
def test_no_set_is_worth_more_than_the_ceiling_of_any_of_its_trees(asked: Problem) -> None:
    best = best_by_brute_force(asked)
    if best is not None and best[1].any():
        assert (ceilings(asked)[best[1]] >= best[0] - 1e-6).all()


@settings(max_examples=30, deadline=None)
@given(asked=problems(most=7))
def test_alternatives_are_other_sets_and_never_better(asked: Problem) -> None:
    first = solve(asked, time_limit=20)
    if not np.isfinite(first.value) or not first.chosen.any():
        return
    second = solve(asked, time_limit=20, different_from=[first.chosen], differ_by=[1])
    if np.isfinite(second.value):
        assert (first.chosen & ~second.chosen).any()
        assert second.value <= first.value + 1e-6


def test_a_lone_tree_that_needs_a_donor_is_not_planted() -> None:
    found = solve(problem(3, 1))
    assert not found.chosen.any()
    alone = solve(problem(3, 1, needs=np.array([True, True, False])))
    assert list(np.flatnonzero(alone.chosen)) == [2]


def test_a_standing_tree_serves_a_planted_one_and_takes_no_place() -> None:
    found = solve(problem(3, 1, standing=np.array([False, False, True])))
    assert list(np.flatnonzero(found.chosen)) == [0]


def test_a_triploid_wants_two_donors_that_serve_each_other() -> None:
    likely = np.zeros((4, 4), dtype=bool)
    likely[0, 1:3] = True  # the triploid takes 1 and 2
    likely[1, 3] = likely[3, 1] = likely[2, 3] = likely[3, 2] = True  # which do not serve each other
    first = np.array([True, False, False, False])
    asked = problem(4, 4, likely=likely, triploid=first, fixed=first)
    assert solve(asked).status == "infeasible"
    both = likely.copy()
    both[1, 2] = both[2, 1] = True
    found = solve(replace(asked, likely=both))
    assert {0, 1, 2} <= set(np.flatnonzero(found.chosen))


def test_of_a_near_identical_group_one_is_planted() -> None:
    found = solve(problem(4, 4, group=np.array([0, 0, 0, 1])))
    assert found.chosen.sum() == 2


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (
            {"fixed": np.array([True, False, False]), "trees": 1},
            ("Plant one more tree", "Do without Withy One"),
        ),
        ({"budget": 1.0, "fixed": np.array([True, True, False])}, ("Spend 1 more", "Do without Withy")),
        ({"quota": {0: (3, 3)}, "trees": 2}, ("Plant one more tree", "Ask for 1 fewer")),
        ({"area_limit": 1.0, "quota": {0: (2, 3)}}, ("Find 1 square metre", "Ask for 1 fewer")),
    ],
)
def test_where_no_set_meets_every_wish_one_wish_is_named(
    change: dict[str, Any], words: tuple[str, ...]
) -> None:
    asked = replace(problem(3, 3), **change)
    assert solve(asked).status == "infeasible"
    told = smallest_relaxation(asked, ["Withy One", "Withy Two", "Withy Three"], ["apple"])
    assert len(told) == 1
    assert told[0].startswith(words)


@settings(max_examples=40, deadline=None)
@given(asked=problems(most=7))
def test_a_wish_is_named_exactly_where_no_set_exists(asked: Problem) -> None:
    names = [f"Withy {k}" for k in range(len(asked))]
    told = smallest_relaxation(asked, names, ["apple", "european-pear"])
    assert bool(told) == (best_by_brute_force(asked) is None)


@given(st.integers(0, 5))
@settings(max_examples=6, deadline=None)
def test_greedy_takes_from_the_top_and_looks_at_no_pollen(seed: int) -> None:
    rng = np.random.default_rng(seed)
    score = rng.random(8)
    asked = problem(8, 3, score=score, likely=np.zeros((8, 8), dtype=bool))
    chosen = greedy(asked, np.argsort(-score))
    assert set(np.flatnonzero(chosen)) == set(np.argsort(-score)[:3])
    assert "a tree has no donor" in evaluate(asked, chosen).faults


def test_wrong_shapes_are_told() -> None:
    with pytest.raises(BadInput, match="score"):
        problem(3, 2, score=np.ones(4))
