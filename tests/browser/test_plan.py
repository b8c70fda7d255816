"""The errand "What shall I plant together?" in a real browser, from the first question to the papers."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import icalendar
import pytest

from tests.browser.looks import assert_fit, keep, settled, visit

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = pytest.mark.browser

DEMO = Path(__file__).parents[2] / "datasets" / "demo" / "withy-hollow-plan.json"


def _answer(page: Page, label: str, value: str) -> None:
    page.get_by_label(label).fill(value)
    page.keyboard.press("Enter")


def _saved(page: Page, button: str, folder: Path) -> Path:
    with page.expect_download() as started:
        page.get_by_role("button", name=button).click()
    path = folder / started.value.suggested_filename
    started.value.save_as(path)
    return path


def test_from_the_first_question_to_the_papers(page: Page, address: str, tmp_path: Path) -> None:
    visit(page, f"{address}/plan")
    page.wait_for_selector(".ow-empty")
    keep(page, "plan-empty")
    page.get_by_label("Which fruit?").fill("quin")
    page.get_by_role("option", name="Quince", exact=True).click()
    page.get_by_label("Which fruit?").fill("hazel")
    page.get_by_role("option", name="Hazelnut", exact=True).click()
    page.keyboard.press("Escape")
    _answer(page, "How many trees, at most?", "3")
    page.get_by_text("More about the planting").click()
    _answer(page, "Plot, left to right", "14")
    _answer(page, "Plot, bottom to top", "12")
    _answer(page, "Where will it grow?", "Bristol, England")
    page.get_by_role("heading", name="3 trees to plant").wait_for()
    drawing = page.get_by_role("img", name="Plot of 14 m by 12 m")
    drawing.wait_for()
    assert drawing.evaluate("e => e.naturalWidth") > 100
    assert page.locator(".ow-card").count() == 3
    assert_fit(page)
    keep(page, "plan-solved", whole=True)

    # A tree that is kept stays, one that is left out goes.
    kept = page.get_by_role("button", name="Keep ").first.inner_text().removeprefix("Keep ")
    page.get_by_role("button", name="Keep ").first.click()
    page.get_by_text("kept at your wish").wait_for()
    settled(page)
    gone = page.get_by_role("button", name="Leave out ").nth(1).inner_text().removeprefix("Leave out ")
    page.get_by_role("button", name="Leave out ").nth(1).click()
    page.get_by_text(f"Left out at your wish: {gone}").wait_for()
    settled(page)
    names = " ".join(page.locator(".ow-card h3").all_inner_texts())
    assert kept in names
    assert gone not in names
    keep(page, "plan-kept", whole=True)

    for button, start in (("Planting sheet (PDF, A4)", b"%PDF"), ("Planting sheet to print", b"<!doctype")):
        assert _saved(page, button, tmp_path).read_bytes().startswith(start)
    calendar = icalendar.Calendar.from_ical(_saved(page, "Dates for your calendar", tmp_path).read_bytes())
    assert any("Pick" in str(entry["summary"]) for entry in calendar.walk("VEVENT"))
    plan = json.loads(_saved(page, "The plan, to open again", tmp_path).read_text(encoding="utf-8"))
    assert plan["schema"] == "orchardwright-plan"
    assert [tree["locked"] for tree in plan["trees"]].count(True) == 1


def test_wishes_that_cannot_be_met_are_named(open_page: Callable[..., Page], address: str) -> None:
    page = open_page(390)
    page.goto(f"{address}/?place=Bristol%2C+England&crop=Quince&crop=Hazelnut")
    page.wait_for_selector(".ow-card")
    page.get_by_role("link", name="Plan", exact=True).click()
    page.get_by_role("heading", name="trees to plant").wait_for()
    settled(page)
    for number in (1, 2):
        page.get_by_role("button", name="Keep ").first.click()
        page.locator(".ow-card", has_text="kept at your wish").nth(number - 1).wait_for()
        settled(page)
    _answer(page, "How many trees, at most?", "1")
    page.get_by_text("The fewest wishes to give up").wait_for()
    settled(page)
    assert page.get_by_role("alert").locator("li").count() == 1
    keep(page, "plan-infeasible", whole=True)
    page.get_by_role("button", name="Insist on no tree").click()
    page.get_by_role("heading", name="1 tree to plant").wait_for()


def test_a_saved_plan_is_opened(open_page: Callable[..., Page], address: str) -> None:
    page = open_page(1280)
    visit(page, f"{address}/plan")
    page.get_by_text("More about the planting").click()
    page.get_by_role("tab", name="Saved plan").click()
    page.locator("[data-testid=stFileUploader] input").last.set_input_files(DEMO)
    page.get_by_role("heading", name="8 trees to plant").wait_for()
    settled(page)
    assert page.get_by_text("A saved plan, made with version").is_visible()
    page.get_by_role("heading", name="Where they stand").wait_for()
    keep(page, "plan-opened", whole=True)
    page.get_by_role("button", name="Close this plan").click()
    page.wait_for_selector(".ow-empty")
