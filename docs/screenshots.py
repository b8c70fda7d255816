"""Take pictures of the pages for docs/screenshots/, with Debian's chromium, from an app this script serves.

Usage: python docs/screenshots.py (needs the `dev` extra and chromium).
"""

from __future__ import annotations

import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

ROOT = Path(__file__).resolve().parents[1]
FOLDER = ROOT / "docs" / "screenshots"
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-sync"]
WIDTHS = {"wide": 1280, "phone": 390}
LIST = "/?place=Bristol%2C+England&crop=Apple"


def _settled(page: Page, url: str, wait_for: str) -> None:
    page.goto(url)
    page.wait_for_selector(wait_for, timeout=120_000)
    page.wait_for_timeout(1500)


def _take(page: Page, address: str, name: str) -> None:
    _settled(page, address, ".ow-empty")
    page.screenshot(path=FOLDER / f"choose-empty-{name}.png")
    _settled(page, address + LIST, ".ow-card")
    page.screenshot(path=FOLDER / f"choose-list-{name}.png")
    page.locator("[data-testid=stVegaLiteChart]").scroll_into_view_if_needed()
    page.wait_for_timeout(500)
    page.screenshot(path=FOLDER / f"choose-calendar-{name}.png")
    page.get_by_text("Evidence for").first.click()
    page.wait_for_selector(".ow-evidence")
    page.locator(".ow-card").first.scroll_into_view_if_needed()
    page.wait_for_timeout(500)
    page.screenshot(path=FOLDER / f"choose-evidence-{name}.png")
    _settled(page, f"{address}/about", ".ow-meanings")
    page.screenshot(path=FOLDER / f"about-{name}.png")


def main() -> None:
    """Serve the app on a free port and take every picture at both widths."""
    path = shutil.which("chromium")
    if path is None:
        sys.exit("chromium is not installed")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    address = f"http://127.0.0.1:{port}"
    serve = [sys.executable, "-m", "streamlit", "run", "app.py", f"--server.port={port}"]
    app = subprocess.Popen(serve, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    FOLDER.mkdir(parents=True, exist_ok=True)
    try:
        _wait_for(f"{address}/_stcore/health")
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
            for name, width in WIDTHS.items():
                page = browser.new_page(viewport={"width": width, "height": 900})
                _take(page, address, name)
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
    main()
