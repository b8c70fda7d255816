"""Climates of many sites at once are those of each alone."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest

from recommender import open_catalog
from recommender.atlas.climates import climates_of, features_of_sites, from_table, key_of, to_table
from recommender.climate.many import build_profiles
from recommender.climate.normals import normals_at
from recommender.climate.profile import build_profile
from recommender.suitability.batch import Plan, features_of, plan, stacked

# Geneva (New York), the Gulf coast, Tasmania, Hawaii.
PLACES = [(42.87, -76.99), (30.52, -87.9), (-43.0, 147.0), (20.0, -155.7)]
LEFT_OUT = {"gdh", "chill_units", "positive_chill_units", "errors", "made_from"}


@pytest.fixture(scope="module")
def ready() -> Plan:
    return plan(open_catalog())


@pytest.mark.parametrize("warming", [0.0, 2.5])
def test_profiles_side_by_side_are_those_built_one_by_one(warming: float) -> None:
    normals = [normals_at(*place) for place in PLACES]
    for alone, together in zip(
        [build_profile(each, 8, warming_degC=warming) for each in normals],
        build_profiles(normals, 8, warming_degC=warming),
        strict=True,
    ):
        for part in fields(alone):
            if part.name in LEFT_OUT:
                continue
            one, many = getattr(alone, part.name), getattr(together, part.name)
            if isinstance(one, np.ndarray):
                np.testing.assert_allclose(many, one, rtol=1e-12, atol=1e-9, err_msg=part.name)
            else:
                assert many == one, part.name
        for name, error in together.errors.items():
            assert error == pytest.approx(alone.errors[name], abs=1e-9)


def test_what_scores_need_is_the_same_and_survives_its_table(ready: Plan) -> None:
    normals = [normals_at(*place) for place in PLACES]
    alone = stacked([features_of(build_profile(each, 8), ready) for each in normals], ready)
    together = stacked(list(features_of_sites(normals, 8, 20261125, 0.0, ready)), ready)
    sites = pd.DataFrame(PLACES, columns=["lat", "lon"]).assign(elevation_m=np.nan)
    sites.insert(0, "site", range(len(sites)))
    key = key_of(ready, "data", 8, 20261125, sites, 0.0)
    table = to_table(np.arange(4), together, key)
    held = from_table(table, key)
    assert held is not None
    for part in fields(alone):
        one, many = getattr(alone, part.name), getattr(together, part.name)
        assert np.array_equal(getattr(held[1], part.name), many)
        if part.name == "country":
            assert many.tolist() == one.tolist() == ["US", "US", "AU", "US"]
        else:
            np.testing.assert_allclose(many, one, rtol=1e-12, atol=1e-9, err_msg=part.name)
    for other in (
        key_of(ready, "other data", 8, 20261125, sites, 0.0),
        key_of(ready, "data", 9, 20261125, sites, 0.0),
        key_of(ready, "data", 8, 20261125, sites.assign(lon=2.0), 0.0),
        key_of(ready, "data", 8, 20261125, sites.assign(site=sites["site"] + 1), 0.0),
        key_of(ready, "data", 8, 20261125, sites, 2.0),
    ):
        assert from_table(table, other) is None
    assert from_table(pa.table({"site": [1]}), key) is None


def test_a_site_at_sea_is_named_and_the_others_are_kept(ready: Plan) -> None:
    sites = pd.DataFrame(
        {"site": [0, 1], "lat": [45.0, 48.8], "lon": [-40.0, 9.8], "elevation_m": [np.nan, 300.0]}
    )
    kept, climates, missing = climates_of(sites, 4, 1, 0.0, ready)
    assert kept.tolist() == [1]
    assert climates is not None
    assert len(climates) == 1
    assert missing[0]["site"] == 0
    assert "sea" in str(missing[0]["why"])
