"""The command line: one verb for each errand, listed by `orchardwright --help`.

Each verb is a thin wrapper on the library verb of the same name. Exit codes: 0 done, 2 something the user
can mend, 3 a file or folder could not be read or written, 4 a server could not be reached (only
`weather fetch` uses the network). Errors go to standard error in plain words.
"""

from __future__ import annotations

import contextlib
import io
import sys
import warnings
from collections.abc import Sequence

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
from recommender.errors import OrchardwrightError
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
        sys.stderr.write(f"Note: {plain(message)}\n")


def main(arguments: Sequence[str] | None = None) -> None:
    """Run one command and leave with its exit code."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            with contextlib.suppress(ValueError):
                stream.reconfigure(errors="replace")
    with warnings.catch_warnings():
        warnings.showwarning = _notice
        try:
            app(list(arguments) if arguments is not None else None, prog_name="orchardwright")
        except OrchardwrightError as error:
            sys.stderr.write(f"{plain(error)}\n")
            sys.exit(error.exit_code)


if __name__ == "__main__":
    main()
