"""From a weather file on disk to clean lines of text, and what is reported about them.

In: a path (plain or gzip). Out: text lines with their numbers kept, tables of text cells, and `Finding`s.
Knows nothing of weather; the formats stand in weather_formats.py, the judgement in weather_checks.py.
"""

from __future__ import annotations

import csv
import io
import re
import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from recommender.errors import BadInput, StorageFault

#: Largest weather file read, before and after unpacking [bytes]. The longest GHCN-Daily station files are
#: about 15 MB.
MAX_BYTES = 200 * 1024 * 1024
MAX_LINES = 800_000
"""Lines of one file (our choice): 90 years of hours, or 2,000 years of days."""
MAX_LINE = 100_000
"""Characters in one line; a month of one station in the widest layout has some hundreds."""

SEVERITIES = ("note", "warning", "fault")

#: First bytes of files that are no text, and what to do instead.
_NOT_TEXT = (
    (b"PK\x03\x04", "a zip archive or an Excel workbook", "Unpack it, or save the sheet as CSV"),
    (b"\xd0\xcf\x11\xe0", "an old Excel workbook", "Save the sheet as CSV"),
    (b"%PDF", "a PDF document", "Ask the publisher for the figures as CSV"),
    (b"\x89HDF", "an HDF5 or NetCDF file", "Export the daily series of one point as CSV"),
    (b"CDF", "a NetCDF file", "Export the daily series of one point as CSV"),
    (b"SQLite format 3", "a SQLite database", "Export the daily table as CSV"),
    (b"PAR1", "a Parquet file", "Write the daily table as CSV"),
)
#: Control characters that no text file holds (tab, line feed, form feed, carriage return and DOS end-of-file
#: may stand).
_CONTROL = re.compile(rb"[\x00-\x08\x0b\x0e-\x19\x1b-\x1f\x7f]")


@dataclass(frozen=True)
class Finding:
    """One thing noticed in a weather file.

    kind: a short name, the same for the same fault. severity: note | warning | fault. what: one sentence.
    lines: line numbers in the file, counted from 1, in order. count: how many values or rows. remedy: what to
    do.
    """

    kind: str
    severity: str
    what: str
    lines: tuple[int, ...] = ()
    count: int = 0
    remedy: str = ""

    def __str__(self) -> str:
        where = f" ({say_lines(self.lines)})" if self.lines else ""
        remedy = f" {self.remedy.rstrip('.')}." if self.remedy else ""
        return f"{self.what.rstrip('.')}{where}.{remedy}"

    def to_dict(self) -> dict[str, Any]:
        """As plain data for JSON; the first 50 line numbers."""
        return {
            "kind": self.kind,
            "severity": self.severity,
            "what": self.what,
            "count": self.count,
            "lines": list(self.lines[:50]),
            "remedy": self.remedy,
        }


@dataclass
class Findings:
    """The findings of one file while it is read; grows, and is handed on as a tuple."""

    items: list[Finding] = field(default_factory=list)

    def add(
        self,
        kind: str,
        severity: str,
        what: str,
        lines: Iterable[int] = (),
        *,
        count: int | None = None,
        remedy: str = "",
    ) -> None:
        """Note one finding; `lines` may come unsorted and repeated; the count is theirs if none is given."""
        numbers = tuple(np.unique(np.fromiter((n for n in lines if n > 0), dtype=np.int64)).tolist())
        self.items.append(
            Finding(kind, severity, what, numbers, len(numbers) if count is None else count, remedy)
        )

    def done(self) -> tuple[Finding, ...]:
        """All findings, faults first, otherwise in the order found."""
        return tuple(sorted(self.items, key=lambda f: -SEVERITIES.index(f.severity)))


def some(n: int, thing: str) -> str:
    """'1 line', '12 lines', '1,204 lines'; a thing ends in -s when there are several."""
    return f"{n:,} {thing}{'' if n == 1 else 's'}"


def say_lines(lines: Sequence[int], most: int = 5) -> str:
    """'line 7', 'lines 7, 9, 12' or 'lines 7, 9, 12, 13, 14 and 20 more'."""
    shown = ", ".join(str(n) for n in lines[:most])
    rest = f" and {len(lines) - most} more" if len(lines) > most else ""
    return f"line{'s' if len(lines) > 1 else ''} {shown}{rest}"


