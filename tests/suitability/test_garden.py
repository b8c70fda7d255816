"""Disease by rain, stock by ground, care, cover, household and wishes about the fruit, claim by claim."""

from __future__ import annotations

from pathlib import Path
from typing import Any, cast

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recommender import open_catalog
from recommender.catalog.package import datasets_folder
from recommender.errors import BadInput, DataFaults
from recommender.suitability import care, cover, disease, rootstock, wishes
from recommender.suitability.expectations import expect
from recommender.suitability.goals import Goals
from recommender.suitability.ranking import Ranking, rank, varieties_of
from recommender.suitability.site import Site
from tests.suitability.invented import InventedCatalog, climate

HERE = Site(place="Withy Hollow")


def weather(rain: float, mean: float = 14.0, hemisphere: str = "north") -> disease.Weather:
    return disease.Weather((rain,) * 12, (mean,) * 12, hemisphere)


def ranked(site: Site = HERE, goals: Goals | None = None, **of: Any) -> Ranking:
    return rank(site, goals, cast(Any, InventedCatalog()), cast(Any, climate(**of)))


def figure(ranking: Ranking, variety: str, column: str) -> Any:
    return ranking.frame.set_index("variety").loc[variety, column]


# Disease


@pytest.mark.parametrize(
    "name", ["apple-scab", "fire-blight", "bacterial-spot", "peach-leaf-curl", "brown-rot"]
)
def test_wet_springs_and_summers_bring_disease_and_a_wet_answer_more(name: str) -> None:
    warm = 20.0
    dry, wet = (disease.pressure(name, weather(rain, warm), "unknown") for rain in (20.0, 100.0))
    assert dry < 0.2
    assert wet > dry + 0.3
    assert disease.pressure(name, weather(60.0, warm), "wet") > disease.pressure(
        name, weather(60.0, warm), "dry"
    )


def test_mildew_likes_it_dry() -> None:
    assert disease.pressure("powdery-mildew", weather(25.0), "dry") > disease.pressure(
        "powdery-mildew", weather(85.0), "wet"
    )


def test_fire_blight_needs_warmth_at_bloom() -> None:
    cool, warm = (disease.pressure("fire-blight", weather(80.0, mean), "unknown") for mean in (9.0, 18.0))
    assert cool < 0.2 < 0.8 < warm


def test_the_seasons_turn_with_the_hemisphere() -> None:
    rain = (0.0,) * 3 + (100.0,) * 3 + (0.0,) * 6
    north = disease.Weather(rain, (15.0,) * 12, "north")
    south = disease.Weather(rain, (15.0,) * 12, "south")
    assert disease.pressure("apple-scab", north, "unknown") == 1.0
    assert disease.pressure("apple-scab", south, "unknown") < 0.1


@settings(deadline=None)
@given(st.floats(0, 400), st.floats(-20, 40), st.sampled_from(["unknown", "wet", "normal", "dry"]))
def test_pressure_stays_within_bounds(rain: float, mean: float, wetness: str) -> None:
    for name in disease.DISEASES:
        assert 0.0 <= disease.pressure(name, weather(rain, mean), wetness) <= 1.0


def test_resistance_counts_more_where_it_rains() -> None:
    """Liberty is rated resistant, McIntosh susceptible to scab in every extension list."""
    varieties = varieties_of(open_catalog())
    at = {
        name: int(np.flatnonzero(varieties.frame["variety"] == name)[0]) for name in ("Liberty", "McIntosh")
    }
    gap = {}
    for rain in (25.0, 95.0):
        value = disease.health(varieties, weather(rain), "unknown").value
        gap[rain] = value[at["Liberty"]] - value[at["McIntosh"]]
    assert gap[95.0] > gap[25.0] + 0.1
    told = disease.told(varieties, weather(95.0), "wet", at["McIntosh"])
    assert "scab" in told
    assert "95 mm" in told
    assert "published" in told


def test_wetter_bristol_presses_harder_with_scab_than_dry_yakima() -> None:
    bristol, yakima = disease.weather_at(51.45, -2.6, 50.0), disease.weather_at(46.6, -120.5, 325.0)
    assert bristol is not None
    assert yakima is not None
    assert disease.pressure("apple-scab", bristol, "unknown") > disease.pressure(
        "apple-scab", yakima, "unknown"
    )


def test_a_point_at_sea_has_no_weather() -> None:
    assert disease.weather_at(0.0, -30.0, None) is None


# Ground and stock


def stocks() -> pd.DataFrame:
    """Invented stocks for apple."""
    rows = [
        ("Stands wet", "apple", 2.0, "tolerant", "resistant", "susceptible", None, None, -35.0),
        ("Stands lime", "apple", 3.0, "susceptible", "moderate", "tolerant", "tolerant", "yes", -20.0),
        ("Nobody knows", "apple", np.nan, None, None, None, None, None, np.nan),
    ]
    names = [
        "rootstock",
        "for_crops",
        "mature_height_low_m",
        "wet_soil",
        "crown_rot_phytophthora",
        "calcareous",
    ]
    return pd.DataFrame(rows, columns=[*names, "drought", "container_suitable", "cold_hardy_min_degC"])


