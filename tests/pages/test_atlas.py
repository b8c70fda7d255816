"""The page of the atlas: kind where there is none, and the three questions where there is one."""

from __future__ import annotations

import shutil
from pathlib import Path

import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from recommender.atlas.run import run


def drawn(folder: str) -> AppTest:
    def script(folder: str) -> None:
        import streamlit as st

        from recommender.pages import atlas

        st.session_state.setdefault("atlas_folder", folder)
        atlas.page()

    return AppTest.from_function(script, args=(folder,), default_timeout=60).run()


def words(page: AppTest) -> str:
    """All HTML of a page."""
    return " ".join(each.proto.body for each in page.get("html"))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("atlas") / "two"
    sites = pd.DataFrame(
        {
            "name": ["Withy Hollow", "<b>Hobart</b>"],
            "region": "",
            "country": "",
            "lat": [50.9, -43.0],
            "lon": [-3.1, 147.0],
            "elevation_m": [60.0, 50.0],
            "population": [300, 200000],
        }
    )
    run(path, sites, workers=0, years=4, crops=("quince", "hazelnut"), warming=(0.0, 2.0))
    return path


def test_without_a_folder_it_says_how_to_make_one() -> None:
    page = drawn("")
    assert not page.exception
    assert "orchardwright atlas run" in words(page)


def test_a_folder_without_an_atlas_is_told_kindly(tmp_path: Path) -> None:
    page = drawn(str(tmp_path))
    assert not page.exception
    assert "There is no atlas in this folder" in words(page)


def test_a_home_folder_that_is_nobodys_is_told_where_it_was_typed() -> None:
    page = drawn("~nosuchuser/x")
    assert not page.exception
    assert "No home folder is known for “~nosuchuser/x”. Write the whole path" in words(page)


def test_the_three_questions_are_answered_with_a_table_and_a_map(folder: Path) -> None:
    page = drawn(str(folder))
    assert not page.exception
    for question, said in (("where", "sound at"), ("sound", "Up to"), ("change", "2 °C warmer")):
        page = page.radio[0].set_value(question).run()
        assert not page.exception
        assert said in words(page)
        assert len(page.dataframe) == 1


def test_a_variety_that_people_know_is_looked_at_first(folder: Path) -> None:
    page = drawn(str(folder))
    page = page.radio[0].set_value("where").run()
    page = page.selectbox[0].set_value("quince").run()
    assert not page.exception
    assert len(page.selectbox[1].options) > 5
    assert page.selectbox[1].value == "Vranja"
    assert "Vranja is sound at" in words(page)


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("lat", "north"),
        ("lat", float("nan")),
        ("lon", float("inf")),
        ("lat", 1e9),
        ("population", "many"),
        ("country", ["GB"]),
        ("name", 7),
    ],
)
def test_places_that_no_run_writes_are_told(column: str, value: object, folder: Path, tmp_path: Path) -> None:
    """An atlas may come from anyone."""
    sent = tmp_path / "sent"
    shutil.copytree(folder, sent)
    sites = pd.read_parquet(sent / "sites.parquet")
    sites[column] = pd.Series([value] * len(sites))
    sites.to_parquet(sent / "sites.parquet")
    page = drawn(str(sent))
    assert not page.exception
    assert f"hold something that no run writes (column {column}). Take the folder from" in words(page)
