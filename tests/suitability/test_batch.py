"""Scores of many sites at once are those of each site alone."""

from __future__ import annotations

import numpy as np
import pytest

from recommender import Goals, Site, open_catalog, rank
from recommender.climate.normals import normals_at
from recommender.climate.profile import build_profile
from recommender.suitability.batch import features_of, plan, score_batch

# Geneva (New York), the Gulf coast, Manitoba, Tasmania and Hawaii: cold, mild, harsh, southern and without
# chill.
PLACES = [(42.87, -76.99), (30.52, -87.9), (50.9, -97.2), (-43.0, 147.0), (20.0, -155.7)]


@pytest.mark.parametrize("preset", ["beginner", "nursery"])
def test_each_site_of_a_batch_has_the_scores_of_its_own_ranking(preset: str) -> None:
    catalog = open_catalog()
    goals = Goals(preset=preset)  # type: ignore[arg-type]
    profiles = [build_profile(normals_at(lat, lon)) for lat, lon in PLACES]
    ready = plan(catalog, goals)
    scores = score_batch([features_of(profile, ready) for profile in profiles], catalog, ready)
    for (lat, lon), profile, row in zip(PLACES, profiles, scores, strict=True):
        alone = rank(Site(lat=lat, lon=lon), goals, catalog, profile).frame.sort_index()["score"]
        # The ranking rounds to six places.
        assert np.allclose(row, alone.to_numpy(float), atol=1e-6)
        assert row.std() > 0.01
