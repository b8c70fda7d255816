"""`orchardwright build`: check the data package and build the catalog from it."""

from __future__ import annotations

from typing import Annotated

import typer

from recommender.commands import console
from recommender.commands import options as opt
from recommender.wording import plain


def command(
    check: Annotated[bool, typer.Option("--check", help="Check the data only; build nothing.")] = False,
    as_json: opt.AsJson = False,
) -> None:
    """Check the open data and build the catalog from it; done by itself when first needed."""
    if check:
        from recommender.catalog.package import check_package, datasets_folder

        check_package(datasets_folder())
        console.write("The data package is sound: no faults found.")
        return
    from recommender import open_catalog

    with console.progress("Building the catalog") as report:
        info = open_catalog(progress=report).info
    if as_json:
        from recommender.outputs import json_text

        console.write(json_text(info).rstrip("\n"))
        return
    console.write(
        f"Catalog built {plain(info.get('built_at', ''))} from data {plain(info.get('data_key', ''))[:12]}."
    )
