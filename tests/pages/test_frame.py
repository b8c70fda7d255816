"""The frame around the pages: units that change, and that no page lets markup through."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

ROOT = Path(__file__).parents[2]
# Fields that hold numbers, never words.
_COUNTS = {"row.rank", "held.version", "one.left", "record['rank']", "MARKS[word]", "MARKS[tree.verdict]"}
# What Streamlit reads as Markdown: its first argument, and `label`, `help` and `text` of any control.
_MARKDOWN = {
    "title", "header", "subheader", "caption", "markdown", "write", "error", "warning", "info", "success",
    "exception", "text_input", "text_area", "number_input", "date_input", "radio", "pills", "selectbox",
    "segmented_control", "button", "expander", "popover", "toggle", "checkbox", "spinner", "multiselect",
    "download_button", "file_uploader", "tabs", "form_submit_button", "link_button", "metric",
    "toast", "status", "slider", "select_slider", "dialog", "Column", "TextColumn", "NumberColumn",
}  # fmt: skip
# Fields of a label that never hold a name: numbers, units, and words of the page's own.
_OWN_WORDS = {
    "MOST", "length", "volume", "number", "shown", "size", "words", "what", "title", "heading", "label",
    "_COLUMNS['confidence']", "ground_text.EXAMPLE", "found.served", "found.people", "said",
    "row['line']", "entry.word",
}  # fmt: skip
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


def _loose(told: ast.expr) -> list[str]:
    """Parts of a label that may hold a name and are not made plain by `cards.label`."""
    match told:
        case ast.Constant():
            return []
        case ast.List():
            return [name for part in told.elts for name in _loose(part)]
        case ast.JoinedStr():
            return [name for part in told.values for name in _loose(part)]
        case ast.FormattedValue():
            return [] if told.format_spec is not None else _loose(told.value)
        case ast.IfExp():
            return _loose(told.body) + _loose(told.orelse)
        case ast.Call() if ast.unparse(told.func) in ("cards.label", "len"):
            return []
    said = ast.unparse(told)
    return [] if said in _OWN_WORDS else [said]


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.stem)
def test_no_name_becomes_markdown(path: Path) -> None:
    """Headings and labels of controls are Markdown, which can hold links and pictures from elsewhere: what is
    no word of the page's own goes through `cards.label`."""
    for call in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if not (isinstance(call, ast.Call) and isinstance(call.func, ast.Attribute)):
            continue
        told = [word.value for word in call.keywords if word.arg in ("label", "help", "text", "caption")]
        # `cards` makes HTML; its own functions are asked about above.
        if call.func.attr in _MARKDOWN and ast.unparse(call.func.value) != "cards":
            told += call.args[:1]
        loose = [name for part in told for name in _loose(part)]
        assert not loose, f"{path.name}:{call.lineno} shows {loose} as Markdown"


def test_the_guard_of_labels_sees_a_name() -> None:
    bare, counted = (
        ast.parse(said, mode="eval").body for said in ('f"Add {row.variety}"', 'f"{len(x)} rows"')
    )
    assert _loose(bare) == ["row.variety"]
    assert _loose(counted) == []
