"""A messy stock list -> each line's crop, variety, rootstock, form, size, count and price, with a confidence.

In comes a frame of lines (`stock_files.read_table` makes one from CSV or XLSX) and a catalog; out goes a
`Stock`:
one row a line, decided, review or unknown, with the runners-up. Ambiguous lines are never guessed silently;
what a person decided is remembered for the next import. docs/stock-names.md tells how, with measured shares.
"""

from __future__ import annotations

import weakref
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Any

import pandas as pd

from recommender.nursery import name_book
from recommender.nursery.decisions import NONE_OF_OURS, Decisions
from recommender.nursery.name_book import DECIDED, Match, NameBook, Query
from recommender.nursery.stock_line import LineParts, parse_count, parse_price, spaced, why_no_count

if TYPE_CHECKING:
    from recommender.catalog.catalog import Catalog
    from recommender.nursery.stock_files import Table

COLUMNS = (
    "line", "text", "crop", "variety", "rootstock", "form", "size", "age", "count", "price", "currency",
    "confidence", "decision", "how", "runners_up", "duplicate_of", "note",
)  # fmt: skip
_BOOKS: weakref.WeakKeyDictionary[Any, NameBook] = weakref.WeakKeyDictionary()


@dataclass(frozen=True, eq=False)
class Stock:
    """A list as read. `lines`: one row a line, columns COLUMNS; `line` is the line of the file, from 1.

    decision: decided, review (a person should look) or unknown (no name of the catalog is near). count:
    Int64, NA if the line says none that can be used. faults: what was wrong with single cells, one sentence
    each with file, row and column. headings: lines that only name a crop, which the lines under them take
    over. mapping: column of the file -> what it was taken for.
    """

    lines: pd.DataFrame
    faults: tuple[str, ...] = ()
    headings: tuple[tuple[int, str], ...] = ()
    mapping: Mapping[str, str] = field(default_factory=dict)

    def usable(self) -> pd.DataFrame:
        """Lines that can be offered: decided, no repeat of another line, and in stock (or count not said).

        A line of which the count could not be read has none to offer and stays out.
        """
        lines = self.lines
        counted = lines["count"].gt(0).fillna(False) | (
            lines["count"].isna() & ~lines["note"].str.contains("count")
        )
        return lines[lines["decision"].eq("decided") & lines["duplicate_of"].isna() & counted].reset_index(
            drop=True
        )

    def records(self) -> list[dict[str, Any]]:
        """Lines as plain records, runners-up included."""
        from recommender.outputs import frame_records

        return frame_records(self.lines)


def book_of(catalog: Catalog) -> NameBook:
    """The name book of a catalog, made once for each open catalog."""
    book = _BOOKS.get(catalog)
    if book is None:
        book = name_book.name_book(catalog)
        _BOOKS[catalog] = book
    return book


def read_lines(texts: Sequence[str], catalog: Catalog, decisions: Decisions | None = None) -> Stock:
    """Stock lines given as plain texts, one line each."""
    from recommender.nursery.stock_files import Table

    frame = pd.DataFrame({"name": [str(text) for text in texts]}, dtype=object)
    return read_stock(
        Table(frame=frame, rows=tuple(range(1, len(frame) + 1)), mapping={"name": "name"}), catalog, decisions
    )