def read_lines(path: Path, findings: Findings) -> list[str]:
    """The lines of a text file, without line ends; line n of the file stands at index n - 1.

    Raises BadInput: no such file, a folder, empty, over 200 MB or 800,000 lines, no text, a broken gzip file,
    a line of over 100,000 characters, NUL or other control bytes (with row and column). Raises StorageFault:
    the file cannot be read.
    """
    data = _unpacked(path, _bytes_of(path))
    if not data.strip(b"\x00\x1a \t\r\n"):
        raise BadInput(
            "The file is empty" if not data else "The file holds no text",
            where=f"{path}, row 1, column 1",
            remedy="Give a file with one line a day",
        )
    for magic, kind, remedy in _NOT_TEXT:
        if data.startswith(magic):
            raise BadInput(
                f"This is {kind}, not a text file", where=f"{path}, row 1, column 1", remedy=remedy
            )
    text = _decoded(path, data, findings)
    lines = text.replace("\r\n", "\n").replace("\r", "\n").rstrip("\x1a").split("\n")
    while lines and not lines[-1].strip():
        lines.pop()
    if len(lines) > MAX_LINES:
        raise BadInput(
            f"The file has {len(lines):,} lines; at most {MAX_LINES:,} lines are read",
            where=str(path),
            remedy="Give the record of one station, or cut it into files of fewer years",
        )
    for number, line in enumerate(lines, 1):
        if len(line) > MAX_LINE:
            raise BadInput(
                f"The line holds {len(line):,} characters; at most {MAX_LINE:,} are read",
                where=f"{path}, row {number}",
                remedy="Give a file with one line a day",
            )
    return lines


def _bytes_of(path: Path) -> bytes:
    try:
        if path.is_dir():
            raise BadInput(
                "This is a folder, not a file", where=str(path), remedy="Name one weather file in it"
            )
        if path.stat().st_size > MAX_BYTES:
            raise _too_big(path)
        return path.read_bytes()
    except (FileNotFoundError, NotADirectoryError, ValueError) as error:
        raise BadInput(
            "There is no such file", where=str(path), remedy="Check the name and the folder"
        ) from error
    except OSError as error:
        raise StorageFault(
            f"The file could not be read: {error.strerror or error}",
            where=str(path),
            remedy="Check that you may read it",
        ) from error


def _too_big(path: Path) -> BadInput:
    return BadInput(
        f"The file is larger than {MAX_BYTES // 1024**2} MB",
        where=str(path),
        remedy="Give the daily record of one station, not of a whole network",
    )


def _unpacked(path: Path, data: bytes) -> bytes:
    """The bytes themselves, or what a gzip file holds; never more than MAX_BYTES are unpacked."""
    if not data.startswith(b"\x1f\x8b"):
        return data
    parts: list[bytes] = []
    size, rest = 0, data
    try:
        while rest.startswith(b"\x1f\x8b"):
            unpacker = zlib.decompressobj(wbits=31)
            part = unpacker.decompress(rest, MAX_BYTES + 1 - size)
            size += len(part)
            if size > MAX_BYTES:
                raise _too_big(path)
            if not unpacker.eof:
                raise zlib.error("it ends too early")
            parts.append(part)
            rest = unpacker.unused_data
    except zlib.error as error:
        raise BadInput(
            f"The gzip file is damaged ({error})", where=str(path), remedy="Fetch or copy it once more"
        ) from error
    return b"".join(parts)


def _row_and_column(data: bytes, at: int) -> tuple[int, int]:
    before = data[:at].replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return before.count(b"\n") + 1, len(before) - (before.rfind(b"\n") + 1) + 1


