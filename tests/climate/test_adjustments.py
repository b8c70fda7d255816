"""Claims about what a spot does to the weather around it, on invented weather."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from recommender.climate.adjustments import (
    COVER_BELOW_DEGC,
    LAPSE_K_PER_M,
    STILL_NIGHT_K,
    Adjustments,
    clear_share,
)
from recommender.climate.warming import offsets, typed_offsets
from recommender.errors import BadInput

DAYS = np.arange(548)


def weather(seed: int = 3, years: int = 8) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    mean = 10.0 - 8.0 * np.cos(2 * np.pi * (DAYS - 200) / 365) + rng.normal(0, 3, (years, 548))
    half = np.abs(rng.normal(4.5, 1.8, (years, 548))) + 0.2
    return mean - half, mean + half


LOW, HIGH = weather()
EACH: list[dict[str, Any]] = [
    {"frost_hollow": True},
    {"slope_deg": 10.0, "aspect": "S"},
    {"wall": "SW"},
    {"coast": True},
    {"city": True},
    {"higher_m": 200.0},
    {"fleece": True},
]


def test_without_a_switch_nothing_changes() -> None:
    low, high = Adjustments().apply(LOW, HIGH, 50.0)
    assert low is LOW
    assert high is HIGH
    assert Adjustments().said() == ()


@pytest.mark.parametrize("switch", EACH, ids=lambda switch: next(iter(switch)))
def test_each_switch_changes_the_days_says_so_and_has_a_standing(switch: dict[str, Any]) -> None:
    spot = Adjustments(**switch)
    low, high = spot.apply(LOW, HIGH, 50.0)
    assert not np.array_equal(low, LOW)
    assert (high >= low).all()
    assert len(spot.said()) == 1
    assert "ommon practice" in spot.said()[0] or "standard atmosphere" in spot.said()[0]


@given(switch=st.sampled_from(EACH), lat=st.floats(-60, 70), seed=st.integers(0, 50))
def test_no_spot_is_many_degrees_from_its_country_and_gaps_stay_gaps(
    switch: dict[str, Any], lat: float, seed: int
) -> None:
    low, high = weather(seed, 3)
    low[1, 40:60] = high[1, 40:60] = np.nan
    new_low, new_high = Adjustments(**switch).apply(low, high, lat)
    assert np.array_equal(np.isnan(new_low), np.isnan(low))
    assert np.nanmax(np.abs(np.nanmean(new_low, axis=1) - np.nanmean(low, axis=1))) <= 2.0
    assert (new_high[np.isfinite(low)] >= new_low[np.isfinite(low)]).all()


def test_a_hollow_is_colder_on_still_clear_nights_only() -> None:
    low, high = Adjustments(frost_hollow=True).apply(LOW, HIGH, 50.0)
    clear = clear_share(LOW, HIGH)
    assert low == pytest.approx(LOW + STILL_NIGHT_K["hollow"] * clear)
    assert np.array_equal(high, HIGH)
    narrow = (HIGH - LOW) < 4.0
    assert np.array_equal(low[narrow], LOW[narrow])
    assert 0.2 < clear.mean() < 0.6


def test_the_sunny_side_is_south_in_the_north_and_north_in_the_south() -> None:
    towards = Adjustments(slope_deg=15.0, aspect="S").apply(LOW, HIGH, 50.0)[1].mean()
    away = Adjustments(slope_deg=15.0, aspect="N").apply(LOW, HIGH, 50.0)[1].mean()
    assert towards > HIGH.mean() > away
    assert Adjustments(slope_deg=15.0, aspect="N").apply(LOW, HIGH, -40.0)[1].mean() == pytest.approx(towards)
    north_wall = Adjustments(wall="n").apply(LOW, HIGH, 50.0)[1]
    assert np.array_equal(north_wall, np.maximum(HIGH, Adjustments(wall="n").apply(LOW, HIGH, 50.0)[0]))


def test_height_takes_what_the_standard_atmosphere_says() -> None:
    low, high = Adjustments(higher_m=300.0).apply(LOW, HIGH, 50.0)
    assert low == pytest.approx(LOW - 300.0 * LAPSE_K_PER_M)
    assert high == pytest.approx(HIGH - 1.95)


def test_the_sea_narrows_the_day_and_the_year_to_year_scatter() -> None:
    low, high = Adjustments(coast=True).apply(LOW, HIGH, 50.0)
    assert (high - low).mean() == pytest.approx(0.8 * (HIGH - LOW).mean())
    assert (low + high).std(axis=0).mean() < (LOW + HIGH).std(axis=0).mean()


def test_fleece_lifts_cold_nights_and_no_others() -> None:
    low, _ = Adjustments(fleece=True).apply(LOW, HIGH, 50.0)
    mild = LOW >= COVER_BELOW_DEGC
    assert np.array_equal(low[mild], LOW[mild])
    assert (low[~mild] > LOW[~mild]).all()
    assert (low[~mild] <= COVER_BELOW_DEGC).all()


@pytest.mark.parametrize(
    ("switch", "said"),
    [
        ({"aspect": "uphill", "slope_deg": 5.0}, "no direction"),
        ({"wall": "south"}, "no direction"),
        ({"slope_deg": 5.0}, "faces somewhere"),
        ({"aspect": "S"}, "Only a slope"),
        ({"slope_deg": 70.0, "aspect": "S"}, "not taken"),
        ({"slope_deg": float("nan"), "aspect": "S"}, "not taken"),
        ({"higher_m": 4000.0}, "too far"),
        ({"higher_m": float("nan")}, "too far"),
    ],
)
def test_a_spot_that_cannot_be_is_refused(switch: dict[str, Any], said: str) -> None:
    with pytest.raises(BadInput, match=said):
        Adjustments(**switch)


def test_seasonal_warming_falls_on_its_months() -> None:
    assert offsets(typed_offsets("2,1,3,1.5")).tolist() == [2, 2, 1, 1, 1, 3, 3, 3, 1.5, 1.5, 1.5, 2]
    assert offsets(typed_offsets("2.5")).tolist() == [2.5] * 12


@pytest.mark.parametrize("text", ["", "warm", "1,2", "99", "nan", "1,2,3,4,5"])
def test_warming_that_cannot_be_read_is_refused(text: str) -> None:
    with pytest.raises(BadInput, match=r"warming|offsets"):
        typed_offsets(text)
