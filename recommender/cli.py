"""The command line: one verb for each errand, listed by `orchardwright --help`.

Each verb is a thin wrapper on the library verb of the same name. Exit codes: 0 done, 2 something the user
can mend, 3 a file or folder could not be read or written, 4 a server could not be reached (only
`weather fetch` uses the network). Errors go to standard error in plain words.
"""

from __future__ import annotations

import contextlib
import io
import os
import sys
import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import TextIO

import typer

from recommender.commands import (
    atlas,
    biology,
    bloom,
    build,
    climate,
    plan,
    quality,
    rank,
    serve,
    show,
    sources,
    stock,
    swap,
    validate,
    warming,
    weather,
)
from recommender.errors import BadInput, OrchardwrightError, StorageFault
from recommender.wording import plain

app = typer.Typer(
    name="orchardwright",
    help="Rank fruit varieties for a growing site from open plant data, and see the evidence.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    add_completion=False,
    rich_markup_mode="rich",
)
app.command("rank")(rank.command)
app.command("plan")(plan.command)
app.command("show")(show.command)
app.command("sources")(sources.command)
app.command("quality")(quality.command)
app.command("climate")(climate.command)
app.add_typer(swap.app, name="swap")
app.add_typer(weather.app)
app.command("pollinators")(biology.pollinators)
app.command("bloom")(bloom.command)
app.command("rootstocks")(biology.rootstocks)
app.command("warming")(warming.command)
app.add_typer(atlas.app, name="atlas")
app.command("build")(build.command)
app.add_typer(stock.app, name="stock")
app.command("validate")(validate.command)
app.command("app")(serve.command)


def _notice(message: Warning | str, category: type[Warning], *_: object, **__: object) -> None:
    """Our own notices on standard error as plain sentences; those of libraries are not for a grower."""
    if category.__module__.startswith("recommender"):
        _tell(f"Note: {plain(message)}")


def main(arguments: Sequence[str] | None = None) -> None:
    """Run one command and leave with its exit code."""
    _ready_streams()
    with warnings.catch_warnings():
        warnings.showwarning = _notice
        try:
            _run(_readable(sys.argv[1:] if arguments is None else arguments))
        except OrchardwrightError as error:
            _tell(plain(error))
            sys.exit(error.exit_code)


def _run(arguments: list[str]) -> None:
    """Run one command and write out all it said; 1 if its reader left. Raises OrchardwrightError, also for
    what the system refused and no reader foresaw."""
    try:
        try:
            app(arguments, prog_name="orchardwright")
        finally:
            sys.stdout.flush()
    except BrokenPipeError:
        _let_go(sys.stdout)
        sys.exit(1)
    except OSError as problem:
        if problem.filename is not None:
            raise StorageFault(
                f"It cannot be read or written: {problem.strerror or problem}",
                where=str(problem.filename),
                remedy="See that it is there and that you may use it",
            ) from problem
        _let_go(sys.stdout)
        raise StorageFault(
            f"The result could not be written: {problem.strerror or problem}",
            where="standard output",
            remedy="Free some space there, or send it to another file",
        ) from problem


def _readable(arguments: Sequence[str]) -> list[str]:
    """The arguments as they are. Raises BadInput naming the first that is not text in UTF-8."""
    for number, argument in enumerate(arguments, start=1):
        try:
            argument.encode("utf-8")
        except UnicodeEncodeError:
            shown = argument.encode("utf-8", errors="replace").decode("utf-8")
            raise BadInput(
                f"“{shown}” is not text in UTF-8",
                where=f"argument {number}",
                remedy="Type it anew; if it is the name of a file, rename the file",
            ) from None
    return list(arguments)


def _ready_streams() -> None:
    """Letters a stream cannot show become question marks; what goes to a closed stream is dropped."""
    # Python has None for a stream that was closed before it began.
    if sys.stdout is None:
        sys.stdout = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115
    if sys.stderr is None:
        sys.stderr = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            with contextlib.suppress(ValueError):
                stream.reconfigure(errors="replace")


def _tell(text: str) -> None:
    """A line on standard error; where that cannot be written, the exit code alone says it."""
    try:
        sys.stderr.write(f"{text}\n")
        sys.stderr.flush()
    except OSError:
        _let_go(sys.stderr)


def _let_go(stream: TextIO) -> None:
    """Turn a stream that cannot be written to nowhere, so that Python can end without writing to it again."""
    with contextlib.suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)


if __name__ == "__main__":
    main()