def _decoded(path: Path, data: bytes, findings: Findings) -> str:
    for bom, encoding in ((b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16")):
        if data.startswith(bom):
            try:
                text = data.decode(encoding)
            except UnicodeDecodeError as error:
                row, column = _row_and_column(data[: error.start].replace(b"\x00", b""), error.start)
                raise BadInput(
                    "The file says it is UTF-16 text, but the text breaks off or is damaged",
                    where=f"{path}, row {row}, column {column}",
                    remedy="Save it as CSV in UTF-8",
                ) from error
            data = text.encode("utf-8", errors="replace")
    fault = _CONTROL.search(data)
    if fault:
        row, column = _row_and_column(data, fault.start())
        name = "a NUL byte" if fault.group() == b"\x00" else f"the control byte 0x{fault.group()[0]:02x}"
        raise BadInput(
            f"The file holds {name}, so it is no text file or was damaged",
            where=f"{path}, row {row}, column {column}",
            remedy="Export it again as CSV in UTF-8, or mend that row",
        )
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raw = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n").split(b"\n")
        lines = [n for n, line in enumerate(raw, 1) if not _is_utf8(line)]
        findings.add(
            "encoding",
            "warning",
            f"The text is not UTF-8 (first at byte {error.start}); it was read as Windows-1252",
            lines,
            remedy="Save it as UTF-8 if names look wrong",
        )
        text = data.decode("cp1252", errors="replace")
    return text.replace("\u2212", "-").replace("\u00a0", " ").replace("\u202f", " ")


def _is_utf8(line: bytes) -> bool:
    try:
        line.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True


def count_cells(lines: Sequence[str], separator: str) -> np.ndarray:
    """Cells of each line (n,); separators inside quotes do not count; -1 where a quote is left open."""
    text = "\n".join(lines)
    quoted = '"' in text
    if quoted:
        text = re.sub(r'"[^"\n]*"', '""', text)
    bare = text.split("\n")
    if separator == " ":
        cells = np.array([len(line.split()) for line in bare], dtype=np.int64)
    else:
        cells = np.array([line.count(separator) + 1 for line in bare], dtype=np.int64)
    if quoted:
        cells[np.array([line.count('"') % 2 == 1 for line in bare])] = -1
    return cells


def table(
    path: Path,
    lines: Sequence[str],
    first_line: int,
    separator: str,
    columns: dict[str, int],
    findings: Findings,
    *,
    header_cells: int = 0,
) -> pd.DataFrame:
    """Cells of a separated table as text: the asked `columns` (name -> position) and `line` (the line
    number).

    lines: the data lines only; first_line: the number of the first of them; header_cells: how many names the
    header has (0: no header). Blank lines are passed over; lines with too many or too few cells, or with an
    open quote, are reported; those with too many or an open quote are set aside. Raises BadInput if decimal
    commas cannot be told from separators.
    """
    numbers = np.arange(first_line, first_line + len(lines))
    filled = np.array([bool(line.strip()) for line in lines], dtype=bool)
    cells = count_cells(lines, separator)
    usual = int(np.bincount(np.maximum(cells[filled], 0)).argmax()) if filled.any() else 0
    most = max(columns.values()) + 1
    if separator == "," and 0 < header_cells < usual:
        _refuse_decimal_commas(path, lines, first_line, header_cells, usual)
    too_many, short, open_quote = (
        filled & (cells > max(usual, most)),
        filled & (cells < usual),
        filled & (cells < 0),
    )
    short &= ~open_quote
    if open_quote.any():
        findings.add(
            "open quote",
            "fault",
            f"{some(int(open_quote.sum()), 'line')} with a quotation mark that is never closed, set aside",
            numbers[open_quote],
            remedy="Mend the quotation marks in those lines",
        )
    if too_many.any():
        findings.add(
            "too many cells",
            "fault",
            f"{some(int(too_many.sum()), 'line')} with more than the usual {usual} cells, whose values"
            " cannot be told"
            " apart, set aside",
            numbers[too_many],
            remedy="Look for a stray separator or a decimal comma in those lines",
        )
    if short.any():
        findings.add(
            "too few cells",
            "fault",
            f"{some(int(short.sum()), 'line')} with fewer than the usual {usual} cells; what they lack"
            " counts as missing",
            numbers[short],
            remedy="Look whether those lines were cut off",
        )
    keep = filled & ~too_many & ~open_quote
    # A first row of full width: the parser takes the number of columns from it, however short the others are.
    width, joint = max(usual, most), "\t" if separator == " " else separator
    body = [joint.join("0" * width), *(line for line, use in zip(lines, keep, strict=True) if use)]
    try:
        frame = (
            pd.read_csv(
                io.StringIO("\n".join(body)),
                sep=r"\s+" if separator == " " else separator,
                header=None,
                names=range(width),
                usecols=sorted(set(columns.values())),
                dtype=str,
                keep_default_na=False,
                na_filter=False,
                quoting=csv.QUOTE_MINIMAL if any('"' in line for line in body) else csv.QUOTE_NONE,
                engine="c",
            )
            .iloc[1:]
            .reset_index(drop=True)
        )
    except pd.errors.ParserError:
        # A quotation mark inside a cell that opens another and is closed lines later, or never.
        frame = None
    if frame is None or len(frame) != int(keep.sum()):
        raise BadInput(
            "The lines of the table could not be told apart",
            where=f"{path}, rows {first_line} to {first_line + len(lines) - 1}",
            remedy="Export it again as plain CSV without quotation marks inside cells",
        )
    result = pd.DataFrame({name: frame[at].fillna("").str.strip() for name, at in columns.items()})
    result["line"] = numbers[keep]
    return result


def _refuse_decimal_commas(path: Path, lines: Sequence[str], first_line: int, named: int, usual: int) -> None:
    """A table with decimal commas AND comma separators cannot be read without guessing."""
    sample = next((line for line in lines if line.strip()), "")
    if re.fullmatch(r"[^,]+(,\s*-?\d{1,3},\d{1,2}){2,}", sample.strip()):
        raise BadInput(
            f"Decimal commas and separating commas cannot be told apart ({usual} cells under {named} names)",
            where=f"{path}, row {first_line}",
            remedy="Export with semicolons between the columns, or with decimal points",
        )
