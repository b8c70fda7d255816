"""Results of the desk as CSV or XLSX files that no spreadsheet will run.

In come named frames; out goes one file, written atomically. Every text cell that could be taken for a formula
gets an
apostrophe in front (`outputs.guarded`) and, in a workbook, is stored as text.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from pathlib import Path

import pandas as pd

from recommender.errors import BadInput, StorageFault
from recommender.outputs import csv_text, guarded


def write_tables(tables: Mapping[str, pd.DataFrame], path: Path) -> None:
    """Frames to a file: `.xlsx` holds one sheet each, `.csv` the first of them only.

    Raises BadInput for another ending, StorageFault if it cannot be written; what was there before is kept.
    """
    ending = path.suffix.casefold()
    if ending not in (".csv", ".xlsx"):
        raise BadInput(
            f"“{path.name}” is neither CSV nor XLSX", where="--output", remedy="End the name in .csv or .xlsx"
        )
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, suffix=f".part{ending}")
        os.close(handle)
        try:
            if ending == ".csv":
                Path(name).write_text(csv_text(next(iter(tables.values()))), encoding="utf-8", newline="")
            else:
                _workbook(tables, Path(name))
            Path(name).replace(path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as problem:
        raise StorageFault(
            f"The file cannot be written ({problem.strerror or problem})",
            where=str(path),
            remedy="Name a folder you may write to",
        ) from problem


def workbook_bytes(tables: Mapping[str, pd.DataFrame]) -> bytes:
    """The same workbook as bytes, for a download."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "tables.xlsx"
        _workbook(tables, path)
        return path.read_bytes()


def _workbook(tables: Mapping[str, pd.DataFrame], path: Path) -> None:
    from openpyxl import Workbook
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
    from openpyxl.styles import Font

    book = Workbook(write_only=True)
    for title, frame in tables.items():
        sheet = book.create_sheet(title[:31])
        sheet.freeze_panes = "A2"
        heads = []
        for name in frame.columns:
            cell = WriteOnlyCell(sheet, value=str(guarded(str(name))))
            cell.font = Font(bold=True)
            heads.append(cell)
        sheet.append(heads)
        for row in frame.astype(object).itertuples(index=False, name=None):
            cells = []
            for value in row:
                plain = _plain(value)
                if isinstance(plain, str):
                    plain = ILLEGAL_CHARACTERS_RE.sub(" ", plain)[:32_000]
                    cell = WriteOnlyCell(sheet, value=plain)
                    cell.data_type = "s"
                    cells.append(cell)
                else:
                    cells.append(plain)
            sheet.append(cells)
    book.save(path)


def _plain(value: object) -> object:
    if isinstance(value, (list, tuple)):
        return guarded(" | ".join(str(part) for part in value))
    if isinstance(value, str):
        return guarded(value)
    if value is None or value is pd.NA or (isinstance(value, float) and value != value):
        return None
    return value.item() if hasattr(value, "item") else value
