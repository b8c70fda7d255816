"""Claims about chill counting; the straightforward Dynamic Model here is written from the equations alone."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from recommender.climate import chill
from recommender.errors import BadInput


def straightforward_portions(hours: Sequence[float]) -> list[float]:
    """Portions of each hour by the published recurrence, one hour at a time."""
    out = []
    product, share_before = 0.0, 0.0
    for hour, celsius in enumerate(hours):
        kelvin = celsius + 273.0
        factor = 1.6 * 277.0 * (kelvin - 277.0) / kelvin
        share = math.exp(factor) / (1.0 + math.exp(factor))
        equilibrium = 139500.0 / 2.567e18 * math.exp((12888.8 - 4153.5) / kelvin)
        rate = 2.567e18 * math.exp(-12888.8 / kelvin)
        left = product if product < 1.0 else product * (1.0 - share_before)
        product = 0.0 if hour == 0 else equilibrium - (equilibrium - left) * math.exp(-rate)
        share_before = share
        out.append(product * share if product >= 1.0 else 0.0)
    return out


def winter_like(seed: int, days: int, mean: float, spread: float) -> np.ndarray:
    rng = np.random.default_rng(seed)
    daily = mean + spread * np.sin(np.arange(days) / 6.0 + rng.uniform(0, 6)) + rng.normal(0, 2, days)
    return daily[:, None] + 6.0 * np.sin((np.arange(24) - 8) / 24 * 2 * np.pi)


@settings(max_examples=60, deadline=None)
@given(
    arrays(
        np.float64,
        st.tuples(st.integers(1, 3), st.integers(1, 30), st.just(24)),
        elements=st.floats(-45.0, 50.0, width=32),
    )
)
def test_dynamic_portions_agree_with_the_straightforward_recurrence_on_any_hours(hourly: np.ndarray) -> None:
    expected = [sum(straightforward_portions(season.ravel().tolist())) for season in hourly]
    assert chill.dynamic_portions(hourly) == pytest.approx(expected, abs=1e-9)


@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    days=st.integers(20, 200),
    mean=st.floats(-25, 22),
    spread=st.floats(0, 10),
    winters=st.integers(1, 3),
)
def test_dynamic_portions_agree_on_winters_of_every_kind(
    seed: int, days: int, mean: float, spread: float, winters: int
) -> None:
    hourly = np.stack([winter_like(seed + winter, days, mean, spread) for winter in range(winters)])
    running = chill.dynamic_portions(hourly, running=True)
    for season, totals in zip(hourly, running, strict=True):
        by_hour = np.cumsum(straightforward_portions(season.ravel().tolist()))
        assert totals == pytest.approx(by_hour[23::24], abs=1e-9)


def test_many_winters_together_give_what_each_gives_alone() -> None:
    hourly = np.stack([winter_like(seed, 150, seed % 20 - 6.0, 5.0) for seed in range(90)])
    together = chill.dynamic_portions(hourly)
    alone = [float(chill.dynamic_portions(season)) for season in hourly]
    assert together == pytest.approx(alone, abs=1e-9)
    assert together.max() > 50.0


def test_leading_axes_are_kept_and_running_totals_end_at_the_sum() -> None:
    hourly = np.stack([winter_like(seed, 40, 5.0, 4.0) for seed in range(6)]).reshape(2, 3, 40, 24)
    for count in (
        chill.dynamic_portions,
        chill.utah_units,
        chill.positive_utah_units,
        chill.chill_hours_0_7,
        chill.chill_hours_below_7,
    ):
        total, running = count(hourly), count(hourly, running=True)
        assert total.shape == (2, 3)
        assert running.shape == (2, 3, 40)
        assert running[..., -1] == pytest.approx(total)


def test_warm_hours_undo_portions_in_the_making_but_not_portions_made() -> None:
    cold, hot = np.full((1, 24), 6.0), np.full((1, 24), 28.0)
    made = chill.dynamic_portions(np.concatenate([cold, cold, hot, hot]), running=True)
    assert made[1] > 0.9
    assert made[3] == made[1]
    undone = chill.dynamic_portions(np.concatenate([cold, hot, cold]), running=True)
    straight = chill.dynamic_portions(np.concatenate([cold, cold]), running=True)
    assert undone[-1] < straight[-1]


def test_freezing_hours_count_below_7_but_not_from_0_to_7() -> None:
    hours = np.array([[-3.0, -0.1, 0.0, 7.2, 7.21, 15.0] * 4])
    assert chill.chill_hours_below_7(hours) == 16.0
    assert chill.chill_hours_0_7(hours) == 8.0


def test_positive_units_let_heat_cancel_within_its_day_only() -> None:
    day_of_both = np.array([5.0] * 10 + [20.0] * 14)
    hot_day, cold_day = np.full(24, 20.0), np.full(24, 5.0)
    season = np.stack([cold_day, day_of_both, hot_day])
    assert chill.utah_units(season) == 24.0 - 4.0 - 24.0
    assert chill.positive_utah_units(season) == 24.0


@given(st.lists(st.floats(-30, 40), min_size=1, max_size=5))
def test_positive_units_are_never_fewer_than_utah_units(temperatures: list[float]) -> None:
    season = np.repeat(np.array(temperatures)[:, None], 24, axis=1)
    assert chill.positive_utah_units(season) >= max(float(chill.utah_units(season)), 0.0)


def test_safe_level_is_reached_in_that_share_of_winters() -> None:
    totals = np.arange(1.0, 102.0)
    assert chill.safe_level(totals, 0.9) == pytest.approx(11.0)
    assert chill.safe_level(totals, 0.5) == 51.0
    assert (totals >= chill.safe_level(totals, 0.8)).mean() == pytest.approx(0.8, abs=0.01)


@pytest.mark.parametrize("bad", [np.nan, np.inf, 400.0])
def test_portions_refuse_hours_that_are_missing_or_no_weather(bad: float) -> None:
    hourly = np.full((2, 24), 5.0)
    hourly[1, 3] = bad
    with pytest.raises(BadInput, match="every hour"):
        chill.dynamic_portions(hourly)


def test_portions_refuse_a_shape_without_24_hours() -> None:
    with pytest.raises(BadInput, match="days, 24"):
        chill.dynamic_portions(np.zeros((4, 23)))
