"""Stock lists and orders as people send them: CSV in any encoding, XLSX, any column names -> one plain table.

In come a path and, if the guess was wrong, a corrected mapping; out goes a `Table` of texts with known
column names, the row of the file of each line, faults of single cells, and the mapping that was used. A
cell that holds a formula is never computed and never trusted: its line is kept, its value is not.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from recommender.errors import BadInput, StorageFault
from recommender.nursery.stock_line import spaced
from recommender.tables_in import LONGEST_CELL, csv_rows, is_formula, is_workbook, text_lines, workbook_rows
from recommender.wording import plain

MAX_BYTES = 60_000_000
"""Largest file read [bytes]: some 500,000 stock lines; what is larger is no stock list but a mistake."""
MAX_LINES = 500_000
_LEFT_OUT = ("held a formula", "was too long to read")
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

    def where(self, place: int, part: str = "") -> str:
        """File and row of a line, and the column that holds `part` if one does, for messages."""
        row = f"{self.file}, row {self.rows[place]}" if self.file else f"row {self.rows[place]}"
        column = next((_short(text) for text, meant in self.mapping.items() if meant == part), "")
        return f"{row}, column “{column}”" if column and part in self.frame else row

    def unread(self, place: int) -> set[str]:
        """Parts of a line whose cell was left out (a formula, too long): not the same as an empty cell."""
        return {note.split(" ", 1)[0] for note in self.notes.get(place, ()) if note.endswith(_LEFT_OUT)}


def read_table(
    path: Path | str,
    known: Mapping[str, str] = STOCK,
    columns: Mapping[str, str] | None = None,
    needed: Sequence[str] = ("name",),
) -> Table:
    """The table of a CSV, TXT, TSV or XLSX file.

    known: known name -> headings it goes by. columns: known name -> heading, to correct the guess ("": none).
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
    rows, notes = _rows(data, name)
    return _mapped(rows, name, known, columns or {}, needed, notes)


def headings_of(data: bytes, name: str) -> tuple[str, ...]:
    """The cells of the first row that holds any, to choose columns from. Raises BadInput."""
    rows, _ = _rows(data, name)
    return tuple(dict.fromkeys(plain(cell).strip() for cell in rows[0][1] if cell.strip()))


def _rows(data: bytes, name: str) -> tuple[list[tuple[int, list[str]]], Mapping[int, str]]:
    """Rows that hold anything, with their number in the file, and notes on some of them. Raises BadInput."""
    if len(data) > MAX_BYTES:
        raise BadInput(
            f"The file holds {len(data) / 1e6:.0f} MB; at most {MAX_BYTES / 1e6:.0f} MB are read",
            where=name,
            remedy=f"Split it into lists of at most {MAX_LINES:,} lines",
        )
    if is_workbook(data):
        numbered, notes = workbook_rows(data, name, MAX_LINES), dict[int, str]()
    elif data[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" or data[:4] == b"%PDF":
        raise BadInput("This kind of file is not read", where=name, remedy="Save it as XLSX or CSV")
    else:
        lines, notes = text_lines(data, name)
        numbered = csv_rows(lines, name, MAX_LINES)
    rows = [(number, cells) for number, cells in numbered if any(cell.strip() for cell in cells)]
    if not rows:
        raise BadInput("The file holds no lines", where=name, remedy="Give one line a variety")
    return rows, notes


def _mapped(
    rows: list[tuple[int, list[str]]],
    name: str,
    known: Mapping[str, str],
    columns: Mapping[str, str],
    needed: Sequence[str],
    notes: Mapping[int, str],
) -> Table:
    headings = [plain(cell).strip() for cell in rows[0][1]]
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
        if not heading:
            guess = {text: meant for text, meant in guess.items() if meant != part}
            continue
        folded = [spaced(text) for text in headings]
        if spaced(heading) not in folded:
            raise BadInput(
                f"There is no column “{heading}”", where=name, remedy=f"Its columns are {_shown(headings)}"
            )
        guess = {text: meant for text, meant in guess.items() if meant != part}
        guess[headings[folded.index(spaced(heading))]] = part
    missing = [part for part in needed if part not in guess.values()]
    if missing:
        raise BadInput(
            f"No column holds the {_plain_words(missing[0])}",
            where=f"{name}; its columns are {_shown(headings)}",
            remedy=(
                f"Say which does, for example --column"
                f" {missing[0]}=“{_short(next((h for h in headings if h), 'heading'))}”"
            ),
        )
    if not rows:
        raise BadInput("The file holds headings but no lines", where=name, remedy="Give one line a variety")
    places = {meant: headings.index(text) for text, meant in guess.items()}
    faults = [
        f"{name}, row {number}, column “{_short(text)}”: columns of this heading hold different things; the"
        f" first is taken. Name the others otherwise, or take them out"
        for text in guess
        if (number := _first_row_at_odds(rows, headings, text))
    ]
    remarks: dict[int, tuple[str, ...]] = {}
    values: dict[str, list[str]] = {part: [] for part in places}
    for place, (number, cells) in enumerate(rows):
        said = [notes[number]] if number in notes else []
        for part, column in places.items():
            cell = cells[column].strip() if column < len(cells) else ""
            if is_formula(cell):
                faults.append(
                    f"{name}, row {number}, column “{_short(headings[column])}”: a formula is not read; write"
                    f" the value itself"
                )
                said.append(f"{part} {_LEFT_OUT[0]}")
                cell = ""
            elif len(cell) > LONGEST_CELL:
                faults.append(
                    f"{name}, row {number}, column “{_short(headings[column])}”: {len(cell):,} letters;"
                    f" at most {LONGEST_CELL:,} are read. Shorten it"
                )
                said.append(f"{part} {_LEFT_OUT[1]}")
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


def _first_row_at_odds(rows: list[tuple[int, list[str]]], headings: Sequence[str], heading: str) -> int:
    """Row of the file where columns of the same heading hold different things; 0 where none does."""
    places = [place for place, text in enumerate(headings) if spaced(text) == spaced(heading)]
    for number, cells in rows:
        if len({cells[place].strip() if place < len(cells) else "" for place in places}) > 1:
            return number
    return 0


def _short(text: str) -> str:
    return text if len(text) <= 40 else f"{text[:39]}…"


def _shown(headings: Sequence[str]) -> str:
    """Headings for a message, however many and long they are."""
    named = [_short(text) for text in headings if text]
    return ", ".join(named[:15]) + (f" and {len(named) - 15} more" if len(named) > 15 else "")


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
