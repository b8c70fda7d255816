"""Names that would be markup, Markdown, formulas, SQL, paths or lines of their own stay names everywhere.

The varieties of a data package of one's own bear them (`hostile.NAMES`), and so do the people, notes and
stock lines here. What a browser makes of the pages: tests/browser/test_hostile_names.py.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import altair as alt
import icalendar
import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from recommender import match_swap, open_catalog
from recommender.catalog import Catalog
from recommender.catalog.package import datasets_folder
from recommender.cli import main
from recommender.drawing_files import save_chart
from recommender.nursery.names import read_lines
from recommender.orchard import papers
from recommender.orchard.drawing import drawn, svg
from recommender.orchard.plan import Plan
from recommender.orchard.plan_file import open_plan, save_plan
from recommender.outputs import csv_text, json_text
from recommender.swap import cards_pdf, exports
from recommender.swap.event_file import Event, event_path, save_event
from recommender.swap.matching import SwapResult
from recommender.swap.offers import Offer, Request
from tests.hardening.hostile import NAMES, hostile_data

ROOT = Path(__file__).parents[2]
_HOSTILE_TAGS = {"img", "script", "iframe", "object", "embed", "link", "base", "form", "a"}
# Letters that steer a terminal; a line end is one only inside a name.
_STEERS = re.compile("[\x00-\x08\x0b-\x1f\x7f\u202a-\u202e\u2066-\u2069]")


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A data package whose quinces bear the names, and which this module's pages and commands read."""
    folder = hostile_data(tmp_path_factory.mktemp("own") / "datasets")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("ORCHARDWRIGHT_DATASETS", str(folder))
        yield folder


@pytest.fixture(scope="module")
def catalog(data: Path) -> Iterator[Catalog]:
    with open_catalog(data) as opened:
        yield opened


class _Tags(HTMLParser):
    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str]] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(name, value or "") for name, value in attrs]


def assert_plain(html: str, links: bool = False) -> None:
    """No tag, no address and no script of a name's in it. links: the page itself links to sources."""
    read = _Tags(html)
    assert not set(read.tags) & (_HOSTILE_TAGS - ({"a"} if links else set()))
    assert not [name for name, _ in read.attributes if name.startswith("on")]
    assert not [value for name, value in read.attributes if name in ("src", "href") and "invalid" in value]


def test_the_data_are_taken_as_they_are_and_found_by_name(catalog: Catalog) -> None:
    varieties = catalog.varieties()
    assert set(NAMES) <= set(varieties.loc[varieties["crop"] == "quince", "variety"])
    for name in NAMES:
        assert len(catalog.settled("quince", name)) > 3
    assert "varieties" in catalog.tables()


@pytest.mark.parametrize("name", NAMES)
def test_a_command_told_such_a_name_answers_in_plain_letters(
    catalog: Catalog, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit):
        main(["show", name, "--crop", "quince"])
    told = capsys.readouterr()
    assert not _STEERS.search(told.out + told.err)
    assert "Traceback" not in told.out + told.err


@pytest.fixture(scope="module")
def plan(catalog: Catalog) -> Plan:
    """The invented plan of the demo, its trees under the names."""
    kept = open_plan(datasets_folder() / "demo" / "withy-hollow-plan.json").plan
    trees = [
        tree.model_copy(update={"variety": name})
        for tree, name in zip((kept.trees * len(NAMES))[: len(NAMES)], NAMES, strict=True)
    ]
    return kept.model_copy(update={"trees": tuple(trees)})


def test_the_planting_sheet_and_the_drawing_hold_them_as_text(plan: Plan, catalog: Catalog) -> None:
    html = papers.html_of(plan, catalog)
    assert_plain(html)
    assert "&lt;img src=" in html
    picture = drawn(plan)
    assert picture is not None
    parts = {part.tag.rpartition("}")[2] for part in ElementTree.fromstring(svg(picture)).iter()}
    assert not parts & {*_HOSTILE_TAGS, "image", "foreignObject"}
    assert papers.pdf_of(plan, catalog).startswith(b"%PDF")


def test_no_name_adds_a_line_to_the_calendar(plan: Plan, catalog: Catalog) -> None:
    events = papers.events_of(plan, catalog, 2027)
    text = papers.calendar_of(plan, catalog, 2027)
    read = icalendar.Calendar.from_ical(text)
    assert len(read.walk("VEVENT")) == len(events)
    assert read.walk("VALARM") == []
    said = " ".join(str(event["summary"]) + str(event["description"]) for event in read.walk("VEVENT"))
    assert "BEGIN:VALARM" in said
    # RFC 5545, 3.1: lines end in CRLF and none is longer than 75 octets.
    lines = text.encode().split(b"\r\n")
    assert not [line for line in lines if len(line) > 75 or b"\n" in line or b"\r" in line]


def test_a_plan_under_such_names_is_saved_and_opened(plan: Plan, tmp_path: Path) -> None:
    save_plan(plan, tmp_path / "plan.json")
    assert [tree.variety for tree in open_plan(tmp_path / "plan.json").plan.trees] == list(NAMES)
    assert [path.name for path in tmp_path.iterdir()] == ["plan.json"]


