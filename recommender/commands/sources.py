"""`orchardwright sources`: where the facts come from."""

from __future__ import annotations

from typing import Annotated

import typer

from recommender.commands import console
from recommender.commands import options as opt
from recommender.wording import missing, plain, rows


def command(
    search: Annotated[str | None, typer.Argument(help="Words of title, author or address.")] = None,
    as_json: opt.AsJson = False,
    as_csv: opt.AsCsv = False,
) -> None:
    """List the sources of the facts, all of them or those that hold the words searched for."""
    from recommender.outputs import frame_records

    opt.one_format(as_json, as_csv)
    listed = console.catalog().sources()
    if search:
        text = listed.astype("string").fillna("").agg(" ".join, axis=1).str.casefold()
        for word in search.casefold().split():
            listed = listed[text.loc[listed.index].str.contains(word, regex=False)]
    if as_json:
        console.write_json(frame_records(listed))
        return
    if as_csv:
        console.write_csv(listed)
        return
    if listed.empty:
        console.write("No source holds these words. Try fewer, or one word of the title.")
        return
    for row in rows(listed):
        console.write(console.wrapped(plain(row.title if not missing(row.title) else row.source_id)))
        about = [row.author, row.year, row.kind, row.licence]
        told = ", ".join(plain(part) for part in about if not missing(part))
        for line in (told, "" if missing(row.url) else row.url):
            if line:
                console.write(console.wrapped(line, "  "))
    console.write(f"\n{len(listed)} sources.")
