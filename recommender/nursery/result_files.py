"""Results of the desk as CSV or XLSX files that no spreadsheet will run.

In come named frames; out goes one file, written atomically. Every text cell that could be taken for a
formula gets an apostrophe in front (`outputs.guarded`) and, in a workbook, is stored as text.
"""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from recommender.errors import BadInput
from recommender.files import write_whole
from recommender.outputs import csv_text, guarded

if TYPE_CHECKING:
    from recommender.nursery.allocation import Allocation


def allocation_tables(result: Allocation, faults: Sequence[str]) -> dict[str, pd.DataFrame]:
    """Back orders as sheets: every tree ordered once, then sent, unfilled, what to buy in, cells not read."""
    return {
        "every tree": result.table(),
        "sent": result.sent,
        "unfilled": result.unfilled,
        "buy in": result.buy_in,
        "faults": faults_frame(faults),
    }


def faults_frame(faults: Sequence[str]) -> pd.DataFrame:
    """One fault a row."""
    return pd.DataFrame({"fault": list(faults)}, dtype=object)


def write_tables(tables: Mapping[str, pd.DataFrame], path: Path) -> None:
    """Frames to a file: `.xlsx` holds one sheet each, `.csv` the first of them only.

    Raises BadInput for another ending, StorageFault if it cannot be written; what was there before is kept.
    """
    ending = path.suffix.casefold()
    if ending not in (".csv", ".xlsx"):
        raise BadInput(
            f"“{path.name}” is neither CSV nor XLSX", where="--output", remedy="End the name in .csv or .xlsx"
        )
    write_whole(path, csv_text(next(iter(tables.values()))) if ending == ".csv" else workbook_bytes(tables))


def workbook_bytes(tables: Mapping[str, pd.DataFrame]) -> bytes:
    """The same workbook as bytes, for a download."""
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
    held = io.BytesIO()
    book.save(held)
    return held.getvalue()


def _plain(value: object) -> object:
    if isinstance(value, (list, tuple)):
        return guarded(" | ".join(str(part) for part in value))
    if isinstance(value, str):
        return guarded(value)
    if value is None or value is pd.NA or (isinstance(value, float) and value != value):
        return None
    return value.item() if hasattr(value, "item") else value
