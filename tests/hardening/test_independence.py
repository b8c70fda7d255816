"""No network call that nobody asked for; the same answer in every locale, time zone and year."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from recommender.catalog.package import datasets_folder
from tests.hardening.readers import READERS
from tests.pages.registry import entries

_DEMO = datasets_folder() / "demo"
_ASKED = ("rank", "--lat", "51.15", "--lon", "-2.85", "--crop", "quince", "--json")

# Python tells every attempt to reach another machine to this hook, whichever library makes it.
_WATCHED = """
import sys

def watch(event, arguments):
    if event in ("socket.connect", "socket.getaddrinfo", "socket.gethostbyname", "socket.sendto"):
        raise RuntimeError(f"asked for the network: {event} {arguments!r}")

sys.addaudithook(watch)
"""
_COMMAND = _WATCHED + "from recommender.cli import main\nmain()\n"
# One process for all: what a command asks is seen by the hook whatever ran before it.
_COMMANDS = (
    _WATCHED
    + """
import contextlib, io, json
from recommender.cli import main

told = []
for command in json.loads(sys.argv[1]):
    said = io.StringIO()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
        try:
            main(command)
            code = 0
        except SystemExit as end:
            code = end.code or 0
        except BaseException as problem:
            code = repr(problem)
    told.append([code, said.getvalue()])
print(json.dumps(told))
"""
)
# The app's own server listens on this machine; a page is drawn without it.
_PAGES = (
    _WATCHED
    + """
from streamlit import config
from streamlit.testing.v1 import AppTest

assert not config.get_option("browser.gatherUsageStats")
page = AppTest.from_file(sys.argv[1], default_timeout=120).run()
assert not page.exception, page.exception
assert page.main.children
for module in sys.argv[2:]:
    script = f"import {module} as module\\nmodule.page()"
    page = AppTest.from_string(script, default_timeout=120).run()
    assert not page.exception, (module, page.exception)
    assert page.main.children, module
