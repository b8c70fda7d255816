"""Words for readers: dates nobody can misread, units by habit, names that cannot steer a terminal."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recommender import wording
from recommender.errors import BadInput


@given(st.integers(1, 12), st.integers(1, 28), st.sampled_from(["metric", "imperial"]))
def test_a_date_always_names_its_month(month: int, day: int, units: wording.Units) -> None:
    words = wording.day_words(f"{month:02d}-{day:02d}", units)
    assert wording.MONTHS[month - 1] in words
    assert str(day) in words


@given(st.text(max_size=30))
def test_a_name_cannot_carry_escape_codes(name: str) -> None:
    shown = wording.plain(name)
    assert all(ord(letter) >= 32 or letter in "\n\t" for letter in shown)
    assert "\u202e" not in shown


@given(st.integers(1, 365))
def test_days_of_the_year_and_dates_agree(day: int) -> None:
    from datetime import date, timedelta

    expected = date(2001, 1, 1) + timedelta(days=day - 1)
    assert wording.day_of_year_words(day) == f"{expected.day} {wording.MONTHS[expected.month - 1]}"


def test_every_verdict_has_its_own_mark_and_meaning() -> None:
    assert len(set(wording.MARKS.values())) == len(wording.VERDICTS) == 4
    assert set(wording.MARKS) == set(wording.VERDICT_MEANINGS) == set(wording.VERDICTS)


def test_the_verdicts_are_those_of_the_ranking() -> None:
    from recommender.suitability import verdicts

    assert verdicts.VERDICTS == wording.VERDICTS


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ({"trait": "zone_min", "number": 5.5, "low": 5.5, "high": 5.5, "unit": "USDA zone"}, "5b"),
        ({"trait": "chill_hours", "number": 800, "low": 700, "high": 900, "unit": "h"},
         "800 hours (700 to 900)"),
        ({"trait": "ripening_offset", "number": -1.2, "low": None, "high": None, "unit": "d from McIntosh"},
         "1 day earlier, against McIntosh"),
        ({"trait": "harvest_start", "number": 258, "low": None, "high": None, "unit": "day of year"},
         "15 September"),
    ],
)  # fmt: skip
def test_settled_numbers_in_words(row: dict[str, object], said: str) -> None:
    assert wording.settled_words(SimpleNamespace(kind="numeric", value=None, **row)) == said


def test_a_category_is_told_by_its_word_not_by_its_place_in_the_scale() -> None:
    row = SimpleNamespace(
        kind="category", trait="pollen", value="poor", number=2.0, low=None, high=None, unit=""
    )
    assert wording.settled_words(row) == "poor"


def test_what_is_missing_is_said() -> None:
    assert wording.trait_words("chill_hours", float("nan")) == "not known"
    assert wording.span_words({"p10": None, "p50": None, "p90": None}) == ("none in most years", "")


def test_feet_and_gallons_become_metres_and_litres() -> None:
    assert wording.metres(10.0, "imperial") == pytest.approx(3.048)
    assert wording.litres(10.0, "imperial") == pytest.approx(37.85411784)
    assert wording.metres(10.0, "metric") == 10.0
    assert wording.metres(None, "imperial") is None


def test_unknown_units_are_refused() -> None:
    with pytest.raises(BadInput, match="metric or imperial"):
        wording.as_units("furlongs")