def best(site: Site, goals: Goals | None = None, coldest: float | None = None) -> str:
    return rootstock.stocks_for(stocks(), "apple", site, goals or Goals(), coldest)[0].rootstock


def test_the_ground_picks_the_stock() -> None:
    assert best(Site(place="Withy", wetness="wet")) == "Stands wet"
    assert best(Site(place="Withy", soil="chalk")) == "Stands lime"
    assert best(Site(place="Withy", container_L=60)) == "Stands lime"


def test_a_stock_too_tall_for_the_room_or_too_tender_gives_way() -> None:
    chalk = Site(place="Withy", soil="chalk")
    assert best(chalk, Goals(max_height_m=2.0)) == "Nobody knows"
    fits = {
        stock.rootstock: stock for stock in rootstock.stocks_for(stocks(), "apple", chalk, Goals(), -30.0)
    }
    assert "the winter cold at its roots" in fits["Stands lime"].against


def test_a_crop_without_a_fitting_stock_stands_lower_on_that_ground() -> None:
    crops = pd.Series(["apple", "peach"])
    wet = rootstock.ground(stocks(), crops, Site(place="Withy", wetness="wet"), Goals())
    assert wet[0] == 1.0
    assert wet[1] < 0.5
    assert rootstock.ground(stocks(), crops, HERE, Goals()).tolist() == [1.0, 1.0]


def test_a_rootstock_never_moves_the_winter_criterion() -> None:
    plain, wet = ranked(), ranked(Site(place="Withy Hollow", wetness="wet", soil="clay"))
    merged = plain.frame.merge(wet.frame, on=["crop", "variety"])
    assert np.allclose(merged["c_winter_x"], merged["c_winter_y"])


# Care and years


def test_years_to_the_first_crop_are_the_varietys_own_or_its_crops() -> None:
    frame = pd.DataFrame({"crop": ["apple", "apple", "rare"], "bearing_years": [2.0, np.nan, np.nan]})
    crops = pd.DataFrame({"crop": ["apple"], "years_to_bear_low": [2.0], "years_to_bear_high": [10.0]})
    years = care.years_to_crop(frame, crops)
    assert years.value.tolist() == [2.0, 6.0, 4.0]
    assert years.known.tolist() == [True, False, False]
    soon = care.bears_within(years, 3.0)
    assert soon[0] > 0.9 > 0.5 > soon[1]


def test_tender_sick_partnerless_trees_ask_for_more_care() -> None:
    varieties = varieties_of(open_catalog())
    fine = np.ones(len(varieties))
    easy = care.care(varieties, HERE, fine, fine, fine, fine)
    for worse in (
        (0.4 * fine, fine, fine, fine),
        (fine, 0.3 * fine, fine, fine),
        (fine, fine, 0.4 * fine, fine),
        (fine, fine, fine, 0.3 * fine),
    ):
        assert (care.care(varieties, HERE, *worse) < easy).all()
    assert (care.care(varieties, Site(place="Withy", container_L=60), fine, fine, fine, fine) < easy).all()
    assert set(care.levels(easy)) <= {"low", "medium", "high"}


# Cover


def test_the_gain_of_a_cover_is_the_lowest_published_one() -> None:
    planting = open_catalog().planting()
    gain, standing = cover.gain_of(planting)
    # planting.csv: light covers over young citrus 2 to 3 K, fabric 3.3 to 4.4 K; sprays are no cover.
    assert gain == 2.0
    assert standing == "published"
    assert cover.gain_of(planting.iloc[:0]) == (cover.GAIN_K, "common practice")


def test_cover_lifts_a_tender_tree_but_an_equal_hardy_one_stands_above() -> None:
    goals = Goals(crops=("mandarin", "peach", "apple"), will_cover=True)
    place: dict[str, Any] = {"coldest": -8.5, "winter": 8.0, "chill": 700, "gdd": 3000, "summer": 26.0}
    bare, wrapped = ranked(goals=Goals(crops=goals.crops), **place), ranked(goals=goals, **place)
    assert figure(wrapped, "Parish Orange", "c_winter") > figure(bare, "Parish Orange", "c_winter") + 0.1
    assert figure(wrapped, "Parish Orange", "verdict") != "sound"
    assert figure(wrapped, "Withy Hardy", "score") == figure(bare, "Withy Hardy", "score")


@settings(deadline=None)
@given(st.floats(-45, 0), st.floats(0.5, 8))
def test_a_covered_tree_never_beats_one_as_hardy_as_the_cover_makes_it(limit: float, gain: float) -> None:
    winters = np.linspace(-35.0, -5.0, 30)
    trait = expect(*_invented()).hardiness
    tender = trait.moved(limit - trait.value)
    covered = cover.winter_under_cover(winters, tender, gain, 2.0)
    bare = cover.winter_under_cover(winters, tender, 0.0, 2.0)
    hardier = cover.winter_under_cover(winters, tender.moved(np.full(len(limit_of(trait)), -gain)), 0.0, 2.0)
    assert (covered >= bare).all()
    assert np.allclose(covered, hardier)
    assert (covered * cover.LABOUR <= hardier).all()