"""
)
_STOCK, _OFFERS = str(_DEMO / "nursery-stock.csv"), str(_DEMO / "swap-offers.csv")
_SITE = ("--place", "Bristol, England")
# Every verb of the command line but those that fetch or serve; {} is a folder that is thrown away.
OFFLINE: dict[str, tuple[str, ...]] = {
    "--help": ("--help",),
    "rank": ("rank", *_SITE, "--crop", "quince"),
    "plan": ("plan", *_SITE, "--crop", "quince", "--trees", "2", "--html", "{}/a.html", "--pdf", "{}/a.pdf"),
    "show": ("show", "Discovery", "--crop", "apple"),
    "sources": ("sources", "watts"),
    "quality": ("quality",),
    "climate": ("climate", "--place", "Hobart, Australia"),
    "swap": ("swap", "match", _OFFERS, str(_DEMO / "swap-requests.csv")),
    "weather": ("weather", "check", "{}/station.csv", "--lat", "51"),
    "pollinators": ("pollinators", "Conference", "--crop", "european-pear"),
    "bloom": ("bloom", *_SITE, "--crop", "quince"),
    "rootstocks": ("rootstocks", "apple"),
    "warming": ("warming", *_SITE, "--crop", "quince"),
    "atlas": ("atlas", "run", "{}/atlas", "--list", "{}/sites.csv", "--crop", "quince", "--workers", "0"),
    "atlas query": ("atlas", "query", "{}/atlas", "sound", "--crop", "quince"),
    "build": ("build", "--check"),
    "stock": ("stock", "check", _STOCK),
    "stock standin": ("stock", "standin", "apple:Spartan", "--stock", _STOCK),
    "stock backorders": ("stock", "backorders", str(_DEMO / "back-orders.csv"), "--stock", _STOCK),
}
# These reach others because they are asked to, or listen (`app`), or work for minutes (`validate`).
NOT_OFFLINE = {"app", "validate"}


def _run(code: str, *arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", code, *arguments],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
        timeout=300,
        env={**os.environ, **environment},
    )


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[object, str]]:
    """What each command answered, all of them watched."""
    folder = tmp_path_factory.mktemp("offline")
    (folder / "sites.csv").write_text("name,lat,lon\nWithy Hollow,50.9,-3.1\n", encoding="utf-8")
    (folder / "station.csv").write_bytes(READERS["weather, daily"][2])
    commands = [[part.replace("{}", str(folder)) for part in command] for command in OFFLINE.values()]
    done = _run(_COMMANDS, json.dumps(commands), ORCHARDWRIGHT_DECISIONS=str(folder / "decisions.csv"))
    assert done.returncode == 0, done.stderr
    return {name: (code, said) for name, (code, said) in zip(OFFLINE, json.loads(done.stdout), strict=True)}


@pytest.mark.parametrize("command", OFFLINE)
def test_a_command_reaches_no_other_machine(command: str, told: dict[str, tuple[object, str]]) -> None:
    code, said = told[command]
    assert code == 0, (code, said)
    assert said.strip()


def test_every_command_is_watched() -> None:
    import typer

    from recommender.cli import app

    group = typer.main.get_command(app)
    assert isinstance(group, typer.core.TyperGroup)
    named = set(group.commands)
    assert named - NOT_OFFLINE == {name.split()[0] for name in OFFLINE} - {"--help"}


def test_the_watch_sees_the_one_command_that_may_ask(tmp_path: Path) -> None:
    done = _run(_COMMAND, "weather", "fetch", "--place", "Bristol, England", "--cache", str(tmp_path))
    assert done.returncode != 0
    assert "asked for the network" in done.stdout + done.stderr


def test_the_pages_reach_no_other_machine(tmp_path: Path) -> None:
    app = datasets_folder().parent / "app.py"
    others = [entry.draw.__module__ for entry in entries()[1:]]
    assert len(others) >= 6
    kept = {"ORCHARDWRIGHT_EVENTS": str(tmp_path), "ORCHARDWRIGHT_DECISIONS": str(tmp_path / "d.csv")}
    done = _run(_PAGES, str(app), *others, **kept)
    assert done.returncode == 0, done.stderr


@pytest.fixture(scope="module")
def here_and_now() -> object:
    """The answer that no setting may change."""
    done = _run(_COMMAND, *_ASKED, LC_ALL="C", TZ="UTC")
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_the_answer_is_the_same_in_every_locale_and_time_zone(here_and_now: object) -> None:
    settings = [
        {"LC_ALL": "tr_TR.UTF-8", "LANG": "tr_TR.UTF-8", "TZ": "Pacific/Kiritimati"},
        {"LC_ALL": "de_DE.UTF-8", "LANG": "de_DE.UTF-8", "TZ": "America/St_Johns", "PYTHONHASHSEED": "1"},
    ]
    code = _COMMAND.replace("import sys", "import locale, sys\nlocale.setlocale(locale.LC_ALL, '')", 1)
    for setting in settings:
        done = _run(_COMMAND if setting["LC_ALL"] not in _locales() else code, *_ASKED, **setting)
        assert done.returncode == 0, done.stderr
        assert json.loads(done.stdout) == here_and_now


def _locales() -> set[str]:
    try:
        listed = subprocess.run(["locale", "-a"], capture_output=True, text=True, check=False).stdout.split()
    except OSError:
        return set()
    return {name.replace("utf8", "UTF-8") for name in listed}


def test_the_answer_is_the_same_in_another_year(here_and_now: object) -> None:
    later = """
import datetime, time
import duckdb, pandas, pyarrow  # their compiled parts keep the real calendar

class Later(datetime.date):
    @classmethod
    def today(cls):
        return cls(2041, 2, 28)

class LaterMoment(datetime.datetime):
    @classmethod
    def now(cls, tz=None):
        return cls(2041, 2, 28, 23, 59, 59, tzinfo=tz)

datetime.date, datetime.datetime = Later, LaterMoment
real = time.time
time.time = lambda: real() + 15 * 365.25 * 86400
"""
    then = _run(later + _COMMAND, *_ASKED)
    assert then.returncode == 0, then.stderr
    assert json.loads(then.stdout) == here_and_now
