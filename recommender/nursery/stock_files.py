"""Stock lists and orders as people send them: CSV in any encoding, XLSX, any column names -> one plain table.

In come a path and, if the guess was wrong, a corrected mapping; out goes a `Table` of texts with known column
names, the row of the file of each line, faults of single cells, and the mapping that was used. A cell that
holds a
formula is never computed and never trusted: its line is kept, its value is not.
"""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from recommender.errors import BadInput, StorageFault
from recommender.nursery.stock_line import spaced

MAX_BYTES = 60_000_000
"""Largest file read [bytes]: some 500,000 stock lines; what is larger is no stock list but a mistake."""
MAX_LINES = 500_000
STOCK = {
    "name": "name variety cultivar description plant product item article artikel sorte sorten bezeichnung "
    "titel title "
    "variety name plant name product name item description product description stock item line text",
    "crop": "crop fruit genus species kind category group type of fruit fruit type obstart gattung section",
    "rootstock": "rootstock stock type unterlage roots r s root stock root rs",
    "form": "form shape training tree form habit type tree type style",
    "size": "size pot container grade girth height pot size container size grosse groesse",
    "count": "count qty quantity stock in stock number no available avail availability on hand free stock "
    "anzahl bestand menge "
    "trees pieces pcs stock level",
    "price": "price cost unit price retail rrp preis price each each gbp eur usd vk trade price",
}
ORDERS = {
    "order": "order order no order number order id reference ref auftrag id",
    "customer": "customer client name customer name buyer kunde account",
    "name": "variety cultivar item product plant wanted description sorte artikel variety wanted",
    "count": "count qty quantity number trees wanted ordered anzahl menge pieces outstanding",
    "priority": "priority class rank prio urgency customer priority",
    "crops": "crops acceptable crops accepts also accept fruit crop acceptable fruit",
    "site": "site place town where location site name planting place",
    "zone": "zone hardiness zone usda zone",
    "chill_hours": "chill hours chill",
    "trees": "existing trees trees there has already existing other trees",
    "uses": "use uses purpose for",
    "rootstock": "rootstock on rootstock unterlage root stock",
}
"""What a column may be called, most telling first (common practice)."""


@dataclass(frozen=True, eq=False)
class Table:
    """A list read from a file. frame: texts, columns by their known names; rows: row of the file of each
    line.

    mapping: heading in the file -> known name; unused: headings that were left out; notes: line -> remarks.
    """

    frame: pd.DataFrame
    rows: tuple[int, ...]
    mapping: Mapping[str, str]
    file: str = ""
    unused: tuple[str, ...] = ()
    faults: tuple[str, ...] = ()
    notes: Mapping[int, tuple[str, ...]] = field(default_factory=dict)

    def where(self, place: int) -> str:
        """File and row of a line, for messages."""
        return f"{self.file}, row {self.rows[place]}" if self.file else f"row {self.rows[place]}"


def read_table(
    path: Path | str,
    known: Mapping[str, str] = STOCK,
    columns: Mapping[str, str] | None = None,
    needed: Sequence[str] = ("name",),
) -> Table:
    """The table of a CSV, TXT, TSV or XLSX file.

    known: known name -> headings it goes by. columns: known name -> heading, to correct the guess.
    Raises StorageFault (cannot be read), BadInput (too large, empty, no such sheet form, a needed column
    missing).
    """
    path = Path(path)
    try:
        size = path.stat().st_size
    except OSError as problem:
        raise StorageFault(
            "The file cannot be read", where=str(path), remedy="Check its name and folder"
        ) from problem
    if path.is_dir():
        raise StorageFault("This is a folder, not a file", where=str(path), remedy="Name the file in it")
    if size > MAX_BYTES:
        raise BadInput(
            f"The file holds {size / 1e6:.0f} MB; at most {MAX_BYTES / 1e6:.0f} MB are read",
            where=path.name,
            remedy=f"Split it into lists of at most {MAX_LINES:,} lines, or take pictures and empty rows out",
        )
    try:
        data = path.read_bytes()
    except OSError as problem:
        raise StorageFault(
            "The file cannot be read", where=str(path), remedy="Check that you may read it"
        ) from problem
    return table_from(data, path.name, known, columns, needed)


