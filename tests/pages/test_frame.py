"""The frame around the pages: units that change, and that no page lets markup through."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

ROOT = Path(__file__).parents[2]
# Fields that hold numbers, never words.
_COUNTS = {"row.rank", "held.version", "one.left", "record['rank']", "MARKS[word]", "MARKS[tree.verdict]"}
PAGES = sorted((ROOT / "recommender" / "pages").glob("*.py"))


def _app() -> AppTest:
    app = AppTest.from_file(str(ROOT / "app.py"), default_timeout=120)
    app.query_params["place"] = "Hobart, Australia"
    app.query_params["crop"] = "Quince"
    return app.run()


def test_numbers_keep_their_meaning_when_the_units_change() -> None:
    app = _app()
    app.number_input(key="space").set_value(3.0).run()
    app.segmented_control(key="units").set_value("imperial").run()
    assert not app.exception
    assert app.number_input(key="space").value == pytest.approx(9.84)
    app.segmented_control(key="units").set_value("metric").run()
    assert app.number_input(key="space").value == pytest.approx(3.0, abs=0.01)


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.stem)
def test_no_page_writes_markup_but_through_the_one_escape(path: Path) -> None:
    """`unsafe_allow_html` is used nowhere, and no text with a tag in it takes up a field as it stands: names
    and notes go through `cards.text`."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    names = {node.arg for node in ast.walk(tree) if isinstance(node, ast.keyword)}
    assert not names & {"unsafe_allow_html", "unsafe_allow_javascript"}
    for text in ast.walk(tree):
        if not isinstance(text, ast.JoinedStr):
            continue
        written = "".join(str(part.value) for part in text.values if isinstance(part, ast.Constant))
        bare = [
            ast.unparse(part.value)
            for part in text.values
            if isinstance(part, ast.FormattedValue) and isinstance(part.value, ast.Attribute | ast.Subscript)
            if part.format_spec is None and ast.unparse(part.value) not in _COUNTS
        ]
        assert "<" not in written or not bare, f"{path.name}:{text.lineno} writes {bare} as they stand"
