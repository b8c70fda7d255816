"""The catalog's page in Streamlit's own test harness: search, comparison, states, names as text."""

from __future__ import annotations

import pytest
from streamlit.testing.v1 import AppTest


def _catalog(**query: object) -> AppTest:
    def alone() -> None:
        from recommender.pages import catalog

        catalog.page()

    app = AppTest.from_function(alone, default_timeout=120)
    for name, value in query.items():
        app.session_state[name] = value
    app.run()
    assert not app.exception
    return app


def _said(app: AppTest) -> str:
    return " ".join(str(part.proto.body) for part in app.get("html"))


def test_the_empty_page_says_what_to_try() -> None:
    said = _said(_catalog())
    assert "Try <em>Discovery</em>" in said
    assert "<table" not in said


@pytest.mark.parametrize(
    "typed", ["Discovery", "discovry", "DISCOVERY ", "apple discovery is not a name: Discovery"[-9:]]
)
def test_a_name_or_a_slip_of_the_pen_gives_its_evidence(typed: str) -> None:
    app = _catalog()
    app.text_input(key="q").set_value(typed).run()
    assert app.header[0].value == "Discovery"
    assert "published" in _said(app)


def test_names_like_it_can_be_set_side_by_side() -> None:
    app = _catalog()
    app.text_input(key="q").set_value("cox").run()
    next(button for button in app.button if button.label == "Add Holsteiner Cox").click().run()
    assert app.multiselect(key="variety").value == ["apple:Cox's Orange Pippin", "apple:Holsteiner Cox"]
    assert "ow-beside" in _said(app)
    app.toggle(key="differs").set_value(True).run()
    table = next(part for part in _said(app).split("<table") if "ow-beside" in part).split("</table>")[0]
    assert table.count("<tr") - 1 == table.count('class="ow-differs"')


def test_nothing_found_says_what_to_try() -> None:
    app = _catalog()
    app.text_input(key="q").set_value("<b>'; DROP TABLE varieties; --").run()
    said = _said(app)
    assert "No variety is called anything like “&lt;b&gt;&#x27;; DROP TABLE varieties; --”" in said
    assert "<b>" not in said


def test_every_control_has_a_label() -> None:
    app = _catalog(q="cox")
    kinds = ("text_input", "multiselect", "button", "download_button", "toggle")
    labels = [str(getattr(control, "label", "")) for kind in kinds for control in app.get(kind)]
    assert len(labels) > 6
    assert all(label.strip() for label in labels)
