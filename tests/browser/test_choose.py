"""The errand "What will do well here?" in a real browser, from the first question to the download."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.browser.conftest import OUTPUT

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.browser

WIDTHS = (1280, 390)
PATIENCE_MS = 90_000
SMALLEST_CONTROL_PX = 44


@pytest.fixture(params=WIDTHS, ids=lambda width: f"{width}px")
def page(request: pytest.FixtureRequest, browser: Browser) -> Iterator[Page]:
    """A fresh page; fails at the end if the console told of an error or a request left this machine."""
    context = browser.new_context(viewport={"width": request.param, "height": 900}, accept_downloads=True)
    opened = context.new_page()
    opened.set_default_timeout(PATIENCE_MS)
    errors: list[str] = []
    left: list[str] = []
    opened.on("console", lambda told: errors.append(told.text) if told.type == "error" else None)
    opened.on("pageerror", lambda error: errors.append(str(error)))
    opened.on("request", lambda asked: left.append(asked.url) if not _stays_here(asked.url) else None)
    yield opened
    context.close()
    assert errors == []
    assert left == []


def _stays_here(url: str) -> bool:
    return url.startswith(("http://127.0.0.1:", "ws://127.0.0.1:", "data:", "blob:"))


def _picture(page: Page, name: str) -> None:
    width = (page.viewport_size or {"width": 0})["width"]
    page.screenshot(path=OUTPUT / f"{name}-{width}.png")


def _list_for(page: Page, address: str, place: str) -> None:
    page.goto(address)
    page.get_by_label("Where will it grow?").fill(place)
    page.keyboard.press("Enter")
    page.wait_for_selector(".ow-card")


def test_from_the_first_question_to_the_download(page: Page, address: str, tmp_path: Path) -> None:
    page.goto(address)
    page.wait_for_selector(".ow-empty")
    _picture(page, "choose-empty")
    _list_for(page, address, "Bristol, England")
    assert page.get_by_text("Took Bristol, England, United Kingdom").is_visible()
    page.get_by_label("Which fruit?").fill("apple")
    page.get_by_role("option", name="Apple", exact=True).click()
    page.keyboard.press("Escape")
    page.get_by_role("heading", name="apples").wait_for()
    _picture(page, "choose-list")

    first = page.locator(".ow-card h3").first.inner_text().split("\n")[0]
    page.get_by_text("Evidence for").first.click()
    page.wait_for_selector(".ow-evidence")
    assert page.locator(".ow-evidence tbody tr").count() > 3
    assert page.locator(".ow-evidence a").first.get_attribute("href", timeout=5000)
    _picture(page, "choose-evidence")

    with page.expect_download() as started:
        page.get_by_role("button", name="Download all").click()
    path = tmp_path / "list.csv"
    started.value.save_as(path)
    assert started.value.suggested_filename == "orchardwright-shortlist.csv"
    rows = list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))
    assert len(rows) > 300
    assert {row["crop"] for row in rows} == {"apple"}
    assert rows[0]["variety"] in first


def test_nothing_scrolls_sideways_and_controls_are_large_enough(page: Page, address: str) -> None:
    _list_for(page, address, "Bristol, England")
    page.get_by_text("Six more answers").click()
    page.get_by_label("What is the soil?").wait_for()
    wide, shown = page.locator("[data-testid=stMain]").evaluate("e => [e.scrollWidth, e.clientWidth]")
    assert wide <= shown
    boxes = (
        "[data-testid=stTextInputRootElement], [data-testid=stNumberInputContainer], "
        ".react-aria-ComboBox > [role=group], .stButton button, .stDownloadButton button, "
        ".stButtonGroup button, .stExpander summary, [data-testid=stRadioOption]"
    )
    heights = page.locator(boxes).evaluate_all(
        "all => all.filter(e => e.offsetParent).map(e => [e.innerText, e.getBoundingClientRect().height])"
    )
    assert len(heights) > 15
    assert [box for box in heights if box[1] < SMALLEST_CONTROL_PX] == []


def test_an_unknown_place_is_told_where_it_was_asked(page: Page, address: str) -> None:
    page.goto(address)
    page.get_by_label("Where will it grow?").fill("Brisstol")
    page.keyboard.press("Enter")
    page.get_by_text("No place is called “Brisstol”").wait_for()
    assert page.get_by_role("alert").locator("li").count() == 3
    _picture(page, "choose-unknown")


def test_a_name_with_markup_is_shown_as_text(page: Page, address: str) -> None:
    page.goto(address)
    page.get_by_label("Where will it grow?").fill("Zzyqx <b id=bold>bold</b>")
    page.keyboard.press("Enter")
    page.get_by_text("Zzyqx <b id=bold>bold</b>").wait_for()
    assert page.locator("#bold").count() == 0


def test_the_address_keeps_the_answers(page: Page, address: str) -> None:
    page.goto(f"{address}/?place=Hobart%2C+Australia&crop=Quince")
    page.wait_for_selector(".ow-card")
    assert page.get_by_label("Where will it grow?").input_value() == "Hobart, Australia"
    assert page.get_by_text("Took Hobart, Tasmania, Australia").is_visible()
    page.get_by_role("heading", name="quinces").wait_for()


def test_the_harvest_calendar_tells_the_blind_what_it_shows(page: Page, address: str) -> None:
    _list_for(page, address, "Bristol, England")
    chart = page.locator("[data-testid=stVegaLiteChart][role=graphics-document]")
    chart.wait_for()
    words = chart.get_attribute("aria-label") or ""
    assert "likely to be picked between" in words
    _picture(page, "choose-calendar")


def test_about_is_one_click_away(page: Page, address: str) -> None:
    page.goto(address)
    page.wait_for_selector(".ow-empty")
    if (page.viewport_size or {"width": 0})["width"] < 600:
        page.get_by_test_id("stExpandSidebarButton").click()
    page.get_by_role("link", name="About").click()
    page.get_by_role("heading", name="About Orchardwright").wait_for()
    page.get_by_text("statements from").wait_for()
    _picture(page, "about")
