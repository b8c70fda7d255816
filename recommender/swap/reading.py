"""Tables of offers and requests, CSV or XLSX, into checked objects.

In: a file as an orchard group keeps it: a heading, one line an offer or request, cells of several entries
joined with `|` or `;`. Out: the entries, and notes on what was left out. Everything wrong with the table is
told at once, each with row and column; columns that are not asked for (such as an address) are never kept.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Generic, TypeVar

from recommender.errors import BadInput, DataFaults
from recommender.swap.offers import Offer, Request
from recommender.tables_in import csv_rows, is_formula, text_lines, workbook_rows
from recommender.wording import list_words, plain

Entry = TypeVar("Entry", Offer, Request)
MOST_ROWS = 50_000
MOST_BYTES = 20_000_000
_LISTED = 5
_ALIASES = {
    "offer": "id", "request": "id", "number": "id", "no": "id",
    "name": "person", "nickname": "person", "who": "person", "giver": "person", "taker": "person",
    "neighbourhood": "area", "village": "area", "parish": "area",
    "fruit": "crop", "cultivar": "variety", "fruits": "crops", "wishes": "varieties",
    "cultivars": "varieties",
    "type": "kind", "material": "kind", "quantity": "count", "qty": "count", "how many": "count",
    "available from": "available_from", "from": "available_from", "available until": "available_until",
    "until": "available_until", "to": "available_until", "cut on": "cut_on", "cut": "cut_on",
    "collected": "cut_on",
    "health notes": "health", "notes": "note", "elevation": "elevation_m", "chill": "chill_hours",
    "space": "space_m", "container": "container_L", "container_l": "container_L",
    "neighbours": "neighbours_have_fruit_trees", "use": "uses", "trees": "existing_trees",
    "existing trees": "existing_trees", "stocks": "rootstocks", "can take": "take", "km": "max_km",
    "max km": "max_km", "town": "place",
}  # fmt: skip
# A request says `crop` or `variety`, `kind` and `count` in the singular too.
_REQUEST_ALIASES = {"crop": "crops", "variety": "varieties", "kind": "kinds", "count": "take"}


@dataclass(frozen=True)
class Table(Generic[Entry]):
    """The entries of a file, and notes for the organiser."""

    entries: list[Entry]
    notes: tuple[str, ...]


def read_offers(path: Path | str, raw: bytes | None = None) -> Table[Offer]:
    """The offers of a CSV or XLSX table. raw: its bytes, where they are at hand (an upload).

    Raises BadInput for a file that cannot be read, DataFaults for lines that cannot be used.
    """
    return _read(Path(path), raw, Offer)


def read_requests(path: Path | str, raw: bytes | None = None) -> Table[Request]:
    """The requests of a CSV or XLSX table; see `read_offers`."""
    return _read(Path(path), raw, Request)


def _read(path: Path, raw: bytes | None, model: type[Entry]) -> Table[Entry]:
    if raw is None:
        try:
            raw = path.read_bytes()
        except OSError as error:
            raise BadInput(
                f"The table cannot be read: {error.strerror or error}",
                where=path.name,
                remedy="Check the path and that you may read the file",
            ) from None
    if len(raw) > MOST_BYTES:
        raise BadInput(
            f"The table is larger than {MOST_BYTES // 1_000_000} MB",
            where=path.name,
            remedy="Split it, or take pictures and empty rows out",
        )
    if raw[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" or raw[:4] == b"%PDF":
        raise BadInput("This kind of file is not read", where=path.name, remedy="Save it as XLSX or CSV")
    notes: list[str] = []
    if raw[:4] == b"PK\x03\x04":
        # A sheet leaves out empty cells at the end of a row; a table of text that does so has lost some.
        found = workbook_rows(raw, path.name, MOST_ROWS)
        width = max((len(cells) for _, cells in found), default=0)
        lines = [(number, cells + [""] * (width - len(cells))) for number, cells in found]
    else:
        lines, notes = _csv(path, raw)
    rows = [(number, cells) for number, cells in lines if any(_text(cell) for cell in cells)]
    if not rows:
        raise BadInput(
            "The table is empty", where=path.name, remedy="Put a heading and one line for each entry"
        )
    more: list[str]
    columns, more = _columns(path, rows[0][1], model)
    return _entries(path, rows, columns, [*notes, *more], model)


def _csv(path: Path, raw: bytes) -> tuple[list[tuple[int, list[str]]], list[str]]:
    lines, other = text_lines(raw.removeprefix(b"\xef\xbb\xbf"), path.name)
    heading = lines[0] if lines else ""
    delimiter = max(",;\t", key=heading.count)
    # Strict, unlike a stock list: a quote left open would swallow the lines of other people.
    rows = csv_rows(lines, path.name, MOST_ROWS, delimiter, strict=True)
    notes = []
    if other:
        numbers = list_words([str(number) for number in list(other)[:_LISTED]])
        more = " and more" if len(other) > _LISTED else ""
        notes.append(
            f"{path.name}: line {numbers}{more} {'is' if len(other) == 1 else 'are'} not in UTF-8 and read "
            "as Windows-1252; look at the accents"
        )
    return rows, notes


def _columns(path: Path, heading: Sequence[str], model: type[Entry]) -> tuple[dict[int, str], list[str]]:
    known = {name.lower(): name for name in model.model_fields}
    places: dict[int, str] = {}
    left_out = []
    for place, cell in enumerate(heading):
        word = " ".join(_text(cell).lower().split())
        if not word:
            continue
        name = known.get(word.replace(" ", "_")) or known.get(_ALIASES.get(word, "").lower())
        if name is None and model is Request:
            name = known.get(_REQUEST_ALIASES.get(_ALIASES.get(word, word), ""))
        if name is None:
            left_out.append(_text(cell))
        elif name in places.values():
            raise BadInput(f"The column {name} stands twice", where=path.name, remedy="Keep one of the two")
        else:
            places[place] = name
    needed = [name for name, field in model.model_fields.items() if field.is_required()]
    missing = [name for name in needed if name not in places.values()]
    if missing:
        raise BadInput(
            f"The table of {model.section}s has no column {list_words(missing)}",
            where=f"{path.name}, first line",
            remedy=f"The heading may hold {', '.join(model.model_fields)}",
        )
    notes = []
    if left_out:
        notes.append(f"{path.name}: columns not asked for were left out: {list_words(left_out)}")
    return places, notes


def _entries(
    path: Path,
    rows: list[tuple[int, list[str]]],
    columns: dict[int, str],
    notes: list[str],
    model: type[Entry],
) -> Table[Entry]:
    entries: list[Entry] = []
    faults = []
    headings = {name: _text(rows[0][1][place]) for place, name in columns.items()}
    for number, cells in rows[1:]:
        extra = [cell for cell in cells[max(columns) + 1 :] if _text(cell)] if columns else []
        if len(cells) < len(columns) or (extra and len(cells) > max(columns) + 1 + len(extra)):
            faults.append(
                f"{path.name}, line {number}: it has {len(cells)} cells. Add the missing separators"
            )
            continue
        given = {
            name: cells[place]
            for place, name in columns.items()
            if place < len(cells) and _text(cells[place])
        }
        spoilt = _spoilt(given)
        if spoilt:
            faults += [
                f"{path.name}, line {number}, column “{headings[n]}”: {why}" for n, why in spoilt.items()
            ]
            continue
        # What is needed and empty is told in the words of the entry.
        needed = {name: "" for name, field in model.model_fields.items() if field.is_required()}
        answers: dict[str, Any] = needed | {name: _value(cell) for name, cell in given.items()}
        try:
            entries.append(model(**answers))
        except BadInput as error:
            at = list_words([f"“{headings[name]}”" for name in _at_fault(model, answers)])
            where = f"{path.name}, line {number}" + (f", column {at}" if at else "")
            faults.append(f"{where}: {error.what.rstrip('.')}. {error.remedy}")
    if faults:
        many = f"{len(faults)} faults" if len(faults) > 1 else "a fault"
        raise DataFaults(
            f"The table of {model.section}s has {many}; nothing of it was taken",
            faults,
            remedy="Mend the table and read it again",
        )
    return Table(entries, tuple(notes))


def _spoilt(cells: dict[str, str]) -> dict[str, str]:
    """Cells whose text cannot be trusted, and why."""
    found = {}
    for name, cell in cells.items():
        if is_formula(cell):
            found[name] = "a formula is not read. Write the value itself"
        elif "\x00" in cell:
            found[name] = "it holds a character that is no text (NUL). Type the cell again"
    return found


def _at_fault(model: type[Entry], answers: dict[str, Any]) -> list[str]:
    """The answers that are wrong by themselves; none where only their company is."""
    needed = [name for name, field in model.model_fields.items() if field.is_required()]
    found = []
    for name, answer in answers.items():
        try:
            model(**{**dict.fromkeys(needed, "x"), name: answer})
        except BadInput:
            found.append(name)
    return found


def _text(cell: Any) -> str:
    return "" if cell is None else " ".join(plain(cell).split())


def _value(cell: str) -> str:
    """A cell as an answer: text without the apostrophe that guards it from being run as a formula."""
    text = _text(cell)
    return text[1:] if text[:1] == "'" and text[1:2] in ("=", "+", "-", "@") else text
