"""Results as CSV and JSON that other programs can trust.

In come frames and plain objects; out go texts: CSV whose cells no spreadsheet takes for a formula, and JSON
in which a missing number is null, never NaN.
"""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Mapping
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")


def guarded(cell: object) -> object:
    """A text cell that a spreadsheet would run as a formula gets an apostrophe in front; numbers stay
    numbers.

    Source: OWASP, "CSV Injection" (characters that start a formula).

    >>> guarded("=1+1"), guarded("Discovery"), guarded(-3)
    ("'=1+1", 'Discovery', -3)
    """
    if isinstance(cell, str) and cell.lstrip(" ").startswith(_FORMULA_STARTS):
        return f"'{cell}"
    if isinstance(cell, (list, tuple)):
        return guarded(" | ".join(str(part) for part in cell))
    return cell


def csv_text(frame: pd.DataFrame) -> str:
    """A frame as CSV text (UTF-8, `\\n`), headings included, every text cell guarded against formula
    injection.
    """
    safe = frame.copy()
    for position in range(safe.shape[1]):
        column = safe.iloc[:, position]
        if not pd.api.types.is_numeric_dtype(column):
            safe.isetitem(position, list(column.astype(object).map(guarded)))
    safe.columns = pd.Index([guarded(str(name)) for name in safe.columns])
    return safe.to_csv(index=False, lineterminator="\n")


def parquet_bytes(frame: pd.DataFrame) -> bytes:
    """A frame as a Parquet file. Columns of mixed kinds are written as text, missing values as nulls."""
    ready = frame.reset_index(drop=True)
    for name in [name for name in ready.columns if ready[name].dtype == object]:
        ready[name] = ready[name].map(lambda cell: None if pd.isna(cell) else str(cell)).astype("string")
    return bytes(ready.to_parquet(index=False))


def json_ready(value: object) -> object:
    """Plain JSON types, with null for every NaN, infinity and missing value. NumPy scalars and arrays
    included.
    """
    if value is None or isinstance(value, (str, bool)):
        return value
    if isinstance(value, Mapping):
        return {str(key): json_ready(item) for key, item in value.items()}
    if isinstance(value, (list, tuple, set, frozenset)):
        return [json_ready(item) for item in value]
    if isinstance(value, np.ndarray):
        return json_ready(value.tolist())
    if isinstance(value, np.generic):
        return json_ready(value.item())
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, int):
        return value
    if isinstance(value, (date, pd.Timestamp)):
        return None if pd.isna(value) else value.isoformat()
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return json_ready({f.name: getattr(value, f.name) for f in dataclasses.fields(value)})
    if value is pd.NA or value is pd.NaT:
        return None
    if isinstance(value, Path):
        return str(value)
    return str(value)


def json_text(value: object) -> str:
    """One JSON value as text, ending in a line break."""
    return json.dumps(json_ready(value), ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def frame_records(frame: pd.DataFrame) -> list[dict[str, object]]:
    """A frame as a list of plain records, missing values as None."""
    records = frame.to_dict(orient="records")
    ready: list[dict[str, object]] = [
        {str(k): json_ready(v) for k, v in record.items()} for record in records
    ]
    return ready
