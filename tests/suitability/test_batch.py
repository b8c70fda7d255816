"""Scores and verdicts of many sites at once are those of each site alone."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from recommender import Goals, Site, open_catalog, rank
from recommender.climate.normals import normals_at
from recommender.climate.profile import build_profile
from recommender.errors import BadInput
from recommender.suitability.batch import Plan, features_of, plan, score_batch, scored, stacked
from recommender.suitability.verdicts import VERDICTS

# Geneva (New York), the Gulf coast, Manitoba, Tasmania and Hawaii: cold, mild, harsh, southern and without
# chill.
PLACES = [(42.87, -76.99), (30.52, -87.9), (50.9, -97.2), (-43.0, 147.0), (20.0, -155.7)]


@pytest.mark.parametrize("goals", [Goals(), Goals(preset="nursery"), Goals(crops=("quince", "hazelnut"))])
def test_each_site_of_a_batch_has_the_scores_and_verdicts_of_its_own_ranking(goals: Goals) -> None:
    catalog = open_catalog()
    profiles = [build_profile(normals_at(lat, lon)) for lat, lon in PLACES]
    ready = plan(catalog, goals)
    # Twice over, so that they are many enough for the matrix product.
    sites = [features_of(profile, ready) for profile in profiles] * 2
    scores = score_batch(sites, catalog, ready)
    found = scored(stacked(sites, ready), ready)
    assert np.array_equal(scores, found.score)
    for at, ((lat, lon), profile) in enumerate(zip(PLACES, profiles, strict=True)):
        alone = rank(Site(lat=lat, lon=lon), goals, catalog, profile).frame.sort_index()
        assert alone["variety"].tolist() == ready.names["variety"].tolist()
        # The ranking rounds to six places.
        assert np.allclose(scores[at], alone["score"].to_numpy(float), atol=1e-6)
        assert np.allclose(scores[at], scores[at + len(PLACES)], atol=1e-9)
        assert [VERDICTS[place] for place in found.verdict[at]] == alone["verdict"].tolist()
        assert scores[at].std() > 0.001


@pytest.fixture(scope="module")
def ready() -> Plan:
    return plan(open_catalog())


@settings(max_examples=4, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.floats(-45.0, 58.0).filter(lambda lat: abs(lat) > 1.0),
    st.integers(0, 3),
    st.floats(0.0, 4.0),
)
def test_any_land_in_any_warmth_scores_as_it_does_alone(
    ready: Plan, lat: float, meridian: int, warming: float
) -> None:
    catalog, found = open_catalog(), []
    for step in range(4):
        lon = (-70.0, 25.0, 105.0, 145.0)[meridian] + 2.5 * step
        try:
            normals = normals_at(lat, lon)
        except BadInput:  # at sea
            continue
        found.append((Site(lat=lat, lon=lon), build_profile(normals, years=12, warming_degC=warming)))
    if not found:
        return
    sites = [features_of(profile, ready) for _, profile in found]
    scores = scored(stacked(sites * 3, ready), ready)
    for at, (site, profile) in enumerate(found):
        alone = rank(site, Goals(), catalog, profile).frame.sort_index()
        assert np.abs(scores.score[at] - alone["score"].to_numpy(float)).max() <= 1e-6
        assert [VERDICTS[place] for place in scores.verdict[at]] == alone["verdict"].tolist()


def test_climates_of_unlike_length_are_scored_each_in_its_own_batch(ready: Plan) -> None:
    catalog, normals = open_catalog(), normals_at(42.87, -76.99)
    sites = [features_of(build_profile(normals, years=years), ready) for years in (10, 30)]
    both = score_batch(sites, catalog, ready)
    assert np.allclose(both, np.concatenate([score_batch([site], catalog, ready) for site in sites]))
    with pytest.raises(BadInput, match="equally many seasons"):
        stacked(sites, ready)


def test_goals_that_need_a_garden_are_refused() -> None:
    with pytest.raises(BadInput, match="winter cover"):
        plan(open_catalog(), Goals(will_cover=True))
