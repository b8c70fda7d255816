"""Validation: its figures on cases worked by hand, and that a region never sees its own answer."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sklearn.metrics import roc_auc_score

from recommender import open_catalog
from recommender.catalog.package import datasets_folder
from recommender.suitability.agreement import fitted
from recommender.suitability.learning import KERNELS, Case, fit
from recommender.suitability.validation import Validation, auc, distance_km, precision_at_ten
from recommender.suitability.verdicts import VERDICTS
from recommender.suitability.weights import HAND

FEW = ["georgia-south", "iowa-north", "germany-schwaebisch-gmuend"]


@pytest.fixture(scope="module")
def validation() -> Validation:
    return Validation(open_catalog(), regions=FEW)


@given(st.lists(st.tuples(st.booleans(), st.integers(0, 5)), min_size=2, max_size=40))
def test_auc_is_that_of_scikit_learn(rows: list[tuple[bool, int]]) -> None:
    named = np.array([named for named, _ in rows])
    score = np.array([float(score) for _, score in rows])
    if 0 < named.sum() < len(named):
        assert auc(named, score) == pytest.approx(roc_auc_score(named, score))


def test_precision_counts_hits_near_the_top_more() -> None:
    score = np.arange(20, 0, -1.0)
    first, tenth = np.zeros(20, bool), np.zeros(20, bool)
    first[0], tenth[9] = True, True
    assert precision_at_ten(first, score) == 1.0
    assert precision_at_ten(tenth, score) == pytest.approx(0.1)


def test_ties_earn_nothing_in_precision() -> None:
    named = np.zeros(30, bool)
    named[:5] = True
    assert precision_at_ten(named, np.ones(30)) == 0.0


def test_distance_of_two_known_places() -> None:
    """London to Paris is 344 km along a great circle."""
    there = distance_km(51.507, -0.128, np.array([48.857]), np.array([2.351]))
    assert there[0] == pytest.approx(344, abs=3)


def test_a_region_never_sees_its_state_its_sources_or_its_neighbours(validation: Validation) -> None:
    records = validation.records
    for region in validation.regions:
        lists, facts, mentions = validation.left_out(region.at)
        own = set(records.lists.loc[records.lists["place"] == region.at, "source_id"])
        left = records.lists[lists]
        assert not left["source_id"].isin(own).any()
        assert not any(validation.covers[place] & region.covers for place in left["place"].unique())
        told = records.facts[facts]
        assert not told["source_id"].isin(own).any()
        places = {records.place_names[place] for place in told["place"].unique() if place >= 0}
        assert not places & region.covers
        assert not records.mentions[mentions]["source_id"].isin(own).any()
        assert lists.sum() > 0.8 * len(lists)


def test_regions_of_one_state_are_fitted_together() -> None:
    names = [
        "georgia-south",
        "georgia-north",
        "georgia-mountain",
        "iowa-north",
        "iowa-south",
        "latvia-dobele",
    ]
    validation = Validation(open_catalog(), regions=names)
    fold = {region.name: fold for region, fold in zip(validation.regions, validation.folds, strict=True)}
    assert fold["georgia-south"] == fold["georgia-north"] == fold["georgia-mountain"]
    assert fold["iowa-north"] == fold["iowa-south"]


def test_a_variety_known_only_from_what_is_left_out_is_not_asked_about(validation: Validation) -> None:
    region = next(region for region in validation.regions if region.name == "germany-schwaebisch-gmuend")
    lists, facts = validation.records.lists, validation.records.facts
    elsewhere = set(lists.loc[lists["source_id"] != "gmuend-fachberatung", "at"]) | set(facts["at"])
    nowhere = sorted(set(lists["at"]) - elsewhere)
    assert len(nowhere) > 10
    assert not region.asked[nowhere].any()
    assert region.asked.mean() > 0.9


def test_who_says_where_a_variety_arose_decides_nothing_about_who_is_asked(validation: Validation) -> None:
    """The basis of varieties.csv is that of origin and year; a published origin is no regional list."""
    varieties = validation.catalog.varieties().set_index(["crop", "variety"])
    described = set(validation.records.facts["at"])
    names = validation.frame[["crop", "variety"]].itertuples(index=False, name=None)
    published = [
        at for at, name in enumerate(names) if varieties.at[name, "basis"] == "published" and at in described
    ]
    assert len(published) > 100
    assert all(region.asked[published].all() for region in validation.regions)


def test_with_everything_kept_the_score_is_that_of_the_ranking() -> None:
    """So that what is validated is what a grower gets."""
    from recommender import Site, rank
    from recommender.suitability import track_record
    from recommender.suitability.ranking import records_of
    from recommender.suitability.validation import wishes_factor
    from recommender.suitability.verdicts import RULED_OUT_CEILING
    from recommender.suitability.weights import living, standing

    catalog = open_catalog()
    frame = rank(Site(lat=42.87, lon=-76.99), catalog=catalog).frame
    weights = records_of(catalog)[1]
    criteria = {str(name)[2:]: frame[name].to_numpy(float) for name in frame if str(name).startswith("c_")}
    score = living(criteria, weights.powers) * wishes_factor(criteria)
    score = score * standing(criteria["rating"], criteria["track"], weights)
    score = np.where(frame["verdict"] == "ruled out", score * RULED_OUT_CEILING, score)
    assert np.allclose(score, frame["score"], atol=2e-6)
    assert set(track_record.RECORDS) == set(weights.record)


def test_a_region_with_nothing_left_out_is_judged_as_the_ranking_judges_it(validation: Validation) -> None:
    """Score, verdict and order: the ones a grower there would see, but for the records left out."""
    from recommender import Site, rank
    from recommender.suitability.ranking import records_of

    catalog = validation.catalog
    region = next(region for region in validation.regions if region.name == "iowa-north")
    lists, facts, mentions = (np.ones(each.shape, dtype=np.bool_) for each in region.stays)
    whole = dataclasses.replace(region, at=-1, stays=(lists, facts, mentions))
    here = validation.records.regions.iloc[region.at]
    site = Site(lat=float(here["lat"]), lon=float(here["lon"]))
    shown = rank(site, catalog=catalog).frame.sort_index()
    score, verdict = validation.judged(whole, records_of(catalog)[1])
    assert np.allclose(score, shown["score"], atol=2e-6)
    assert (np.array(VERDICTS, dtype=object)[verdict] == shown["verdict"]).all()


def test_the_kernel_is_chosen_without_the_region_it_is_used_for(validation: Validation) -> None:
    by_region, final = fitted(validation)
    tried = {tuple(kernel.by_name().items()) for kernel in KERNELS}
    assert {tuple(weights.kernel.items()) for weights in [*by_region, final]} <= tried


def test_learning_finds_the_criterion_that_decides() -> None:
    """In 200 invented lists that follow chill alone its weight outgrows that of winter, which is noise."""
    rng = np.random.default_rng(3)
    prepared = []
    for _ in range(200):
        features = {name: np.log(rng.uniform(0.05, 1.0, 50)) for name in HAND.powers}
        features |= {name: rng.uniform(-1.0, 0.0, 50) for name in ("rating", *HAND.record)}
        named = features["chill"] >= np.sort(features["chill"])[-8]
        none = np.zeros(50, bool)
        prepared.append((features, np.zeros(50), Case("invented", np.arange(50), named, none, none)))
    weights = fit(prepared)
    assert (
        weights.powers["chill"] / weights.powers["winter"]
        > 2.0 * HAND.powers["chill"] / HAND.powers["winter"]
    )
    assert min(*weights.powers.values(), *weights.record.values(), weights.rating) >= 0.0


def test_the_weights_that_ship_are_those_that_did_better_on_regions_left_out() -> None:
    errors = json.loads((datasets_folder() / "score_weights.json").read_text(encoding="utf-8"))
    learned, hand = errors["learned"], errors["hand"]
    better = learned["auc"] > hand["auc"] and learned["pairs_in_order"] >= hand["pairs_in_order"]
    assert errors["used"] == ("learned" if better else "hand")


def test_the_page_says_what_the_weights_file_says() -> None:
    """Both are measured: the page by `orchardwright validate`, the file by `fit_weights.py`."""
    page = (Path(__file__).parents[2] / "docs" / "validation.md").read_text(encoding="utf-8")
    errors = json.loads((datasets_folder() / "score_weights.json").read_text(encoding="utf-8"))
    for way, name in (("learned", "weights learned elsewhere"), ("hand", "weights set by hand")):
        row = next(line for line in page.splitlines() if line.startswith(f"| {name} |"))
        cells = [cell.strip() for cell in row.strip("|").split("|")]
        assert float(cells[1]) == pytest.approx(errors[way]["auc"], abs=0.002)
        assert int(cells[3]) == errors[way]["lists"]
