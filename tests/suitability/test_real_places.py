"""Four real places of four kinds, end to end over the shipped catalog and climate."""

from __future__ import annotations

from pathlib import Path

import pytest

from recommender import Goals, Site, open_catalog, rank
from recommender.catalog.catalog import Catalog
from recommender.suitability.ranking import Ranking

PLACES = {
    "cold": "Winnipeg, Manitoba",
    "maritime": "Seattle, Washington",
    "low-chill": "Gainesville, Florida",
    "south": "Orange, New South Wales",
}


@pytest.fixture(scope="module")
def catalog(tmp_path_factory: pytest.TempPathFactory) -> Catalog:
    cache: Path = tmp_path_factory.mktemp("cache")
    return open_catalog(cache=cache)


@pytest.fixture(scope="module")
def rankings(catalog: Catalog) -> dict[str, Ranking]:
    return {kind: rank(Site(place=place), None, catalog) for kind, place in PLACES.items()}


def best(ranking: Ranking, crop: str, count: int) -> set[str]:
    frame = ranking.frame
    return set(frame.loc[frame["crop"] == crop, "variety"].head(count))


def verdicts(ranking: Ranking, crop: str) -> dict[str, str]:
    frame = ranking.frame[ranking.frame["crop"] == crop]
    return dict(zip(frame["variety"], frame["verdict"], strict=True))


def test_every_variety_is_ranked_once(rankings: dict[str, Ranking], catalog: Catalog) -> None:
    for ranking in rankings.values():
        assert len(ranking.frame) == len(catalog.varieties())
        assert not ranking.frame[["crop", "variety"]].duplicated().any()


def test_four_kinds_of_place_give_four_apple_lists(rankings: dict[str, Ranking]) -> None:
    tops = {kind: best(ranking, "apple", 10) for kind, ranking in rankings.items()}
    assert len(tops["cold"] & tops["low-chill"]) == 0
    assert len(tops["maritime"] & tops["low-chill"]) <= 2
    assert len(tops["cold"] & tops["maritime"]) <= 4


def test_prairie_apples_lead_in_the_cold_and_low_chill_ones_in_florida(rankings: dict[str, Ranking]) -> None:
    assert {"Norland", "Goodland"} <= best(rankings["cold"], "apple", 8)
    assert {"Anna", "Dorsett Golden"} <= best(rankings["low-chill"], "apple", 5)


def test_citrus_is_ruled_out_by_winter_in_the_cold(rankings: dict[str, Ranking]) -> None:
    for crop in ("lemon", "sweet-orange", "mandarin"):
        assert set(verdicts(rankings["cold"], crop).values()) == {"ruled out"}
    lemon = rankings["cold"].frame.query("crop == 'lemon'").iloc[0]
    assert lemon["c_winter"] == min(lemon[name] for name in ("c_winter", "c_chill", "c_bloom_frost"))


def test_a_high_chill_apple_is_ruled_out_by_chill_in_florida(rankings: dict[str, Ranking]) -> None:
    frame = rankings["low-chill"].frame.set_index("variety")
    apple = frame[frame["crop"] == "apple"].loc["Ashmead's Kernel"]
    assert apple["verdict"] == "ruled out"
    assert "chill" in apple["why"]


def test_the_south_counts_its_seasons_the_southern_way(rankings: dict[str, Ranking]) -> None:
    south, north = rankings["south"], rankings["maritime"]
    assert south.site["hemisphere"] == "south"
    assert "Granny Smith" in verdicts(south, "apple")
    days = [r.frame.query("crop == 'apple'")["harvest_day"].median() for r in (south, north)]
    dates = [r.context.profile.date(day) or "" for r, day in zip((south, north), days, strict=True)]
    assert "01" < dates[0][:2] < "06"
    assert "07" < dates[1][:2] < "12"


def test_crops_and_trees_are_found_by_loose_names(catalog: Catalog) -> None:
    site = Site(place=PLACES["maritime"], existing_trees=("apple:liberty",))
    ranking = rank(site, Goals(crops=("Apples",)), catalog)
    assert set(ranking.frame["crop"]) == {"apple"}
    empire = ranking.frame.set_index("variety").loc["Empire"]
    alone = rank(Site(place=PLACES["maritime"]), Goals(crops=("apple",)), catalog)
    assert empire["c_pollination"] > alone.frame.set_index("variety").loc["Empire", "c_pollination"]


def test_typed_zone_and_chill_stand_for_a_place(catalog: Catalog) -> None:
    ranking = rank(Site(zone="9a", chill_hours=400), Goals(crops=("peach",)), catalog)
    top = ranking.frame.head(10)
    assert (top["c_chill"] > 0.5).all()
    assert ranking.site["zone"].startswith(("8", "9"))


def test_a_latitude_beside_zone_and_chill_says_the_hemisphere(catalog: Catalog) -> None:
    ranking = rank(Site(zone="9a", chill_hours=700, lat=-35.0), Goals(crops=("quince",)), catalog)
    assert ranking.site["hemisphere"] == "south"
