"""`orchardwright swap match OFFERS REQUESTS`: who gets which plant at a swap, and why not."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from recommender.commands import console
from recommender.commands import options as opt
from recommender.errors import BadInput
from recommender.files import write_whole
from recommender.wording import plain

if TYPE_CHECKING:
    from recommender.swap.matching import SwapResult

app = typer.Typer(help="Match what people bring to a swap with what others ask for.", no_args_is_help=True)


@app.callback()
def swap() -> None:
    """Match what people bring to a swap with what others ask for."""


@app.command("match")
def match(
    offers: Annotated[Path, typer.Argument(help="CSV or XLSX, one line an offer.", show_default=False)],
    requests: Annotated[Path, typer.Argument(help="CSV or XLSX, one line a request.", show_default=False)],
    on: Annotated[
        str | None, typer.Option("--on", help="Day of the swap, as 2027-02-13; today if left out.")
    ] = None,
    site: Annotated[
        Path | None, typer.Option("--site", help="Site file for requests that do not say where they grow.")
    ] = None,
    region: Annotated[
        str | None, typer.Option("--region", help="Region for those who name none: GB, US-NY and so on.")
    ] = None,
    givers_first: Annotated[
        bool,
        typer.Option(
            "--givers-first", help="Where not all can be served, those who brought something go first."
        ),
    ] = False,
    max_km: Annotated[
        float | None, typer.Option("--max-km", help="The farthest anyone would travel or post, in km.")
    ] = None,
    permit: Annotated[
        list[str] | None,
        typer.Option("--permit", help="Offer the owner of the rights allows to pass on; repeatable."),
    ] = None,
    search: Annotated[
        float | None,
        typer.Option(
            "--search",
            min=0,
            help="Seconds to search for the best pairs that pollinate each other; 6 if left out.",
        ),
    ] = None,
    show: Annotated[
        list[str] | None,
        typer.Option("--show", help="What may be told of people: person, area, reason, minds; repeatable."),
    ] = None,
    cards: Annotated[Path | None, typer.Option("--cards", help="Write table cards to this PDF.")] = None,
    pick_lists: Annotated[
        Path | None, typer.Option("--pick-lists", help="Write pick lists to this PDF.")
    ] = None,
    as_json: opt.AsJson = False,
    as_csv: opt.AsCsv = False,
) -> None:
    """Say who gets which plant: as many people as possible first, then the best fit.

    For example: orchardwright swap match offers.csv requests.csv --region GB --site garden.toml
    """
    from recommender import Site, match_swap
    from recommender.swap import exports
    from recommender.swap.people import SwapSettings

    opt.one_format(as_json, as_csv)
    ticked = exports.checked(show or exports.USUAL)
    settings = SwapSettings(
        **opt.given(on=on, region=region, max_km=max_km),
        site=None if site is None else Site.from_file(site),
        givers_first=givers_first,
        permitted=tuple(permit or ()),
    )
    catalog = console.catalog()
    result = match_swap(offers, requests, settings=settings, catalog=catalog, **opt.given(search_s=search))
    _print_sheets(result, cards, pick_lists, ticked)
    if as_json:
        console.write_json(exports.record(result, ticked))
    elif as_csv:
        console.write_csv(exports.matches_frame(result, ticked))
    else:
        _print(result, "person" in ticked)


def _print_sheets(
    result: SwapResult, cards: Path | None, pick_lists: Path | None, ticked: frozenset[str]
) -> None:
    from recommender.swap import cards_pdf

    for path, sheet in ((cards, cards_pdf.table_cards), (pick_lists, cards_pdf.pick_lists)):
        if path is None:
            continue
        if path.suffix.lower() != ".pdf":
            raise BadInput(f"“{path}” is no PDF", remedy="Give the file the ending .pdf")
        write_whole(path, sheet(result, "Plant swap", ticked))


def _print(result: SwapResult, named: bool) -> None:
    for note in result.notes:
        console.write(console.wrapped(f"Note: {note}"))
    more = f", {result.rounds[1]} at least two" if len(result.rounds) > 1 else ""
    console.write(console.bold(f"{result.served} of {result.people} people get a plant{more}"))
    before = result.best_first
    console.write(
        console.wrapped(
            f"Benefit {result.benefit:.2f} in all; {result.proof}. Taking the best match first would serve "
            f"{before['served']} with {before['benefit']:.2f}."
        )
    )
    for one in result.matches:
        giver, taker = (f" {plain(one.giver)}", f" {plain(one.taker)}") if named else ("", "")
        head = (
            f"{one.offer}{giver} to {one.request}{taker}: {plain(one.variety)}, {one.kind}, {one.benefit:.2f}"
        )
        console.write(f"\n{console.bold(head)}{' (confirmed)' if one.confirmed else ''}")
        console.write(console.wrapped(one.reason, "  why: ", "    "))
        if one.minds:
            console.write(console.wrapped(one.minds, "  mind: ", "    "))
    if result.unmatched:
        console.write(f"\n{console.bold('Left over')}")
    for left in result.unmatched:
        who = f" {plain(left.person)}" if named else ""
        console.write(
            console.wrapped(f"{left.id}{who}, {left.what}, {left.left}: {left.stopped}", "  ", "    ")
        )
        if left.frees:
            console.write(console.wrapped(f"Would free it: {left.frees}", "    "))