def read_stock(
    table: Table,
    catalog: Catalog,
    decisions: Decisions | None = None,
    *,
    book: NameBook | None = None,
    crops_of_rootstock: Mapping[str, tuple[str, ...]] | None = None,
) -> Stock:
    """The lines of a table read against a catalog. decisions: what was decided before (default: nothing).

    book: another name book than the catalog's own (for measuring).
    """
    book = book if book is not None else book_of(catalog)
    served = crops_of_rootstock if crops_of_rootstock is not None else _crops_of_rootstock(catalog)
    reader = book.reader
    frame, faults = table.frame, list(table.faults)
    columns: dict[str, list[str]] = {
        part: [str(cell) for cell in frame[part]] if part in frame else [""] * len(frame)
        for part in ("name", "crop", "rootstock", "form", "size", "count", "price")
    }
    kept: dict[str, LineParts] = {}
    rows: list[dict[str, Any]] = []
    queries: list[Query] = []
    without: dict[int, Query] = {}
    headings: list[tuple[int, str]] = []
    under: tuple[str, ...] = ()
    seen: dict[tuple[str, ...], int] = {}
    for place, line in enumerate(table.rows):
        cells = {part: values[place] for part, values in columns.items()}
        text = cells["name"]
        parts = kept.get(text)
        if parts is None:
            parts = kept[text] = reader.parts(text)
        bare = not any(cells[part] for part in cells if part != "name")
        if bare and _is_heading(parts):
            under = parts.crops
            headings.append((line, text.strip()))
            continue
        row, cell_faults = _cells(parts, cells, reader, partial(table.where, place))
        faults += cell_faults
        said = reader.crops_of(cells["crop"]) if cells["crop"] else ()
        crops = said or parts.crops or under
        if under and not said and parts.crops:
            # Under "APPLES", "Blenheim Orange" is no orange, and "Peach Redhaven" may still be a stray peach.
            crops = tuple(crop for crop in parts.crops if crop in under) or (*under, *parts.crops)
        if said and parts.crops and set(said) & set(parts.crops):
            crops = tuple(crop for crop in parts.crops if crop in said)
        on_it = served.get(row["rootstock"], ())
        if on_it:
            fitting = tuple(crop for crop in crops if crop in on_it)
            if crops and not fitting:
                row["note"].append(f"{row['rootstock']} is no rootstock for {' or '.join(crops)}")
            # A heading may have been forgotten; a crop that the line itself names has not.
            crops = fitting or (crops if said or parts.crops else on_it)
        repeat = tuple(spaced(value) if value else "" for value in cells.values())
        row["line"], row["duplicate_of"] = line, seen.get(repeat, pd.NA)
        row["note"] = "; ".join([*table.notes.get(place, ()), *row["note"]])
        seen.setdefault(repeat, line)
        rows.append(row)
        queries.append(Query(parts.rest, parts.whole, crops))
        if under and not said:
            without[len(queries) - 1] = Query(parts.rest, parts.whole, parts.crops or on_it)
    matches = _without_heading(book, book.match(queries), queries, without)
    matches = _remembered(matches, queries, decisions)
    for row, match in zip(rows, matches, strict=True):
        row.update(_decision(match))
        if row["duplicate_of"] is not pd.NA:
            row["note"] = "; ".join(
                [
                    *filter(None, [row["note"]]),
                    f"repeats line {row['duplicate_of']} word for word; counted once",
                ]
            )
    lines = pd.DataFrame(rows, columns=list(COLUMNS))
    lines["count"] = pd.array([row["count"] for row in rows], dtype="Int64")
    lines["duplicate_of"] = pd.array([row["duplicate_of"] for row in rows], dtype="Int64")
    lines["price"] = lines["price"].astype(float)
    return Stock(lines=lines, faults=tuple(faults), headings=tuple(headings), mapping=dict(table.mapping))


def decide(stock: Stock, line: int, choice: str, catalog: Catalog, decisions: Decisions) -> tuple[str, str]:
    """Remember what a line of `stock` means: a variety ("crop:variety" or its name), or "none" for none of
    ours.

    Returns (crop, variety), both empty for none. Raises BadInput for a line that is not there, UnknownName.
    """
    from recommender.errors import BadInput

    found = stock.lines.loc[stock.lines["line"].eq(line)]
    if found.empty:
        raise BadInput(f"The list has no line {line}", remedy="Give the number shown by stock check")
    pair = NONE_OF_OURS if choice.strip().casefold() in ("none", "-") else catalog.resolve(choice)
    parts = book_of(catalog).reader.parts(str(found["text"].iloc[0]))
    decisions.remember(parts.whole, pair)
    return pair


def _is_heading(parts: LineParts) -> bool:
    """Whether a line only names a crop ("APPLES")."""
    said = (parts.count, parts.price, parts.size, parts.form, parts.rootstock, parts.age)
    return bool(parts.crops) and not parts.rest and all(part is None for part in said)


