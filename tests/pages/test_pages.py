"""The pages, run without a browser: what they ask, what they show, how they fail."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

SCRIPT = str(Path(__file__).parents[2] / "app.py")
FIRST_SCREEN_MOST = 8


def _app(**query: str) -> AppTest:
    app = AppTest.from_file(SCRIPT, default_timeout=120)
    for name, value in query.items():
        app.query_params[name] = value
    return app.run()


def _said(app: AppTest) -> str:
    return " ".join(str(part.proto.body) for part in app.get("html"))


@pytest.fixture(scope="module")
def bristol() -> AppTest:
    app = _app()
    app.text_input(key="place").set_value("Bristol, England").run()
    app.multiselect(key="crop").set_value(["apple"]).run()
    return app


def test_the_empty_page_says_what_to_try() -> None:
    app = _app()
    assert not app.exception
    assert app.title[0].value == "What will do well here?"
    assert "Bristol, England" in _said(app)
    assert "<article" not in _said(app)


def test_the_place_alone_gives_a_first_list() -> None:
    app = _app()
    app.text_input(key="place").set_value("Hobart, Australia").run()
    assert not app.exception
    assert _said(app).count("<article") == 10
    assert "Took Hobart, Tasmania, Australia" in _said(app)


def test_the_list_says_place_climate_verdicts_and_reasons(bristol: AppTest) -> None:
    assert not bristol.exception
    said = _said(bristol)
    for words in ("Took Bristol, England, United Kingdom", "Hardiness zone", "Last spring frost", "◐", "why"):
        assert words in said
    assert any("apples" in heading.value for heading in bristol.header)


def test_cards_and_table_show_the_same_order(bristol: AppTest) -> None:
    # Streamlit before 1.65 hands pills to tests as button groups.
    pills = bristol.get("pills") or bristol.get("button_group")
    labels = [str(getattr(each, "label", "")) for each in pills]
    names = [label.removeprefix("More on ") for label in labels if label.startswith("More on ")]
    names.remove("the site")
    bristol.segmented_control(key="view").set_value("table").run()
    table = bristol.dataframe[0].value
    bristol.segmented_control(key="view").set_value("cards").run()
    assert list(table["variety"]) == names
    # A number is left out where a strain of a variety above stands with that variety.
    ranks = list(table["rank"])
    assert ranks == sorted(set(ranks))
    assert ranks[0] == 1


def test_ten_more_are_shown_when_asked_for(bristol: AppTest) -> None:
    next(button for button in bristol.button if button.label == "Show ten more").click().run()
    assert _said(bristol).count("<article") == 20


def test_every_control_has_a_label(bristol: AppTest) -> None:
    kinds = ("text_input", "number_input", "multiselect", "selectbox", "radio", "button_group", "button")
    labels = [str(getattr(control, "label", "")) for kind in kinds for control in bristol.get(kind)]
    assert len(labels) >= FIRST_SCREEN_MOST
    assert all(label.strip() for label in labels)


def test_an_unknown_place_is_told_with_the_nearest_and_no_list() -> None:
    app = _app()
    app.text_input(key="place").set_value("<b>Brisstol</b>").run()
    assert not app.exception
    said = _said(app)
    assert "No place is called “&lt;b&gt;Brisstol&lt;/b&gt;”" in said
    assert "<b>Bris" not in said
    assert "<article" not in said


def test_imperial_changes_units_and_dates() -> None:
    app = _app()
    app.text_input(key="place").set_value("Geneva, New York").run()
    app.segmented_control(key="units").set_value("imperial").run()
    assert "°F" in _said(app)
    assert any("feet" in control.label for control in app.number_input)


def test_zone_and_chill_serve_without_a_place() -> None:
    app = _app()
    app.radio(key="by").set_value("figures").run()
    app.text_input(key="zone").set_value("6b").run()
    app.text_input(key="chill").set_value("1100").run()
    assert not app.exception
    assert "zone and the winter chill you gave" in _said(app)
    assert "<article" in _said(app)


def test_a_broken_data_folder_is_told_on_the_page(small_data: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (small_data / "crops.csv").write_text("crop\napple\napple\n", encoding="utf-8")
    monkeypatch.setenv("ORCHARDWRIGHT_DATASETS", str(small_data))
    import streamlit as st

    st.cache_resource.clear()
    app = _app()
    st.cache_resource.clear()
    assert not app.exception
    assert "crops.csv" in _said(app)


def test_about_tells_method_build_cautions_and_licences() -> None:
    app = AppTest.from_string("from recommender.pages import about\nabout.page()", default_timeout=120).run()
    assert not app.exception
    said = _said(app)
    for words in (
        "ruled out",
        "common practice",
        "plant-health authority",
        "statements from",
        "Apache License",
    ):
        assert words in said
