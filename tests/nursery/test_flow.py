"""The plan against every possible plan on small cases, and its proof on larger ones."""

from __future__ import annotations

import itertools

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from recommender.nursery.flow import Plan, best_plan


def _best_by_trying_all(worth: np.ndarray, wants: np.ndarray, holds: np.ndarray) -> int:
    """Greatest total of any plan, by trying every way of sharing each group out, one group after the
    other."""
    groups = worth.shape[1]

    def best(group: int, left: tuple[int, ...]) -> int:
        if group == groups:
            return 0
        found = 0
        for shares in itertools.product(*(range(amount + 1) for amount in left)):
            if sum(shares) <= holds[group]:
                gain = sum(int(worth[order, group]) * share for order, share in enumerate(shares))
                found = max(
                    found, gain + best(group + 1, tuple(a - s for a, s in zip(left, shares, strict=True)))
                )
        return found

    return best(0, tuple(int(want) for want in wants))


small = st.tuples(st.integers(1, 3), st.integers(1, 3)).flatmap(
    lambda shape: st.tuples(
        hnp.arrays(np.int64, shape, elements=st.sampled_from([0, 0, 500, 700, 1000, 1400, 2000])),
        hnp.arrays(np.int64, shape[0], elements=st.integers(0, 3)),
        hnp.arrays(np.int64, shape[1], elements=st.integers(0, 4)),
    )
)


@settings(max_examples=120, deadline=None)
@given(small)
def test_plan_is_as_good_as_the_best_of_all_plans(case: tuple[np.ndarray, np.ndarray, np.ndarray]) -> None:
    worth, wants, holds = case
    plan = best_plan(worth, wants, holds)
    assert plan.proven
    assert plan.value == _best_by_trying_all(worth, wants, holds)
    _check(plan, worth, wants, holds)


def _check(plan: Plan, worth: np.ndarray, wants: np.ndarray, holds: np.ndarray) -> None:
    order, group, count = plan.order, plan.group, plan.count
    assert (count > 0).all()
    assert (worth[order, group] > 0).all()
    assert (np.bincount(order, count, len(wants)) <= wants).all()
    assert (np.bincount(group, count, len(holds)) <= holds).all()
    assert int((worth[order, group] * count).sum()) == plan.value


def test_plan_of_many_orders_is_proved() -> None:
    dice = np.random.default_rng(11)
    worth = (dice.random((300, 180)) ** 2 * 2000).astype(np.int64)
    worth[dice.random((300, 180)) < 0.7] = 0
    wants, holds = dice.integers(0, 9, 300), dice.integers(0, 9, 180)
    plan = best_plan(worth, wants, holds)
    assert plan.proven
    _check(plan, worth, wants, holds)
    assert best_plan(worth, wants, holds, spread=False).value == plan.value


def test_equal_orders_share_what_is_scarce() -> None:
    """Ten trees, two orders of ten: each gets its first half."""
    plan = best_plan(np.full((2, 1), 1000), np.array([10, 10]), np.array([10]))
    assert plan.count.tolist() == [5, 5]
    three = best_plan(np.full((3, 1), 1000), np.array([4, 1, 1]), np.array([3]))
    assert three.count.tolist() == [1, 1, 1]


def test_fairness_never_costs_worth() -> None:
    plan = best_plan(np.array([[2000], [1000]]), np.array([10, 10]), np.array([10]))
    assert (plan.order.tolist(), plan.count.tolist(), plan.value) == ([0], [10], 20_000)


def test_nothing_to_share() -> None:
    for worth, wants, holds in (
        (np.zeros((2, 2), np.int64), np.array([1, 1]), np.array([1, 1])),
        (np.ones((2, 2), np.int64), np.array([0, 0]), np.array([1, 1])),
        (np.zeros((0, 3), np.int64), np.zeros(0, np.int64), np.array([1, 1, 1])),
        (np.zeros((3, 0), np.int64), np.array([1, 1, 1]), np.zeros(0, np.int64)),
    ):
        plan = best_plan(worth, wants, holds)
        assert plan.value == 0
        assert plan.proven
        assert len(plan.count) == 0