def _cells(
    parts: LineParts, cells: dict[str, str], reader: Any, where: Callable[[str], str]
) -> tuple[dict[str, Any], list[str]]:
    """One row without its name decided. A cell of its own wins over the words of the line."""
    faults, notes = [], []
    count = parts.count
    if cells["count"]:
        count = parse_count(cells["count"])
        if count is None:
            faults.append(
                f"{where('count')}: the count “{cells['count'][:40]}”"
                f" {why_no_count(cells['count'], 'is no whole number')}; the line is kept without a count."
                f" Write a number"
            )
            notes.append("count not read")
    if count is not None and count < 0:
        faults.append(
            f"{where('count' if cells['count'] else '')}: the count {count} is below nought; the line is kept"
            f" with nothing to offer. Write what is left"
        )
        notes.append("count below nought")
        count = None
    price, currency = (parts.price, parts.currency)
    if cells["price"]:
        price, currency = parse_price(cells["price"])
        if price is None:
            faults.append(
                f"{where('price')}: the price “{cells['price'][:40]}” is no amount; the line is kept without"
                f" a price. Write an amount"
            )
    elif price is None and cells["count"]:
        price, currency = (
            parse_price(cells["count"]) if not cells["count"].strip().isdigit() else (None, None)
        )
    rootstock = parts.rootstock
    if cells["rootstock"]:
        rootstock = reader.rootstock(cells["rootstock"])
        if rootstock is None:
            notes.append(f"rootstock “{cells['rootstock'][:40]}” not known")
    row: dict[str, Any] = {
        "text": cells["name"],
        "rootstock": rootstock,
        "form": cells["form"] or parts.form,
        "size": cells["size"] or parts.size,
        "age": parts.age,
        "count": pd.NA if count is None else count,
        "price": price,
        "currency": currency,
        "note": notes,
    }
    return row, faults


def _without_heading(
    book: NameBook, matches: list[Match], queries: list[Query], without: dict[int, Query]
) -> list[Match]:
    """Lines that make no sense under their heading are read again without it: lists forget to end a
    section."""
    again = [
        place for place, query in without.items() if not matches[place].decided and query != queries[place]
    ]
    out = list(matches)
    for place, match in zip(again, book.match([without[place] for place in again]), strict=True):
        if match.decided:
            out[place] = match
    return out


def _remembered(matches: list[Match], queries: list[Query], decisions: Decisions | None) -> list[Match]:
    if decisions is None or not len(decisions):
        return matches
    out = []
    for match, query in zip(matches, queries, strict=True):
        kept = decisions.find(query.whole, query.crops)
        if kept is None:
            out.append(match)
        elif kept == NONE_OF_OURS:
            out.append(Match((), 1.0, "remembered"))
        else:
            out.append(Match(((*kept, 1.0),), 1.0, "remembered"))
    return out


def _decision(match: Match) -> dict[str, Any]:
    """crop, variety, confidence, decision, how, runners_up of a match. A line under review names no
    variety."""
    if match.decided:
        (crop, variety, _), *others = match.candidates
        decision, confidence = "decided", match.confidence
    else:
        crop, variety, others = None, None, list(match.candidates)
        decision = "review" if others else "unknown"
        confidence = match.confidence if others else 0.0
        if len({crop_of for crop_of, _, _ in others}) == 1 and others:
            crop = others[0][0]
    listed = " | ".join(f"{crop_of}:{name} {likeness:.2f}" for crop_of, name, likeness in others)
    return {
        "crop": crop,
        "variety": variety,
        "confidence": round(confidence, 3),
        "decision": decision,
        "how": match.how,
        "runners_up": listed,
    }


def _crops_of_rootstock(catalog: Catalog) -> dict[str, tuple[str, ...]]:
    table = catalog.rootstocks()
    return {
        str(name): tuple(str(crops).split("|"))
        for name, crops in zip(table["rootstock"], table["for_crops"], strict=True)
        if isinstance(crops, str)
    }


__all__ = ["COLUMNS", "DECIDED", "Stock", "book_of", "decide", "read_lines", "read_stock"]
