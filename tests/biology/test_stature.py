"""Claims about size, pots and rootstocks. Varieties named A, B and so on are invented; stocks are those of
the data.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recommender import open_catalog
from recommender.biology import rootstocks, stature
from recommender.errors import BadInput, UnknownName


@lru_cache(maxsize=1)
def tables() -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    catalog = open_catalog()
    return (
        catalog.crops(),
        catalog.rootstocks(),
        catalog.planting(),
        catalog.rootstock_facts(),
        catalog.names(),
    )


def tree(variety: str, crop: str = "apple", **traits: Any) -> dict[str, Any]:
    return {"crop": crop, "variety": variety, **traits}


def size(*rows: dict[str, Any], **options: Any) -> pd.DataFrame:
    crops, stocks, planting, _, _ = tables()
    return stature.tree_size(pd.DataFrame(list(rows)), crops, stocks, planting=planting, **options)


def best(crop: str, **options: Any) -> pd.DataFrame:
    crops, stocks, _, facts, names = tables()
    return rootstocks.rootstocks_for(crop, stocks, crops, facts=facts, names=names, **options)


def percented() -> list[tuple[str, str]]:
    _, stocks, _, _, _ = tables()
    known = stocks.loc[stocks["size_percent_low"].notna()]
    return [
        (str(stock), str(crops).split("|")[0])
        for stock, crops in zip(known["rootstock"], known["for_crops"], strict=True)
    ]


@pytest.mark.parametrize(("stock", "crop"), percented())
@pytest.mark.parametrize("vigour", ["weak", "medium", "strong", None])
def test_tree_on_a_rootstock_stays_within_its_published_percentage(
    stock: str, crop: str, vigour: str | None
) -> None:
    """The percentages are the rootstock table's (source in its row)."""
    _, stocks, _, _, _ = tables()
    row = stocks.loc[stocks["rootstock"].eq(stock)].iloc[0]
    full = size(tree("A", crop, vigour=vigour))
    grafted = size(tree("A", crop, vigour=vigour), rootstock=stock)
    middle = (full["height_low"] + full["height_high"]).iloc[0] / 2
    low, high = grafted["height_low"].iloc[0] / middle, grafted["height_high"].iloc[0] / middle
    assert low == pytest.approx(row["size_percent_low"] / 100, abs=0.01)
    assert high == pytest.approx(row["size_percent_high"] / 100, abs=0.01)


@pytest.mark.parametrize(
    ("stock", "low", "high"),
    # Royal Horticultural Society and nursery figures of the rootstock table (rhs-rootstocks,
    # stanpeterson-apple).
    [
        ("M.27", 1.5, 1.8),
        ("M.9", 2.44, 3.05),
        ("M.26", 3.05, 4.27),
        ("MM.106", 4.27, 4.88),
        ("MM.111", 4.57, 7.62),
    ],
)
def test_heights_from_percentages_come_near_published_heights(stock: str, low: float, high: float) -> None:
    found = size(tree("A"), rootstock=stock).iloc[0]
    assert found["height_low"] < high * 1.25
    assert found["height_high"] > low * 0.8


def test_vigorous_variety_is_the_taller_on_every_rootstock() -> None:
    found = size(tree("A", vigour="weak"), tree("B", vigour="strong"), rootstock="M.26")
    assert found["height_high"].is_monotonic_increasing
    assert found["height_high"].nunique() == 2


def test_thin_soil_makes_a_smaller_tree() -> None:
    assert size(tree("A"), soil="chalk")["height_high"].iloc[0] < size(tree("A"))["height_high"].iloc[0]


def test_pot_holds_a_tree_to_the_published_size() -> None:
    # growingfruit-containers: 38 to 45 L (10 gallons) keeps a fruit tree at 1.2 to 1.8 m.
    assert 1.2 <= stature.height_in_container(38) <= stature.height_in_container(45) <= 1.8
    assert size(tree("A"), rootstock="M.26", container_L=40.0)["height_high"].iloc[0] <= 1.8


@given(st.floats(19, 500), st.floats(19, 500))
def test_bigger_pot_holds_the_bigger_tree(one: float, two: float) -> None:
    small, large = sorted((one, two))
    assert stature.height_in_container(small) <= stature.height_in_container(large)
    assert stature.container_for(stature.height_in_container(large)) == pytest.approx(large, rel=1e-9)


def test_columnar_tree_is_narrow() -> None:
    found = size(tree("A", habit="columnar"), tree("B", habit="spreading"))
    assert found["spread"].iloc[0] < found["spread"].iloc[1] / 2


def test_dwarfing_stock_bears_sooner_and_less() -> None:
    dwarf, tall = (
        size(tree("A"), rootstock="M.9").iloc[0],
        size(tree("A"), rootstock="apple seedling").iloc[0],
    )
    assert dwarf["years_low"] < tall["years_low"]
    order = ["low", "medium", "high"]
    assert order.index(dwarf["yield_class"]) < order.index(tall["yield_class"])
    assert (dwarf["size_class"], tall["size_class"]) == ("dwarf", "standard")


