"""Claims about growing degree hours and days."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from recommender.climate import heat
from recommender.errors import BadInput


def hours_at(temperature: float) -> np.ndarray:
    return np.full((1, 24), temperature)


@given(st.floats(-40, 60))
def test_growing_degree_hours_follow_their_two_limbs(temperature: float) -> None:
    if 4.0 <= temperature <= 25.0:
        expected = 21 / 2 * (1 + math.cos(math.pi + math.pi * (temperature - 4) / 21))
    elif 25.0 < temperature <= 36.0:
        expected = 21 * (1 + math.cos(math.pi / 2 + math.pi / 2 * (temperature - 25) / 11))
    else:
        expected = 0.0
    assert heat.growing_degree_hours(hours_at(temperature)) / 24 == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(("temperature", "per_hour"), [(4.5, 0.0), (14.5, 10.0), (25.0, 20.5), (33.0, 20.5)])
def test_straight_growing_degree_hours(temperature: float, per_hour: float) -> None:
    assert heat.linear_growing_degree_hours(hours_at(temperature)) / 24 == pytest.approx(per_hour)


def test_degree_days_are_the_mean_above_the_base_and_cold_days_take_nothing_away() -> None:
    tmin, tmax = np.array([8.0, -5.0, 12.0]), np.array([20.0, 5.0, 30.0])
    assert heat.growing_degree_days(tmin, tmax, base=10.0) == pytest.approx(4.0 + 0.0 + 11.0)
    assert heat.growing_degree_days(tmin, tmax, 10.0, running=True).tolist() == [4.0, 4.0, 15.0]


def test_the_cut_off_caps_hot_extremes() -> None:
    assert heat.growing_degree_days([20.0], [40.0], base=10.0, upper=30.0) == pytest.approx(15.0)
    assert heat.growing_degree_days([35.0], [45.0], base=10.0, upper=30.0) == pytest.approx(20.0)


def test_a_cut_off_below_the_base_is_refused() -> None:
    with pytest.raises(BadInput, match="above the base"):
        heat.growing_degree_days([1.0], [2.0], base=10.0, upper=8.0)
