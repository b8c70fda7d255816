"""The errand "What is known about this variety?" in a real browser, from first letters to download."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd
import pytest

from tests.browser.looks import assert_fit, keep, settled, visit

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = pytest.mark.browser


def test_from_the_first_letters_to_the_download(page: Page, address: str, tmp_path: Path) -> None:
    visit(page, f"{address}/catalog")
    page.wait_for_selector(".ow-empty")
    keep(page, "catalog-empty")
    page.get_by_label("Which variety?").fill("cox orange")
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="Cox's Orange Pippin").wait_for()
    settled(page)
    assert page.locator(".ow-evidence tbody tr").count() > 5
    assert_fit(page)
    keep(page, "catalog-one")

    page.get_by_label("Which variety?").fill("cox")
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Add Holsteiner Cox").click()
    page.wait_for_selector(".ow-beside")
    page.wait_for_url("**variety=Cox%27s+Orange+Pippin*")
    settled(page)
    page.get_by_text("Every statement behind these values").click()
    page.get_by_text("Every statement as it was found").wait_for()
    assert_fit(page)
    keep(page, "catalog-two", whole=True)

    for kind, read in (("CSV", pd.read_csv), ("Parquet", pd.read_parquet)):
        with page.expect_download() as started:
            page.get_by_role("button", name=f"These values ({kind})").click()
        path = tmp_path / started.value.suggested_filename
        started.value.save_as(path)
        values = read(path)
        assert set(values["variety"]) == {"Cox's Orange Pippin", "Holsteiner Cox"}
        published = values[values["standing"] == "published"]
        assert len(published) > 5
        assert published["sources"].notna().all()


def test_markup_and_sql_in_the_search_box_are_only_letters(
    open_page: Callable[..., Page], address: str
) -> None:
    page = open_page(390)
    visit(page, f"{address}/catalog")
    for typed in ("<img id=bold src=x onerror=alert(1)>", "'; DROP TABLE varieties; --"):
        page.get_by_label("Which variety?").fill(typed)
        page.keyboard.press("Enter")
        page.get_by_text(f"No variety is called anything like “{typed}”").wait_for()
        assert page.locator("#bold").count() == 0
    keep(page, "catalog-nothing")
    page.get_by_label("Which variety?").fill("Vranja")
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="Vranja").first.wait_for()