def limit_of(trait: Any) -> Any:
    return trait.value


def _invented() -> tuple[pd.DataFrame, pd.DataFrame]:
    catalog = InventedCatalog()
    return catalog.traits(), catalog.crops()


# Household and fruit


def test_crops_with_grave_cautions_stand_lower_where_children_and_pets_live() -> None:
    cautions = open_catalog().cautions()
    safe = wishes.household(cautions, pd.Series(["avocado", "fig", "apple", "medlar"]))
    # cautions.csv: avocado is "stop" for cage birds, fig sap "warning", apple pips "info", medlar none.
    assert safe.tolist() == [0.3, 0.6, 0.9, 1.0]


def test_every_disease_of_the_pressure_names_what_its_weather_rests_on() -> None:
    sources = set(pd.read_csv(datasets_folder() / "sources.csv")["source_id"])
    for name, each in disease.DISEASES.items():
        assert each.source in sources or each.source == "common practice", name
    known = [each for each in disease.DISEASES.values() if each.source in sources]
    assert len(known) >= 0.7 * len(disease.DISEASES)


def test_every_host_of_a_disease_is_published() -> None:
    # A pair is published if a variety of the crop has a rating that was read, or a source names the host.
    traits = pd.concat(
        pd.read_csv(path, dtype=str) for path in sorted((datasets_folder() / "traits").glob("*.csv"))
    )
    rated = traits[traits["trait"].str.startswith("disease:") & traits["basis"].ne("from memory")]
    read = {(str(crop), str(trait)[8:]) for crop, trait in zip(rated["crop"], rated["trait"], strict=True)}
    sources = set(pd.read_csv(datasets_folder() / "sources.csv")["source_id"])
    assert set(disease.HOST_SOURCES.values()) <= sources | {"common practice"}
    for crop, weights in disease.HOSTS.items():
        for name in weights:
            assert (crop, name) in read or (crop, name) in disease.HOST_SOURCES, (crop, name)


def test_a_hazel_is_native_in_britain_and_a_pawpaw_in_america() -> None:
    varieties = varieties_of(open_catalog())
    crop = varieties.frame["crop"]
    britain, america = wishes.native(varieties, "GB"), wishes.native(varieties, "US")
    assert (britain[crop == "hazelnut"] == 1.0).all()
    assert (britain[crop == "pawpaw"] < 1.0).all()
    assert (america[crop == "pawpaw"] == 1.0).all()
    bred = (varieties.frame["origin"] == "GB") & (crop == "apple")
    assert bred.any()
    assert (britain[bred.to_numpy()] == wishes.BRED_NEAR).all()


def test_no_native_range_is_from_memory_and_each_has_an_address() -> None:
    rows = pd.read_csv(datasets_folder() / wishes.NATIVE, keep_default_na=False)
    sources = pd.read_csv(datasets_folder() / "sources.csv", keep_default_na=False).set_index("source_id")
    assert set(rows["basis"]) <= {"published", "common practice"}
    assert (sources.loc[rows["source_id"], "url"] != "").all()
    assert "GB" in wishes.native_in()["hazelnut"]
    assert "CA" not in wishes.native_in()["american-persimmon"]


def test_a_country_that_is_no_code_is_named_with_its_row(tmp_path: Path) -> None:
    rows = pd.read_csv(datasets_folder() / wishes.NATIVE, dtype=str, keep_default_na=False)
    rows.loc[0, "country"] = "Israel"
    rows.to_csv(tmp_path / wishes.NATIVE, index=False)
    with pytest.raises(DataFaults, match=r"native_ranges\.csv, row 2, column country: “Israel”"):
        wishes.native_in(tmp_path)


def test_a_wish_for_red_skin_puts_red_above_unknown_above_green() -> None:
    varieties = varieties_of(open_catalog())
    value = wishes.matches(varieties, "skin_colour", ("red",))
    colour = varieties.frame["skin_colour"]
    apples = (varieties.frame["crop"] == "apple").to_numpy()
    red, green = (colour == "red").to_numpy() & apples, (colour == "green").to_numpy() & apples
    unknown = colour.isna().to_numpy() & apples
    assert value[red].min() == 1.0
    assert value[red].min() > value[unknown].max() > value[green].max()


def test_goals_refuse_a_colour_no_fruit_has_and_years_below_nought() -> None:
    blue: Any = ("blue",)
    with pytest.raises(BadInput, match="blue"):
        Goals(skin=blue)
    with pytest.raises(BadInput, match="max_years_to_crop"):
        Goals(max_years_to_crop=-1)


def test_wishes_appear_as_criteria_only_when_they_are_wished() -> None:
    plain = ranked().frame
    wished = ranked(goals=Goals(skin=("red",), native=True, pets_or_children=True, max_years_to_crop=3)).frame
    for name in ("c_skin", "c_native", "c_household", "c_years_to_crop"):
        assert name in wished
        assert name not in plain
        assert wished[name].between(0, 1).all()
