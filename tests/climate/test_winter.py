"""Claims about hardiness zones and the distribution of the coldest night."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from recommender.climate import winter
from recommender.errors import BadInput


@given(st.floats(-51.0, 20.9))
def test_a_temperature_lies_within_the_bounds_of_its_zone(temperature: float) -> None:
    low, high = winter.zone_bounds(winter.zone_of(temperature))
    assert low - 1e-6 <= temperature < high + 1e-6


@given(st.integers(2, 27))
def test_zone_names_and_numbers_are_one_thing(halves: int) -> None:
    number = halves / 2
    assert winter.zone_number(winter.zone_name(number)) == number
    assert winter.zone_number_of(winter.zone_bounds(number)[0]) == number


def test_the_ends_of_the_scale_hold() -> None:
    assert winter.zone_of(-70.0) == "1a"
    assert winter.zone_of(30.0) == "13b"


@pytest.mark.parametrize("name", ["", "14a", "0b", "7c", "b", "seven", "-3a"])
def test_a_zone_that_is_none_is_refused(name: str) -> None:
    with pytest.raises(BadInput, match="no hardiness zone"):
        winter.zone_number(name)


@pytest.mark.parametrize("number", [0.5, 7.25, 14.0])
def test_a_zone_number_that_is_none_is_refused(number: float) -> None:
    with pytest.raises(BadInput, match="no hardiness zone"):
        winter.zone_name(number)


def test_zones_may_be_written_as_people_write_them() -> None:
    assert winter.zone_number("Zone 7B") == 7.5
    assert winter.zone_number("8") == 8.0


def test_an_error_spreads_the_zone_over_its_neighbours() -> None:
    chances = winter.zone_probabilities(-13.6, 2.0)
    assert max(chances, key=lambda zone: chances[zone]) == "7b"
    assert chances["7a"] == pytest.approx(
        stats.norm.sf(1.4, scale=2.0) - stats.norm.sf(4.18, scale=2.0), abs=0.01
    )
    assert sum(chances.values()) == pytest.approx(1.0, abs=0.03)


def test_the_extreme_value_fit_finds_the_law_the_minima_came_from() -> None:
    shape, location, scale = 0.15, 8.0, 2.5
    coldness = stats.genextreme.rvs(shape, location, scale, size=4000, random_state=5)
    fit = winter.extreme_minimum(-coldness)
    assert fit.method == "gev"
    assert fit.shape == pytest.approx(shape, abs=0.03)
    assert fit.location == pytest.approx(-location, abs=0.15)
    assert fit.level(0.02) == pytest.approx(-stats.genextreme.ppf(0.98, shape, location, scale), abs=0.4)
    assert fit.probability_below(fit.level(0.1)) == pytest.approx(0.1)
    assert fit.mean == pytest.approx(-coldness.mean())


@given(st.lists(st.floats(-40, 15), min_size=20, max_size=40, unique=True))
def test_colder_is_never_likelier(minima: list[float]) -> None:
    fit = winter.extreme_minimum(minima)
    chances = fit.probability_below(np.linspace(-60, 30, 91))
    assert (np.diff(chances) >= -1e-12).all()
    assert chances[0] >= 0.0
    assert chances[-1] <= 1.0


def test_few_winters_get_the_plain_law_and_one_gets_no_spread() -> None:
    few = winter.extreme_minimum([-10.0, -12.0, np.nan, -14.0])
    assert (few.method, few.years) == ("normal", 3)
    assert few.probability_below(-12.0) == pytest.approx(0.5)
    assert few.standard_error == pytest.approx(2.0 / np.sqrt(3))
    one = winter.extreme_minimum([-10.0])
    assert one.level(0.1) == -10.0
    assert np.isnan(one.standard_error)


def test_equal_winters_are_certain() -> None:
    fit = winter.extreme_minimum(np.full(30, -8.0))
    assert fit.probability_below([-8.1, -8.0]).tolist() == [0.0, 1.0]


def test_no_winter_at_all_is_refused() -> None:
    with pytest.raises(BadInput, match="no complete winter"):
        winter.extreme_minimum([np.nan])


def test_the_chance_of_cold_is_the_share_of_years_in_the_window() -> None:
    tmin = np.array([[0.0, -5.0, 3.0], [2.0, 2.0, -9.0], [1.0, 1.0, 1.0], [-6.0, 0.0, 0.0]])
    assert winter.chance_of_cold(tmin, -4.0, 0, 1) == 0.5
    assert winter.chance_of_cold(tmin, -4.0, 0, 2) == 0.75
    with pytest.raises(BadInput, match="do not lie within"):
        winter.chance_of_cold(tmin, -4.0, 1, 3)
