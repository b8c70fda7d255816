"""`orchardwright quality`: how well the open data are covered, and where they are thin."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from recommender.commands import console
from recommender.wording import plain


def command(
    page: Annotated[
        Path | None,
        typer.Option("--page", help="Also write the whole report (Markdown) and its chart (.svg beside it)."),
    ] = None,
) -> None:
    """Say what share of the varieties is published, crop by crop, and how much stands from memory."""
    from recommender.catalog.quality import CRITERIA, quality
    from recommender.catalog.quality_page import write

    found = quality(console.catalog())
    if page is not None:
        chart = write(found, page)
        console.write(f"Wrote {plain(page)} and {plain(chart)}.")
        return
    shares = found.coverage.set_index(["crop", "criterion"])["published"]
    console.write(console.bold(f"{'Published for':<20}" + "".join(f"{name:>13}" for name in CRITERIA)))
    for crop in found.main_crops():
        cells = "".join(f"{shares.loc[(crop, name)]:>13.0%}" for name in CRITERIA)
        console.write(f"{crop:<20}{cells}")
    console.write()
    for row in found.memory.itertuples():
        console.write(f"{row.share:.1%} of {row.of} stand from memory ({row.from_memory} of {row.all}).")
    console.write("The reasons for the gaps and every crop and trait: --page FILE.md")
