"""Every example in README.md, DEVELOPERS.md and docs/ runs: commands in a folder of their own, Python blocks
as they stand.

A command is a line of a `sh` block, or inline code that begins with `orchardwright`. What a page calls FILE
or list.csv is filled with a file of `datasets/demo/` or one made here. What cannot be run is listed with the
reason. Scripts, modules and tests named to be run exist, links lead somewhere, the index has every page.
"""

from __future__ import annotations

import csv
import re
import shlex
import shutil
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import pytest

from recommender.cli import main

ROOT = Path(__file__).parents[1]
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]
BLOCK = re.compile(r"^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
INLINE = re.compile(r"`(orchardwright [^`]+)`")
MODULE = re.compile(r"python\s+-m\s+([a-z_.]+)")
SCRIPT = re.compile(r"(?:python|pytest)\s+((?:\.?[a-z_]+/)+[a-z_]+\.py)")
LINK = re.compile(r"\]\(([^)#:\s]+)(?:#[^)]*)?\)")
INDEX = ROOT / "docs" / "README.md"

NOT_RUN = {
    "app": "serves pages until it is stopped; tests/browser drives them",
    "atlas run": "works a whole country through, or wants a cluster; tests/atlas runs small ones",
    "atlas query": "asks an atlas that was made before; tests/atlas asks all three questions",
    "validate": "takes some minutes; tests/suitability checks it on a few regions",
    "weather fetch": "uses the network; tests/climate checks it against a server of its own",
}
"""First words of commands that are shown and not run here, and why."""

MADE = {
    "OFFERS": "datasets/demo/swap-offers.csv",
    "REQUESTS": "datasets/demo/swap-requests.csv",
    "orders.csv": "datasets/demo/back-orders.csv",
    "list.csv": "datasets/demo/nursery-stock.csv",
    "list.xlsx": "made/list.xlsx",
    "FILE": "made/weather.csv",
    "NAME": "apple:Discovery",
}
"""What stands for the names of files and varieties of the pages."""

COMPLETED = {
    "climate --json": ["--place", "Bristol, England"],
    "climate": ["--place", "Bristol, England"],
    "climate --place": ["Bristol, England"],
    "climate --weather FILE": ["--lat", "51.4"],
    "rank": ["--place", "Bristol, England", "--crop", "quince"],
    "bloom --json": ["--place", "Bristol, England", "--crop", "quince"],
}
"""Commands that a page names for one of their options: the rest of what they need."""


def commands() -> list[tuple[str, str]]:
    """(page, command) of everything shown, each command once."""
    found: dict[str, str] = {}
    for path in PAGES:
        text = path.read_text(encoding="utf-8")
        lines = [line for kind, body in BLOCK.findall(text) if kind == "sh" for line in body.splitlines()]
        shown = [line[line.index("orchardwright ") :] for line in lines if "orchardwright " in line]
        for command in [*shown, *INLINE.findall(BLOCK.sub("", text))]:
            found.setdefault(" ".join(command.split()), path.name)
    return [(page, command) for command, page in found.items()]


def words_of(command: str) -> list[str]:
    return shlex.split(command, comments=True)[1:]


def reason_not_to_run(command: str) -> str:
    line = " ".join(words_of(command))
    return next((why for first, why in NOT_RUN.items() if line == first or line.startswith(f"{first} ")), "")


RUN = [(page, command) for page, command in commands() if not reason_not_to_run(command)]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the demo data where the pages say it is, and files for the names they use."""
    folder = tmp_path_factory.mktemp("reader")
    shutil.copytree(ROOT / "datasets" / "demo", folder / "datasets" / "demo")
    (folder / "made").mkdir()
    (folder / "docs").mkdir()
    book = openpyxl.Workbook()
    with (folder / MADE["list.csv"]).open(encoding="utf-8", newline="") as file:
        for row in csv.reader(file):
            book.active.append(row)
    book.save(folder / MADE["list.xlsx"])
    days = pd.date_range("2014-07-01", "2020-12-31")
    season = np.cos(2 * np.pi * (days.day_of_year.to_numpy() - 200) / 365.25)
    record = pd.DataFrame(
        {"date": days.strftime("%Y-%m-%d"), "tmax": 14 + 8 * season, "tmin": 6 + 6 * season}
    )
    record.round({"tmax": 1, "tmin": 1}).to_csv(folder / MADE["FILE"], index=False)
    return folder


@pytest.mark.parametrize(("page", "command"), RUN, ids=[command for _, command in RUN])
def test_a_command_that_is_shown_does_its_work(
    page: str,
    command: str,
    folder: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(folder)
    words = words_of(command)
    rest = COMPLETED.get(" ".join(words), [])
    with pytest.raises(SystemExit) as ended:
        main([MADE.get(word, word) for word in [*words, *rest]])
    printed = capsys.readouterr()
    assert ended.value.code == 0, f"{page}: {printed.err}"
    assert printed.out.strip()


def test_python_blocks_run(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(folder)
    blocks = [
        (path.name, body)
        for path in PAGES
        for kind, body in BLOCK.findall(path.read_text(encoding="utf-8"))
        if kind == "python"
    ]
    assert blocks
    for name, body in blocks:
        exec(compile(body, name, "exec"), {})


def test_what_is_not_run_is_still_shown_somewhere() -> None:
    """A reason that serves no command any more has to go."""
    shown = [" ".join(words_of(command)) for _, command in commands()]
    for first in NOT_RUN:
        assert any(line == first or line.startswith(f"{first} ") for line in shown), first
    for line in COMPLETED:
        assert line in shown, line


def test_the_commands_found_are_those_of_the_readme_and_more() -> None:
    assert sum(page == "README.md" for page, _ in commands()) >= 15
    assert len(RUN) >= 15


def test_no_command_is_shown_where_it_would_not_be_run() -> None:
    """An indented line or a block without `sh` would slip past the tests above."""
    for path in PAGES:
        lines = BLOCK.sub("", path.read_text(encoding="utf-8")).splitlines()
        assert not [line for line in lines if line.lstrip().startswith("orchardwright ")], path.name


def test_modules_scripts_and_tests_named_to_be_run_exist() -> None:
    text = {path.name: path.read_text(encoding="utf-8") for path in PAGES}
    modules = {(page, name) for page, body in text.items() for name in MODULE.findall(body)}
    scripts = {(page, name) for page, body in text.items() for name in SCRIPT.findall(body)}
    assert len(modules) >= 8
    assert len(scripts) >= 8
    for page, name in modules - {(page, "venv") for page in text} - {(page, "pytest") for page in text}:
        place = ROOT.joinpath(*name.split("."))
        assert place.with_suffix(".py").is_file() or (place / "__main__.py").is_file(), f"{page}: {name}"
    for page, name in scripts:
        assert (ROOT / name).is_file(), f"{page}: {name}"


def test_every_link_to_a_file_leads_somewhere() -> None:
    links = [(path, link) for path in PAGES for link in LINK.findall(path.read_text(encoding="utf-8"))]
    assert len(links) >= 50
    for path, link in links:
        assert (path.parent / link).exists(), f"{path.name}: {link}"


def test_the_index_lists_every_page_once_and_the_readme_leads_to_it() -> None:
    listed = [link for link in LINK.findall(INDEX.read_text(encoding="utf-8")) if "/" not in link]
    assert sorted(listed) == sorted(path.name for path in INDEX.parent.glob("*.md") if path != INDEX)
    assert "docs/README.md" in LINK.findall((ROOT / "README.md").read_text(encoding="utf-8"))
