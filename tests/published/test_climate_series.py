"""Real daily and hourly series that packages carry, against the hourly curve and the made weather.

Seattle and San Francisco: NOAA, in vega_datasets (hourly normals of 2010, daily 2012-2015 of Seattle).
Greensboro NC and
Sand Point AK: typical meteorological years (TMY3, National Renewable Energy Laboratory), in pvlib. The bounds
are what was measured, rounded up. Longer series, which may not be carried here, were looked at too:
docs/weather-generator.md.
"""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from recommender.climate import chill, heat
from recommender.climate.figures import Figures, figures
from recommender.climate.generator import MONTH_DAYS, monthly_means, smooth_year
from recommender.climate.hourly import hourly_temperatures
from recommender.climate.normals import Normals
from recommender.climate.profile import Profile, build_profile, profile_from_daily
from recommender.climate.season import YEAR_DAYS, season_days_of_year
from recommender.units import celsius

OCTOBER, APRIL = 273, 90


def hours_of_normals(name: str) -> np.ndarray:
    data = pytest.importorskip("vega_datasets", reason="the real series come with vega_datasets").data
    table = getattr(data, name)()
    series = table.assign(date=pd.to_datetime(table["date"])).set_index("date")["temp"]
    # One hour is missing where the clocks went forward.
    whole = series.resample("h").mean().interpolate()
    return np.array([celsius(value) for value in whole]).reshape(YEAR_DAYS, 24)


def hours_of_typical_year(file: str) -> np.ndarray:
    found = importlib.util.find_spec("pvlib")
    if found is None or found.origin is None:
        pytest.skip("the typical years come with pvlib")
    table = pd.read_csv(Path(found.origin).parent / "data" / file, skiprows=1)
    return table["Dry-bulb (C)"].to_numpy(dtype=float)[: YEAR_DAYS * 24].reshape(YEAR_DAYS, 24)


def curve(hours: np.ndarray, lat: float) -> np.ndarray:
    return hourly_temperatures(hours.min(axis=1), hours.max(axis=1), lat, np.arange(1, YEAR_DAYS + 1))


def winter(hours: np.ndarray) -> np.ndarray:
    return np.concatenate([hours[OCTOBER:], hours[:APRIL]])


def root_mean_square(difference: np.ndarray) -> float:
    return float(np.sqrt((difference**2).mean()))


@pytest.mark.parametrize(("name", "lat", "error"), [("seattle_temps", 47.6, 0.95), ("sf_temps", 37.6, 0.8)])
def test_the_hourly_curve_follows_mean_real_days(name: str, lat: float, error: float) -> None:
    real = hours_of_normals(name)
    made = curve(real, lat)
    assert root_mean_square(made - real) < error
    assert abs((made - real).mean()) < 0.45
    assert chill.dynamic_portions(winter(made)) == pytest.approx(
        chill.dynamic_portions(winter(real)), rel=0.02
    )
    assert heat.growing_degree_hours(made) == pytest.approx(heat.growing_degree_hours(real), rel=0.07)


@pytest.mark.parametrize(
    ("file", "lat", "error"), [("723170TYA.CSV", 36.1, 1.9), ("703165TY.csv", 55.3, 1.25)]
)
def test_the_hourly_curve_counts_chill_and_heat_of_real_days_with_their_fronts(
    file: str, lat: float, error: float
) -> None:
    real = hours_of_typical_year(file)
    made = curve(real, lat)
    assert root_mean_square(made - real) < error
    for count, share in (
        (chill.chill_hours_below_7, 0.03),
        (chill.chill_hours_0_7, 0.1),
        (chill.utah_units, 0.09),
        (chill.dynamic_portions, 0.025),
    ):
        assert count(winter(made)) == pytest.approx(count(winter(real)), rel=share)
    assert heat.growing_degree_hours(made) == pytest.approx(heat.growing_degree_hours(real), rel=0.06)


@pytest.fixture(scope="module")
def seattle() -> tuple[Profile, Profile, Figures]:
    """Seattle as it was, as made from its own monthly means, and as its normal day without scatter."""
    data = pytest.importorskip("vega_datasets", reason="the real series come with vega_datasets").data
    table = data.seattle_weather().rename(columns={"temp_min": "tmin_degC", "temp_max": "tmax_degC"})
    real = profile_from_daily(table, lat=47.6)
    of_year = season_days_of_year("north")[:YEAR_DAYS]
    low, high = (monthly_means(part[:, np.argsort(of_year)].mean(axis=0)) for part in (real.tmin, real.tmax))
    assert MONTH_DAYS.sum() == len(of_year)
    normals = Normals(
        47.6, -122.3, 50.0, high, low, np.full(12, 80.0), real.annual_extreme_min_degC, 0.5, 1.0
    )
    days = season_days_of_year("north") - 1
    scatterless = figures(
        smooth_year(low)[days][None], smooth_year(high)[days][None], 47.6, real.chill_season
    )
    return real, build_profile(normals), scatterless


@pytest.mark.parametrize(
    ("figure", "share"),
    [
        ("chill_hours_0_7", 0.1),
        ("chill_hours_below_7", 0.06),
        ("chill_units", 0.1),
        ("chill_portions", 0.04),
        ("frost_free_days", 0.1),
        ("gdd10", 0.05),
        ("gdh", 0.03),
    ],
)
def test_made_weather_has_the_figures_of_the_real_series(
    seattle: tuple[Profile, Profile, Figures], figure: str, share: float
) -> None:
    real, made, _ = seattle
    assert np.median(getattr(made, figure)) == pytest.approx(np.median(getattr(real, figure)), rel=share)


def test_made_weather_is_better_than_the_normal_day_without_scatter(
    seattle: tuple[Profile, Profile, Figures],
) -> None:
    real, made, scatterless = seattle
    for figure in (
        "chill_hours_0_7",
        "chill_hours_below_7",
        "chill_units",
        "chill_portions",
        "frost_free_days",
    ):
        truth = float(np.median(getattr(real, figure)))
        of_made = abs(float(np.median(getattr(made, figure))) - truth)
        of_normal_day = abs(float(getattr(scatterless, figure)[0]) - truth)
        assert of_made < of_normal_day, figure
    assert np.isnan(scatterless.last_spring_frost).all()  # it never freezes on a normal day in Seattle
    assert np.isfinite(made.last_spring_frost).mean() > 0.9
