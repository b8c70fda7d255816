"""Verdicts: what each asks, that more never hurts, and the order of a list."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from recommender import Goals, Site, open_catalog, rank
from recommender.climate.places import country_at
from recommender.suitability import limits
from recommender.suitability.criteria import POLLINATION, rated_for_zone
from recommender.suitability.ranking import varieties_of
from recommender.suitability.verdicts import (
    DOUBTFUL,
    LIMITS,
    RULED_OUT,
    SOUND,
    TOO_LITTLE,
    VERDICTS,
    WELL_KNOWN,
    WITH_CARE,
    evidence,
    in_order,
    tier,
    verdicts,
)

SHARES = st.floats(0.0, 1.0)
GARDEN = {"pollination": np.array([1.0]), "size": np.array([1.0])}


def found(**changed: float) -> dict[str, np.ndarray]:
    """One variety, perfect but for what is changed."""
    values = dict.fromkeys(LIMITS, 1.0) | {"evidence": 1.0} | changed
    return {name: np.array([value]) for name, value in values.items()}


def verdict(**changed: float) -> int:
    return int(verdicts(found(**changed), GARDEN)[0])


def test_what_fits_on_every_count_and_is_well_known_is_sound() -> None:
    assert verdict() == SOUND


@pytest.mark.parametrize("name", list(LIMITS))
def test_each_criterion_takes_the_verdict_down_step_by_step(name: str) -> None:
    limit = LIMITS[name]
    assert verdict(**{name: limit.sound}) == SOUND
    assert verdict(**{name: limit.sound - 0.01}) == WITH_CARE
    assert verdict(**{name: limit.doubtful - 0.01, f"{name}_high": 1.0}) == DOUBTFUL
    if limit.veto:
        assert verdict(**{name: limit.veto * 0.9, f"{name}_high": limit.veto * 0.95}) == RULED_OUT


def test_too_little_known_is_doubtful_and_not_much_is_with_care() -> None:
    assert verdict(evidence=TOO_LITTLE - 0.01) == DOUBTFUL
    assert verdict(evidence=WELL_KNOWN - 0.01) == WITH_CARE
    assert verdict(evidence=WELL_KNOWN) == SOUND


def test_an_unanswered_partner_question_costs_no_verdict_but_none_near_does() -> None:
    for answer, best in (("unknown", SOUND), ("neighbours", SOUND), ("nobody", WITH_CARE)):
        garden = {**GARDEN, "pollination": np.array([POLLINATION[answer]])}
        assert int(verdicts(found(), garden)[0]) == best


@given(st.dictionaries(st.sampled_from([*LIMITS, "evidence"]), SHARES), st.sampled_from(list(LIMITS)), SHARES)
def test_a_better_criterion_never_worsens_a_verdict(values: dict[str, float], name: str, more: float) -> None:
    better = {**values, name: max(values.get(name, 1.0), more)}
    assert verdict(**better) <= verdict(**values)


@given(SHARES, SHARES, SHARES)
def test_evidence_grows_with_figures_and_with_record(share: float, record: float, more: float) -> None:
    known = evidence(np.array([share]), np.array([record]))[0]
    assert max(share, record) - 1e-12 <= known <= 1.0
    assert evidence(np.array([share]), np.array([max(record, more)]))[0] >= known


def test_a_list_runs_by_score_with_the_doubtful_below_and_the_ruled_out_last() -> None:
    score = np.array([0.9, 0.8, 0.3, 0.2, 0.1])
    order = in_order(score, np.array([RULED_OUT, DOUBTFUL, SOUND, WITH_CARE, DOUBTFUL]))
    assert order.tolist() == [2, 3, 1, 4, 0]
    assert tier(np.array([SOUND, WITH_CARE, DOUBTFUL, RULED_OUT])).tolist() == [0, 0, 1, 2]


def test_in_a_ranking_nothing_doubtful_stands_above_what_is_not() -> None:
    frame = rank(Site(place="Bristol, GB"), Goals(crops=("apple",)), open_catalog()).frame
    place = frame["verdict"].map(VERDICTS.index).to_numpy()
    assert (np.diff(tier(place)) >= 0).all()
    assert set(frame["verdict"]) >= {"sound", "with care", "doubtful"}


def test_trees_of_least_need_are_not_ruled_out_where_there_is_no_winter() -> None:
    """In the tropics they crop on stripped branches (common practice); trees of high need do not."""
    varieties = varieties_of(open_catalog())
    hours, portions = np.zeros(30), np.zeros(30)
    high = limits.chill(hours, portions, varieties, 50.0, 3.0)["chill_high"]
    need, by_hours = varieties.chill_hours.value, ~varieties.by_portions
    assert (high[by_hours & (need <= limits.LOW_NEED_h)] >= LIMITS["chill"].veto).all()
    known = varieties.chill_hours.known
    assert (high[by_hours & known & (need > 600.0)] < LIMITS["chill"].veto).all()


def test_an_unrated_variety_stands_as_its_expected_hardiness_would_be_rated() -> None:
    varieties = varieties_of(open_catalog())
    unrated = varieties.frame["zone_min"].isna().to_numpy() & (varieties.frame["crop"] == "apple").to_numpy()
    cold, mild = (rated_for_zone(varieties, zone)[unrated] for zone in (3.0, 8.0))
    assert (cold < mild).all()
    assert mild.min() > 0.8
    assert cold.mean() < 0.6
    assert (rated_for_zone(varieties, 8.0) <= 1.0).all()


@pytest.mark.parametrize(
    ("lat", "lon", "country"), [(51.45, -2.59, "GB"), (44.98, -93.26, "US"), (-42.88, 147.33, "AU")]
)
def test_the_country_of_a_point_is_that_of_the_nearest_place(lat: float, lon: float, country: str) -> None:
    assert country_at(lat, lon) == country


def test_shares_of_years_are_told_out_of_twenty() -> None:
    told = rank(Site(place="Atlanta, GA"), Goals(crops=("peach",)), open_catalog()).records(top=40)
    sentences = " ".join(sentence for record in told for sentence in record["reasons"])
    assert "winters in 20" in sentences
    assert "of 30" not in sentences
