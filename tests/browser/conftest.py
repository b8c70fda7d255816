"""A served app and a real browser for the tests of this folder.

Where no browser is installed the tests are skipped and say so; with ORCHARDWRIGHT_REQUIRE_BROWSER=1 they
fail.
Screenshots are kept in tests/output/.
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Browser

ROOT = Path(__file__).parents[2]
OUTPUT = ROOT / "tests" / "output"
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
]


def _no_browser(reason: str) -> None:
    if os.environ.get("ORCHARDWRIGHT_REQUIRE_BROWSER") == "1":
        pytest.fail(f"{reason}, and ORCHARDWRIGHT_REQUIRE_BROWSER=1 asks for one")
    pytest.skip(f"{reason}; install Debian's chromium to run the browser tests")


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    path = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    if path is None:
        _no_browser("No browser is installed")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield opened
        opened.close()


@pytest.fixture(scope="session")
def address(browser: Browser, cache_of_the_tests: Path) -> Iterator[str]:
    """Where the app is served; started as `orchardwright app` starts it, on a free port of this machine."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "recommender.cli", "app", "--no-browser", "--port", str(port)]
    OUTPUT.mkdir(parents=True, exist_ok=True)
    url = f"http://127.0.0.1:{port}"
    with (OUTPUT / "app.log").open("wb") as log:
        app = subprocess.Popen(command, cwd=ROOT, stdout=log, stderr=log, start_new_session=True)
        try:
            _wait_for(url, app)
            yield url
        finally:
            os.killpg(app.pid, 15)
            app.wait(timeout=30)


def _wait_for(url: str, app: subprocess.Popen[bytes]) -> None:
    for _ in range(240):
        if app.poll() is not None:
            pytest.fail(f"The app ended by itself; see {OUTPUT / 'app.log'}")
        try:
            with urllib.request.urlopen(f"{url}/_stcore/health", timeout=2):
                return
        except OSError:
            time.sleep(0.25)
    pytest.fail("The app did not answer within a minute")
