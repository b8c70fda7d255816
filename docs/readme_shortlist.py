"""Print the README's shortlist anew: run the command the README gives and put what it prints below it.

Usage: python docs/readme_shortlist.py. A test compares the two (tests/test_readme.py).
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

README = Path(__file__).resolve().parents[1] / "README.md"
RUN = re.compile(
    r"^python3 -m venv \.venv && .*\.venv/bin/orchardwright (?P<arguments>rank .*)$", re.MULTILINE
)
BLOCK = re.compile(r"(?<=^```text\n)(?P<shortlist>.*?)(?=^```$)", re.MULTILINE | re.DOTALL)


def arguments(readme: str) -> list[str]:
    """What the README's run command asks of `orchardwright`."""
    found = RUN.search(readme)
    if found is None:
        raise LookupError("README.md has no run command")
    return shlex.split(found["arguments"])


def shortlist(readme: str) -> str:
    """The shortlist as the README shows it."""
    found = BLOCK.search(readme)
    if found is None:
        raise LookupError("README.md has no block of text for the shortlist")
    return found["shortlist"]


def printed(readme: str) -> str:
    """The shortlist as the command prints it now, 80 columns wide."""
    command = [sys.executable, "-m", "recommender.cli", *arguments(readme)]
    environment = {**os.environ, "COLUMNS": "80", "PYTHONIOENCODING": "utf-8"}
    ended = subprocess.run(
        command, cwd=README.parent, env=environment, capture_output=True, check=True, encoding="utf-8"
    )
    return ended.stdout


if __name__ == "__main__":
    text = README.read_text(encoding="utf-8")
    fresh = printed(text)
    README.write_text(BLOCK.sub(lambda _: fresh, text, count=1), encoding="utf-8")
