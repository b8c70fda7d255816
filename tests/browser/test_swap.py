"""The errand "Who gets which plant?" in a real browser: from a new event to the lists in hand."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from recommender.catalog.package import datasets_folder
from tests.browser.looks import assert_fit, is_phone, keep, pick, settled, sized, visit

if TYPE_CHECKING:
    from playwright.sync_api import Download, Page

pytestmark = pytest.mark.browser

REQUESTS = """request,person,area,varieties,crops,take,neighbours,existing trees,rootstocks
R1,Bracken,Church End,,apple,2,no,,MM.106
R2,Teasel,Mill Lane,,quince,1,yes,,
R3,'=cmd,Ford Cottages,Discovery,,1,no,,
"""


def _open(page: Page, address: str) -> None:
    visit(page, f"{address}/swap")


def _begin(page: Page, address: str, name: str) -> None:
    _open(page, address)
    page.get_by_label("Its name").fill(name)
    page.get_by_label("Its name").press("Enter")
    page.get_by_role("button", name="Begin").click()
    page.get_by_role("heading", name="What people bring").wait_for()
    settled(page)


def _add_offer(page: Page, person: str, variety: str, note: str) -> None:
    page.get_by_role("button", name="Add one").first.click()
    form = page.get_by_test_id("stPopoverBody")
    form.get_by_label("Nickname").fill(person)
    form.get_by_label("Area").fill("Mill Lane")
    form.get_by_label("Fruit").fill("apple")
    page.get_by_role("option", name="Apple", exact=True).click()
    form.get_by_role("textbox", name="Variety").fill(variety)
    form.get_by_label("Pests or diseases seen?").fill(note)
    form.get_by_role("button", name="Add", exact=True).click()
    settled(page)
    page.keyboard.press("Escape")
    settled(page)


def _saved(started: Download, folder: Path) -> bytes:
    path = folder / started.suggested_filename
    started.save_as(path)
    return path.read_bytes()


def test_from_a_new_event_to_the_lists_in_hand(
    page: Page, address: str, tmp_path: Path, open_page: Callable[..., Page]
) -> None:
    name = "Phone swap" if is_phone(page) else "Desk swap"
    _open(page, address)
    page.wait_for_selector(".ow-empty")
    keep(page, "swap-empty")
    _begin(page, address, name)

    page.get_by_label("Country or state").fill("United Kingdom")
    page.get_by_label("Where most gardens are").fill("Taunton, England")
    page.get_by_role("spinbutton", name="year, Day of the swap").click()
    page.keyboard.type("20270213")
    page.get_by_role("button", name="Keep these").click()
    settled(page)

    _add_offer(page, "<b>Wren</b>", "Discovry", "<img src=x onerror=alert(1)> none")
    page.get_by_text("1 offer, 0 requests").wait_for()
    offers = tmp_path / "offers.csv"
    lines = (datasets_folder() / "demo" / "swap-offers.csv").read_text(encoding="utf-8")
    offers.write_text(lines.replace("O1,", "O31,", 1), encoding="utf-8")
    requests = tmp_path / "requests.csv"
    requests.write_text(REQUESTS, encoding="utf-8")
    uploads = page.locator("input[type=file]")
    uploads.nth(0).set_input_files(offers)
    page.get_by_text("13 offers").wait_for()
    uploads.nth(1).set_input_files(requests)
    page.get_by_text("3 requests").wait_for()
    settled(page)
    keep(page, "swap-filled", whole=True)

    page.get_by_role("button", name="Match them").click()
    page.get_by_role("heading", name="3 of 3 people get a plant").wait_for()
    settled(page)
    assert page.locator(".ow-card").count() >= 3
    assert page.locator(".ow-card img, .ow-card b").count() == 0
    keep(page, "swap-matched", whole=True)

    pick(page, page.get_by_label("What is “Grandfather's Red” of O9?"))
    page.get_by_role("button", name="It is this one").click()
    page.get_by_text("save the event to keep that").wait_for()
    settled(page)

    page.get_by_role("button", name="Save the event").click()
    page.get_by_text("Saved as version 1").wait_for()
    settled(page)
    page.get_by_role("button", name="Confirm all").click()
    page.get_by_text("confirmed and saved, version").wait_for()
    settled(page)
    assert_fit(page)

    other = open_page(1280)
    _open(other, address)
    pick(other, other.get_by_label("Event", exact=True), name)
    other.get_by_role("button", name="Open it", exact=True).click()
    other.get_by_text("Opened version").wait_for()
    _add_offer(other, "Fern", "Ashmead's Kernel", "")
    other.get_by_role("button", name="Save the event").click()
    other.get_by_text("Saved as version").wait_for()
    page.get_by_role("button", name="Save the event").click()
    page.get_by_text("Somebody else saved this event").wait_for()
    keep(page, "swap-told")
    page.get_by_role("button", name="Open it again as it is kept").click()
    page.get_by_text("14 offers").wait_for()
    settled(page)

    page.get_by_role("button", name="Match them").click()
    page.get_by_role("heading", name="Lists to print and keep").wait_for()
    settled(page)
    with page.expect_download() as started:
        page.get_by_role("button", name="Matches (CSV)").click()
    rows = list(csv.DictReader(io.StringIO(_saved(started.value, tmp_path).decode("utf-8"))))
    assert {row["taker"] for row in rows} == {"Bracken", "Teasel", "'=cmd"}
    assert "taker_area" not in rows[0]
    page.get_by_role("button", name="nicknames").click()
    settled(page)
    with page.expect_download() as started:
        page.get_by_role("button", name="Matches (CSV)").click()
    assert b"Bracken" not in _saved(started.value, tmp_path)
    for label in ("Table cards (PDF)", "Pick lists (PDF)"):
        with page.expect_download() as started:
            page.get_by_role("button", name=label).click()
        assert _saved(started.value, tmp_path).startswith(b"%PDF")


def test_a_table_with_faults_is_told_by_row_and_column(open_page: Callable[..., Page], address: str) -> None:
    page = open_page(1280)
    _begin(page, address, "Faults")
    page.locator("input[type=file]").nth(0).set_input_files(
        {"name": "offers.csv", "mimeType": "text/csv", "buffer": b"person,variety,qty\nWren,Discovery,many\n"}
    )
    page.get_by_text("offers.csv, line 2, column “qty”").wait_for()
    assert page.get_by_role("alert").count() >= 1
    page.get_by_text("0 offers").wait_for()
    assert_fit(page)
    sized(page, 390)
    assert_fit(page)
