"""What is taken for a whole crop has a published source, and a broken table says where it is broken."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from recommender.catalog.package import datasets_folder
from recommender.climate.normals import normals_at
from recommender.climate.profile import build_profile
from recommender.errors import DataFaults
from recommender.suitability import criteria
from recommender.suitability.crop_defaults import (
    TABLE,
    UNITS,
    crop_defaults,
    defaults_for,
    early_crops,
    read_limits,
)


def limits() -> pd.DataFrame:
    return read_limits(datasets_folder())


def crops() -> pd.DataFrame:
    return pd.read_csv(datasets_folder() / "crops.csv")


def test_no_limit_of_a_crop_is_from_memory() -> None:
    rows = limits()
    sources = pd.read_csv(datasets_folder() / "sources.csv", keep_default_na=False).set_index("source_id")
    assert set(rows["basis"]) <= {"published", "common practice", "computed"}
    assert rows["source_id"].isin(sources.index).all()
    assert (sources.loc[rows["source_id"], "kind"] != "memory").all()
    assert (sources.loc[rows["source_id"], "url"] != "").all()


def test_every_crop_has_a_published_warmth() -> None:
    assert set(crops()["crop"]) == set(crop_defaults().index)
    table = crop_defaults()
    assert (table["warmth_fails"] < table["warmth_good"]).all()
    assert table["warmth_fails"].min() > 0.0


def test_a_crop_whose_varieties_are_seldom_rated_has_a_published_hardiness() -> None:
    # The crop's own rated varieties stand for it from four of them on, and alone from 30 % on.
    traits = pd.concat(
        pd.read_csv(path, dtype=str) for path in sorted((datasets_folder() / "traits").glob("*.csv"))
    )
    told = traits[traits["trait"].isin(["zone_min", "min_survival_temp"])]
    varieties = pd.read_csv(datasets_folder() / "varieties.csv")
    size = varieties["crop"].value_counts()
    rated = told.drop_duplicates(["crop", "variety"])["crop"].value_counts().reindex(size.index).fillna(0)
    seldom = [str(crop) for crop in size.index if rated[crop] < 4 or rated[crop] / size[crop] < 0.3]
    assert len(seldom) >= 10
    assert crop_defaults().loc[seldom, "hardiness"].notna().all()


@pytest.mark.parametrize("crop", ["apple", "mango", "quince", "olive"])
def test_the_warmth_of_a_place_is_what_the_ranking_counts_there(crop: str) -> None:
    rows = limits()
    for row in rows[rows["crop"].eq(crop) & rows["place"].ne("")].itertuples():
        warmth = build_profile(normals_at(float(str(row.lat)), float(str(row.lon)))).gdd10
        assert warmth.mean() == pytest.approx(row.value, abs=1.0)


def test_a_crop_is_warm_enough_where_it_is_published_to_crop() -> None:
    rows = limits()
    apple = rows[rows["crop"].eq("apple") & rows["quantity"].eq("crops_at")].nlargest(1, "value").iloc[0]
    table = crop_defaults().loc["apple"]
    need = np.array([(table["warmth_fails"] + table["warmth_good"]) / 2.0])
    half = np.array([(table["warmth_good"] - table["warmth_fails"]) / 2.0])
    years = build_profile(normals_at(float(apple["lat"]), float(apple["lon"]))).gdd10
    assert criteria.share_above(years, need, half, 0.0)[0] > 0.7


def test_a_crop_without_rows_is_a_middling_fruit_tree() -> None:
    found = defaults_for(pd.Series(["apple", "medlar-of-nowhere"]))
    assert found["warmth_good"].iloc[1] == 1100.0
    assert found["warmth_good"].iloc[0] == crop_defaults().loc["apple", "warmth_good"]


def test_crops_that_wait_for_warmth_do_not_wake_early() -> None:
    assert {"apricot", "apple", "hazelnut"} <= early_crops()
    assert not {"quince", "medlar", "jujube", "fig"} & early_crops()


def broken(folder: Path, column: str, value: str) -> Path:
    frame = pd.read_csv(datasets_folder() / TABLE, dtype=str, keep_default_na=False)
    frame.loc[2, column] = value
    folder.mkdir()
    frame.to_csv(folder / TABLE, index=False)
    return folder


@pytest.mark.parametrize(
    ("column", "value"),
    [("value", "mild"), ("quantity", "coldness"), ("unit", "degF"), ("source_id", "memory")],
)
def test_a_broken_cell_is_named_with_file_row_and_column(tmp_path: Path, column: str, value: str) -> None:
    with pytest.raises(DataFaults) as told:
        crop_defaults(broken(tmp_path / "data", column, value))
    assert f"{TABLE}, row 4, column {column}: “{value}”" in str(told.value)


def test_an_edge_as_warm_as_a_good_place_is_a_fault(tmp_path: Path) -> None:
    frame = pd.read_csv(datasets_folder() / TABLE, dtype=str, keep_default_na=False)
    frame.loc[frame["crop"].eq("olive") & frame["quantity"].eq("edge_at"), "value"] = "5000"
    frame.to_csv(tmp_path / TABLE, index=False)
    with pytest.raises(DataFaults, match=r"column value: “5000.*as warm as"):
        crop_defaults(tmp_path)


def test_a_missing_table_is_named(tmp_path: Path) -> None:
    with pytest.raises(DataFaults, match=TABLE):
        crop_defaults(tmp_path)


def test_the_units_are_those_of_the_data_package() -> None:
    assert set(UNITS) == set(limits()["quantity"])
