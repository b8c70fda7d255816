"""The errand "What will do well here?" in a real browser, from the first question to the download."""

from __future__ import annotations

import csv
import io
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from recommender.catalog.package import datasets_folder
from tests.browser.looks import assert_fit, keep, settled, sideways, sized, small_controls, visit

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = pytest.mark.browser

LIST = "/choose?place=Bristol%2C+England&crop=Apple&crop=European+pear"


def test_from_the_first_question_to_the_download(page: Page, address: str, tmp_path: Path) -> None:
    visit(page, address)
    page.wait_for_selector(".ow-empty")
    keep(page, "choose-empty")
    page.get_by_label("Where will it grow?").fill("Bristol, England")
    page.keyboard.press("Enter")
    page.wait_for_selector(".ow-card")
    assert page.get_by_text("Took Bristol, England, United Kingdom").is_visible()
    page.get_by_label("Which fruit?").fill("apple")
    page.get_by_role("option", name="Apple", exact=True).click()
    page.keyboard.press("Escape")
    page.get_by_role("heading", name="apples").wait_for()
    page.get_by_text("More answers").click()
    page.get_by_label("What is the soil?").wait_for()
    assert sideways(page) == []
    assert small_controls(page) == []
    keep(page, "choose-list")

    first = page.locator(".ow-card h3").first.inner_text().split("\n")[0]
    page.get_by_text("Evidence", exact=True).first.click()
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


def test_every_picture_fits_and_tells_the_blind_what_it_shows(
    open_page: Callable[..., Page], address: str
) -> None:
    page = open_page(1280)
    visit(page, address + LIST)
    page.get_by_text("Map", exact=True).click()
    charts = page.locator("[data-testid=stVegaLiteChart][role=graphics-document]")
    page.get_by_text("The triangle is the site").wait_for()
    settled(page)
    assert "The climate of Bristol was corrected by" in (charts.first.get_attribute("aria-label") or "")
    keep(page, "choose-map")
    page.get_by_text("The year there", exact=True).click()
    page.get_by_role("heading", name="Warmth").wait_for()
    page.get_by_text("Pictures", exact=True).first.click()
    for opened in ("When these 10 flower", "Who pollinates whom"):
        page.get_by_text(opened).first.click()
        settled(page)
    page.get_by_role("heading", name="Frost and bloom").wait_for()
    settled(page)
    charts.nth(8).wait_for()
    told = [charts.nth(number).get_attribute("aria-label") or "" for number in range(charts.count())]
    for words in (
        "Your winters bring",
        "frost still comes in one spring of ten",
        "The coldest weeks have",
        "In a hundred: ",
        "A bar is one winter",
        "a frost is still to come in",
        "likely to be picked between",
        "full bloom",
        "is served by",
    ):
        assert any(words in alt for alt in told), words
    for width in (1280, 390):
        sized(page, width)
        assert_fit(page)
        keep(page, "choose-pictures", whole=True)


def test_an_unknown_place_is_told_where_it_was_asked(open_page: Callable[..., Page], address: str) -> None:
    page = open_page(390)
    visit(page, address)
    page.get_by_label("Where will it grow?").fill("Brisstol")
    page.keyboard.press("Enter")
    page.get_by_text("No place is called “Brisstol”").wait_for()
    assert page.get_by_role("alert").locator("li").count() == 3
    keep(page, "choose-unknown")
    page.get_by_label("Where will it grow?").fill("Zzyqx <b id=bold>bold</b>")
    page.keyboard.press("Enter")
    page.get_by_text("Zzyqx <b id=bold>bold</b>").wait_for()
    assert page.locator("#bold").count() == 0


def test_the_address_keeps_the_answers_and_they_go_along(
    open_page: Callable[..., Page], address: str
) -> None:
    page = open_page(390)
    visit(page, f"{address}/?place=Hobart%2C+Australia&crop=Quince&units=imperial")
    page.wait_for_selector(".ow-card")
    assert page.get_by_label("Where will it grow?").input_value() == "Hobart, Australia"
    assert page.get_by_text("Took Hobart, Tasmania, Australia").is_visible()
    assert page.get_by_text("°F").first.is_visible()
    page.get_by_role("heading", name="quinces").wait_for()
    assert sideways(page) == []
    page.get_by_role("link", name="Plan", exact=True).click()
    page.get_by_role("heading", name="What shall I plant together?").wait_for()
    page.wait_for_url("**/plan?*place=Hobart*")
    page.get_by_role("link", name="Choose", exact=True).click()
    page.get_by_label("Where will it grow?").wait_for()
    page.wait_for_url("**/choose?*place=Hobart*")
    settled(page)
    assert page.get_by_label("Where will it grow?").input_value() == "Hobart, Australia"


def test_a_site_is_kept_as_a_file_and_opened_again(
    open_page: Callable[..., Page], address: str, tmp_path: Path
) -> None:
    demo = datasets_folder() / "demo" / "withy-hollow.toml"
    page = open_page(1280)
    visit(page, f"{address}/choose")
    page.get_by_text("Keep this site as a file").click()
    page.locator("input[type=file]").set_input_files(demo)
    page.wait_for_selector(".ow-card")
    page.wait_for_url("**point=51.15*")
    settled(page)
    keep(page, "choose-site-file")
    if not page.get_by_role("button", name="Save this site").is_visible():
        page.get_by_text("Keep this site as a file").click()
    with page.expect_download() as started:
        page.get_by_role("button", name="Save this site").click()
    path = tmp_path / "site.toml"
    started.value.save_as(path)
    assert _without_defaults(tomllib.loads(path.read_text(encoding="utf-8"))) == _without_defaults(
        tomllib.loads(demo.read_text(encoding="utf-8"))
    )
    broken = tmp_path / "broken.toml"
    broken.write_text('[site]\nplace = "Bristol"\nsoil = "<b id=bold>mud</b>"\n', encoding="utf-8")
    page.locator("input[type=file]").set_input_files(broken)
    page.get_by_role("alert").get_by_text("<b id=bold>mud</b>").wait_for()
    assert page.locator("#bold").count() == 0


def _without_defaults(held: dict[str, dict[str, object]]) -> dict[str, dict[str, object]]:
    usual = {"preset": "beginner"}
    return {part: {k: v for k, v in said.items() if usual.get(k) != v} for part, said in held.items()}
