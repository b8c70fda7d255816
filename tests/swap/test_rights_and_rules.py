"""Law before wishes: what may not be propagated, what may not travel, and when wood can be grafted."""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from recommender import open_catalog
from recommender.swap.rights import Right, issued_by, last_day, recent, rights_of
from recommender.swap.rules import Movement, grafting_stop, region_of_code, region_of_place

TODAY = date(2026, 11, 25)


def _rights(*rows: tuple[str, str, str], today: date = TODAY) -> dict[tuple[str, str], Right]:
    """rows: (variety, value, note), invented."""
    frame = pd.DataFrame(rows, columns=["variety", "value", "note"])
    return rights_of(frame.assign(crop="apple", trait="rights", source_id="invented"), today)


def test_a_patent_whose_end_is_not_stated_is_held() -> None:
    assert _rights(("Withy", "patented", "expiry not stated"))["apple", "Withy"].state == "held"


def test_a_patent_lapses_twenty_years_after_filing() -> None:
    """35 U.S.C. 154(a)(2): 20 years from filing; only the year is known, so its last day is taken."""
    row = ("Withy", "patented", "US PP11111, filed 2006")
    assert _rights(row, today=date(2026, 12, 31))["apple", "Withy"].state == "held"
    assert _rights(row, today=date(2027, 1, 1))["apple", "Withy"].state == "over"


def test_a_patent_number_is_dated_by_a_higher_one() -> None:
    found = _rights(("Withy", "patented", "US PP11392"), ("Other", "free", "US PP12357 issued 2002; lapsed"))
    assert found["apple", "Withy"].state == "over"
    assert found["apple", "Withy"].until == date(2022, 12, 31)
    assert issued_by(20_000, {12357: 2002}) is None


@pytest.mark.parametrize(
    ("value", "note", "end"),
    [
        ("patented", "expires 2035-04-01", date(2035, 4, 1)),
        ("patented", "applications filed 23 Feb 2010, so to Feb 2030", date(2030, 2, 28)),
        ("patented", "application of Dec 2006, so 20-year term ends Dec 2026", date(2026, 12, 31)),
        ("patented", "US 2018/0295761", date(2038, 12, 31)),
        ("pbr", "Japan registration 24374 of 2015", date(2045, 12, 31)),
        ("pbr", "Canada application 08-6315", None),
        ("pbr", "protected as of 2015", None),
    ],
)
def test_dates_in_notes_are_read(value: str, note: str, end: date | None) -> None:
    """Notes as they stand in datasets/traits."""
    assert last_day(value, note, {}) == end


def test_the_strictest_statement_counts() -> None:
    found = _rights(("Withy", "free", "free variety"), ("Withy", "pbr", "EU right"))
    assert found["apple", "Withy"].state == "held"


def test_a_trademark_limits_the_label_and_a_licence_the_plant() -> None:
    found = _rights(
        ("Name", "trademark", "USPP1234 expired; name is a mark"), ("Fee", "trademark", "royalty per tree")
    )
    assert found["apple", "Name"].state == "name only"
    assert found["apple", "Fee"].state == "held"


def test_young_varieties_without_evidence_are_cautioned() -> None:
    assert "ask before" in recent(2015.0, TODAY)
    assert recent(1850.0, TODAY) == ""
    assert recent(float("nan"), TODAY) == ""


def test_known_rights_of_the_catalog() -> None:
    """Harrow Gold: breeders' rights (cummins-harrow-gold); Honeysweet: US plant patent 4499 of 1979, over."""
    found = rights_of(open_catalog().evidence(), TODAY)
    assert found["european-pear", "Harrow Gold"].state == "held"
    assert found["european-pear", "Honeysweet"].state == "free"
    assert ("european-pear", "Conference") not in found


def _movement() -> Movement:
    return Movement(open_catalog().cautions())


@pytest.mark.parametrize(
    ("crop", "giver", "taker", "source"),
    [
        ("european-plum", "US-NY", "US-NY", "nappo-690"),
        ("european-plum", "CA-ON", "CA-ON", "nappo-795"),
        ("mandarin", "US-FL", "US-FL", "citrus"),
        ("apple", "GB", "AU", "au-peq-apple-pear"),
        ("hazelnut", "US-WA", "US-OR", "digger-filbert"),
    ],
)
def test_regulated_movements_stop_with_their_rule(crop: str, giver: str, taker: str, source: str) -> None:
    stops, _ = _movement().asked(crop, region_of_code(giver), region_of_code(taker))
    assert stops
    assert "plant-health authority" in stops
    if source != "citrus":
        assert f"[{source}]" in stops
    else:
        assert "citrus" in stops.lower()


def test_rules_of_entry_let_neighbours_swap() -> None:
    """Oregon limits hazels from outside, not from one Oregon garden to another."""
    stops, _ = _movement().asked("hazelnut", region_of_code("US-OR"), region_of_code("US-OR"))
    assert stops == ""


def test_a_border_stops_every_plant() -> None:
    stops, _ = _movement().asked("quince", region_of_code("GB"), region_of_code("FR"))
    assert "phytosanitary certificate" in stops
    assert region_of_place("United Kingdom", "England").country == "GB"


def test_a_swap_within_england_is_not_stopped() -> None:
    here = region_of_code("GB")
    for crop in ("apple", "european-pear", "european-plum", "quince", "hazelnut"):
        assert _movement().asked(crop, here, here)[0] == ""


def test_a_place_without_a_country_is_cautioned() -> None:
    nowhere = region_of_code(None)
    stops, minds = _movement().asked("european-plum", nowhere, nowhere)
    assert stops == ""
    assert "Nobody said in which country" in minds


def test_dormant_wood_goes_in_late_winter_and_half_a_year_later_in_the_south() -> None:
    assert grafting_stop(date(2027, 2, 14), date(2027, 1, 20), "north", False) == ""
    assert "outside the grafting window" in grafting_stop(date(2027, 4, 20), None, "south", False)
    assert grafting_stop(date(2027, 8, 14), date(2027, 7, 20), "south", False) == ""
    assert "outside the grafting window" in grafting_stop(date(2027, 10, 20), None, "north", False)


def test_wood_that_is_too_old_or_not_yet_cut_is_stopped() -> None:
    assert "days before" in grafting_stop(date(2027, 7, 20), date(2027, 6, 20), "north", False)
    assert "not cut in dormancy" in grafting_stop(date(2027, 2, 14), date(2026, 8, 2), "north", False)
    assert "after the day" in grafting_stop(date(2027, 2, 14), date(2027, 2, 15), "north", False)


@given(st.dates(date(2024, 1, 1), date(2028, 12, 31)))
def test_the_seasons_of_the_hemispheres_are_half_a_year_apart(on: date) -> None:
    shifted = date(on.year + (on.month > 6), (on.month + 5) % 12 + 1, min(on.day, 28))
    here = date(on.year, on.month, min(on.day, 28))
    assert (grafting_stop(here, None, "north", False) == "") == (
        grafting_stop(shifted, None, "south", False) == ""
    )
