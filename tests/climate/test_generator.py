"""Claims about made weather. The normals below are invented."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recommender.climate.generator import (
    MONTH_DAYS,
    YEAR_DAYS,
    DailyWeather,
    generate,
    monthly_means,
    smooth_year,
)
from recommender.errors import BadInput

MONTHS = np.arange(12)


def invented(mean: float, swing: float, day_range: float, coldest: int = 0) -> tuple[np.ndarray, np.ndarray]:
    means = mean - swing * np.cos(2 * np.pi * (MONTHS - coldest) / 12)
    return means - day_range / 2, means + day_range / 2


def continental(years: int = 31, seed: int = 1) -> DailyWeather:
    low, high = invented(6.0, 15.0, 11.0)
    return generate(low, high, -29.0, years, seed, winter_year_start=181)


@given(st.lists(st.floats(-40, 40), min_size=12, max_size=12))
def test_the_smooth_year_keeps_the_monthly_means(monthly: list[float]) -> None:
    assert monthly_means(smooth_year(np.array(monthly))) == pytest.approx(np.array(monthly), abs=1e-9)


def test_the_smooth_year_has_no_step_at_new_year() -> None:
    year = smooth_year(invented(8.0, 10.0, 8.0)[0])
    assert abs(year[0] - year[-1]) < 0.05
    assert np.abs(np.diff(year)).max() < 0.3


@settings(max_examples=40, deadline=None)
@given(
    mean=st.floats(-5, 26),
    swing=st.floats(0, 20),
    day_range=st.floats(1, 18),
    gap=st.floats(3, 20),
    coldest=st.sampled_from([0, 1, 6, 7]),
    seed=st.integers(0, 99),
)
def test_made_weather_has_the_normals_and_the_coldest_night_it_was_asked_for(
    mean: float, swing: float, day_range: float, gap: float, coldest: int, seed: int
) -> None:
    low, high = invented(mean, swing, day_range, coldest)
    extreme = low.min() - gap
    start = 181 if coldest < 6 else 0
    weather = generate(low, high, extreme, 31, seed, winter_year_start=start)
    assert weather.tmin.shape == weather.tmax.shape == (31, YEAR_DAYS)
    assert (weather.tmin < weather.tmax).all()
    assert monthly_means(weather.tmin.mean(axis=0)) == pytest.approx(low, abs=0.35)
    assert monthly_means(weather.tmax.mean(axis=0)) == pytest.approx(high, abs=0.35)
    nights = weather.tmin.ravel()[start : start + 30 * YEAR_DAYS].reshape(30, YEAR_DAYS).min(axis=1)
    assert nights.mean() - extreme == pytest.approx(weather.extreme_min_misfit, abs=1e-9)
    if 0.5 < weather.winter_sd < 9.0:
        assert abs(weather.extreme_min_misfit) < 0.5


def test_the_same_seed_gives_the_same_weather_and_another_seed_does_not() -> None:
    assert np.array_equal(continental(seed=3).tmin, continental(seed=3).tmin)
    assert not np.array_equal(continental(seed=3).tmin, continental(seed=4).tmin)


def test_weather_hangs_together_from_day_to_day_and_minimum_with_maximum() -> None:
    weather = continental(years=60)
    means = (weather.tmin + weather.tmax) / 2
    anomaly = (means - means.mean(axis=0)).ravel()
    assert 0.65 < np.corrcoef(anomaly[:-1], anomaly[1:])[0, 1] < 0.82
    low, high = (part - part.mean(axis=0) for part in (weather.tmin, weather.tmax))
    assert np.corrcoef(low.ravel(), high.ravel())[0, 1] > 0.4


def test_winter_is_rougher_than_summer_and_its_cold_tail_longer() -> None:
    weather = continental(years=80)
    january, july = weather.tmin[:, :31], weather.tmin[:, 181:212]
    assert january.std() > 1.4 * july.std()
    lows, highs = np.quantile(january, [0.01, 0.99])
    assert january.mean() - lows > highs - january.mean()


def test_winters_differ_from_year_to_year_as_real_ones_do() -> None:
    weather = continental(years=80)
    januaries = ((weather.tmin + weather.tmax) / 2)[:, :31].mean(axis=1)
    # Monthly means of the real series in docs/weather-generator.md have 0.4 to 0.6 of the daily deviation.
    daily = ((weather.tmin + weather.tmax) / 2)[:, :31].std()
    assert 0.35 < januaries.std() / daily < 0.7


def test_normals_and_extreme_that_contradict_each_other_are_reported_not_hidden() -> None:
    low, high = invented(10.0, 8.0, 9.0)
    assert generate(low, high, low.min() + 1.0, 31).extreme_min_misfit < -0.5
    assert generate(low, high, -60.0, 31).extreme_min_misfit > 0.5


def test_bad_figures_are_refused() -> None:
    low, high = invented(10.0, 8.0, 9.0)
    with pytest.raises(BadInput, match="two years"):
        generate(low, high, -10.0, 1)
    with pytest.raises(BadInput, match="numbers"):
        generate(low, np.where(MONTHS == 4, np.nan, high), -10.0, 5)


def test_the_year_has_365_days() -> None:
    assert MONTH_DAYS.sum() == YEAR_DAYS
