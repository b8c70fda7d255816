"""Tables of offers and requests, CSV or XLSX, into checked objects.

In: a file as an orchard group keeps it: a heading, one line an offer or request, cells of several entries
joined with `|` or `;`. Out: the entries, and notes on what was left out. Everything wrong with the table is
told at once, each with row and column; columns that are not asked for (such as an address) are never kept.
"""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Generic, TypeVar

from recommender.errors import BadInput, DataFaults
from recommender.swap.offers import Offer, Request
from recommender.wording import list_words, plain

Entry = TypeVar("Entry", Offer, Request)
MOST_ROWS = 50_000
MOST_BYTES = 50_000_000
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
        raise BadInput("The table is larger than 50 MB", where=path.name, remedy="Split it")
    lines = _xlsx(path, raw) if raw[:4] == b"PK\x03\x04" else _csv(path, raw)
    rows = [(number, cells) for number, cells in lines if any(_text(cell) for cell in cells)]
    if not rows:
        raise BadInput(
            "The table is empty", where=path.name, remedy="Put a heading and one line for each entry"
        )
    if len(rows) > MOST_ROWS:
        raise BadInput(f"The table has more than {MOST_ROWS:,} lines", where=path.name, remedy="Split it")
    columns, notes = _columns(path, rows[0][1], model)
    return _entries(path, rows[1:], columns, notes, model)


def _csv(path: Path, raw: bytes) -> list[tuple[int, Sequence[Any]]]:
    try:
        text = raw.decode("utf-16" if raw[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise BadInput(
            "The table is not text in UTF-8",
            where=f"{path.name}, line {line}",
            remedy="Save it as “CSV UTF-8”, or as XLSX",
        ) from None
    if "\x00" in text:
        raise BadInput("The table is no text", where=path.name, remedy="Save it as CSV or XLSX")
    heading = text.split("\n", 1)[0]
    delimiter = max(",;\t", key=heading.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    rows: list[tuple[int, Sequence[Any]]] = []
    start = 1
    try:
        for cells in reader:
            rows.append((start, cells))
            start = reader.line_num + 1
    except csv.Error:
        raise BadInput(
            "A quoted cell is not closed, or has text after its closing quote",
            where=f"{path.name}, line {start}",
            remedy="Close the quotes, and write a quote inside a cell twice",
        ) from None
    return rows


def _xlsx(path: Path, raw: bytes) -> list[tuple[int, Sequence[Any]]]:
    from openpyxl import load_workbook
    from openpyxl.utils.exceptions import InvalidFileException

    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as packed:
            if sum(part.file_size for part in packed.infolist()) > 10 * MOST_BYTES:
                raise BadInput("The workbook unpacks to more than 500 MB", where=path.name, remedy="Split it")
        book = load_workbook(io.BytesIO(raw), read_only=True, data_only=True)
        sheet = book.worksheets[0]
        return [
            (number, cells)
            for number, cells in enumerate(sheet.iter_rows(values_only=True, max_row=MOST_ROWS + 2), start=1)
        ]
    except (zipfile.BadZipFile, InvalidFileException, KeyError, IndexError, ValueError, OSError) as error:
        raise BadInput(
            f"The workbook cannot be read: {plain(error)}",
            where=path.name,
            remedy="Save it again as XLSX, or as CSV",
        ) from None


def _columns(path: Path, heading: Sequence[Any], model: type[Entry]) -> tuple[dict[int, str], list[str]]:
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
    rows: list[tuple[int, Sequence[Any]]],
    columns: dict[int, str],
    notes: list[str],
    model: type[Entry],
) -> Table[Entry]:
    entries: list[Entry] = []
    faults = []
    for number, cells in rows:
        extra = [cell for cell in cells[max(columns) + 1 :] if _text(cell)] if columns else []
        if len(cells) < len(columns) or (extra and len(cells) > max(columns) + 1 + len(extra)):
            faults.append(
                f"{path.name}, line {number}: it has {len(cells)} cells. Add the missing separators"
            )
            continue
        answers = {
            name: _value(cells[place])
            for place, name in columns.items()
            if place < len(cells) and _text(cells[place])
        }
        try:
            entries.append(model(**answers))
        except BadInput as error:
            faults.append(f"{path.name}, line {number}: {error.what.rstrip('.')}. {error.remedy}")
    if faults:
        raise DataFaults(f"The table of {model.section}s has {len(faults)} lines that cannot be used", faults)
    return Table(entries, tuple(notes))


def _text(cell: Any) -> str:
    return "" if cell is None else " ".join(plain(cell).split())


def _value(cell: Any) -> Any:
    """A cell as an answer: text without the apostrophe that guards it from being run as a formula."""
    if not isinstance(cell, str):
        return cell if not isinstance(cell, float) or not cell.is_integer() else int(cell)
    text = _text(cell)
    return text[1:] if text[:1] == "'" and text[1:2] in ("=", "+", "-", "@") else text
