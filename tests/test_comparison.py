"""Varieties side by side: order, differences, sources; and the file a site is kept in."""

from __future__ import annotations

import io
import tomllib

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from recommender import Goals, Site, open_catalog
from recommender.climate.point import point_of
from recommender.comparison import MOST, compare
from recommender.errors import BadInput, UnknownName
from recommender.outputs import parquet_bytes
from recommender.suitability.site_file import LARGEST_BYTES, read_site_file, site_file_text

TWO = ["apple:Discovery", "apple:Bramley's Seedling"]


def test_what_differs_is_known_of_both_and_not_the_same() -> None:
    compared = compare(open_catalog(), TWO)
    values = compared.values()
    for trait in compared.traits:
        said = values.loc[values["trait"] == trait, "value"]
        assert (trait in compared.differing) == (len(set(said)) > 1)


def test_every_published_value_names_a_source() -> None:
    values = compare(open_catalog(), TWO).values()
    published = values[values["standing"] == "published"]
    assert len(published) > 5
    assert (published["sources"].str.len() > 0).all()


@pytest.mark.parametrize("names", [[], ["apple:Discovery"] * (MOST + 1)])
def test_none_or_too_many_are_refused(names: list[str]) -> None:
    with pytest.raises(BadInput):
        compare(open_catalog(), names)


def test_a_name_nobody_bears_is_told() -> None:
    with pytest.raises(UnknownName):
        compare(open_catalog(), ["apple:Zzyqx"])


def test_parquet_reads_back_what_csv_would_hold() -> None:
    for frame in (compare(open_catalog(), TWO).values(), compare(open_catalog(), TWO).evidence()):
        back = pd.read_parquet(io.BytesIO(parquet_bytes(frame)))
        assert list(back.columns) == list(frame.columns)
        assert len(back) == len(frame)


_TEXT = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), min_size=1, max_size=20)


@given(
    _TEXT,
    st.sampled_from(["clay", "unknown"]),
    st.none() | st.floats(0.5, 900),
    st.lists(_TEXT, max_size=3),
    st.booleans(),
)
def test_a_site_file_reads_back_as_it_was(
    place: str, soil: str, space: float | None, trees: list[str], low_spray: bool
) -> None:
    answers = {"place": f"A{place}", "soil": soil, "space_m": space, "existing_trees": tuple(trees)}
    site, goals = Site.model_validate(answers), Goals(crops=("apple",), low_spray=low_spray)
    text = site_file_text(site, goals)
    tomllib.loads(text)
    assert read_site_file(text.encode(), "site.toml") == (site, goals)


@pytest.mark.parametrize(
    ("raw", "name"),
    [
        (b"\xff\xfe", "site.toml"),
        (b"[site", "site.toml"),
        (b"[]", "site.json"),
        (b'[site]\nplace = "Bristol"\nsoil = "mud"\n', "mine.toml"),
        (b'[goals]\ncrops = ["apple"]\n', "site.toml"),
        (b"x" * (LARGEST_BYTES + 1), "site.toml"),
    ],
)
def test_a_file_that_is_none_is_told_by_its_name(raw: bytes, name: str) -> None:
    with pytest.raises(BadInput) as told:
        read_site_file(raw, name)
    assert name in str(told.value)
    assert "orchardwright-" not in str(told.value)


@pytest.mark.parametrize(
    ("text", "point"),
    [
        ("51.45, -2.60", (51.45, -2.6)),
        ("51.45 N, 2.60 W", (51.45, -2.6)),
        ("2.60 W 51.45 N", (51.45, -2.6)),
        ("−42.88 147.33", (-42.88, 147.33)),
        ("10; 350", (10.0, -10.0)),
    ],
)
def test_points_as_people_write_them(text: str, point: tuple[float, float]) -> None:
    assert point_of(text) == pytest.approx(point)


@pytest.mark.parametrize(
    "text", ["51.45", "north, west", "95, 10", "51°27'N 2°36'W", "<b>1, 2</b>", "1, 2, 3"]
)
def test_what_is_no_point_is_told(text: str) -> None:
    with pytest.raises(BadInput):
        point_of(text)
