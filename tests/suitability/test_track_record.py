"""The track record: what near and far lists, sports and parents do to it, and what it never does."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

from recommender import Goals, Site, open_catalog, rank
from recommender.suitability import track_record
from recommender.suitability.ranking import records_of, varieties_of
from recommender.suitability.reasons import region_names
from recommender.suitability.track_record import FIGURES, RECORDS, Records, likeness, sum_up, track_records
from recommender.suitability.weights import HAND, living, standing, weights_of

NEAR, FAR = np.array([6.0, 100.0, 20.0, 11.0, 180.0]), np.array([9.5, 30.0, 28.0, 9.0, 350.0])


def invented(**changes: object) -> Records:
    """Four invented varieties: 0 recommended near, 1 far, 2 advised against near, 3 never named."""
    lists = pd.DataFrame(
        {"at": [0, 1, 2], "place": [0, 1, 0], "worth": [1.0, 1.0, -1.0], "source_id": ["one", "two", "one"]}
    )
    facts = pd.DataFrame({"at": [0], "place": [0], "worth": [1.0], "source_id": ["three"]})
    parts: dict[str, Any] = {
        "size": 4,
        "lists": lists,
        "facts": facts,
        "mentions": pd.DataFrame({"at": np.array([], dtype=int), "source_id": []}),
        "sports": np.zeros((0, 2), dtype=np.intp),
        "kin": np.zeros((0, 2), dtype=np.intp),
        "origin": np.array([-1, -1, -1, -1]),
        "bred_in": np.array(["", "", "", ""], dtype=object),
        "regions": pd.DataFrame({"place": ["near", "far"], "covers": ["XX", "YY"]}),
        "region_figures": np.stack([NEAR, FAR]),
        "place_names": ("XX",),
        "place_figures": NEAR[None, :],
        "place_of": np.array([0]),
        **changes,
    }
    return Records(**parts)


def test_a_variety_is_only_listed_if_a_list_names_it_and_nothing_describes_it() -> None:
    """0 is described too, 3 is not even listed; where a variety was bred does not come into it."""
    assert invented().only_listed.tolist() == [False, True, True, False]
    bred = invented(origin=np.zeros(4, dtype=np.intp), bred_in=np.array(["XX"] * 4, dtype=object))
    assert bred.only_listed.tolist() == invented().only_listed.tolist()


def test_a_climate_is_most_like_itself_and_likeness_falls_with_every_figure() -> None:
    assert likeness(NEAR[None, :], NEAR[None, :])[0, 0] == 1.0
    for at in range(len(FIGURES)):
        step = np.eye(len(FIGURES))[at] * track_record.WIDTHS
        one, two = (likeness(NEAR[None, :], (NEAR + far * step)[None, :])[0, 0] for far in (1.0, 2.0))
        assert 1.0 > one > two > 0.0
        assert one == pytest.approx(np.exp(-0.5))


def test_a_list_from_a_like_climate_counts_more_than_one_from_far_and_advice_against_counts_against() -> None:
    found = track_records(sum_up(invented()), NEAR[None, :])["recommended"][0]
    assert found[0] > found[1] >= found[3] > found[2]
    turned = track_records(sum_up(invented()), FAR[None, :])["recommended"][0]
    assert turned[1] > turned[0]


def test_what_is_left_out_leaves_no_trace() -> None:
    kept = sum_up(
        invented(),
        lists=np.array([False, True, True]),
        facts=np.array([False]),
        mentions=np.zeros(0, dtype=bool),
    )
    found = track_records(kept, NEAR[None, :])
    for name in RECORDS:
        assert found[name][0, 0] == pytest.approx(found[name][0, 3]), name


def test_a_sport_shares_its_parents_record() -> None:
    found = track_records(sum_up(invented(sports=np.array([[3, 0]]))), NEAR[None, :])["recommended"][0]
    alone = track_records(sum_up(invented()), NEAR[None, :])["recommended"][0]
    assert alone[3] < found[3] < found[0]


def test_what_is_said_abroad_counts_less_and_what_is_bred_at_home_counts() -> None:
    tables = sum_up(invented(bred_in=np.array(["", "", "", "XX"], dtype=object)))
    here, abroad, nowhere = (track_records(tables, NEAR[None, :], (name,)) for name in ("XX", "ZZ", ""))
    assert here["recommended"][0, 0] > abroad["recommended"][0, 0]
    assert here["described"][0, 0] > abroad["described"][0, 0]
    assert here["home"][0, 0] == here["home"][0, 3] == 1.0
    assert here["home"][0, 1] == 0.0
    assert (abroad["home"] == 0.0).sum() == 4
    assert len(np.unique(nowhere["home"])) == 1


def test_a_strain_shares_the_record_of_the_variety_it_is_named_after() -> None:
    tables = records_of(open_catalog())[0]
    assert tables is not None
    frame = varieties_of(open_catalog()).frame
    names = frame["crop"] + ":" + frame["variety"]
    pairs = {(names[one], names[other]) for one, other in tables.records.sports.tolist()}
    assert ("apple:Royal Gala", "apple:Gala") in pairs


def test_many_sites_at_once_give_what_each_gives_alone() -> None:
    tables = records_of(open_catalog())[0]
    assert tables is not None
    sites = tables.records.region_figures[:7]
    together = track_records(tables, sites)
    for at in range(len(sites)):
        alone = track_records(tables, sites[at : at + 1])
        for name in RECORDS:
            assert np.allclose(together[name][at], alone[name][0], atol=1e-12)
            assert ((together[name] >= 0.0) & (together[name] <= 1.0)).all()


def test_every_list_and_every_description_finds_its_region_and_variety() -> None:
    catalog = open_catalog()
    tables = records_of(catalog)[0]
    assert tables is not None
    lists = catalog.regional_lists()
    assert len(tables.records.lists) == (lists["variety"] != "*").sum()
    placed = tables.records.facts[tables.records.facts["place"] >= 0]
    assert len(placed) == len(catalog.table("variety_regions"))


def test_the_regions_named_as_alike_do_recommend_the_variety() -> None:
    catalog = open_catalog()
    tables = records_of(catalog)[0]
    assert tables is not None
    frame = varieties_of(catalog).frame
    row = int(np.flatnonzero((frame["crop"] == "apple") & (frame["variety"] == "Liberty"))[0])
    named = track_record.alike_regions(tables, tables.records.region_figures[0], row)
    lists = catalog.regional_lists()
    says = set(lists.loc[(lists["crop"] == "apple") & (lists["variety"] == "Liberty"), "region"])
    assert named
    assert {name for name, _ in named} <= says
    assert [alike for _, alike in named] == sorted((alike for _, alike in named), reverse=True)


def test_a_record_lifts_nothing_that_is_ruled_out() -> None:
    """The best record there is leaves a ruled-out variety where its other criteria put it."""
    ranking = rank(Site(lat=50.9, lon=-97.2), Goals(crops=("apple", "peach")), open_catalog()).frame
    ruled_out = ranking[ranking["verdict"] == "ruled out"]
    assert len(ruled_out) > 50
    assert (ruled_out["score"] <= 0.15).all()
    assert ((ranking["c_track"] >= 0) & (ranking["c_track"] <= 1)).all()


def test_a_score_falls_with_every_criterion_and_never_leaves_its_bounds() -> None:
    ones = {name: np.ones(1) for name in HAND.powers}
    top = living(ones, HAND.powers) * standing(np.ones(1), np.ones(1), HAND)
    assert top[0] == 1.0
    for name in HAND.powers:
        assert living({**ones, name: np.zeros(1)}, HAND.powers)[0] < 1.0
    assert (
        0.0 < standing(np.zeros(1), np.zeros(1), HAND)[0] < standing(np.ones(1), np.zeros(1), HAND)[0] < 1.0
    )


def test_the_weights_that_ship_are_never_negative_and_name_every_criterion() -> None:
    weights = weights_of(open_catalog())
    assert set(weights.powers) == set(HAND.powers)
    assert set(weights.record) == set(RECORDS)
    assert min(*weights.powers.values(), *weights.record.values(), weights.rating) >= 0.0


def test_the_reasons_name_only_regions_alike_whose_lists_recommend_the_variety() -> None:
    catalog = open_catalog()
    ranking = rank(Site(lat=42.87, lon=-76.99), Goals(crops=("apple",)), catalog)
    lists = catalog.regional_lists()
    lists = lists[(lists["crop"] == "apple") & (lists["verdict"] == "recommended")]
    said = 0
    for record in ranking.records(top=20):
        for sentence in record["reasons"]:
            if sentence.startswith("Recommended by"):
                said += 1
                here = set(region_names(lists.loc[lists["variety"] == record["variety"], "region"].tolist()))
                named = sentence.split(": ", 1)[1].rstrip(".").replace(" and ", ", ").split(", ")
                assert here >= set(named)
    assert said > 3
