"""The pictures of a site's year: sentence, text for the blind and marks say what the profile says."""

from __future__ import annotations

import numpy as np
import pytest

from recommender import charts_climate as charts
from recommender.climate import course
from recommender.climate.normals import Normals
from recommender.climate.profile import Profile, build_profile
from recommender.wording import day_words


def invented(mean: float, swing: float, extreme: float, lat: float) -> Normals:
    means = mean - swing * np.cos(2 * np.pi * (np.arange(12) - (0.3 if lat >= 0 else 6.3)) / 12)
    return Normals(
        lat=lat, lon=8.0, elevation_m=100.0, tmax=means + 4.5, tmin=means - 4.5, rain_mm=np.full(12, 60.0),
        annual_extreme_min_degC=extreme, error_monthly_degC=0.9, error_extreme_degC=1.6,
    )  # fmt: skip


@pytest.fixture(scope="module", params=[50.0, -45.0], ids=["north", "south"])
def profile(request: pytest.FixtureRequest) -> Profile:
    return build_profile(invented(10.5, 7.0, -8.5, request.param))


def test_chill_of_every_winter_ends_at_its_total(profile: Profile) -> None:
    winters = course.chill_by_winter(profile)
    last = winters[winters["day"] == profile.chill_season[1] - 1]
    assert last["chill"].to_numpy() == pytest.approx(profile.chill_portions)
    picture = charts.chill_build_up(winters, profile.summary(), profile.hemisphere)
    assert f"usually {np.median(profile.chill_portions):.0f}" in picture.sentence
    assert "30 in all" in picture.alt_text
    assert picture.chart.to_dict()["description"] == picture.alt_text


def test_the_frost_curve_falls_in_spring_and_rises_in_autumn(profile: Profile) -> None:
    risk = course.frost_risk(profile)
    spring, autumn = (risk[risk["season"] == name] for name in ("spring", "autumn"))
    assert (spring["risk"].diff().dropna() <= 0).all()
    assert (autumn["risk"].diff().dropna() >= 0).all()
    assert spring["risk"].iloc[0] == 1.0
    assert spring["risk"].iloc[-1] == autumn["risk"].iloc[0] == 0.0
    summary = profile.summary()
    picture = charts.frost_curve(risk, summary, profile.hemisphere)
    assert day_words(summary["last_spring_frost"]["p90"]) in picture.sentence
    at_p90 = spring.loc[spring["day"] >= np.nanquantile(profile.last_spring_frost, 0.9), "risk"].iloc[0]
    assert at_p90 == pytest.approx(0.1, abs=0.04)


def test_temperature_bands_stand_in_order_and_in_the_readers_unit(profile: Profile) -> None:
    bands = course.temperature_bands(profile)
    assert len(bands) == 364
    assert (bands["night_low"] < bands["night"]).all()
    assert (bands["night"] < bands["high"]).all()
    assert (bands["high"] < bands["day_high"]).all()
    metric = charts.temperature_course(bands, profile.hemisphere)
    imperial = charts.temperature_course(bands, profile.hemisphere, "imperial", "dark")
    assert "°C" in metric.sentence
    assert "°F" in imperial.sentence
    assert "Temperature (°F)" in str(imperial.chart.to_dict())


def test_a_place_without_winter_gets_no_false_dates() -> None:
    tropical = build_profile(invented(27.0, 0.6, 17.0, 4.0))
    summary = tropical.summary()
    assert "no chill" in charts.chill_build_up(course.chill_by_winter(tropical), summary, "north").sentence
    assert "no frost comes" in charts.frost_curve(course.frost_risk(tropical), summary, "north").sentence
