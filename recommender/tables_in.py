"""Bytes of a table someone sends (CSV or text in any encoding, XLSX) -> rows of texts, whatever it tries.

In come bytes and the file's name (for messages only; it is never opened or written); out go rows of texts
with their number in the file. Nothing is computed and nothing unpacked to the disk. What is too large, too
deep, damaged or no table ends in one BadInput that names the file and the remedy. Which column means what
is for the reader of the table: nursery/stock_files.py, swap/reading.py.
"""

from __future__ import annotations

import csv
import datetime
import io
import struct
import zipfile
import zlib
from collections.abc import Iterator
from typing import IO, Any, Self
from xml.parsers import expat

from recommender.errors import BadInput
from recommender.wording import plain

MOST_UNPACKED = 200_000_000
"""What a workbook may unpack to [bytes]: some 500,000 stock lines."""
MOST_BESIDE_CELLS = 2_000_000
"""What a workbook's styles, names, links and lists of parts may unpack to together [bytes]. They are parsed
whole, at some 3 s and 120 MB of memory for each MB; those of a list with every colour a hand can give it
hold a tenth of it."""
MOST_HELD = 2_000_000
"""XML elements of a sheet, or of its texts, that may be in memory together: a million empty rows and a full
one, or two million different texts."""
MOST_LINES = 2_000_000
"""Lines of any text file, empty ones and those inside cells included."""
MOST_COLUMNS = 200
MOST_SHEETS = 20
LONGEST_CELL = 1_000
"""Letters of a cell that can still be a name, a place or a list of trees."""
_SPACE = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_FORGOTTEN_IN = {f"{_SPACE} worksheet": f"{_SPACE} row", f"{_SPACE} sst": f"{_SPACE} si"}
_LAST_ROW = 1_048_576  # of any XLSX sheet
_LONGEST_FIELD = 1_000_000
_MOST_MARKS = _LONGEST_FIELD + MOST_COLUMNS  # in a row; a cell may be full of them
_BLOCK = 1_000_000
_DELIMITERS = (";", "\t", ",", "|")
_UNREADABLE = (
    zipfile.BadZipFile, zlib.error, struct.error, LookupError, ValueError, OSError, EOFError, SyntaxError,
    RuntimeError, TypeError, AttributeError, ArithmeticError, MemoryError,
)  # fmt: skip
"""What zipfile, the XML parser and openpyxl raise on damaged or hostile workbooks."""


def is_workbook(data: bytes) -> bool:
    """Whether the bytes begin as an XLSX file (a ZIP archive) does."""
    return data[:4] == b"PK\x03\x04"


def is_formula(cell: str) -> bool:
    """Whether a spreadsheet would run this text. A signed number and a name after a dash are none.

    >>> is_formula("=1+1"), is_formula("-3"), is_formula("+cmd|' /C calc'!A0"), is_formula("- Discovery")
    (True, False, True, False)
    """
    if cell.startswith(("=", "@")):
        return True
    return cell[:1] in "+-" and len(cell) > 1 and any(mark in cell for mark in "|!(")


def text_lines(data: bytes, name: str) -> tuple[list[str], dict[int, str]]:
    """The lines of a text file with their ends, and which of them were not UTF-8 (1 is the first).

    Raises BadInput for what is no text, or too long.
    """
    # Counted before they are parted: a file of line ends alone would fill the memory.
    if data.count(b"\n") + data.count(b"\r") > 2 * MOST_LINES:
        raise too_many(name, MOST_LINES)
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        try:
            lines, other = _parted(data.decode("utf-16")), dict[int, str]()
        except UnicodeError as problem:
            raise BadInput(
                "The file is cut off or damaged (UTF-16)", where=name, remedy="Save it again as CSV"
            ) from problem
    else:
        lines, other = _decoded(data.removeprefix(b"\xef\xbb\xbf"))
    if len(lines) > MOST_LINES:
        raise too_many(name, MOST_LINES)
    for number, line in enumerate(lines, start=1):
        if "\0" in line:
            raise BadInput(
                "This is no list of text lines: it holds a byte of nought (NUL)",
                where=f"{name}, line {number}",
                remedy="Save it as XLSX or CSV",
            )
    return lines, other


def too_many(name: str, most: int) -> BadInput:
    """The error of a table with more than `most` lines."""
    return BadInput(
        f"The table has more than {most:,} lines",
        where=name,
        remedy=f"Split it into tables of {most:,} lines",
    )


