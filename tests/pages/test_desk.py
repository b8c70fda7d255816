"""The desk's page in Streamlit's own test harness: three stand-ins on the screen, names as text, errors in
words."""

from __future__ import annotations

from html import escape
from pathlib import Path

from streamlit.testing.v1 import AppTest

from recommender import open_catalog, substitutes
from recommender.catalog.package import datasets_folder
from recommender.nursery.names import read_stock
from recommender.nursery.stock_files import read_table


def _desk() -> AppTest:
    """The page alone, as `app.py` would show it."""

    def alone() -> None:
        from recommender.pages import desk

        desk.page()

    app = AppTest.from_function(alone, default_timeout=120)
    app.run()
    assert not app.exception
    return app


def _shown(app: AppTest) -> str:
    return "\n".join(str(block.proto.body) for block in app.get("html"))


def test_page_shows_the_three_stand_ins_of_the_library() -> None:
    app = _desk()
    app.text_input(key="sold_out").set_value("apple:Cox's Orange Pippin").run()
    assert not app.exception
    catalog = open_catalog()
    demo: Path = datasets_folder() / "demo" / "nursery-stock.csv"
    found = substitutes("apple:Cox's Orange Pippin", read_stock(read_table(demo), catalog), catalog=catalog)
    shown = _shown(app)
    assert shown.count('<article class="ow-card">') == 3
    places = [shown.index(f"</span>{escape(name)}</h3>") for name in found.frame["variety"]]
    assert places == sorted(places)


def test_unknown_name_is_answered_with_the_nearest() -> None:
    app = _desk()
    app.text_input(key="sold_out").set_value("Discovry").run()
    assert not app.exception
    assert "Discovery" in _shown(app)


def test_typed_markup_stays_text() -> None:
    app = _desk()
    app.text_input(key="sold_out").set_value("<b>Discovery</b><script>").run()
    assert not app.exception
    assert "<script>" not in _shown(app)
