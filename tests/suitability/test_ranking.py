"""The ranking: verdicts, order, gaps and reasons, on the invented orchard."""

from __future__ import annotations

from typing import Any, cast

import numpy as np
import pandas as pd
import pytest

from recommender.errors import UnknownName
from recommender.suitability.goals import Goals
from recommender.suitability.ranking import PRESETS, Ranking, rank
from recommender.suitability.site import Site
from recommender.suitability.verdicts import LIMITS, VERDICTS, tier
from tests.suitability.invented import InventedCatalog, climate

HERE = Site(place="Withy Hollow")


def ranked(site: Site = HERE, goals: Goals | None = None, **of: Any) -> Ranking:
    return rank(site, goals, cast(Any, InventedCatalog()), cast(Any, climate(**of)))


def verdict(ranking: Ranking, variety: str) -> str:
    frame = ranking.frame.set_index("variety")
    return str(frame.loc[variety, "verdict"])


def figure(ranking: Ranking, variety: str, column: str) -> float:
    frame = ranking.frame
    return float(frame.loc[frame["variety"] == variety, column].to_numpy(dtype=float)[0])


def told(ranking: Ranking, variety: str) -> str:
    return " ".join(next(r for r in ranking.records() if r["variety"] == variety)["reasons"])


def test_a_tender_citrus_is_ruled_out_for_winter_in_the_cold() -> None:
    cold = ranked(coldest=-32.0, winter=-10.0, chill=3000)
    assert verdict(cold, "Parish Orange") == "ruled out"
    assert figure(cold, "Parish Orange", "c_winter") < 0.01
    assert "Winter cold kills it" in told(cold, "Parish Orange")


def test_a_high_chill_apple_is_ruled_out_for_chill_in_the_warm() -> None:
    warm = ranked(coldest=-2.0, winter=13.0, summer=28.0, chill=330, gdd=4000)
    assert verdict(warm, "Withy Late") == "ruled out"
    assert "too little winter chill" in told(warm, "Withy Late")
    assert verdict(warm, "Parish Southern") in ("sound", "with care")


def test_a_ranking_without_words_has_the_same_figures() -> None:
    catalog, here = cast(Any, InventedCatalog()), cast(Any, climate())
    goals = Goals(crops=("apple",))
    full, bare = (rank(HERE, goals, catalog, here, words=words).frame for words in (True, False))
    assert full["why"].ne("").all()
    assert set(bare["why"]) == set(bare["watch"]) == {""}
    pd.testing.assert_frame_equal(full.drop(columns=["why", "watch"]), bare.drop(columns=["why", "watch"]))


def test_what_is_held_of_a_choice_of_crops_does_not_change_the_next_ranking() -> None:
    catalog, here = cast(Any, InventedCatalog()), cast(Any, climate())
    before = rank(HERE, Goals(crops=("apple",)), catalog, here).frame
    rank(HERE, Goals(), catalog, here)
    rank(HERE, Goals(crops=("apple",), preset="nursery"), catalog, here)
    after = rank(HERE, Goals(crops=("apple",)), catalog, here).frame
    pd.testing.assert_frame_equal(before, after)
    pd.testing.assert_frame_equal(
        before, rank(HERE, Goals(crops=("apple",)), cast(Any, InventedCatalog()), here).frame
    )


def test_what_nobody_published_is_said_and_is_not_ruled_out_on_it() -> None:
    warm = ranked(coldest=-2.0, winter=11.0, summer=28.0, chill=420, gdd=4000)
    assert verdict(warm, "Withy Unwritten") == "doubtful"
    sentences = told(warm, "Withy Unwritten")
    assert "Nobody has published its chill need; apples range 300 to 1200 hours" in sentences
    assert "Nobody has published how much cold it stands" in sentences


def test_an_unknown_variety_stands_below_proven_ones_and_above_unfit_ones() -> None:
    cold = ranked(goals=Goals(crops=("apple",)), coldest=-29.0, winter=-3.0)
    hardy, unwritten, soft = (
        figure(cold, name, "rank") for name in ("Withy Hardy", "Withy Unwritten", "Withy Soft")
    )
    assert hardy < unwritten < soft
    assert figure(cold, "Withy Unwritten", "known_share") == 0.0


def test_the_frame_is_whole_ranked_and_within_bounds() -> None:
    frame = ranked(coldest=-18.0).frame
    assert frame["rank"].tolist() == list(range(1, 10))
    place = pd.Series(tier(frame["verdict"].map(VERDICTS.index).to_numpy()), index=frame.index)
    assert place.is_monotonic_increasing
    for _, rows in frame.groupby(place):
        assert rows["score"].is_monotonic_decreasing
    assert (frame["score_low"] <= frame["score"]).all()
    assert (frame["score"] <= frame["score_high"]).all()
    values = frame[[name for name in map(str, frame) if name.startswith("c_")]].to_numpy()
    assert np.isfinite(values).all()
    assert ((values >= 0) & (values <= 1)).all()
    assert set(frame["verdict"]) <= set(VERDICTS)
    assert (frame["why"].str.len() > 20).all()


