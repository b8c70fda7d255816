"""The errand "What will do well here?" in a real browser, from the first question to the download."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.browser.looks import is_phone, keep, sideways, small_controls

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = pytest.mark.browser


def _list_for(page: Page, address: str, place: str) -> None:
    page.goto(address)
    page.get_by_label("Where will it grow?").fill(place)
    page.keyboard.press("Enter")
    page.wait_for_selector(".ow-card")


def test_from_the_first_question_to_the_download(page: Page, address: str, tmp_path: Path) -> None:
    page.goto(address)
    page.wait_for_selector(".ow-empty")
    keep(page, "choose-empty")
    _list_for(page, address, "Bristol, England")
    assert page.get_by_text("Took Bristol, England, United Kingdom").is_visible()
    page.get_by_label("Which fruit?").fill("apple")
    page.get_by_role("option", name="Apple", exact=True).click()
    page.keyboard.press("Escape")
    page.get_by_role("heading", name="apples").wait_for()
    keep(page, "choose-list")

    first = page.locator(".ow-card h3").first.inner_text().split("\n")[0]
    page.get_by_text("Evidence for").first.click()
    page.wait_for_selector(".ow-evidence")
    assert page.locator(".ow-evidence tbody tr").count() > 3
    assert page.locator(".ow-evidence a").first.get_attribute("href", timeout=5000)
    keep(page, "choose-evidence")

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
    assert sideways(page) == []
    assert small_controls(page) == []


def test_an_unknown_place_is_told_where_it_was_asked(page: Page, address: str) -> None:
    page.goto(address)
    page.get_by_label("Where will it grow?").fill("Brisstol")
    page.keyboard.press("Enter")
    page.get_by_text("No place is called “Brisstol”").wait_for()
    assert page.get_by_role("alert").locator("li").count() == 3
    keep(page, "choose-unknown")


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
    keep(page, "choose-calendar")


def test_the_year_at_the_site_is_drawn_when_asked_for(page: Page, address: str) -> None:
    _list_for(page, address, "Bristol, England")
    page.get_by_text("The year at your site").click()
    page.get_by_role("heading", name="Warmth").wait_for()
    charts = page.locator(".stExpander [data-testid=stVegaLiteChart][role=graphics-document]")
    charts.nth(2).wait_for()
    told = [charts.nth(number).get_attribute("aria-label") or "" for number in range(3)]
    for words, start in zip(told, ("Your winters bring", "After", "The coldest weeks"), strict=True):
        assert words.startswith(start)
    assert sideways(page) == []
    page.get_by_role("heading", name="Chill builds up").scroll_into_view_if_needed()
    keep(page, "choose-year")


def test_about_is_one_click_away(page: Page, address: str) -> None:
    page.goto(address)
    page.wait_for_selector(".ow-empty")
    if is_phone(page):
        page.get_by_test_id("stExpandSidebarButton").click()
    page.get_by_role("link", name="About").click()
    page.get_by_role("heading", name="About Orchardwright").wait_for()
    page.get_by_text("statements from").wait_for()
    keep(page, "about")
