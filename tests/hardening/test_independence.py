"""No network call that nobody asked for; the same answer in every locale, time zone and year."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from recommender.catalog.package import datasets_folder

_DEMO = datasets_folder() / "demo"

# Python tells every attempt to reach another machine to this hook, whichever library makes it.
_WATCHED = """
import sys

def watch(event, arguments):
    if event in ("socket.connect", "socket.getaddrinfo", "socket.gethostbyname", "socket.sendto"):
        raise RuntimeError(f"asked for the network: {event} {arguments!r}")

sys.addaudithook(watch)
"""
_COMMAND = _WATCHED + "from recommender.cli import main\nmain()\n"
_PAGE = (
    _WATCHED
    + """
from streamlit.testing.v1 import AppTest

page = AppTest.from_file(sys.argv[1], default_timeout=120).run()
assert not page.exception, page.exception
assert page.main.children
"""
)


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


@pytest.mark.parametrize(
    "command",
    [
        ("rank", "--place", "Bristol, England", "--crop", "apple"),
        ("climate", "--place", "Hobart, Australia"),
        ("plan", "--place", "Hereford, England", "--crop", "european-pear", "--trees", "3"),
        ("pollinators", "Conference", "--crop", "european-pear"),
        ("show", "Discovery", "--crop", "apple"),
        ("sources", "watts"),
        ("stock", "check", str(_DEMO / "nursery-stock.csv")),
        ("swap", "match", str(_DEMO / "swap-offers.csv"), str(_DEMO / "swap-requests.csv")),
    ],
    ids=lambda command: command[0] + (f" {command[1]}" if command[0] in ("stock", "swap") else ""),
)
def test_a_command_reaches_no_other_machine(command: tuple[str, ...]) -> None:
    done = _run(_COMMAND, *command)
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip()


def test_the_watch_sees_the_one_command_that_may_ask(tmp_path: Path) -> None:
    done = _run(_COMMAND, "weather", "fetch", "--place", "Bristol, England", "--cache", str(tmp_path))
    assert done.returncode != 0
    assert "asked for the network" in done.stdout + done.stderr


def test_the_first_page_reaches_no_other_machine() -> None:
    done = _run(_PAGE, str(datasets_folder().parent / "app.py"))
    assert done.returncode == 0, done.stderr


def test_the_answer_is_the_same_in_every_locale_and_time_zone() -> None:
    asked = ("rank", "--lat", "51.15", "--lon", "-2.85", "--crop", "quince", "--json")
    settings = [
        {"LC_ALL": "C", "TZ": "UTC"},
        {"LC_ALL": "tr_TR.UTF-8", "LANG": "tr_TR.UTF-8", "TZ": "Pacific/Kiritimati"},
        {"LC_ALL": "de_DE.UTF-8", "LANG": "de_DE.UTF-8", "TZ": "America/St_Johns", "PYTHONHASHSEED": "1"},
    ]
    code = _COMMAND.replace("import sys", "import locale, sys\nlocale.setlocale(locale.LC_ALL, '')", 1)
    told = []
    for setting in settings:
        done = _run(_COMMAND if setting["LC_ALL"] not in _locales() else code, *asked, **setting)
        assert done.returncode == 0, done.stderr
        told.append(json.loads(done.stdout))
    assert told[0] == told[1] == told[2]


def _locales() -> set[str]:
    try:
        listed = subprocess.run(["locale", "-a"], capture_output=True, text=True, check=False).stdout.split()
    except OSError:
        return set()
    return {name.replace("utf8", "UTF-8") for name in listed}


def test_the_answer_is_the_same_in_another_year() -> None:
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
    asked = ("rank", "--lat", "51.15", "--lon", "-2.85", "--crop", "quince", "--json")
    now, then = _run(_COMMAND, *asked), _run(later + _COMMAND, *asked)
    assert then.returncode == 0, then.stderr
    assert json.loads(now.stdout) == json.loads(then.stdout)