def csv_rows(
    lines: list[str], name: str, most: int | None = None, delimiter: str = "", strict: bool = False
) -> list[tuple[int, list[str]]]:
    """Rows of cells with the number of the line each starts in.

    most: rows below the heading that hold anything; beyond them nothing is read. delimiter: the mark between
    cells; guessed if it is empty. strict: refuse text after a closing quote, too. Raises BadInput where the
    table breaks off, a quote stays open, or there are too many rows or columns.
    """
    csv.field_size_limit(_LONGEST_FIELD)
    rows: list[tuple[int, list[str]]] = []
    between = delimiter or _delimiter(lines)
    marks = 0

    def counted() -> Iterator[str]:
        nonlocal marks
        for line in lines:
            # Counted before a row is parted: a line of marks alone would fill the memory.
            marks += line.count(between)
            if marks > _MOST_MARKS:
                raise _too_wide(name, before + 1)
            yield line
        # An open quote swallows this line too, and it is then no row of its own.
        yield ""

    reader = csv.reader(counted(), delimiter=between, strict=strict)
    before = filled = 0
    try:
        for cells in reader:
            marks = 0
            rows.append((before + 1, _narrow(cells, name, before + 1)))
            before = reader.line_num
            filled += any(cells)
            if most is not None and filled > most + 1:
                raise too_many(name, most)
    except csv.Error as problem:
        raise BadInput(
            "A quoted cell is not closed, or has text after its closing quote"
            if strict
            else f"The table breaks off ({problem})",
            where=f"{name}, row {before + 1}",
            remedy="Close the quotes, and write a quote inside a cell twice",
        ) from problem
    last, _ = rows.pop()
    if last <= len(lines):
        raise BadInput(
            "A cell opens with a quote that is not closed, so that all below it would be one cell",
            where=f"{name}, row {last}",
            remedy="Close the quote, or take it out",
        )
    return rows


def _delimiter(lines: list[str]) -> str:
    """The mark between cells, guessed by the first lines."""
    sample = lines[:20]
    joined = "".join(sample)
    return max(_DELIMITERS, key=lambda mark: (joined.count(mark) >= len(sample) - 1, joined.count(mark)))


def _narrow(cells: list[str], name: str, row: int) -> list[str]:
    """The cells of a row without the empty ones beyond MOST_COLUMNS. Raises BadInput for others."""
    if any(cells[MOST_COLUMNS:]):
        raise _too_wide(name, row)
    return cells[:MOST_COLUMNS]


def _too_wide(name: str, row: int) -> BadInput:
    return BadInput(
        f"The row has more than {MOST_COLUMNS} columns",
        where=f"{name}, row {row}",
        remedy="Take out the columns that are not needed",
    )


def workbook_rows(data: bytes, name: str, most: int = _LAST_ROW) -> list[tuple[int, list[str]]]:
    """Rows of the first sheet that holds any; a formula is kept as its text, which starts with "=".

    most: rows below the heading that hold anything; beyond them nothing is read. Raises BadInput, also for a
    workbook that unpacks to more than MOST_UNPACKED.
    """
    from openpyxl.utils.exceptions import InvalidFileException

    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            unpacked = sum(part.file_size for part in packed.infolist())
        if unpacked > MOST_UNPACKED:
            raise BadInput(
                f"The workbook unpacks to {unpacked / 1e6:,.0f} MB; at most"
                f" {MOST_UNPACKED / 1e6:.0f} MB are read",
                where=name,
                remedy="Save the list alone, without pictures and empty rows",
            )
        if _all_too_long(data, most):
            raise too_many(name, most)
        for sheet in _opened(data, name).worksheets[:MOST_SHEETS]:
            rows = _sheet_rows(sheet, name, most)
            if rows:
                return rows
        return []
    except (*_UNREADABLE, InvalidFileException) as problem:
        if isinstance(problem, BadInput):
            raise
        raise BadInput(
            "The workbook cannot be read", where=name, remedy="Save it again as XLSX, or as CSV"
        ) from problem


class _Parts(zipfile.ZipFile):
    """A workbook's archive, of which what is parsed whole may hold MOST_BESIDE_CELLS bytes together. Sheets
    and shared texts are streamed by `open`, whatever the workbook calls them, and counted; pictures are never
    read."""

    def __init__(self, data: bytes, file: str) -> None:
        super().__init__(io.BytesIO(data))
        self._file, self._left = file, MOST_BESIDE_CELLS

    def read(self, name: str | zipfile.ZipInfo, pwd: bytes | None = None) -> bytes:
        part = name if isinstance(name, zipfile.ZipInfo) else self.getinfo(name)
        self._left -= part.file_size
        if self._left < 0:
            raise BadInput(
                f"The workbook holds more than {MOST_BESIDE_CELLS / 1e6:.0f} MB of styles, names and links"
                f" beside its cells, the part “{plain(part.filename)[:60]}” among them",
                where=self._file,
                remedy="Save the list alone as CSV",
            )
        with super().open(part, pwd=pwd) as file:
            return file.read()

    def open(self, name: str | zipfile.ZipInfo, *_: Any, **__: Any) -> Any:
        return _Counted(super().open(name), self._file)


