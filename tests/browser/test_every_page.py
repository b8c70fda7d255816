"""What holds for every page, at both widths, on light and on dark paper: it fits, axe-core finds no serious
fault, the row of links leads everywhere, and the keyboard reaches what the mouse does.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.browser.conftest import WIDTHS
from tests.browser.looks import assert_fit, axe_findings, keep, settled, sized, visit
from tests.pages.registry import entries

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = pytest.mark.browser

# A page's address with enough answers in it that it has something to show.
FILLED = {
    "choose": "/choose?place=Bristol%2C+England&crop=Quince&crop=European+plum",
    "plan": "/plan?place=Bristol%2C+England&crop=Apple&trees=3",
    "offer": "/offer?sold_out=apple:Discovery",
    "swap": "/swap",
    "catalog": "/catalog?variety=Conference+%28European+pear%29&variety=Champion+%28Quince%29",
    "atlas": "/atlas",
    "about": "/about",
}
# A question to an atlas, and a piece of its answer.
QUESTIONS = {
    "Where is a variety sound?": "is sound at",
    "How many sound varieties has each place?": "are sound at a place",
    "What changes when it gets warmer?": "places have fewer sound varieties",
}


def test_every_page_is_looked_at() -> None:
    assert set(FILLED) == {entry.address for entry in entries()}


@pytest.mark.parametrize("name", FILLED)
def test_fits_and_can_be_read_on_light_and_dark_paper(
    open_page: Callable[..., Page], address: str, name: str
) -> None:
    page = open_page(WIDTHS[0])
    visit(page, address + FILLED[name])
    _fits_at_every_width(page, name)


@pytest.mark.parametrize("question", QUESTIONS)
def test_every_question_to_an_atlas_fits_and_can_be_read(
    open_page: Callable[..., Page], address: str, small_atlas: Path, question: str
) -> None:
    page = open_page(WIDTHS[0])
    visit(page, f"{address}/atlas")
    page.get_by_label("Folder of the atlas").fill(str(small_atlas))
    page.keyboard.press("Enter")
    page.get_by_text("3 places, ").wait_for()
    settled(page)
    page.get_by_text(question, exact=True).click()
    settled(page)
    page.get_by_text(QUESTIONS[question]).first.wait_for()
    page.get_by_role("button", name="Download all rows (CSV)").wait_for()
    assert page.locator("#bold").count() == 0
    _fits_at_every_width(page, f"atlas-{list(QUESTIONS).index(question)}")


def _fits_at_every_width(page: Page, name: str) -> None:
    """On light paper and on dark; the page is loaded once and must take each width as it comes."""
    for width in WIDTHS:
        sized(page, width)
        assert_fit(page)
        keep(page, f"page-{name}")
    page.emulate_media(color_scheme="dark")
    page.wait_for_function("() => getComputedStyle(document.querySelector('.stApp')).colorScheme == 'dark'")
    for width in WIDTHS:
        sized(page, width)
        faults = axe_findings(page)
        assert not faults, "\n".join(faults)
        keep(page, f"page-{name}-dark")


def test_the_row_of_links_leads_to_every_page(page: Page, address: str) -> None:
    visit(page, address)
    first, *others = entries()
    for entry in (*others, first):
        page.get_by_role("link", name=entry.word, exact=True).click()
        page.get_by_role("heading", name=entry.question).wait_for()
        settled(page)
        assert page.title() == entry.question


def test_the_keyboard_alone_gets_a_list(open_page: Callable[..., Page], address: str) -> None:
    page = open_page(1280)
    visit(page, f"{address}/choose")
    reached = []
    for _ in range(20):
        page.keyboard.press("Tab")
        reached.append(
            page.evaluate("() => document.activeElement.ariaLabel || document.activeElement.innerText")
        )
        if reached[-1] == "Where will it grow?":
            break
    assert reached[0] == "Skip to main content"
    assert {"Choose", "Plan", "Offer", "Swap", "Catalog", "Atlas", "About"} <= set(reached)
    assert reached[-1] == "Where will it grow?"
    page.keyboard.type("Geneva, New York")
    page.keyboard.press("Enter")
    page.wait_for_selector(".ow-card")


def test_about_tells_what_the_list_rests_on(page: Page, address: str) -> None:
    visit(page, f"{address}/about")
    for words in (
        "statements from",
        "Apache License",
        "plant-health authority",
        "hardiness zone (USDA zone)",
    ):
        assert page.get_by_text(words).first.is_visible()
    keep(page, "about", whole=True)
