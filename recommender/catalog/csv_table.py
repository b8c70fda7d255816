"""One CSV file of the data package into text cells, each row with the line it starts on.

In: a path and the columns that must be there. Out: a frame of text cells with `_file` and `_row`, and faults.
What makes the whole file unreadable (missing, empty, not UTF-8, quotes never closed, wrong columns) is a
fatal fault; a row with too few or too many fields is a fault of that row alone.
"""

from __future__ import annotations

import codecs
import csv
import io
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd
from rapidfuzz import process

FILE, ROW = "_file", "_row"

_UTF16_MARKS = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)


@dataclass(frozen=True)
class Fault:
    """Something wrong in the data package. `row` is the line of the file (the header is line 1), 0 if none.

    effect: "stops" (the file cannot be used at all), "row" (the row is rejected) or "cell" (an optional
    cell is set aside, the row is kept).
    """

    file: str
    row: int
    column: str
    value: str
    what: str
    remedy: str
    effect: str = "row"

    def __str__(self) -> str:
        place = self.file + (f", row {self.row}" if self.row else "")
        place += f", column {self.column}" if self.column else ""
        shown = (
            f": “{self.value if len(self.value) <= 60 else self.value[:57] + '...'}”" if self.value else ":"
        )
        return f"{place}{shown} {self.what}. {self.remedy}."


@dataclass(frozen=True)
class TextTable:
    """Cells of one file as text (blank = ""), the number of data rows met, and the faults."""

    cells: pd.DataFrame
    rows_read: int
    faults: tuple[Fault, ...]


def read_text_table(path: Path, file: str, columns: Sequence[str]) -> TextTable:
    """Read the CSV file at `path`, called `file` in faults; `columns` is what its schema describes."""

    def stopped(what: str, remedy: str, *, row: int = 0) -> TextTable:
        return TextTable(_no_cells(columns), 0, (Fault(file, row, "", "", what, remedy, "stops"),))

    if not path.is_file():
        return stopped("The file is missing", "Put it back, or take it out of datapackage.json")
    try:
        raw = path.read_bytes()
    except OSError as problem:
        return stopped(f"The file cannot be read ({problem.strerror})", "Check its permissions")
    if not raw.strip():
        return stopped("The file is empty", "Put its rows back, with the header line")
    encoding_fault = _encoding_fault(raw)
    if encoding_fault:
        what, row = encoding_fault
        return stopped(what, "Save the file as UTF-8", row=row)

    reader = csv.reader(io.StringIO(raw.decode("utf-8-sig"), newline=""), strict=True)
    lines: list[int] = []
    rows: list[list[str]] = []
    start = 1
    try:
        for cells in reader:
            if cells:
                lines.append(start)
                rows.append(cells)
            start = reader.line_num + 1
    except csv.Error:
        return stopped(
            "A quoted cell is not closed, or has text after its closing quote; the rest cannot be read",
            "Close the quotes, and write a quote inside a cell twice",
            row=start,
        )
    if not rows:
        return stopped("The file is empty", "Put its rows back, with the header line")
    header, rows, lines = rows[0], rows[1:], lines[1:]
    header_faults = _header_faults(file, header, columns)
    if header_faults:
        return TextTable(_no_cells(columns), len(rows), tuple(header_faults))
    if not rows:
        return stopped("The file has a header but no rows", "Put its rows back")

    width = len(header)
    faults = [
        Fault(
            file,
            line,
            "",
            "",
            f"The row has {len(cells)} fields, the header has {width}",
            "Put quotes around a cell that holds a comma, or add the missing commas",
        )
        for line, cells in zip(lines, rows, strict=True)
        if len(cells) != width
    ]
    whole = [index for index, cells in enumerate(rows) if len(cells) == width]
    frame = pd.DataFrame([rows[index] for index in whole], columns=header, dtype="str")[list(columns)]
    frame[FILE] = file
    frame[ROW] = [lines[index] for index in whole]
    return TextTable(frame, len(rows), tuple(faults))


def _no_cells(columns: Sequence[str]) -> pd.DataFrame:
    return pd.DataFrame({name: pd.Series(dtype="str") for name in columns}).assign(_file="", _row=0)


def _encoding_fault(raw: bytes) -> tuple[str, int] | None:
    if raw.startswith(_UTF16_MARKS):
        return "The file is encoded as UTF-16", 0
    if b"\x00" in raw:
        return "The file holds a NUL byte, so it is no text in UTF-8", _line_of(raw, raw.index(b"\x00"))
    try:
        raw.decode("utf-8")
    except UnicodeDecodeError as problem:
        byte = raw[problem.start]
        guess = _as_windows_text(raw, problem.start)
        hint = f" (as Windows-1252 the word reads “{guess}”)" if guess else ""
        return f"Byte 0x{byte:02X} is no UTF-8{hint}", _line_of(raw, problem.start)
    return None


def _line_of(raw: bytes, position: int) -> int:
    return raw.count(b"\n", 0, position) + 1


def _as_windows_text(raw: bytes, position: int) -> str:
    around = raw[max(0, position - 30) : position + 30].decode("cp1252", errors="replace")
    middle = min(position, 30)
    word = around[:middle].replace(",", " ").replace("\n", " ").rpartition(" ")[2]
    rest = around[middle:].replace(",", " ").replace("\n", " ").partition(" ")[0]
    return (word + rest).strip()


def _header_faults(file: str, header: list[str], columns: Sequence[str]) -> list[Fault]:
    missing = [name for name in columns if name not in header]
    faults = []
    for name in sorted(name for name, times in Counter(header).items() if times > 1):
        faults.append(Fault(file, 1, name, "", "The column stands twice", "Keep one of the two", "stops"))
    for name in header:
        if name not in columns:
            near = process.extractOne(name, missing, score_cutoff=60) if missing else None
            remedy = f"Rename it to {near[0]}" if near else "Remove it, or describe it in datapackage.json"
            faults.append(Fault(file, 1, name, "", "The column is not described", remedy, "stops"))
    for name in missing:
        remedy = f"Add the column; the header should read {','.join(columns)}"
        faults.append(Fault(file, 1, name, "", "The column is missing", remedy, "stops"))
    return faults
