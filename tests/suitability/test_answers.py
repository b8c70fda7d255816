"""Answers are checked once, and what is wrong is said in the grower's words."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recommender.errors import BadInput
from recommender.suitability.goals import Goals
from recommender.suitability.site import Site


def loosely(answers: dict[str, Any]) -> Any:
    """Answers whose types are wrong on purpose."""
    return answers


@pytest.mark.parametrize(
    ("answers", "said"),
    [
        ({}, "Nothing says where"),
        ({"lat": 50.0}, "Only one of lat and lon"),
        ({"zone": "7b"}, "needed together"),
        ({"place": "Geneva", "lat": 42.9, "lon": -77.0}, "given twice"),
        ({"lat": 95.0, "lon": 0.0}, "cannot be"),
        ({"lat": float("nan"), "lon": 0.0}, "lat"),
        ({"place": "1234"}, "not the name of a place"),
        ({"zone": "17c", "chill_hours": 500}, "not a hardiness zone"),
        ({"place": "Geneva", "soil": "mud"}, "not an answer to soil"),
        ({"place": "Geneva", "container_L": -3}, "container_L"),
        ({"place": "Geneva", "space_m": "wide"}, "must be a number"),
    ],
)
def test_a_wrong_answer_is_named_with_its_remedy(answers: dict[str, Any], said: str) -> None:
    with pytest.raises(BadInput, match=said) as caught:
        Site(**answers)
    assert caught.value.remedy
    assert "pydantic" not in str(caught.value)


def test_all_wrong_answers_are_told_at_once() -> None:
    with pytest.raises(BadInput) as caught:
        Site(**loosely({"place": "Geneva", "soil": "mud", "frost": "icy"}))
    assert "soil" in str(caught.value)
    assert "frost" in str(caught.value)


def test_a_misspelt_question_gets_the_nearest_ones() -> None:
    with pytest.raises(BadInput, match=r"exsting_trees.*existing_trees"):
        Site(**loosely({"place": "Geneva", "exsting_trees": ["apple:Discovery"]}))


@given(st.sampled_from(["7b", "7B", " zone 7 b", "7", 7, "13a", "1"]))
def test_zones_are_read_as_they_stand_on_labels(zone: Any) -> None:
    site = Site(zone=zone, chill_hours=700)
    assert site.zone is not None
    assert site.zone.rstrip("ab").isdigit()


def test_answers_cannot_be_changed_afterwards() -> None:
    site = Site(place="Geneva")
    with pytest.raises(Exception, match="frozen"):
        setattr(site, "place", "Lyon")  # noqa: B010


def test_goals_take_one_word_or_a_list_and_drop_repeats() -> None:
    assert Goals(**loosely({"crops": "apple"})).crops == ("apple",)
    assert Goals(**loosely({"uses": ["fresh", "fresh"]})).uses == ("fresh",)
    with pytest.raises(BadInput, match="seasons"):
        Goals(**loosely({"seasons": ["soon"]}))


@pytest.mark.parametrize("question", ["crops", "uses", "seasons", "skin", "flesh", "fruit_size"])
def test_a_list_in_a_list_of_wishes_is_named(question: str, tmp_path: Path) -> None:
    path = tmp_path / "site.toml"
    path.write_text(f'[goals]\n{question} = [["apple"]]\n', encoding="utf-8")
    with pytest.raises(BadInput, match=rf"{question}\.0") as caught:
        Goals.from_file(path)
    assert str(path) in caught.value.where


def test_a_site_file_is_read_as_toml_and_as_json(tmp_path: Path) -> None:
    toml = tmp_path / "site.toml"
    toml.write_text('[site]\nplace = "Geneva, New York"\n\n[goals]\ncrops = ["apple"]\n', encoding="utf-8")
    json = tmp_path / "site.json"
    json.write_text('{"place": "Geneva, New York"}', encoding="utf-8")
    assert Site.from_file(toml) == Site.from_file(json)
    assert Goals.from_file(toml).crops == ("apple",)
    assert Goals.from_file(json) == Goals()


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("site.toml", b"place = ", "not TOML"),
        ("site.json", b"{", "not JSON"),
        ("site.json", b"[1]", "list or a single value"),
        ("site.toml", b"\xff\xfe", "not TOML"),
        ("site.toml", b'[site]\nplase = "Geneva"\n', "place"),
        ("site.toml", b'place = "Geneva"\n[goals]\n', "under no heading"),
        ("site.json", b'{"site": 3}', "must be a heading"),
    ],
)
def test_a_broken_site_file_is_named(tmp_path: Path, name: str, content: bytes, said: str) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(BadInput, match=said) as caught:
        Site.from_file(path)
    assert name in str(caught.value)


def test_a_missing_site_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="cannot be read"):
        Site.from_file(tmp_path / "nowhere.toml")
