"""Take pictures of the pages for docs/screenshots/, with Debian's chromium, from an app this script serves.

Usage: python docs/screenshots.py [page ...] (needs the `dev` extra and chromium; all pages if none is named).
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

from recommender.atlas.run import run
from recommender.atlas.sites import country_sites

ROOT = Path(__file__).resolve().parents[1]
FOLDER = ROOT / "docs" / "screenshots"
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-sync"]
WIDTHS = {"wide": 1280, "phone": 390}
LIST = "/choose?place=Bristol%2C+England&crop=Apple"
TALLEST = 2600


def _settled(page: Page, url: str, wait_for: str) -> None:
    page.goto(url)
    page.wait_for_selector(wait_for, timeout=180_000)
    _still(page)


def _still(page: Page) -> None:
    page.wait_for_selector('.stApp[data-test-script-state="notRunning"]', timeout=180_000)
    page.wait_for_timeout(1200)


def _keep(page: Page, name: str, *, whole: bool = False) -> None:
    """A picture of the window, or of the whole page down to `TALLEST` pixels."""
    size = page.viewport_size or {"width": 1280, "height": 900}
    if whole:
        tall = page.locator("[data-testid=stMain]").evaluate("e => e.scrollHeight")
        page.set_viewport_size({"width": size["width"], "height": min(int(tall), TALLEST)})
        page.wait_for_timeout(800)
    page.screenshot(path=FOLDER / f"{name}.png")
    page.set_viewport_size({"width": size["width"], "height": size["height"]})


def _choose(page: Page, address: str, width: str) -> None:
    _settled(page, f"{address}/choose", ".ow-empty")
    _keep(page, f"choose-empty-{width}")
    _settled(page, address + LIST, ".ow-card")
    _keep(page, f"choose-list-{width}")
    page.locator("[data-testid=stVegaLiteChart]").scroll_into_view_if_needed()
    page.wait_for_timeout(500)
    _keep(page, f"choose-calendar-{width}")
    page.locator(".ow-card").first.scroll_into_view_if_needed()
    for more in ("Evidence", "Pictures"):
        page.get_by_text(more, exact=True).first.click()
        _still(page)
        page.locator(".ow-card").first.scroll_into_view_if_needed()
        page.wait_for_timeout(500)
        _keep(page, f"choose-{more.lower()}-{width}")
    _settled(page, address + LIST, ".ow-card")
    page.get_by_text("Map", exact=True).click()
    _still(page)
    page.locator("[data-testid=stVegaLiteChart]").first.scroll_into_view_if_needed()
    page.wait_for_timeout(500)
    _keep(page, f"choose-map-{width}")
    page.get_by_text("Who pollinates whom").click()
    _still(page)
    page.get_by_text("A line joins two").scroll_into_view_if_needed()
    page.wait_for_timeout(500)
    _keep(page, f"choose-network-{width}")


def _plan(page: Page, address: str, width: str) -> None:
    fruit = "crop=Apple&crop=European+pear&crop=Quince"
    asked = f"/plan?place=Bristol%2C+England&{fruit}&trees=5&width=14.0&depth=9.0"
    _settled(page, address + asked, ".ow-card")
    _keep(page, f"plan-{width}")
    page.get_by_role("heading", name="Where they stand").scroll_into_view_if_needed()
    page.wait_for_timeout(800)
    _keep(page, f"plan-plot-{width}")


def _offer(page: Page, address: str, width: str) -> None:
    _settled(page, f"{address}/offer?sold_out=apple%3ADiscovery", ".ow-card")
    _keep(page, f"offer-{width}")


def _swap(page: Page, address: str, width: str) -> None:
    _settled(page, f"{address}/swap", ".ow-empty")
    page.get_by_label("Its name").fill("Withy Hollow spring swap")
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Begin").click()
    page.get_by_role("button", name="Fill in the invented swap").click()
    _still(page)
    page.get_by_role("button", name="Match them").click()
    page.wait_for_selector(".ow-card")
    _still(page)
    _keep(page, f"swap-{width}")
    page.locator(".ow-card").first.scroll_into_view_if_needed()
    _keep(page, f"swap-matched-{width}")


def _catalog(page: Page, address: str, width: str) -> None:
    two = "/catalog?variety=Conference+%28European+pear%29&variety=Doyenn%C3%A9+du+Comice+%28European+pear%29"
    _settled(page, address + two, ".ow-beside")
    _keep(page, f"catalog-{width}")


def _atlas(page: Page, address: str, width: str) -> None:
    _settled(page, f"{address}/atlas", ".ow-prose, .stMain p")
    _keep(page, f"atlas-empty-{width}")
    page.get_by_label("Folder of the atlas").fill("~/britain")
    page.keyboard.press("Enter")
    for name, question in (
        ("sound", "How many sound varieties has each place?"),
        ("change", "What changes when it gets warmer?"),
    ):
        page.get_by_text(question, exact=True).click()
        page.get_by_role("button", name="Download all rows (CSV)").wait_for()
        _still(page)
        _keep(page, f"atlas-{name}-{width}", whole=True)


def _about(page: Page, address: str, width: str) -> None:
    _settled(page, f"{address}/about", ".ow-meanings")
    _keep(page, f"about-{width}")


PAGES: dict[str, Callable[[Page, str, str], None]] = {
    "choose": _choose,
    "plan": _plan,
    "offer": _offer,
    "swap": _swap,
    "catalog": _catalog,
    "atlas": _atlas,
    "about": _about,
}


def main(names: list[str]) -> None:
    """Serve the app on a free port and take every picture at both widths."""
    path = shutil.which("chromium")
    if path is None:
        sys.exit("chromium is not installed")
    unknown = [name for name in names if name not in PAGES]
    if unknown:
        sys.exit(f"No page is called {unknown[0]}; there are {', '.join(PAGES)}")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    address = f"http://127.0.0.1:{port}"
    serve = [sys.executable, "-m", "streamlit", "run", "app.py", f"--server.port={port}"]
    FOLDER.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as home:
        # A home of its own, so that nothing someone keeps on this machine is in a picture.
        around = {**os.environ, "XDG_DATA_HOME": home, "HOME": home}
        if "atlas" in (names or PAGES):
            sites = country_sites("GB", people=40_000)
            run(Path(home) / "britain", sites, crops=("apple",), warming=(0.0, 2.0), workers=0)
        app = subprocess.Popen(
            serve, cwd=ROOT, env=around, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        try:
            _wait_for(f"{address}/_stcore/health")
            with sync_playwright() as playwright:
                browser = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
                for width, pixels in WIDTHS.items():
                    for name in names or PAGES:
                        page = browser.new_page(viewport={"width": pixels, "height": 900})
                        page.set_default_timeout(120_000)
                        PAGES[name](page, address, width)
                        page.close()
                browser.close()
        finally:
            app.terminate()
            app.wait()


def _wait_for(url: str) -> None:
    for _ in range(120):
        try:
            with urllib.request.urlopen(url, timeout=2):
                return
        except OSError:
            time.sleep(0.5)
    raise TimeoutError(f"{url} did not answer")


if __name__ == "__main__":
    main(sys.argv[1:])
