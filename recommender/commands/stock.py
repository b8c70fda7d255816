"""`orchardwright stock check | standin | backorders`: the nursery's desk.

`check` reads a messy stock list, `standin` finds what to offer for a sold-out variety, `backorders` shares
the stock out among waiting orders.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from recommender.commands import console, groups
from recommender.commands import options as opt
from recommender.errors import BadInput
from recommender.wording import MARKS, as_units, crop_in_sentence, metres, plain

if TYPE_CHECKING:
    import pandas as pd

    from recommender.catalog.store import Catalog
    from recommender.nursery.decisions import Decisions
    from recommender.nursery.names import Stock

app = typer.Typer(
    help="The nursery's desk: read a stock list, find stand-ins, fill back orders.",
    no_args_is_help=True,
    add_completion=False,
)

List = Annotated[Path, typer.Argument(help="Stock list, CSV or XLSX.", show_default=False)]
Column = Annotated[
    list[str] | None,
    typer.Option("--column", help="Which heading holds what, such as name=Artikel; repeatable."),
]
Memory = Annotated[
    Path | None, typer.Option("--decisions", help="File of decisions (default: the one in your data folder).")
]
_MOST_FIGURES = 9
Output = Annotated[Path | None, typer.Option("--output", help="Write the result to this CSV or XLSX file.")]


@app.command("check")
def check(
    stock: List,
    column: Column = None,
    decide: Annotated[
        list[str] | None,
        typer.Option(
            "--decide",
            help="Say what a line is, such as 12=apple:Discovery or 12=none; remembered; repeatable.",
        ),
    ] = None,
    decisions: Memory = None,
    output: Output = None,
    as_json: opt.AsJson = False,
    as_csv: opt.AsCsv = False,
) -> None:
    """Read a stock list: which variety each line is, how sure, and what a person should look at.

    For example: orchardwright stock check list.xlsx
    """
    opt.one_format(as_json, as_csv)
    catalog = console.catalog()
    memory = _memory(decisions)
    read = _read(stock, column, catalog, memory)
    if decide:
        from recommender.nursery.names import decide as keep

        for said in decide:
            keep(read, *_line_and_choice(said), catalog, memory)
        memory.save()
        read = _read(stock, column, catalog, memory)
    from recommender.nursery.result_files import faults_frame

    _keep(output, {"stock": read.lines, "faults": faults_frame(read.faults)})
    if as_json:
        console.write_json(
            {
                "columns": dict(read.mapping),
                "lines": read.records(),
                "headings": [{"line": line, "text": text} for line, text in read.headings],
                "faults": list(read.faults),
            }
        )
    elif as_csv:
        console.write_csv(read.lines)
    else:
        _print_check(read, stock)


@app.command("standin")
@groups.spread
def standin(
    variety: Annotated[
        str, typer.Argument(help="The sold-out variety, or crop:variety.", show_default=False)
    ],
    *,
    stock: Annotated[
        Path | None, typer.Option("--stock", help="Stock list, CSV or XLSX; without it every variety counts.")
    ] = None,
    column: Column = None,
    decisions: Memory = None,
    where: groups.Where,
    ground: groups.Ground,
    room: groups.Room,
    near: groups.NearBy,
    use: opt.Uses = None,
    max_height: opt.MaxHeight = None,
    accept: Annotated[
        list[str] | None,
        typer.Option("--accept", help="Another crop the customer would take, such as quince; repeatable."),
    ] = None,
    top: Annotated[int, typer.Option("--top", min=1, help="How many to show.")] = 3,
    as_json: opt.AsJson = False,
    as_csv: opt.AsCsv = False,
    units: opt.UnitsOption = "metric",
) -> None:
    """Find what to offer instead of a sold-out variety, with a reason to read to the customer.

    For example: orchardwright stock standin "Discovery" --stock list.csv --place "Bristol, England"
    """
    from recommender import Goals
    from recommender.nursery.substitutes import substitutes

    opt.one_format(as_json, as_csv)
    view = as_units(units)
    catalog = console.catalog()
    answers = groups.answers_of(view, where, ground, room, near)
    anywhere = where.site is not None or answers.keys() - {"existing_trees"}
    site = groups.site_from(where.site, answers) if anywhere else None
    goals = Goals(**opt.given(uses=use, max_height_m=metres(max_height, view)))
    offered = None if stock is None else _read(stock, column, catalog, _memory(decisions))
    found = substitutes(
        variety,
        offered,
        site,
        goals,
        existing_trees=tuple(near.existing or ()) if site is None else (),
        crops=tuple(accept or ()),
        catalog=catalog,
        top=top,
    )
    if as_json:
        from recommender.outputs import frame_records

        about = {"crop": found.crop, "variety": found.variety, "in_stock_lines": list(found.in_stock)}
        console.write_json({**about, "standins": found.records(), "ruled_out": frame_records(found.left_out)})
    elif as_csv:
        console.write_csv(found.frame)
    else:
        _print_standins(found)


@app.command("backorders")
def backorders(
    orders: Annotated[Path, typer.Argument(help="Order list, CSV or XLSX.", show_default=False)],
    stock: Annotated[Path, typer.Option("--stock", help="Stock list, CSV or XLSX.", show_default=False)],
    column: Annotated[
        list[str] | None,
        typer.Option("--column", help="Heading in the order list, such as name=Sorte; repeatable."),
    ] = None,
    stock_column: Annotated[
        list[str] | None, typer.Option("--stock-column", help="The same for the stock list; repeatable.")
    ] = None,
    decisions: Memory = None,
    least: Annotated[
        float, typer.Option("--least", help="Least acceptance at which a stand-in is sent, 0 to 1.")
    ] = 0.5,
    site: opt.SiteFile = None,
    output: Output = None,
    as_json: opt.AsJson = False,
    as_csv: opt.AsCsv = False,
) -> None:
    """Share the stock out among back orders: who gets which tree, what stays unfilled and why, what to buy
    in.

    For example: orchardwright stock backorders orders.csv --stock list.csv --output filled.xlsx
    """
    from recommender import Site
    from recommender.nursery.allocation import allocate
    from recommender.nursery.orders import read_orders
    from recommender.nursery.result_files import allocation_tables
    from recommender.nursery.stock_files import ORDERS, read_table

    opt.one_format(as_json, as_csv)
    catalog = console.catalog()
    memory = _memory(decisions)
    held = _read(stock, stock_column, catalog, memory)
    table = read_table(orders, ORDERS, _columns(column))
    with console.progress("Working out the sites"):
        waiting = read_orders(table, catalog, memory, Site.from_file(site) if site is not None else None)
    with console.progress("Sharing the stock out"):
        result = allocate(waiting, held, catalog, least=least)
    faults = (*held.faults, *waiting.faults)
    tables = allocation_tables(result, faults)
    _keep(output, tables)
    if as_json:
        from recommender.outputs import frame_records

        parts = {
            name: frame_records(frame)
            for name, frame in (
                ("sent", result.sent),
                ("unfilled", result.unfilled),
                ("buy_in", result.buy_in),
            )
        }
        console.write_json(
            {"summary": result.summary, **parts, "columns": dict(waiting.mapping), "faults": list(faults)}
        )
    elif as_csv:
        console.write_csv(result.table())
    else:
        _print_allocation(result, faults, output)


def _memory(path: Path | None) -> Decisions:
    from recommender.nursery.decisions import Decisions, default_path

    return Decisions(path if path is not None else default_path())


def _line_and_choice(said: str) -> tuple[int, str]:
    """The number of a line and what it is. Raises BadInput if that is not what was said."""
    line, _, choice = said.partition("=")
    line = line.strip()
    if not line.isdecimal() or len(line) > _MOST_FIGURES or not choice.strip():
        raise BadInput(
            f"“{said[:60]}” is not LINE=VARIETY",
            where="--decide",
            remedy="Write for example 12=apple:Discovery",
        )
    return int(line), choice


def _columns(said: list[str] | None) -> dict[str, str]:
    columns = {}
    for pair in said or ():
        part, mark, heading = pair.partition("=")
        if not mark or not part.strip() or not heading.strip():
            raise BadInput(
                f"“{pair}” is not WHAT=HEADING", where="--column", remedy="Write for example name=Artikel"
            )
        columns[part.strip()] = heading.strip()
    return columns


def _read(path: Path, columns: list[str] | None, catalog: Catalog, memory: Decisions) -> Stock:
    from recommender.nursery.names import read_stock
    from recommender.nursery.stock_files import read_table

    return read_stock(read_table(path, columns=_columns(columns)), catalog, memory)


def _keep(path: Path | None, tables: dict[str, pd.DataFrame]) -> None:
    if path is not None:
        from recommender.nursery.result_files import write_tables

        write_tables(tables, path)


def _print_check(read: Stock, path: Path) -> None:
    lines = read.lines
    counts = lines["decision"].value_counts()
    console.write(console.bold(f"{path.name}: {len(lines):,} lines"))
    told = ", ".join(f"“{plain(heading)}” as {part}" for heading, part in read.mapping.items())
    console.write(console.wrapped(f"Columns read: {told}. Correct with --column."))
    console.write(
        console.wrapped(
            f"{counts.get('decided', 0):,} decided, {counts.get('review', 0):,} for you to look at,"
            f" {counts.get('unknown', 0):,} unknown; {int(lines['duplicate_of'].notna().sum()):,}"
            f" repeat another line."
        )
    )
    _print_faults(read.faults)
    looked_at = lines[lines["decision"].ne("decided")]
    if len(looked_at):
        console.write(console.bold("\nPlease look at"))
        for row in looked_at.head(20).to_dict("records"):
            console.write(console.wrapped(f"{row['line']:>5}  {row['text']}", then="       "))
            console.write(
                console.wrapped(
                    f"may be {row['runners_up']}" if row["runners_up"] else "nothing near", "         "
                )
            )
        if len(looked_at) > 20:
            console.write(f"       and {len(looked_at) - 20:,} more; --output writes all of them")
        console.write(
            console.wrapped("Decide with --decide LINE=crop:variety (or LINE=none); it is remembered.")
        )


def _print_faults(faults: tuple[str, ...]) -> None:
    if faults:
        console.write(console.bold("\nCells that could not be used"))
        for fault in faults[:10]:
            console.write(console.wrapped(fault, "  ", "    "))
        if len(faults) > 10:
            console.write(f"  and {len(faults) - 10:,} more")


def _print_standins(found: Any) -> None:
    console.write(console.bold(f"Instead of {plain(found.variety)} ({crop_in_sentence(found.crop)})"))
    if found.in_stock:
        console.write(
            console.wrapped(
                f"It is in stock after all: line {', '.join(map(str, found.in_stock))} of the list."
            )
        )
    if found.frame.empty:
        console.write("Nothing in stock can stand in. Try --accept with another crop, or a fuller list.")
    for row in found.records():
        mark = f"{MARKS[row['verdict']]} " if row["verdict"] else ""
        stock = "" if row["count"] is None else f", {row['count']} in stock"
        console.write(
            f"\n{console.bold(str(row['rank']) + '  ' + mark + plain(row['variety']))} "
            f" {row['score']:.2f}{stock}"
        )
        console.write(console.wrapped(str(row["reason"]), "   "))
    if len(found.left_out):
        names = ", ".join(plain(name) for name in found.left_out["variety"].head(8))
        console.write(
            console.wrapped(
                f"\nRuled out at this site: {names}{' and others' if len(found.left_out) > 8 else ''}."
            )
        )


def _print_allocation(result: Any, faults: tuple[str, ...], output: Path | None) -> None:
    told = result.summary
    proof = "proved to be the best there is" if told["proven"] else "not proved to be the best"
    console.write(
        console.wrapped(
            f"{told['trees_sent']:,} of {told['trees_ordered']:,} trees go out, to"
            f" {told['lines_with_trees']:,} of"
            f" {told['order_lines']:,} order lines; acceptance {told['acceptance']:.3f}; {proof}."
        )
    )
    _print_faults(faults)
    for row in result.sent.head(30).to_dict("records"):
        other = (
            "" if row["kind"] == "as ordered" else f" for {plain(row['wanted'])} ({row['acceptance']:.2f})"
        )
        console.write(
            console.wrapped(
                f"{row['order']}: {row['count']} {plain(row['variety'])}{other}, stock line"
                f" {row['stock_line']}",
                "  ",
                "    ",
            )
        )
    if len(result.sent) > 30:
        console.write(f"  and {len(result.sent) - 30:,} more; --output writes all of them")
    if len(result.unfilled):
        console.write(console.bold("\nUnfilled"))
        for row in result.unfilled.head(20).to_dict("records"):
            console.write(
                console.wrapped(
                    f"{row['order']}: {row['count']} {plain(row['wanted'])}: {row['why']}", "  ", "    "
                )
            )
    if len(result.buy_in):
        console.write(console.bold("\nWorth buying in"))
        for row in result.buy_in.head(10).to_dict("records"):
            note = f" ({row['note']})" if row["note"] else ""
            console.write(
                console.wrapped(
                    f"{row['count']} {plain(row['variety'])}, wanted by {row['orders']} order"
                    f" line{'' if row['orders'] == 1 else 's'}{note}",
                    "  ",
                    "    ",
                )
            )
    if output is not None:
        console.write(f"\nWritten to {plain(output)}")