def test_whole_catalog_at_once_is_plausible() -> None:
    crops, stocks, planting, _, _ = tables()
    found = stature.tree_size(open_catalog().traits(), crops, stocks, planting=planting)
    assert (found["height_low"] > 0).all()
    assert (found["height_high"] >= found["height_low"]).all()
    assert found["spacing"].between(0.4, 25).all()
    assert set(found["standing"]) <= {"published", "common practice", "estimated", "from memory"}


def test_stock_names_are_read_as_people_write_them() -> None:
    _, stocks, _, _, _ = tables()
    assert stature.stock_row(stocks, "mm106")["rootstock"] == "MM.106"
    with pytest.raises(UnknownName):
        stature.stock_row(stocks, "no such stock")
    with pytest.raises(BadInput, match="not quince"):
        stature.stock_row(stocks, "M.9", "quince")


@pytest.mark.parametrize("options", [{"soil": "mud"}, {"training": "bonsai"}])
def test_unknown_answer_is_one_clear_error(options: dict[str, str]) -> None:
    with pytest.raises(UnknownName):
        size(tree("A"), **options)


@pytest.mark.parametrize("litres", [0.0, -5.0, float("nan")])
def test_pot_without_volume_is_refused(litres: float) -> None:
    with pytest.raises(BadInput):
        size(tree("A"), container_L=litres)


def test_quince_fails_on_chalk_and_its_rivals_lead() -> None:
    # Quince A and C: susceptible to lime in the rootstock table.
    found = best("european-pear", soil="chalk").set_index("rootstock")
    assert found.loc["Quince A", "verdict"] == "doubtful"
    assert "chalk" in str(found.loc["Quince A", "watch"])
    assert found["verdict"].iloc[0] == "sound"


def test_pear_that_fails_on_quince_is_ruled_out_there() -> None:
    bartlett = pd.Series({"crop": "european-pear", "variety": "Bartlett", "graft_on_quince": "incompatible"})
    found = best("european-pear", variety=bartlett).set_index("rootstock")
    quinces = [name for name in found.index if name.startswith("Quince")]
    assert len(quinces) >= 3
    assert set(found.loc[quinces, "verdict"]) == {"ruled out"}
    assert "interstem" in str(found.loc["Quince A", "watch"])
    comice = bartlett.replace({"Bartlett": "Doyenné du Comice", "incompatible": "compatible"})
    assert "ruled out" not in set(best("european-pear", variety=comice)["verdict"])


def test_listed_synonym_is_recognised_as_the_variety() -> None:
    """The stocks list 'Williams'; the catalog's name is Bartlett."""
    bartlett = pd.Series({"crop": "european-pear", "variety": "Bartlett"})
    found = best("european-pear", variety=bartlett).set_index("rootstock")
    assert found.loc["Quince C", "graft"] == "incompatible"


def test_wet_ground_puts_tolerant_stocks_first_and_susceptible_ones_last() -> None:
    _, stocks, _, _, _ = tables()
    found = best("apple", wetness="wet").set_index("rootstock")
    susceptible = stocks.loc[
        stocks["wet_soil"].eq("susceptible") & stocks["for_crops"].str.contains("apple"), "rootstock"
    ]
    assert set(found.loc[susceptible, "verdict"]) == {"doubtful"}
    assert "tolerant of wet ground" in found["why"].iloc[0]


def test_sources_that_contradict_count_by_the_worse() -> None:
    crops, stocks, _, _, _ = tables()
    facts = pd.DataFrame(
        [("MM.111", "wet_soil", "tolerant"), ("MM.111", "wet_soil", "susceptible")],
        columns=["rootstock", "trait", "value"],
    )
    found = rootstocks.rootstocks_for("apple", stocks, crops, wetness="wet", facts=facts).set_index(
        "rootstock"
    )
    assert found.loc["MM.111", "verdict"] == "doubtful"
    assert "worse of two sources" in str(found.loc["MM.111", "watch"])


def test_roots_too_tender_for_the_zone_are_ruled_out() -> None:
    found = best("apple", zone=3.0).set_index("rootstock")
    assert found.loc["M.9", "verdict"] == "ruled out"
    assert found.loc["B.9", "verdict"] != "ruled out"


def test_crop_without_rootstocks_gives_an_empty_frame() -> None:
    found = best("pawpaw")
    assert found.empty
    assert list(found.columns) == rootstocks.COLUMNS


@pytest.mark.parametrize("options", [{"soil": "mud"}, {"wetness": "damp"}, {"diseases": ["sadness"]}])
def test_unknown_question_of_the_ground_is_one_clear_error(options: dict[str, Any]) -> None:
    with pytest.raises(UnknownName):
        best("apple", **options)


@settings(max_examples=30, deadline=None)
@given(st.sampled_from(rootstocks.SOILS), st.sampled_from(rootstocks.WETNESS), st.booleans(), st.booleans())
def test_every_answer_gives_an_ordered_frame(soil: str, wetness: str, replant: bool, container: bool) -> None:
    found = best("apple", soil=soil, wetness=wetness, replant=replant, container=container)
    place = found["verdict"].map({word: k for k, word in enumerate(rootstocks.VERDICTS)})
    assert place.is_monotonic_increasing
    assert found["score"].between(0, 1).all()
    assert not found["rootstock"].duplicated().any()
    assert np.isfinite(found["score"]).all()
