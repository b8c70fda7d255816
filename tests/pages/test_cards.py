"""The HTML of a page shows names as text, whatever a name holds."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from types import SimpleNamespace

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from recommender.dossier import Dossier
from recommender.pages import cards

NASTY = '<img src=x onerror="alert(1)">&"\''


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.links: list[str] = []
        self.said = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.links += [value or "" for name, value in attrs if name == "href"]
        assert not [name for name, _ in attrs if name.startswith("on")]

    def handle_data(self, data: str) -> None:
        self.said += data


def _read(html: str) -> _Tags:
    tags = _Tags()
    tags.feed(html)
    return tags


def _row(**changes: object) -> SimpleNamespace:
    usual = {
        "crop": "apple", "variety": "One", "rank": 1, "score": 0.8, "score_low": 0.7, "score_high": 0.9,
        "verdict": "with care", "why": "Enough chill.", "watch": "A partner.", "bloom_day": float("nan"),
        "bloom_error_d": float("nan"), "harvest_day": 400.0, "harvest_error_d": 8.0,
    }  # fmt: skip
    return SimpleNamespace(**{**usual, **changes})


@given(st.text(max_size=30))
def test_a_name_never_becomes_markup(name: str) -> None:
    plain, named = (
        _read(cards.variety_card(_row(variety=v, why=v), [(v, v, v)])) for v in ("x", f"{NASTY}{name}")
    )
    assert named.tags == plain.tags
    assert "<img src=x" in named.said


def test_a_card_tells_verdict_in_mark_and_word_with_its_interval() -> None:
    said = _read(cards.variety_card(_row(), [])).said
    assert "◐ with care, score 0.80 (0.70 to 0.90)" in said


def test_a_card_tells_what_would_lift_the_verdict_and_which_are_like_it() -> None:
    row = _row(also="Cherry Cox|Queen <b>Cox</b>")
    said = _read(cards.variety_card(row, [], ["A pollen partner would lift it.", "Nothing else would."])).said
    assert "what if" in said
    assert "A pollen partner would lift it. Nothing else would." in said
    assert "like it" in said
    assert "Cherry Cox and Queen <b>Cox</b>" in said
    bare = _read(cards.variety_card(_row(also=""), [])).said
    assert "what if" not in bare
    assert "like it" not in bare


def test_small_facts_give_dates_with_their_doubt_and_say_what_is_not_known() -> None:
    facts = cards.small_facts(_row(), {}, "needed", "north", "metric")
    assert [fact[:2] for fact in facts] == [
        ("Full bloom", "not known"),
        ("Picked from", "5 August"),
        ("Full-grown height", "not known"),
        ("Pollen partner", "needed"),
    ]
    assert facts[1][2] == "give or take 8 days"


@pytest.mark.parametrize(
    "name",
    [
        "![x](http://127.0.0.1:9/a.png)", "[x](http://127.0.0.1:9/)", "http://127.0.0.1:9/",
        "www.example.org", "a@example.org", "*bold* _it_ ~gone~ `code`", ":red[x] :smile: :material/home:",
        "$x^2$", "<b>x</b>",
        "# x", "1. x", "- x", "> x", "| x |", "&lt;", "-> <- -- >=", "a\n\n# b",
    ],
)  # fmt: skip
def test_a_label_shows_the_letters_of_a_name(name: str) -> None:
    """Streamlit's Markdown is drawn by the browser (tests/browser/test_hostile_names.py); here: nothing is
    lost, and no mark of Markdown stands bare."""
    said = cards.label(name)
    assert re.sub(r"\\(?=[^a-z0-9\s])|\u2060", "", said) == " ".join(name.split())
    assert not re.search(
        r"(?<!\\)[*_\[\]<>~$&|#!`]|^[-+=]|^\d+[.)]|:(?=\S)(?!\u2060)|@(?!\u2060)|www\.", said
    )


@pytest.mark.parametrize("url", ["javascript:alert(1)", "data:text/html,x", "", None, float("nan"), "//x.y"])
def test_only_web_addresses_become_links(url: object) -> None:
    assert _read(cards.link("Title", url)).links == []


def test_the_evidence_table_shows_value_standing_and_source() -> None:
    settled = pd.DataFrame(
        {
            "trait": ["chill_hours", "use"],
            "kind": ["numeric", "set"],
            "value": ["800", "fresh"],
            "number": [800.0, None],
            "low": [700.0, None],
            "high": [900.0, None],
            "unit": ["h", ""],
            "standing": ["published", "unknown"],
            "disagreement": ["500: a nursery (catalogue)", ""],
            "source_ids": ["paper", ""],
        }
    )
    sources = pd.DataFrame(
        {"ref": [1], "source_id": ["paper"], "title": [NASTY], "url": ["https://example.org/a?b=1&c=2"]}
    )
    found = Dossier(
        "apple", NASTY, None, None, "published", (), settled, pd.DataFrame(), sources, pd.DataFrame()
    )
    read = _read(cards.evidence_table(found, "metric"))
    assert "800 hours (700 to 900)" in read.said
    assert "500: a nursery (catalogue)" in read.said
    assert "published" in read.said
    assert read.links == ["https://example.org/a?b=1&c=2"]
    assert "img" not in read.tags


def test_an_empty_dossier_says_so() -> None:
    empty = pd.DataFrame(columns=["trait", "standing"])
    found = Dossier(
        "apple",
        "One",
        None,
        None,
        "published",
        (),
        empty,
        empty,
        pd.DataFrame(columns=["source_id"]),
        pd.DataFrame(),
    )
    assert "Nobody has published" in cards.evidence_table(found, "metric")
