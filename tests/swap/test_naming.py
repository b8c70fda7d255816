"""Names as people write them: read by the nursery desk's rules, decided or left to a person."""

from __future__ import annotations

from datetime import date
from functools import lru_cache

import pytest

from recommender import match_swap, open_catalog
from recommender.catalog.catalog import Catalog
from recommender.nursery.name_book import DECIDED
from recommender.nursery.names import read_lines
from recommender.suitability.site import Site
from recommender.swap.naming import resolve_name
from recommender.swap.offers import Offer, Request, settled
from recommender.swap.people import SwapSettings

WINTER = SwapSettings(on=date(2027, 2, 13), site=Site(lat=51.15, lon=-2.85, elevation_m=20), region="GB")


@lru_cache
def the_catalog() -> Catalog:
    return open_catalog()


@pytest.mark.parametrize(
    ("text", "crop", "variety"),
    [
        ("Discovery", "", ("apple", "Discovery")),
        ("apple:Discovery", "", ("apple", "Discovery")),
        ("Discovry", "apple", ("apple", "Discovery")),
        ("Bramley", "", ("apple", "Bramley's Seedling")),
        ("Bramley's Seedling on M26, bare root", "apple", ("apple", "Bramley's Seedling")),
        ("Conference", "Pears", ("european-pear", "Conference")),
    ],
)
def test_names_are_decided_as_the_desk_decides_them(text: str, crop: str, variety: tuple[str, str]) -> None:
    read = resolve_name(text, crop, the_catalog())
    assert (read.decision, read.variety) == ("decided", variety)
    assert read.confidence >= DECIDED
    assert ("Discovry" in read.says) == (text == "Discovry")


@pytest.mark.parametrize("text", ["Golden", "Grandfather's Red", "Bramley's Seedlin", "Williams", "Redd"])
def test_the_swap_and_the_stock_list_read_alike(text: str) -> None:
    """The same line through the nursery's own door: same decision, same variety, same confidence."""
    row = read_lines([text], the_catalog()).lines.iloc[0]
    read = resolve_name(text, "", the_catalog())
    assert read.decision == row["decision"]
    assert read.confidence == pytest.approx(row["confidence"], abs=0.0006)
    if read.decision == "decided":
        assert read.variety == (row["crop"], row["variety"])
    else:
        assert read.candidates


def test_names_that_are_not_decided_wait_for_a_person() -> None:
    of_another_fruit = resolve_name("Discovery", "european pear", the_catalog())
    assert (of_another_fruit.decision, of_another_fruit.candidates) == ("review", (("apple", "Discovery"),))
    assert resolve_name("unknown", "apple", the_catalog()).decision == "unknown"
    assert "is a fruit" in resolve_name("apple", "", the_catalog()).says
    assert "No crop is called" in resolve_name("Discovery", "jam", the_catalog()).says


def test_a_doubtful_offer_is_left_over_and_named_until_it_is_settled() -> None:
    doubtful = Offer(id="O1", person="Wren", crop="apple", variety="Grandfather's Red")
    asked = Request(id="R1", person="Moss", crops=("apple",))
    found = match_swap([doubtful], [asked], settings=WINTER, catalog=the_catalog())
    assert found.matches == ()
    (doubt,) = found.doubts
    assert (doubt.kind, doubt.id, doubt.written) == ("offer", "O1", "Grandfather's Red")
    assert doubt.candidates
    assert "Grandfather's Red" in found.unmatched[0].stopped
    mended = settled(doubtful, doubt.written, ("apple", "Discovery"))
    again = match_swap([mended], [asked], settings=WINTER, catalog=the_catalog())
    assert [match.variety for match in again.matches] == ["Discovery"]
    assert again.doubts == ()


def test_a_doubtful_wish_or_tree_is_left_out_and_named() -> None:
    asked = Request(
        id="R1", person="Moss", varieties=("Golden", "Discovery"), existing_trees=("Grandfather's Red",)
    )
    given = Offer(person="Wren", crop="apple", variety="Discovery")
    found = match_swap([given], [asked], settings=WINTER, catalog=the_catalog())
    assert [doubt.written for doubt in found.doubts] == ["Golden", "Grandfather's Red"]
    assert len(found.matches) == 1
    mended = settled(asked, "Golden", ("apple", "Golden Delicious"))
    assert isinstance(mended, Request)
    assert mended.varieties == ("apple:Golden Delicious", "Discovery")


def test_a_corrected_spelling_is_told_to_the_giver_and_the_taker() -> None:
    found = match_swap(
        [Offer(person="Wren", crop="apple", variety="Discovry")],
        [Request(person="Moss", varieties=("Discovvery",))],
        settings=WINTER,
        catalog=the_catalog(),
    )
    (match,) = found.matches
    assert "“Discovry” was read as apple Discovery" in match.minds
    assert "“Discovvery” was read as apple Discovery" in match.reason
