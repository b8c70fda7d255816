"""Small tables of facts about whole crops, read straight from the open data: every row must name a source.

In comes a CSV file of the data package; out goes a frame of text cells with file and line of each row. Rows
that break a rule are told with file, row and column, all at once.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from recommender.catalog.csv_table import FILE, ROW, Fault, read_text_table
from recommender.errors import DataFaults

Rule = Callable[[Mapping[Any, Any]], list[tuple[str, str]]]


def read_sourced(folder: Path, table: str, columns: Sequence[str], rule: Rule) -> pd.DataFrame:
    """The rows of a table as text, if all are sound.

    rule: (row) -> the columns that are wrong, each with what is wrong of it.

    Raises DataFaults.
    """
    text = read_text_table(folder / table, table, columns)
    found = list(text.faults)
    for row in text.cells.to_dict("records"):
        wrong = rule(row)
        if str(row["source_id"]) in ("", "memory"):
            wrong = [*wrong, ("source_id", "names no source, and what decides needs one")]
        found += [fault_of(row, column, what) for column, what in wrong]
    if found:
        raise unusable(table, found)
    return text.cells


def fault_of(row: Mapping[Any, Any], column: str, what: str) -> Fault:
    """A fault of one cell, with its file and line."""
    remedy = "Mend the cell, or take the row out"
    return Fault(str(row[FILE]), int(row[ROW]), column, str(row[column]), what, remedy)


def unusable(table: str, found: Sequence[Fault]) -> DataFaults:
    """The error that lists all faults of a table."""
    return DataFaults(
        f"{table} cannot be used",
        [str(fault) for fault in found],
        remedy="Mend the lines named here, then try again",
    )