def test_a_drawing_that_is_a_page_holds_no_script_of_a_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    saved = alt.Chart.save

    def without_its_code(chart: alt.Chart, path: str, **options: Any) -> None:
        """Without the drawing code, which wants a further package (vl-convert)."""
        saved(chart, path, **{**options, "inline": False})

    monkeypatch.setattr(alt.Chart, "save", without_its_code)
    frame = pd.DataFrame({"variety": NAMES, "score": range(len(NAMES))})
    chart = (
        alt.Chart(frame, title=NAMES[1]).mark_point().encode(x="score:Q", y="variety:N", tooltip="variety:N")
    )
    save_chart(chart, tmp_path / "map.html")
    html = (tmp_path / "map.html").read_text(encoding="utf-8")
    assert "window.owned=1" in html
    scripts = [line for line in re.findall(r"<(\w+)", html) if line in ("script", "img")]
    plain = _page_of_chart(tmp_path / "plain.html")
    assert scripts == [line for line in re.findall(r"<(\w+)", plain) if line in ("script", "img")]


def _page_of_chart(path: Path) -> str:
    frame = pd.DataFrame({"variety": ["Vranja"], "score": [1]})
    save_chart(alt.Chart(frame).mark_point().encode(x="score:Q", y="variety:N", tooltip="variety:N"), path)
    return path.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def swap(catalog: Catalog) -> SwapResult:
    """A swap in which people, areas and notes are called so, too."""
    short = [" ".join(name.split())[:60] for name in NAMES]
    offers = [
        Offer(id=name[:40], person=name, area=name, note=name, health=name, variety="Vranja", crop="quince")
        for name in short
    ]
    offers.append(Offer(id="O", person="Wren", variety="![x](http://names.invalid/d) nobody knows"))
    asked = [
        Request(
            id=f"R{n}",
            person=f"{name[:50]} {n}",
            area=name,
            note=name,
            crops=("quince",),
            place="Bristol, England",
        )
        for n, name in enumerate(short)
    ]
    return match_swap(offers, asked, catalog=catalog)


def test_the_sheets_of_a_swap_hold_them_as_text(swap: SwapResult) -> None:
    from recommender.pages.swap_results import match_card

    assert swap.matches
    ticked = tuple(exports.TICKS)
    for match in swap.matches:
        assert_plain(match_card(match))
    for pdf in (cards_pdf.table_cards, cards_pdf.pick_lists):
        assert pdf(swap, NAMES[0], ticked).startswith(b"%PDF")
    for frame in (exports.matches_frame(swap, ticked), exports.unmatched_frame(swap, ticked)):
        cells = [cell for row in csv.reader(io.StringIO(csv_text(frame))) for cell in row]
        assert not [cell for cell in cells if cell[:1] in ("=", "@", "\t", "\r", "\n")]
    assert "NaN" not in json_text(exports.record(swap, ticked))


@pytest.mark.parametrize("name", [*NAMES, "/etc/passwd", "..", "C:\\evil", "a/../../b", "\0", "con"])
def test_an_event_of_such_a_name_is_kept_in_its_folder(name: str, tmp_path: Path) -> None:
    folder = tmp_path / "events"
    if not re.search(r"\w", name):
        return
    path = event_path(name, folder)
    save_event(path, Event(name))
    assert path.parent == folder
    assert {each.parent for each in tmp_path.rglob("*") if each.is_file()} == {folder}


def test_stock_lines_of_such_names_are_read_and_asked_about(catalog: Catalog) -> None:
    stock = read_lines([f"quince {name}" for name in NAMES], catalog)
    assert len(stock.lines) == len(NAMES)
    cells = [cell for row in csv.reader(io.StringIO(csv_text(stock.lines))) for cell in row]
    assert not [cell for cell in cells if cell[:1] in ("=", "@", "\t", "\r", "\n")]


def _bodies(app: AppTest) -> str:
    return "".join(str(part.proto.body) for part in app.get("html") if "<style" not in str(part.proto.body))


def test_the_pages_show_them_as_text(catalog: Catalog) -> None:
    import streamlit as st

    st.cache_resource.clear()
    st.cache_data.clear()
    try:
        app = AppTest.from_file(str(ROOT / "app.py"), default_timeout=120)
        app.query_params["place"] = "Bristol, England"
        app.query_params["crop"] = "Quince"
        app.run()
        assert not app.exception
        said = _bodies(app)
        assert_plain(said)
        assert "&lt;img src=" in said
        page = AppTest.from_string(
            "from recommender.pages import catalog\ncatalog.page()", default_timeout=120
        )
        page.run()
        page.text_input[0].set_value(NAMES[0]).run()
        assert not page.exception
        assert "&lt;img src=" in _bodies(page)
        page.multiselect[1].set_value([f"quince:{name}" for name in NAMES[:3]]).run()
        assert not page.exception
        assert_plain(_bodies(page), links=True)
    finally:
        st.cache_resource.clear()
        st.cache_data.clear()
