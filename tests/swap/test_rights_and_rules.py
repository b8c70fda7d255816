"""Law before wishes: what may not be propagated, what may not travel, and when wood can be grafted."""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from recommender import open_catalog
from recommender.swap.borders import region_of_code, region_of_place
from recommender.swap.offers import region_code
from recommender.swap.rights import Right, issued_by, last_day, recent, rights_of
from recommender.swap.rules import Movement, grafting_stop

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
        ("quince", "GB", "FR", "defra-private-plants"),
        ("apple", "GB", "GB-NIR", "defra-private-plants"),
        ("quince", "DE", "GB", "hmrc-plants-into-gb"),
        ("apple", "DE", "EE", "defra-fireblight-zones"),
        ("apple", "SE", "FI", "evira-protected-zones"),
        ("apple", "GB", "NZ", "mpi-nursery-stock"),
        ("lemon", "US-WA", "US-FL", "cdfa-301-76"),
        ("walnut", "US-NM", "US-AZ", "az-r3-4-229"),
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


@pytest.mark.parametrize(("giver", "taker"), [("US", "CA"), ("FR", "US-NY"), ("ZA", "FR"), ("GB-NIR", "GB")])
def test_a_border_stops_every_plant(giver: str, taker: str) -> None:
    stops, _ = _movement().asked("quince", region_of_code(giver), region_of_code(taker))
    assert "phytosanitary certificate" in stops
    assert "plant-health authority" in stops


EU_AND_LIKE = [
    ("Austria", "AT"), ("Belgium", "BE"), ("Bulgaria", "BG"), ("Croatia", "HR"), ("Cyprus", "CY"),
    ("Czechia", "CZ"), ("Denmark", "DK"), ("Estonia", "EE"), ("Finland", "FI"), ("France", "FR"),
    ("Germany", "DE"), ("Greece", "GR"), ("Hungary", "HU"), ("Ireland", "IE"), ("Italy", "IT"),
    ("Latvia", "LV"), ("Lithuania", "LT"), ("Luxembourg", "LU"), ("Malta", "MT"), ("The Netherlands", "NL"),
    ("Poland", "PL"), ("Portugal", "PT"), ("Romania", "RO"), ("Slovakia", "SK"), ("Slovenia", "SI"),
    ("Spain", "ES"), ("Sweden", "SE"), ("Switzerland", "CH"), ("Liechtenstein", "LI"), ("Monaco", "MC"),
    ("San Marino", "SM"), ("Vatican", "VA"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "code"), EU_AND_LIKE)
def test_members_of_the_eu_area_are_known_by_name_and_code(name: str, code: str) -> None:
    """Julius Kuehn-Institut, list of member states and areas treated as such, 22 March 2024."""
    by_name, by_code = region_of_place(name, ""), region_of_code(code)
    assert by_name.area == by_code.area == "EU"
    assert "EU" in by_name.codes & by_code.codes


@pytest.mark.parametrize(
    ("country", "region", "area"),
    [
        ("United Kingdom", "England", "GB"), ("United Kingdom", "Northern Ireland", "EU"),
        ("Spain", "Canary Islands", "ES, Canary Islands"), ("Reunion", "", "RE"), ("Norway", "", "NO"),
        ("Martinique", "", "MQ"), ("United States", "Ohio", "US"), ("Puerto Rico", "", "US"),
    ],
)  # fmt: skip
def test_areas_of_their_own_are_not_taken_for_the_eu(country: str, region: str, area: str) -> None:
    assert region_of_place(country, region).area == area


def test_within_the_eu_it_is_said_and_not_stopped() -> None:
    stops, minds = _movement().asked("quince", region_of_code("FR"), region_of_code("BE"))
    assert stops == ""
    assert "FR to BE" in minds
    assert "[blw-swiss-eu]" in minds
    assert "[defra-fireblight-zones]" in minds
    assert minds.endswith("its current rule decides, not this table.")
    assert _movement().asked("hazelnut", region_of_code("FR"), region_of_code("FR")) == ("", "")


def test_state_rules_of_entry_name_who_is_let_through() -> None:
    """California's citrus rule exempts Arizona; federal rules on citrus still stop what leaves Arizona."""
    into = _movement().asked("lemon", region_of_code("US-NM"), region_of_code("US-CA"))[0]
    assert into
    assert _movement().asked("walnut", region_of_code("US-CA"), region_of_code("US-AZ"))[0] == ""


@pytest.mark.parametrize(
    ("written", "code"),
    [("uk", "GB"), ("France", "FR"), ("us-ny", "US-NY"), ("Northern Ireland", "GB-NIR"), ("EU", "EU"),
     ("GB-SOM", "GB-SOM"), ("Tasmania", "AU-TAS"), (None, None), (" ", None)],
)  # fmt: skip
def test_regions_are_read_by_code_or_name(written: str | None, code: str | None) -> None:
    assert region_code(written) == code


@pytest.mark.parametrize("written", ["Atlantis", "ZZ", "ZZ-TOP", "G8"])
def test_regions_that_are_not_known_are_refused(written: str) -> None:
    with pytest.raises(ValueError, match="no country or state"):
        region_code(written)


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
