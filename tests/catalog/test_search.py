"""Search in names: what is typed is compared, never run; the best fit stands first."""

from __future__ import annotations

from functools import lru_cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recommender import open_catalog
from recommender.catalog.search import Finder


@lru_cache(maxsize=1)
def finder() -> Finder:
    catalog = open_catalog()
    return Finder(catalog.varieties(), catalog.names(), catalog.statement_counts())


@pytest.mark.parametrize(
    ("typed", "first"),
    [
        ("Discovery", "Discovery"),
        ("discovry", "Discovery"),
        ("bramleys seedling", "Bramley's Seedling"),
        ("Bramley", "Bramley's Seedling"),
        ("cox orange", "Cox's Orange Pippin"),
        ("vranja", "Vranja"),
    ],
)
def test_the_variety_meant_stands_first(typed: str, first: str) -> None:
    assert finder().find(typed)["variety"].iloc[0] == first


def test_another_name_is_told() -> None:
    catalog = open_catalog()
    names = catalog.names()
    row = names[(names["crop"] == "apple") & (names["kind"] == "synonym")].iloc[0]
    found = finder().find(row["name"], ["apple"])
    hit = found[found["variety"] == row["variety"]].iloc[0]
    assert hit["also"] == row["name"]


def test_without_a_name_those_most_is_known_of_stand_first() -> None:
    found = finder().find("", ["quince"])
    assert set(found["crop"]) == {"quince"}
    assert found["statements"].is_monotonic_decreasing


@pytest.mark.parametrize(
    "typed", ["'; DROP TABLE varieties; --", "%", "%%%", "' OR 1=1 --", "\x00", "😀", "x" * 5000]
)
def test_sql_and_signs_find_nothing_and_break_nothing(typed: str) -> None:
    assert finder().find(typed).empty
    assert len(open_catalog().varieties()) == len(finder().find("", top=10_000))


@settings(deadline=None)
@given(st.text(max_size=40))
def test_whatever_is_typed_finds_each_variety_once_at_most(typed: str) -> None:
    found = finder().find(typed)
    assert not found.duplicated(["crop", "variety"]).any()


@settings(deadline=None)
@given(st.integers(0, 2000))
def test_every_variety_is_found_by_its_own_name(place: int) -> None:
    varieties = open_catalog().varieties()
    row = varieties.iloc[place % len(varieties)]
    found = finder().find(row["variety"], [row["crop"]])
    assert row["variety"] in set(found["variety"].head(3))
