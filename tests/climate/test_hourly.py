"""Claims about day length and the hourly curve."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from recommender.climate.hourly import day_length, hourly_temperatures
from recommender.errors import BadInput

DAYS = np.arange(1, 366)


@given(
    lat=st.floats(-90, 90),
    lows=st.lists(st.floats(-45, 35), min_size=4, max_size=12),
    ranges=st.lists(st.floats(0, 30), min_size=12, max_size=12),
    first=st.integers(1, 353),
)
def test_every_hour_lies_between_the_extremes_of_its_neighbourhood(
    lat: float, lows: list[float], ranges: list[float], first: int
) -> None:
    low = np.array(lows)
    high = low + np.array(ranges[: len(low)])
    hourly = hourly_temperatures(low, high, lat, np.arange(first, first + len(low)))
    low_after, low_before = np.append(low[1:], low[-1]), np.insert(low[:-1], 0, low[0])
    floor = np.minimum.reduce([low, low_after, low_before])
    ceiling = np.maximum.reduce([high, np.insert(high[:-1], 0, high[0]), low_after])
    assert (hourly >= floor[:, None] - 1e-9).all()
    assert (hourly <= ceiling[:, None] + 1e-9).all()


def test_minimum_comes_near_sunrise_and_maximum_two_hours_after_noon() -> None:
    low, high = np.full(5, 2.0), np.full(5, 14.0)
    middle = hourly_temperatures(low, high, 45.0, np.arange(78, 83))[2]
    assert np.argmin(middle) == 6  # sunrise at the equinox is at 5:56
    assert np.argmax(middle) == 14
    assert middle.max() > 13.9


def test_night_falls_towards_the_minimum_of_the_next_day() -> None:
    high = np.full(3, 15.0)
    warm_after = hourly_temperatures(np.array([5.0, 5.0, 9.0]), high, 45.0, np.arange(80, 83))[1]
    cold_after = hourly_temperatures(np.array([5.0, 5.0, -3.0]), high, 45.0, np.arange(80, 83))[1]
    assert np.array_equal(warm_after[:18], cold_after[:18])
    assert (warm_after[20:] > cold_after[20:]).all()
    assert (np.diff(cold_after[18:]) < 0).all()


def test_seasons_stacked_give_what_each_gives_alone() -> None:
    rng = np.random.default_rng(1)
    low = rng.normal(5, 5, (2, 3, 40))
    high = low + rng.uniform(0, 15, low.shape)
    stacked = hourly_temperatures(low, high, -35.0, DAYS[:40])
    assert stacked.shape == (2, 3, 40, 24)
    assert stacked.dtype == np.float64
    assert np.array_equal(stacked[1, 2], hourly_temperatures(low[1, 2], high[1, 2], -35.0, DAYS[:40]))


@pytest.mark.parametrize("lat", [-90.0, -70.0, 0.0, 68.0, 90.0])
def test_polar_night_and_day_give_finite_curves_that_reach_both_extremes(lat: float) -> None:
    hourly = hourly_temperatures(np.full(365, -5.0), np.full(365, 5.0), lat, DAYS)
    assert np.isfinite(hourly).all()
    assert hourly.min() >= -5.0
    assert (hourly.max(axis=1) > 4.5).all()
    assert (hourly.min(axis=1) < -3.9).all()


def test_polar_seasons_have_no_night_and_no_day() -> None:
    assert day_length(75.0, 172) == 24.0
    assert day_length(75.0, 355) == 0.0
    assert day_length(-75.0, 172) == 0.0


def test_a_missing_day_spoils_itself_and_its_neighbours_only() -> None:
    low = np.full(7, 1.0)
    low[3] = np.nan
    missing = np.isnan(hourly_temperatures(low, np.full(7, 9.0), 50.0, DAYS[:7])).any(axis=1)
    assert missing.tolist() == [False, False, True, True, True, False, False]


def test_shapes_that_do_not_match_are_refused() -> None:
    with pytest.raises(BadInput, match="do not match"):
        hourly_temperatures(np.zeros(3), np.zeros(4), 50.0, np.arange(1, 4))
    with pytest.raises(BadInput, match="do not match"):
        hourly_temperatures(np.zeros((2, 3)), np.zeros((2, 3)), 50.0, np.arange(1, 3))


def test_a_latitude_off_the_globe_is_refused() -> None:
    with pytest.raises(BadInput, match="latitude"):
        day_length(91.0, 1)
