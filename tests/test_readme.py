"""What the README shows is what the program does."""

from __future__ import annotations

import importlib.util
import os
import re
from pathlib import Path
from types import ModuleType

import pytest

from recommender.cli import main
from recommender.wording import VERDICT_MEANINGS

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def script() -> ModuleType:
    spec = importlib.util.spec_from_file_location("readme_shortlist", ROOT / "docs" / "readme_shortlist.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_shortlist_is_what_the_run_command_prints(script: ModuleType) -> None:
    assert script.printed(README) == script.shortlist(README), "run python docs/readme_shortlist.py"


def test_run_and_test_command_make_their_own_environment_on_one_line() -> None:
    lines = [line for line in README.splitlines() if line.startswith("python3 -m venv .venv && ")]
    assert len(lines) == 2
    assert lines[0].count(".venv/bin/orchardwright rank ") == 1
    assert lines[1].endswith(".venv/bin/python -m pytest")


def test_the_meaning_of_each_verdict_is_told_as_the_program_tells_it() -> None:
    for verdict, meaning in VERDICT_MEANINGS.items():
        assert f"| {verdict} | {meaning.rstrip('.')} |" in README


def test_every_command_shown_exists(capsys: pytest.CaptureFixture[str]) -> None:
    verbs = set(re.findall(r"\.venv/bin/orchardwright (\w+)", README))
    assert {"rank", "show", "app", "climate", "sources", "build"} <= verbs
    for verb in verbs:
        with pytest.raises(SystemExit) as ended:
            main([verb, "--help"])
        assert ended.value.code == 0
    capsys.readouterr()


def test_ci_runs_the_test_command_of_the_readme() -> None:
    ci = ROOT / ".ci" / "run"
    assert os.access(ci, os.X_OK)
    assert "README.md" in ci.read_text(encoding="utf-8")
