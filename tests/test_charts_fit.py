"""Pictures of one variety at one site, and the map: sentence, text for the blind and marks say the same."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

from recommender import Goals, Site, open_catalog, rank
from recommender.charts_fit import chill_by_winter, frost_and_bloom, score_breakdown
from recommender.charts_map import reach, site_map
from recommender.climate import course
from recommender.climate.land import land_strips, stations_around
from recommender.suitability.fit import Fit, fit_of
from recommender.suitability.ranking import LIMITS, Ranking


@lru_cache(maxsize=1)
def bristol() -> Ranking:
    return rank(Site(place="Bristol, England"), Goals(crops=("apple", "fig")), catalog=open_catalog())


def _fit(crop: str = "apple", variety: str = "Discovery") -> Fit:
    frame = bristol().frame
    return fit_of(bristol(), int(frame.index[(frame["crop"] == crop) & (frame["variety"] == variety)][0]))


def test_the_fit_is_the_rankings_own() -> None:
    fit, frame = _fit(), bristol().frame
    row = frame[frame["variety"] == "Discovery"].iloc[0]
    assert fit.bloom_middle == pytest.approx(row["bloom_day"], abs=1)
    parts = fit.parts.set_index("criterion")["value"]
    assert all(parts[name] == pytest.approx(row[f"c_{name}"]) for name in LIMITS)


def test_bars_are_winters_and_the_sentence_counts_them() -> None:
    fit = _fit()
    picture = chill_by_winter(fit)
    assert picture is not None
    enough = int((fit.chill >= fit.need).sum())
    assert f"enough in {enough} of {len(fit.chill)} winters" in picture.sentence
    data = picture.chart.to_dict()["datasets"].values()
    bars = next(rows for rows in data if len(rows) == len(fit.chill))
    assert sorted(row["winter"] for row in bars) == pytest.approx(sorted(fit.chill.tolist()))


def test_frost_at_bloom_is_read_off_the_curve() -> None:
    fit = _fit()
    risk = course.frost_risk(bristol().context.profile)
    picture = frost_and_bloom(fit, risk, "north")
    assert picture is not None
    spring = risk[risk["season"] == "spring"].set_index("day")["risk"]
    chance = round(float(np.interp(fit.bloom_middle, spring.index, spring)) * 10)
    assert {0: "spring", 10: "nearly every"}.get(chance, f"in {chance} of 10 springs") in picture.sentence
    imperial = frost_and_bloom(fit, risk, "north", "imperial")
    assert imperial is not None
    assert "April" in imperial.sentence


def test_the_score_breakdown_names_what_falls_short() -> None:
    fit = _fit()
    picture = score_breakdown(fit)
    short = fit.parts[fit.parts["value"] < fit.parts["sound"]]
    assert ("falls short" in picture.sentence) == bool(len(short))
    assert len(picture.chart.to_dict()["layer"]) == 3


def test_every_picture_has_its_alt_text_on_the_chart() -> None:
    fit = _fit()
    risk = course.frost_risk(bristol().context.profile)
    for picture in (chill_by_winter(fit), frost_and_bloom(fit, risk, "north"), score_breakdown(fit)):
        assert picture is not None
        assert picture.chart.to_dict()["description"] == picture.alt_text
        assert picture.alt_text.startswith(picture.sentence)


@pytest.mark.parametrize(("lat", "lon"), [(51.45, -2.6), (-17.8, 178.0), (64.1, -21.9), (0.3, 32.6)])
def test_land_strips_stay_within_the_map_and_do_not_overlap(lat: float, lon: float) -> None:
    up, across = reach(lat, stations_around(lat, lon))
    land = land_strips(lat, lon, up, across)
    assert len(land) > 5
    assert land["north"].le(lat + up).all()
    assert land["south"].ge(lat - up).all()
    assert land["west"].ge(lon - across).all()
    assert land["east"].le(lon + across).all()
    assert (land["east"] > land["west"]).all()
    rows = land.sort_values(["north", "west"])
    same = rows["north"].eq(rows["north"].shift())
    assert (rows["west"] >= rows["east"].shift() - 1e-9)[same].all()


def test_the_site_lies_on_land_and_open_sea_is_none() -> None:
    land = land_strips(51.45, -2.6, 1.0, 1.0)

    def dry(lat: float, lon: float) -> bool:
        return bool(
            (
                (land["south"] <= lat) & (lat < land["north"]) & (land["west"] <= lon) & (lon < land["east"])
            ).any()
        )

    assert dry(51.5, -2.2)
    assert not dry(51.3, -3.55)  # the Bristol Channel


def test_the_map_names_the_stations_the_climate_names() -> None:
    site = bristol().site
    stations = stations_around(site["lat"], site["lon"])
    picture = site_map(site, land_strips(51.45, -2.6, 1, 2), stations)
    said = " ".join(site["made_from"])
    for name in stations.loc[stations["named"], "name"]:
        assert name in said
        assert name in picture.sentence