class _Counted:
    """A part whose elements are counted while it is read, as openpyxl holds them: what stands in a row, or in
    a shared text, until that ends, all else to the end. Raises BadInput where it would hold more than
    MOST_HELD."""

    def __init__(self, part: IO[bytes], file: str) -> None:
        self._part, self._file = part, file
        self._held = self._before = 0
        self._forgotten = ""
        self._parser = expat.ParserCreate(namespace_separator=" ")
        self._parser.StartElementHandler = self._begun
        self._parser.EndElementHandler = self._ended

    def read(self, size: int = -1) -> bytes:
        block = self._part.read(size)
        try:
            self._parser.Parse(block, not block)
        except expat.ExpatError as problem:
            raise BadInput(
                f"The workbook is damaged ({problem})", where=self._file, remedy="Save the list alone as CSV"
            ) from problem
        return block

    def close(self) -> None:
        self._part.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _begun(self, name: str, _: object) -> None:
        if not self._held:
            self._forgotten = _FORGOTTEN_IN.get(name, "")
        self._held += 1
        if self._held > MOST_HELD:
            raise BadInput(
                f"A sheet or its texts hold more than {MOST_HELD:,} parts at once",
                where=self._file,
                remedy="Save the list alone as CSV",
            )
        if name == self._forgotten:
            self._before = self._held

    def _ended(self, name: str) -> None:
        if name == self._forgotten:
            self._held = min(self._held, self._before)


def _opened(data: bytes, name: str) -> Any:
    """openpyxl's workbook, its sheets not yet read. Raises BadInput, and what openpyxl raises."""
    from openpyxl.reader.excel import ExcelReader

    reader = ExcelReader(io.BytesIO(data), read_only=True, keep_links=False)
    reader.archive = _Parts(data, name)
    # A sheet that is a chart holds no rows, and would be parsed whole.
    reader.read_chartsheet = lambda sheet, link: None
    reader.read()
    return reader.wb


def _all_too_long(data: bytes, most: int) -> bool:
    """Whether every sheet that holds rows holds too many, counted without parsing: what is far too long is
    refused in a second, not in a minute."""
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        parts = [part for part in packed.namelist() if part.startswith("xl/worksheets/sheet")]
        counts = [_filled_rows(packed, part, most) for part in parts[:MOST_SHEETS]]
    return any(counts) and min(count for count in counts if count) > most + 1


def _filled_rows(packed: zipfile.ZipFile, part: str, most: int) -> int:
    """Rows of a sheet's XML that hold a value, to a little beyond `most`; 0 where it is written otherwise."""
    filled, rest = 0, b""
    with packed.open(part) as file:
        while filled <= most + 1 and (block := file.read(_BLOCK)):
            *rows, rest = (rest + block).split(b"</row>")
            filled += sum(b"<v>" in row or b"<is>" in row for row in rows)
            # A row without an end is no reason to hold the whole sheet.
            rest = rest[-_BLOCK:]
    return filled


def _sheet_rows(sheet: Any, name: str, most: int) -> list[tuple[int, list[str]]]:
    """Rows that hold anything. A sheet that claims a million rows and columns is read no longer for it."""
    sheet.reset_dimensions()
    rows: list[tuple[int, list[str]]] = []
    found = sheet.iter_rows(values_only=True, max_col=MOST_COLUMNS, max_row=_LAST_ROW)
    for number, cells in enumerate(found, start=1):
        width = len(cells)
        if cells.count(None) == width:
            continue
        while cells[width - 1] is None:
            width -= 1
        if len(rows) > most:
            raise too_many(name, most)
        rows.append((number, [_cell_text(cell) for cell in cells[:width]]))
    return rows


def _cell_text(cell: object) -> str:
    if cell is None:
        return ""
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    if isinstance(cell, str | bool | int | float | datetime.date | datetime.time | datetime.timedelta):
        return str(cell)
    # A formula of several cells, or of a table of data, is an object that may hold its text.
    return "=" + str(getattr(cell, "text", None) or "").removeprefix("=")


def _parted(text: str) -> list[str]:
    """Lines with their ends, of which there are three: str.splitlines knows more, which stand in cells."""
    return list(io.StringIO(text, newline=""))


def _decoded(data: bytes) -> tuple[list[str], dict[int, str]]:
    """Lines of text, each in the encoding it was written in: UTF-8, else Windows-1252 (then Latin-1)."""
    try:
        return _parted(data.decode("utf-8")), {}
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
