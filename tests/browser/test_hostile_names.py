"""Names that mean harm, in a real browser: nothing of them runs, is fetched, or becomes a link or a picture.

The varieties of a data package of one's own bear them, and so do stock lines and the people of a swap
(tests/hardening/hostile.py). That no request leaves the machine is asked of every page by `open_page`.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.browser.conftest import served
from tests.browser.looks import settled, visit
from tests.hardening.hostile import NAMES, hostile_data

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Dialog, Page

pytestmark = pytest.mark.browser
_MADE_OF_NAMES = (
    "img[src*=invalid], a[href*='//names'], a[href*='www.names'], iframe, object, embed, .katex, "
    ".stMarkdown img, [data-testid=stMarkdownContainer] em, [data-testid=stMarkdownContainer] code"
)
# Without letters that no page shows: those that steer, and ends of lines.
_SHOWN = [name for name in NAMES if name.isprintable()]


@pytest.fixture(scope="module")
def hostile(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Where the app is served with the hostile data."""
    folder = tmp_path_factory.mktemp("hostile")
    data = hostile_data(folder / "datasets")
    with served(
        folder / "home", ORCHARDWRIGHT_DATASETS=str(data), ORCHARDWRIGHT_CACHE=str(folder / "cache")
    ) as url:
        yield url


def _assert_harmless(page: Page) -> None:
    assert page.evaluate("window.owned") is None
    found = page.locator(_MADE_OF_NAMES)
    assert found.count() == 0, found.first.evaluate("each => each.outerHTML")


def _said(page: Page, selector: str) -> str:
    """Words of all such elements, shown or folded away, without the letter with which `cards.label` parts."""
    return "\n".join(page.locator(selector).all_text_contents()).replace("\u2060", "")


def _table(path: Path, rows: list[list[str]]) -> Path:
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(rows)
    return path


def test_names_stay_letters_on_every_page_that_shows_them(
    open_page: Callable[..., Page], hostile: str, tmp_path: Path
) -> None:
    page = open_page()
    dialogs: list[str] = []

    def dismissed(dialog: Dialog) -> None:
        dialogs.append(dialog.message)
        dialog.dismiss()

    page.on("dialog", dismissed)

    visit(page, f"{hostile}/choose?place=Bristol%2C+England&crop=Quince")
    page.wait_for_selector(".ow-card")
    settled(page)
    cards, labels = _said(page, ".ow-card"), _said(page, "[data-testid=stWidgetLabel]")
    named = [name for name in _SHOWN if f"{name} quince" in cards.replace("\n", " ")]
    assert NAMES[2] in named, named
    assert not [name for name in named if f"More on {name}" not in labels], labels
    _assert_harmless(page)

    visit(page, f"{hostile}/catalog")
    page.get_by_label("Which variety?").fill("picture names.invalid")
    page.keyboard.press("Enter")
    page.wait_for_selector(".ow-evidence, .ow-empty, button")
    settled(page)
    _assert_harmless(page)

    stock = _table(tmp_path / "stock.csv", [["variety", "qty"], ["Riddle ![p](http://names.invalid/e)", "1"]])
    visit(page, f"{hostile}/offer?sold_out=quince%3AVranja")
    page.locator("input[type=file]").first.set_input_files(stock)
    page.get_by_text("stock.csv:").wait_for()
    page.locator("[data-testid=stWidgetLabel]", has_text="Row 2:").wait_for(state="attached")
    settled(page)
    assert "Row 2: Riddle ![p](http://names.invalid/e)" in _said(page, "[data-testid=stWidgetLabel]")
    _assert_harmless(page)

    people = [
        [f"Wren {number}", "Vranja", name, name] for number, name in enumerate(_SHOWN) if name[0] != "="
    ]
    offers = _table(tmp_path / "offers.csv", [["person", "variety", "area", "note"], *people])
    visit(page, f"{hostile}/swap")
    swap = "![p](http://names.invalid/f)"
    page.get_by_label("Its name").fill(swap)
    page.get_by_label("Its name").press("Enter")
    page.get_by_role("button", name="Begin").click()
    page.get_by_role("button", name="Save the event").wait_for()
    page.locator("input[type=file]").first.set_input_files(offers)
    page.get_by_text("Take some out").first.wait_for()
    settled(page)
    assert swap in page.locator("body").inner_text()
    _assert_harmless(page)
    assert dialogs == []