def test_a_partner_lifts_a_self_sterile_apple_to_sound() -> None:
    alone = ranked(Site(place="Withy Hollow", neighbours_have_fruit_trees="no"), coldest=-15.0)
    beside = ranked(Site(place="Withy Hollow", existing_trees=("apple:Withy Late",)), coldest=-15.0)
    assert verdict(alone, "Withy Early") == "with care"
    assert verdict(beside, "Withy Early") == "sound"
    assert "Blooms with your Withy Late, so both set fruit (bloom overlap about" in told(
        beside, "Withy Early"
    )


def test_not_saying_what_stands_near_costs_no_verdict_but_is_to_be_watched() -> None:
    asked = ranked(coldest=-15.0)
    assert verdict(asked, "Withy Early") == "sound"
    frame = asked.frame.set_index("variety")
    assert str(frame.loc["Withy Early", "watch"]).startswith(
        "Sound, with a partner: it needs a pollen partner"
    )


def test_an_existing_tree_nobody_knows_gets_suggestions() -> None:
    with pytest.raises(UnknownName, match="Withy Early") as caught:
        ranked(Site(place="Withy Hollow", existing_trees=("Withi Erly",)))
    assert caught.value.where == "existing_trees"


def test_wishes_move_the_order_but_not_the_limits() -> None:
    cooking = ranked(goals=Goals(crops=("apple",), uses=("cooking",)), coldest=-15.0)
    plain = ranked(goals=Goals(crops=("apple",)), coldest=-15.0)
    limits = [f"c_{name}" for name in LIMITS]
    wanted, other = "Withy Late", "Withy Early"
    ahead = [figure(each, wanted, "score") / figure(each, other, "score") for each in (cooking, plain)]
    assert ahead[0] > ahead[1]
    first = cooking.frame.set_index("variety")
    same = plain.frame.set_index("variety")[limits].reindex(first.index)
    assert np.allclose(first[limits].to_numpy(), same.to_numpy())


def test_a_nursery_asks_less_proof_than_a_beginner() -> None:
    beginner = ranked(coldest=-12.0)
    nursery = ranked(goals=Goals(preset="nursery"), coldest=-12.0)
    assert PRESETS["nursery"][1] < PRESETS["beginner"][1]
    assert figure(nursery, "Withy Unwritten", "score") > figure(beginner, "Withy Unwritten", "score")


def test_both_hemispheres_give_the_same_order() -> None:
    north, south = ranked(), ranked(hemisphere="south")
    assert north.frame["variety"].tolist() == south.frame["variety"].tolist()
    assert np.allclose(north.frame["score"], south.frame["score"], atol=0.02)


def test_records_hold_three_to_six_sentences_and_every_criterion() -> None:
    for record in ranked().records():
        assert 3 <= len(record["reasons"]) <= 6
        assert all(sentence.endswith(".") for sentence in record["reasons"])
        assert set(LIMITS) <= set(record["criteria"])
    assert len(ranked().records(top=2)) == 2


def test_imperial_reasons_speak_in_fahrenheit() -> None:
    sentences = " ".join(ranked().records(top=1, units="imperial")[0]["reasons"])
    assert "°F" in sentences
    assert "°C" not in sentences.replace("above 10 °C", "")


def test_a_pot_brings_the_caution_about_its_load_and_children_the_one_about_pips() -> None:
    pot = ranked(Site(place="Withy Hollow", container_L=75))
    assert "load of a pot" in told(pot, "Withy Early")
    home = ranked(goals=Goals(pets_or_children=True))
    assert "pips" in told(home, "Withy Early")
    assert "Caution" not in told(ranked(), "Withy Early")


def test_sources_are_counted_in_the_reason() -> None:
    assert "zone 4a (3 published sources)" in told(ranked(), "Withy Early")


def test_the_site_as_understood_names_the_safe_rating() -> None:
    site = ranked(coldest=-15.0).site
    assert site["safe_zone"] == site["zone_number"] - 2
    assert site["made_from"] == ["Invented for a test."]


def test_fruit_weeks_count_the_windows_of_the_best() -> None:
    ranking = ranked(goals=Goals(crops=("apple",)))
    assert 2.0 <= ranking.weeks_of_fruit(3) <= 6.0
    assert ranking.weeks_of_fruit(1) == 2.0