def table_from(
    data: bytes,
    name: str,
    known: Mapping[str, str] = STOCK,
    columns: Mapping[str, str] | None = None,
    needed: Sequence[str] = ("name",),
) -> Table:
    """The same from the bytes of a file and its name (an upload). Raises BadInput."""
    if len(data) > MAX_BYTES:
        raise BadInput(
            f"The file holds {len(data) / 1e6:.0f} MB; at most {MAX_BYTES / 1e6:.0f} MB are read",
            where=name,
            remedy=f"Split it into lists of at most {MAX_LINES:,} lines",
        )
    if data[:4] == b"PK\x03\x04":
        numbered, notes = workbook_rows(data, name), dict[int, str]()
    elif data[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" or data[:4] == b"%PDF":
        raise BadInput("This kind of file is not read", where=name, remedy="Save it as XLSX or CSV")
    else:
        numbered, notes = _csv_rows(data, name)
    rows = [(number, cells) for number, cells in numbered if any(cell.strip() for cell in cells)]
    if not rows:
        raise BadInput("The file holds no lines", where=name, remedy="Give one line a variety")
    if len(rows) > MAX_LINES + 1:
        raise BadInput(
            f"The file holds {len(rows):,} lines; at most {MAX_LINES:,} are read",
            where=name,
            remedy="Split it",
        )
    return _mapped(rows, name, known, columns or {}, needed, notes)


def text_lines(data: bytes, name: str) -> tuple[list[str], dict[int, str]]:
    """The lines of a text file with their ends, and which of them were not UTF-8. Raises BadInput."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        try:
            lines, other = data.decode("utf-16").splitlines(keepends=True), dict[int, str]()
        except UnicodeError as problem:
            raise BadInput(
                "The file is cut off or damaged (UTF-16)", where=name, remedy="Save it again as CSV"
            ) from problem
    else:
        lines, other = _decoded(data.removeprefix(b"\xef\xbb\xbf"))
    if any("\0" in line for line in lines[:50]):
        raise BadInput("This is no list of text lines", where=name, remedy="Save it as XLSX or CSV")
    return lines, other


def _csv_rows(data: bytes, name: str) -> tuple[list[tuple[int, list[str]]], dict[int, str]]:
    """Rows with their number, and which of them were not UTF-8."""
    lines, other = text_lines(data, name)
    sample = "".join(lines[:20])
    delimiter = max(
        (";", "\t", ",", "|"),
        key=lambda mark: (sample.count(mark) >= len(lines[:20]) - 1, sample.count(mark)),
    )
    csv.field_size_limit(1_000_000)
    rows: list[tuple[int, list[str]]] = []
    reader = csv.reader(lines, delimiter=delimiter)
    before = 0
    try:
        for cells in reader:
            rows.append((before + 1, cells))
            before = reader.line_num
    except csv.Error as problem:
        raise BadInput(
            f"The table breaks off ({problem})",
            where=f"{name}, row {reader.line_num}",
            remedy="Mend that row",
        ) from problem
    return rows, other


def _decoded(data: bytes) -> tuple[list[str], dict[int, str]]:
    """Lines of text, each in the encoding it was written in: UTF-8, else Windows-1252 (then Latin-1)."""
    try:
        return data.decode("utf-8").splitlines(keepends=True), {}
    except UnicodeDecodeError:
        pass
    lines: list[str] = []
    other: dict[int, str] = {}
    for number, raw in enumerate(data.splitlines(keepends=True), start=1):
        try:
            lines.append(raw.decode("utf-8"))
        except UnicodeDecodeError:
            other[number] = "read as Windows-1252"
            try:
                lines.append(raw.decode("cp1252"))
            except UnicodeDecodeError:
                lines.append(raw.decode("latin-1"))
    return lines, other


def workbook_rows(data: bytes, name: str, most_bytes: int = 8 * MAX_BYTES) -> list[tuple[int, list[str]]]:
    """Rows of the first sheet that holds any; a formula is kept as its text, which starts with "=".

    most_bytes: what the workbook may unpack to [bytes]. Raises BadInput.
    """
    import openpyxl
    from openpyxl.utils.exceptions import InvalidFileException

    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            unpacked = sum(part.file_size for part in packed.infolist())
        if unpacked > most_bytes:
            raise BadInput(
                f"The workbook unpacks to {unpacked / 1e6:.0f} MB; at most {most_bytes / 1e6:.0f} MB"
                f" are read",
                where=name,
                remedy="Save the stock list alone, without pictures and empty rows",
            )
        book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=False)
        for sheet in book.worksheets:
            rows = [
                (number, [_cell_text(cell) for cell in cells])
                for number, cells in enumerate(sheet.iter_rows(values_only=True), start=1)
            ]
            if any(any(cells) for _, cells in rows):
                return rows
        return []
    except (zipfile.BadZipFile, InvalidFileException, KeyError, ValueError, OSError, SyntaxError) as problem:
        raise BadInput(
            "The workbook cannot be read", where=name, remedy="Save it again as XLSX, or as CSV"
        ) from problem


def _cell_text(cell: object) -> str:
    if cell is None:
        return ""
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return str(cell)


def _mapped(
    rows: list[tuple[int, list[str]]],
    name: str,
    known: Mapping[str, str],
    columns: Mapping[str, str],
    needed: Sequence[str],
    notes: Mapping[int, str],
) -> Table:
    headings = [cell.strip() for cell in rows[0][1]]
    strangers = [part for part in columns if part not in known]
    if strangers:
        raise BadInput(
            f"“{strangers[0]}” is no column that is looked for",
            where="--column",
            remedy=f"Known are {', '.join(known)}",
        )
    guess = _guess(headings, known)
    has_headings = bool(guess) or bool(columns)
    if not has_headings:
        if len(headings) == 1 or set(needed) == {"name"}:
            width = max(len(cells) for _, cells in rows[:50])
            headings = [f"column {place + 1}" for place in range(width)]
            guess = {headings[_wordiest(rows, width)]: "name"}
    else:
        rows = rows[1:]
    for part, heading in columns.items():
        folded = [spaced(text) for text in headings]
        if spaced(heading) not in folded:
            raise BadInput(
                f"There is no column “{heading}”", where=name, remedy=f"Its columns are {', '.join(headings)}"
            )
        guess = {text: meant for text, meant in guess.items() if meant != part}
        guess[headings[folded.index(spaced(heading))]] = part
    missing = [part for part in needed if part not in guess.values()]
    if missing:
        raise BadInput(
            f"No column holds the {_plain_words(missing[0])}",
            where=f"{name}; its columns are {', '.join(headings)}",
            remedy=(
                f"Say which does, for example --column"
                f" {missing[0]}=“{next((h for h in headings if h), 'heading')}”"
            ),
        )
    if not rows:
        raise BadInput("The file holds headings but no lines", where=name, remedy="Give one line a variety")
    places = {meant: headings.index(text) for text, meant in guess.items()}
    faults: list[str] = []
    remarks: dict[int, tuple[str, ...]] = {}
    values: dict[str, list[str]] = {part: [] for part in places}
    for place, (number, cells) in enumerate(rows):
        said = [notes[number]] if number in notes else []
        for part, column in places.items():
            cell = cells[column].strip() if column < len(cells) else ""
            if is_formula(cell):
                faults.append(
                    f"{name}, row {number}, column “{headings[column]}”: a formula is not read; write"
                    f" the value itself"
                )
                said.append(f"{part} held a formula")
                cell = ""
            values[part].append(cell)
        if said:
            remarks[place] = tuple(said)
    return Table(
        frame=pd.DataFrame(values, dtype=object),
        rows=tuple(number for number, _ in rows),
        mapping=guess,
        file=name,
        unused=tuple(text for text in headings if text and text not in guess),
        faults=tuple(faults),
        notes=remarks,
    )


def is_formula(cell: str) -> bool:
    """Whether a spreadsheet would run this text. A signed number and a name after a dash are none.

    >>> is_formula("=1+1"), is_formula("-3"), is_formula("+cmd|' /C calc'!A0"), is_formula("- Discovery")
    (True, False, True, False)
    """
    if cell.startswith(("=", "@")):
        return True
    return cell[:1] in "+-" and len(cell) > 1 and any(mark in cell for mark in "|!(")


def _guess(headings: Sequence[str], known: Mapping[str, str]) -> dict[str, str]:
    """Heading -> known name, the best fitting heading for each known name."""
    guess: dict[str, str] = {}
    for part, rank_of in known.items():
        ways = _ways(rank_of)
        fitting = [
            (ways[spaced(text)], place, text)
            for place, text in enumerate(headings)
            if spaced(text) in ways and text not in guess
        ]
        if fitting:
            guess[min(fitting)[2]] = part
    for part, rank_of in known.items():
        if part in guess.values():
            continue
        ways = _ways(rank_of)
        for text in headings:
            # A heading of several words ("Qty available (trees)") counts by its words.
            words = spaced(text).split()
            if text not in guess and 1 < len(words) <= 5 and any(word in ways for word in words):
                guess[text] = part
                break
    return guess


def _ways(text: str) -> dict[str, int]:
    """Headings a known name goes by -> how telling: single words and runs of two and three of the list."""
    words = text.split()
    ways: dict[str, int] = {}
    for length in (1, 2, 3):
        for start in range(len(words) - length + 1):
            ways.setdefault(" ".join(words[start : start + length]), start)
    return ways


def _wordiest(rows: Iterable[tuple[int, list[str]]], width: int) -> int:
    """The column with the most letters, for a list without headings."""
    letters = [0] * width
    for _, cells in list(rows)[:200]:
        for place, cell in enumerate(cells[:width]):
            letters[place] += sum(character.isalpha() for character in cell)
    return letters.index(max(letters))


def _plain_words(part: str) -> str:
    return {"name": "names of the varieties", "count": "number of trees", "order": "order numbers"}.get(
        part, part
    )


def numbered(table: Table) -> Iterator[tuple[int, dict[str, str]]]:
    """Row of the file and its cells by known name, for each line."""
    for place, row in enumerate(table.frame.to_dict("records")):
        yield table.rows[place], {str(part): str(cell) for part, cell in row.items()}
