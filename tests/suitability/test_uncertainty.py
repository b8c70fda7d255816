"""Intervals, rank ranges and chances of verdicts: what they hold, and that they hang on evidence alone."""

from __future__ import annotations

from typing import Any, cast

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from recommender import open_catalog
from recommender.suitability import uncertainty
from recommender.suitability.goals import Goals
from recommender.suitability.ranking import Ranking, rank
from recommender.suitability.site import Site
from recommender.suitability.verdicts import LIMITS, VERDICTS
from tests.suitability.invented import InventedCatalog, climate

HERE = Site(place="Withy Hollow")
CHANCES = [f"chance_{name.replace(' ', '_')}" for name in VERDICTS]


def drawn(site: Site = HERE, goals: Goals | None = None, **of: Any) -> Ranking:
    return rank(site, goals, cast(Any, InventedCatalog()), cast(Any, climate(**of)), intervals=True)


@pytest.fixture(scope="module")
def real() -> Ranking:
    return rank(
        Site(place="Geneva, New York"), Goals(crops=("apple", "peach", "fig")), open_catalog(), intervals=True
    )


def test_the_interval_holds_score_and_place_and_the_chances_sum_to_one(real: Ranking) -> None:
    frame = real.frame
    assert ((frame["score_low"] <= frame["score"]) & (frame["score"] <= frame["score_high"])).all()
    assert ((frame["rank_low"] <= frame["rank"]) & (frame["rank"] <= frame["rank_high"])).all()
    assert frame["rank_low"].min() >= 1
    assert frame["rank_high"].max() <= len(frame)
    assert np.allclose(frame[CHANCES].sum(axis=1), 1.0)


def test_intervals_change_neither_score_nor_order_nor_verdict(real: Ranking) -> None:
    plain = rank(Site(place="Geneva, New York"), Goals(crops=("apple", "peach", "fig")), open_catalog())
    for column in ("variety", "score", "verdict", "rank"):
        assert plain.frame[column].tolist() == real.frame[column].tolist()


def test_a_second_run_gives_the_same_figures() -> None:
    first, second = drawn().frame, drawn().frame
    for column in ("score_low", "score_high", "rank_low", "rank_high", *CHANCES):
        assert first[column].tolist() == second[column].tolist()


def test_a_varietys_interval_does_not_hang_on_what_else_was_asked_for() -> None:
    everything, apples = drawn().frame, drawn(goals=Goals(crops=("apple",))).frame
    both = everything.merge(apples, on=["crop", "variety"], suffixes=("", "_apples"))
    assert len(both) == len(apples)
    assert np.allclose(both["score_low"], both["score_low_apples"])
    assert np.allclose(both["chance_sound"], both["chance_sound_apples"])


def test_what_nobody_described_has_the_wider_interval() -> None:
    frame = drawn(goals=Goals(crops=("apple",)), coldest=-24.0).frame.set_index("variety")
    # Of the score: what is little known stands lower, and so does its interval.
    width = (frame["score_high"] - frame["score_low"]) / frame["score"]
    assert width["Withy Unwritten"] > width["Withy Hardy"]


def test_the_chance_of_the_verdict_falls_where_the_evidence_is_on_the_edge() -> None:
    clear = drawn(coldest=-10.0, chill=2000).frame.set_index("variety").loc["Withy Hardy"]
    edge = drawn(coldest=-37.0).frame.set_index("variety").loc["Withy Early"]
    assert clear["chance_sound"] > 0.9
    assert edge[CHANCES].max() < 0.9


def test_the_draws_centre_on_the_expected_criteria(real: Ranking) -> None:
    context = real.context
    found = uncertainty.drawn_limits(
        context.varieties, context.profile, context.when, context.kills, 0.0, draws=400
    )
    assert set(found) == set(LIMITS)
    for name, values in found.items():
        assert ((values >= 0.0) & (values <= 1.0)).all()
        apart = values.mean(axis=1) - context.found[name]
        # 400 draws of 30 years; the chill criterion takes the better of two ways in every draw.
        assert abs(apart.mean()) < 0.03, name
        assert np.abs(apart).max() < 0.2, name


def test_common_draws_keep_a_hardier_twin_above_whatever_the_winter() -> None:
    years = np.sort(np.random.default_rng(3).normal(-18.0, 4.0, (50, 30)), axis=1)
    need = np.array([[-25.0], [-20.0]]) + np.zeros((2, 50))
    share = uncertainty._above(years, need)
    assert (share[0] >= share[1]).all()
    assert share[0].mean() > share[1].mean()


@settings(max_examples=60, deadline=None)
@given(
    arrays(np.float64, (4, 30), elements=st.floats(-40, 10)),
    arrays(np.float64, (6, 4), elements=st.floats(-45, 15)),
)
def test_the_share_above_is_counted_rightly(years: Any, need: Any) -> None:
    share = uncertainty._above(np.sort(years, axis=1), need)
    for row in range(6):
        for draw in range(4):
            assert share[row, draw] == pytest.approx((years[draw] > need[row, draw]).mean())


def test_clearly_different_varieties_are_not_level_and_equal_ones_are() -> None:
    rng = np.random.default_rng(5)
    shared = rng.normal(0.0, 0.05, 200)
    scores = np.stack([0.9 + shared, 0.9 + shared + rng.normal(0, 0.05, 200), 0.5 + shared, 0.5 + shared])
    assert uncertainty.level_with(scores.astype(np.float32)).tolist() == [1, 1, 3, 3]


def test_what_two_varieties_share_does_not_make_them_level() -> None:
    shared = np.random.default_rng(6).normal(0.0, 0.2, 200)
    scores = np.stack([0.70 + shared, 0.69 + shared]).astype(np.float32)
    assert uncertainty.level_with(scores).tolist() == [1, 2]


def test_deviates_are_standard_normal_and_differ_by_variety_and_trait() -> None:
    names = [f"apple:Withy {place}" for place in range(400)]
    cold = uncertainty.deviates(names, "hardiness", 100, 1)
    chill = uncertainty.deviates(names, "chill", 100, 1)
    assert abs(cold.mean()) < 0.03
    assert cold.std() == pytest.approx(1.0, abs=0.03)
    assert not np.allclose(cold[0], cold[1])
    assert abs(np.corrcoef(cold.ravel(), chill.ravel())[0, 1]) < 0.05
