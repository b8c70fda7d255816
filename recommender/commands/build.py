"""`orchardwright build`: check the data package and build the catalog from it."""

from __future__ import annotations

from typing import Annotated

import typer

from recommender.commands import console
from recommender.commands import options as opt
from recommender.wording import missing, plain


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
    counts = info["counts"]
    console.write(f"Catalog built {plain(info['built_at'])} from data {plain(info['data_key'])[:16]}.")
    console.write(
        console.wrapped(
            f"{counts['varieties']:,} varieties of {counts['crops']} crops, {counts['evidence']:,} statements"
            f" from {counts['sources']:,} sources, settled into {counts['settled']:,} values."
        )
    )
    for heading, left_out in (("Rows rejected", info["rejected"]), ("Values set aside", info["set_aside"])):
        console.write(f"{heading}: {len(left_out)}")
        for record in left_out:
            told = " ".join(str(part) for part in record.values() if not missing(part))
            console.write(console.wrapped(told, "  ", "    "))
