"""The page "Who gets which plant?": begin, fill in, match, confirm, reopen; names are text, never markup."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from recommender.pages.swap_results import match_card
from recommender.swap.event_file import Event, confirm, event_path, open_event, save_event
from recommender.swap.matching import Match
from recommender.swap.people import Confirmed


def _draw() -> None:
    from recommender.pages import swap

    swap.page()


def _click(app: AppTest, label: str) -> AppTest:
    return next(button for button in app.button if button.label == label).click().run()


def _html(app: AppTest) -> str:
    return " ".join(str(one.proto.body) for one in app.get("html"))


@pytest.fixture
def app(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> AppTest:
    """The page with an event begun."""
    monkeypatch.setenv("ORCHARDWRIGHT_EVENTS", str(tmp_path))
    started = AppTest.from_function(_draw, default_timeout=300).run()
    assert not started.exception
    started.text_input(key="swap_name").input("Spring swap").run()
    return _click(started, "Begin")


def test_an_event_from_beginning_to_confirmation(app: AppTest, tmp_path: Path) -> None:
    _click(app, "Fill in the invented swap of Withy Hollow")
    _click(app, "Match them")
    assert not app.exception
    assert any("people get a plant" in str(header.value) for header in app.header)
    assert "Left over, and why" in [str(header.value) for header in app.header]
    _click(app, "Confirm all")
    assert not app.exception
    kept = open_event(event_path("Spring swap", tmp_path))
    assert len(kept.confirmed) == len(app.session_state["swap_result"].matches)
    assert all(match.confirmed for match in app.session_state["swap_result"].matches)


def test_an_event_is_reopened_from_its_file(app: AppTest, tmp_path: Path) -> None:
    _click(app, "Fill in the invented swap of Withy Hollow")
    _click(app, "Save the event")
    other = AppTest.from_function(_draw, default_timeout=300).run()
    other.selectbox(key="swap_choice").select("Spring swap").run()
    _click(other, "Open it")
    assert not other.exception
    assert other.session_state["swap_event"] == open_event(event_path("Spring swap", tmp_path))


def test_the_second_organiser_is_told_on_the_page(app: AppTest, tmp_path: Path) -> None:
    _click(app, "Fill in the invented swap of Withy Hollow")
    _click(app, "Save the event")
    path = event_path("Spring swap", tmp_path)
    theirs = confirm(path, open_event(path), [Confirmed("O1", "R8")])
    _click(app, "Save the event")
    assert not app.exception
    assert "Somebody else saved this event" in _html(app)
    assert open_event(path) == theirs


def test_an_offer_without_a_name_is_told_and_not_added(app: AppTest) -> None:
    _click(app, "Add")
    assert not app.exception
    assert "Nobody is named" in _html(app)
    assert app.session_state["swap_event"].offers == ()


def test_an_event_file_that_is_broken_does_not_break_the_page(tmp_path: Path, monkeypatch: Any) -> None:
    monkeypatch.setenv("ORCHARDWRIGHT_EVENTS", str(tmp_path))
    save_event(event_path("Good", tmp_path), Event("Good"))
    (tmp_path / "broken.swap.json").write_text("{")
    app = AppTest.from_function(_draw, default_timeout=300).run()
    assert not app.exception
    assert "Good" in app.selectbox(key="swap_choice").options


def test_markup_in_notes_is_shown_as_text() -> None:
    card = match_card(
        Match(
            "O1",
            "R1",
            1,
            0.5,
            "why",
            "<script>alert(1)</script>",
            "<b>Wren</b>",
            "",
            "Moss",
            "<i>here</i>",
            "apple",
            "<u>Discovery</u>",
            "plant",
        )
    )
    for tag in ("<script>", "<b>", "<i>", "<u>"):
        assert tag not in card
    assert "&lt;script&gt;" in card
