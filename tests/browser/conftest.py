"""A served app and a real browser for the tests of this folder.

Fixtures: `page` (a fresh page at 1280 and at 390 px), `open_page` (the same at a width and theme of choice),
`address` (where the app answers). A page fails its test at the end if the console told of an error or a
request left this machine. What to ask of a page: `tests.browser.looks`.

Where no browser is installed the tests are skipped and say so; with ORCHARDWRIGHT_REQUIRE_BROWSER=1 they
fail. Screenshots are kept in tests/output/.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from tests.browser.looks import OUTPUT, PATIENCE_MS, ROOT, WATCH, keep

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page

__all__ = ["OUTPUT", "keep"]

WIDTHS = (1280, 390)
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
_BROWSERS = ("chromium", "chromium-browser", "google-chrome")


def _no_browser(reason: str) -> None:
    if os.environ.get("ORCHARDWRIGHT_REQUIRE_BROWSER") == "1":
        pytest.fail(f"{reason}, and ORCHARDWRIGHT_REQUIRE_BROWSER=1 asks for one")
    pytest.skip(f"{reason}; install Debian's chromium to run the browser tests")


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Debian's chromium, driven by Playwright."""
    path = next(filter(None, map(shutil.which, _BROWSERS)), None)
    if path is None:
        _no_browser("No browser is installed")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        _no_browser("Playwright is not installed")
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield opened
        opened.close()


@pytest.fixture(scope="session")
def served_cache(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A cache folder with the catalog in it, shared by all test processes of one run."""
    from recommender import open_catalog

    base = tmp_path_factory.getbasetemp()
    folder = (base.parent if os.environ.get("PYTEST_XDIST_WORKER") else base) / "served-cache"
    folder.mkdir(exist_ok=True)
    open_catalog(cache=folder).close()
    return folder


@pytest.fixture(scope="session")
def small_atlas(served_cache: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An atlas of three places, one with markup for a name."""
    import pandas as pd

    from recommender.atlas.run import run

    sites = pd.DataFrame(
        {
            "name": ["Withy Hollow", "<b id=bold>Hobart</b>", "Geneva"],
            "region": "",
            "country": "",
            "lat": [50.9, -43.0, 42.9],
            "lon": [-3.1, 147.0, -77.0],
            "elevation_m": [60.0, 50.0, 150.0],
            "population": [300, 200_000, 13_000],
        }
    )
    folder = tmp_path_factory.mktemp("atlas") / "three"
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("ORCHARDWRIGHT_CACHE", str(served_cache))
        run(folder, sites, workers=0, years=4, crops=("quince",), warming=(0.0, 2.0))
    return folder


@pytest.fixture(scope="session")
def address(browser: Browser, served_cache: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Where the app is served; started as `orchardwright app` starts it, on a free port of this machine."""
    with served(tmp_path_factory.mktemp("home"), ORCHARDWRIGHT_CACHE=str(served_cache)) as url:
        yield url


@contextlib.contextmanager
def served(home: Path, **around: str) -> Iterator[str]:
    """The app, served with these variables set, and its address.

    home: a folder of its own, so that events and decisions kept by a page touch nothing of whoever runs the
    tests.
    """
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "recommender.cli", "app", "--no-browser", "--port", str(port)]
    OUTPUT.mkdir(parents=True, exist_ok=True)
    url = f"http://127.0.0.1:{port}"
    kept = {name: str(home / name.lower()) for name in ("XDG_DATA_HOME", "XDG_CONFIG_HOME", "XDG_STATE_HOME")}
    with (OUTPUT / "app.log").open("ab") as log:
        app = subprocess.Popen(
            command,
            cwd=ROOT,
            stdout=log,
            stderr=log,
            env={**os.environ, **kept, **around},
            start_new_session=True,
        )
        try:
            _wait_for(url, app)
            yield url
        finally:
            os.killpg(app.pid, 15)
            app.wait(timeout=30)


def _wait_for(url: str, app: subprocess.Popen[bytes]) -> None:
    begun = time.monotonic()
    while time.monotonic() - begun < PATIENCE_MS / 1000:
        if app.poll() is not None:
            pytest.fail(f"The app ended by itself; see {OUTPUT / 'app.log'}")
        try:
            with urllib.request.urlopen(f"{url}/_stcore/health", timeout=2):
                return
        except OSError:
            time.sleep(0.25)
    pytest.fail(f"The app did not answer; see {OUTPUT / 'app.log'}")


@pytest.fixture
def open_page(browser: Browser) -> Iterator[Callable[..., Page]]:
    """Open a fresh page: `open_page(width=390, dark=True)`. Each is watched to the end of the test."""
    contexts: list[BrowserContext] = []
    errors: list[str] = []
    left: list[str] = []

    def opened(width: int = WIDTHS[0], *, dark: bool = False, **more: Any) -> Page:
        context = browser.new_context(
            viewport={"width": width, "height": 900},
            accept_downloads=True,
            color_scheme="dark" if dark else "light",
            reduced_motion="reduce",
            **more,
        )
        contexts.append(context)
        context.add_init_script(WATCH)
        page = context.new_page()
        page.set_default_timeout(PATIENCE_MS)
        page.on("console", lambda told: errors.append(told.text) if _is_fault(told) else None)
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.on("request", lambda asked: left.append(asked.url) if not _stays_here(asked.url) else None)
        return page

    yield opened
    for context in contexts:
        context.close()
    assert errors == []
    assert left == []


@pytest.fixture(params=WIDTHS, ids=lambda width: f"{width}px")
def page(request: pytest.FixtureRequest, open_page: Callable[..., Page]) -> Page:
    """A fresh page, once wide and once as on a phone."""
    return open_page(request.param)


def _is_fault(told: ConsoleMessage) -> bool:
    """Errors of the console, but for Streamlit's own search for its server.

    At an address such as /plan Streamlit's script first asks /plan/_stcore/health, which is not there, then
    /_stcore/health; the browser tells of the first as an error, and a page can do nothing about it.
    """
    return told.type == "error" and "/_stcore/" not in told.location.get("url", "")


def _stays_here(url: str) -> bool:
    return url.startswith(("http://127.0.0.1:", "ws://127.0.0.1:", "data:", "blob:"))
