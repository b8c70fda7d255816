"""What every command shares: where text goes, how wide it is, and progress that keeps out of the way.

Results go to standard output and nothing else does; progress and errors go to standard error. Progress is
drawn only where a person is watching.
"""

from __future__ import annotations

import os
import shutil
import sys
import textwrap
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from recommender.wording import plain

if TYPE_CHECKING:
    import pandas as pd

    from recommender.catalog.store import Catalog

Progress = Callable[[str, float], None]


def width() -> int:
    """Columns to write in: the terminal's, or 80 where there is none; 60 to 100 whatever it says."""
    return max(60, min(100, shutil.get_terminal_size((80, 24)).columns))


def write(text: str = "") -> None:
    """Text to standard output as it stands, a line break after it."""
    sys.stdout.write(f"{text}\n")


def write_json(value: object) -> None:
    """One JSON value to standard output."""
    from recommender.outputs import json_text

    write(json_text(value).rstrip("\n"))


def write_csv(frame: pd.DataFrame) -> None:
    """A frame to standard output as CSV with headings."""
    from recommender.outputs import csv_text

    write(csv_text(frame).rstrip("\n"))


def bold(text: str) -> str:
    """Heavier type where a terminal shows it, of the plain letters of a text."""
    text = plain(text)
    watched = sys.stdout.isatty() and "NO_COLOR" not in os.environ and os.environ.get("TERM") != "dumb"
    return f"\x1b[1m{text}\x1b[0m" if watched else text


def wrapped(text: str, first: str = "", then: str | None = None) -> str:
    """Text broken to the width, `first` before the first line and `then` before the others."""
    indent = " " * len(first) if then is None else then
    return textwrap.fill(
        plain(text),
        width(),
        initial_indent=plain(first),
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
    )


@contextmanager
def progress(task: str) -> Iterator[Progress | None]:
    """A callback `(what, share done)` that draws a bar on standard error; None where nobody watches."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, TextColumn
    from rich.progress import Progress as Bar

    columns = (TextColumn("{task.description}", markup=False), BarColumn(bar_width=30))
    with Bar(*columns, console=Console(stderr=True), transient=True) as bar:
        line = bar.add_task(task, total=1.0)

        def report(what: str, share: float) -> None:
            bar.update(line, description=what, completed=share)

        yield report


def catalog() -> Catalog:
    """The catalog, built first where it has to be, with progress."""
    from recommender import open_catalog

    with progress("Opening the catalog") as report:
        return open_catalog(progress=report)
