"""The errand "What can I offer instead?" in a real browser, from the first question to the download."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from openpyxl import Workbook, load_workbook

from tests.browser.looks import assert_fit, is_phone, keep, pick, settled, sized, visit

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = pytest.mark.browser

QUESTION = "Which variety is sold out?"
LIST = "Your stock list (CSV or XLSX)"
ORDERS = "Your order list (CSV or XLSX)"


def _desk(page: Page, address: str) -> None:
    visit(page, f"{address}/offer")


def _ask(page: Page, name: str) -> None:
    page.get_by_label(QUESTION).fill(name)
    page.keyboard.press("Enter")


def _send(page: Page, label: str, path: Path) -> None:
    page.get_by_test_id("stFileUploader").filter(has_text=label).locator("input[type=file]").set_input_files(
        path
    )


def test_from_the_first_question_to_the_download(page: Page, address: str, tmp_path: Path) -> None:
    _desk(page, address)
    page.get_by_text("Nothing asked yet").wait_for()
    assert_fit(page)
    keep(page, "desk-empty")

    _ask(page, "Spartan")
    page.locator(".ow-three .ow-card").nth(2).wait_for()
    settled(page)
    if not is_phone(page):
        last = page.locator(".ow-three .ow-card").last.bounding_box()
        assert last is not None
        assert last["y"] + last["height"] <= 900, "the three stand-ins do not fit one screen"
    keep(page, "desk-found")

    page.get_by_text("Try it with the invented orders").click()
    page.get_by_role("heading", name="What stays unfilled, and why").wait_for()
    page.get_by_text("is not known for certain").first.wait_for()
    assert_fit(page)
    keep(page, "desk-orders", whole=True)

    with page.expect_download() as started:
        page.get_by_role("button", name="Download the result (CSV)").click()
    started.value.save_as(tmp_path / "filled.csv")
    rows = list(csv.DictReader(io.StringIO((tmp_path / "filled.csv").read_text(encoding="utf-8"))))
    with page.expect_download() as started:
        page.get_by_role("button", name="Download the result (XLSX)").click()
    started.value.save_as(tmp_path / "filled.xlsx")
    book = load_workbook(tmp_path / "filled.xlsx")
    assert book.sheetnames == ["every tree", "sent", "unfilled", "buy in", "faults"]
    assert book["every tree"].max_row == len(rows) + 1
    assert {row["order"] for row in rows} == {f"W-{number}" for number in range(101, 114)}
    assert {row["kind"] for row in rows} == {"as ordered", "stand-in", "unfilled"}


def test_own_list_columns_corrected_and_a_decision_kept(
    open_page: Callable[..., Page], address: str, tmp_path: Path
) -> None:
    """A list whose headings say nothing: told, columns chosen, then a line decided for good."""
    page = open_page(390)
    path = tmp_path / "codes.csv"
    riddle = "Squire's Own"
    path.write_text(f"Code,What,Left\nK1,apple Katy,4\nK2,apple {riddle},2\n", encoding="utf-8")
    _desk(page, address)
    _send(page, LIST, path)
    page.get_by_text("No heading was understood").wait_for()
    keep(page, "desk-columns")
    _choose(page, "Variety", "What")
    page.get_by_text(f"{path.name}: 1 of 2 lines decided, 1 to look at.").wait_for()
    _choose(page, "Number", "Left")
    settled(page)
    page.get_by_text("Lines to decide: 1").click()
    page.get_by_label(f"Row 3: apple {riddle}").fill("apple:Discovery")
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Keep these decisions").click()
    page.get_by_text(f"{path.name}: 2 of 2 lines decided, 0 to look at.").wait_for()
    _ask(page, "Spartan")
    page.locator(".ow-three .ow-card").nth(1).wait_for()
    said = page.locator(".ow-three").inner_text()
    assert "Discovery" in said
    assert "2 in stock" in said


def _choose(page: Page, label: str, option: str) -> None:
    pick(page, page.get_by_label(label, exact=True), option)


def test_markup_in_a_list_is_shown_as_text(
    open_page: Callable[..., Page], address: str, tmp_path: Path
) -> None:
    page = open_page(390)
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    for row in (
        ["Variety", "Qty"],
        ["apple Katy <b id=bold>x</b>", 4],
        ["<img src=x onerror=alert(1)>", 2],
        ["apple Discovery", "=1+1"],
        ["apple Sunset", 3],
    ):
        sheet.append(row)
    book.save(tmp_path / "list.xlsx")
    _desk(page, address)
    _send(page, LIST, tmp_path / "list.xlsx")
    page.get_by_text("list.xlsx:").wait_for()
    page.get_by_text("Lines to decide").click()
    page.get_by_text("<img src=x onerror=alert(1)>").first.wait_for()
    page.get_by_text("Cells that could not be used: 1").click()
    page.get_by_text("list.xlsx, row 4, column “Qty”: a formula is not read").wait_for()
    assert page.locator("#bold").count() == 0
    assert page.locator("img[src=x]").count() == 0


def test_errors_are_told_where_they_happen(
    open_page: Callable[..., Page], address: str, tmp_path: Path
) -> None:
    page = open_page(1280)
    _desk(page, address)
    _ask(page, "Spartn")
    page.get_by_text("No variety is called “Spartn”").wait_for()
    assert page.get_by_role("heading", name="Your list as read").is_visible()
    (tmp_path / "orders.csv").write_text("Order,Customer\n1,Ada\n", encoding="utf-8")
    _send(page, ORDERS, tmp_path / "orders.csv")
    page.get_by_text("No column holds the names of the varieties").wait_for()
    assert_fit(page)
    sized(page, 390)
    assert_fit(page)
    keep(page, "desk-errors", whole=True)
    (tmp_path / "broken.xlsx").write_bytes(b"PK\x03\x04 no workbook")
    _send(page, LIST, tmp_path / "broken.xlsx")
    page.get_by_text("The workbook cannot be read (broken.xlsx)").wait_for()
