"""The gazetteer: which place a name means, and what is said when it means none."""

import contextlib

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from recommender.climate.place_names import folded
from recommender.climate.places import find_place, nearest_stations
from recommender.errors import BadInput, OrchardwrightError, UnknownName


@pytest.mark.parametrize(
    ("typed", "label"),
    [
        ("Paris", "Paris, Île-de-France, France"),
        ("Paris, TX", "Paris, Texas, United States"),
        ("Paris, Texas", "Paris, Texas, United States"),
        ("Springfield, Illinois", "Springfield, Illinois, United States"),
        ("York, GB", "York, England, United Kingdom"),
        ("York, UK", "York, England, United Kingdom"),
        ("York, England", "York, England, United Kingdom"),
        ("york", "York, England, United Kingdom"),
        ("Hobart", "Hobart, Tasmania, Australia"),
        ("Hobart, Indiana", "Hobart, Indiana, United States"),
        ("Orange NSW", "Orange, New South Wales, Australia"),
        ("London, Ontario", "London, Ontario, Canada"),
        ("Sao Paulo", "São Paulo, Sao Paulo, Brazil"),
    ],
)
def test_a_name_with_or_without_its_region_finds_the_place(typed: str, label: str) -> None:
    assert find_place(typed).label == label


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Zürich", "Zurich"),
        ("ZÜRICH", "zurich"),
        ("Köln", "Cologne"),
        ("Wien", "Vienna"),
        ("Köbenhavn", "Copenhagen"),
        ("St. Louis", "Saint Louis"),
        ("Saint-Louis, Missouri", "st louis, mo"),
    ],
)
def test_spellings_of_one_place_agree(one: str, other: str) -> None:
    first, second = find_place(one), find_place(other)
    assert (first.name, first.lat, first.lon) == (second.name, second.lat, second.lon)


def test_an_ambiguous_name_lists_the_other_places() -> None:
    match = find_place("Paris")
    assert "Paris, Texas, United States" in match.others
    assert match.label not in match.others


def test_an_alternate_name_of_a_large_city_does_not_hide_a_town_of_that_name() -> None:
    # GeoNames lists York among the names of Toronto, which has eighteen times as many people.
    assert find_place("York").country == "United Kingdom"


@pytest.mark.parametrize(
    ("typed", "suggestion"),
    [
        ("Mineapolus", "Minneapolis, Minnesota, United States"),
        ("Sprngfeld, Illinois", "Springfield, Illinois, United States"),
        ("Hobartt", "Hobart, Tasmania, Australia"),
    ],
)
def test_a_misspelt_place_is_answered_with_at_most_three_near_ones(typed: str, suggestion: str) -> None:
    with pytest.raises(UnknownName) as caught:
        find_place(typed)
    assert suggestion in caught.value.suggestions
    assert len(caught.value.suggestions) <= 3
    assert typed in str(caught.value)


def test_a_region_that_does_not_hold_the_place_is_not_passed_over() -> None:
    with pytest.raises(UnknownName):
        find_place("Hobart, France")


@pytest.mark.parametrize("typed", ["", "   ", ",", ", Texas ,"])
def test_an_empty_name_is_refused(typed: str) -> None:
    with pytest.raises(OrchardwrightError):
        find_place(typed)


@settings(deadline=None, max_examples=50)
@given(st.text(max_size=60))
def test_no_text_breaks_the_search(typed: str) -> None:
    with contextlib.suppress(OrchardwrightError):
        assert find_place(typed).name


@settings(deadline=None, max_examples=50)
@given(st.text(max_size=40))
@example("𝘼")
def test_folding_twice_changes_nothing(name: str) -> None:
    assert folded(folded(name)) == folded(name)


def test_positions_and_heights_are_those_of_the_place() -> None:
    # Hobart 42.88 S, 147.33 E; Denver, the mile-high city: 1609 m.
    hobart, denver = find_place("Hobart"), find_place("Denver, Colorado")
    assert (hobart.lat, hobart.lon) == pytest.approx((-42.88, 147.33), abs=0.05)
    assert denver.elevation_m == pytest.approx(1609, abs=60)


def test_nearest_stations_come_nearest_first() -> None:
    found = nearest_stations(44.98, -93.27, 4)
    distances = [station.distance_km for station in found]
    assert "Minneapolis" in found[0].name
    assert distances == sorted(distances)
    assert len(found) == 4


def test_asking_for_no_station_is_refused() -> None:
    with pytest.raises(BadInput):
        nearest_stations(44.98, -93.27, 0)


def test_nearest_station_across_the_date_line() -> None:
    assert nearest_stations(52.0, 179.9, 1)[0].distance_km == pytest.approx(
        nearest_stations(52.0, -179.9, 1)[0].distance_km, abs=20
    )
