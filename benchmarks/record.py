"""Figures of a benchmark as rows that one table can hold.

A script calls `compared` for each comparison it prints; where `ORCHARDWRIGHT_BENCH_ROWS` names a file, as
`python -m benchmarks` sets it, the row is added to it as a line of JSON.
"""

from __future__ import annotations

import json
import os
from pathlib import Path

ROWS = "ORCHARDWRIGHT_BENCH_ROWS"


def compared(what: str, ours: float, instead: str, theirs: float, unit: str) -> None:
    """One comparison: ours and what a user would do instead, both in `unit` (a time, or something per
    second, or a benefit)."""
    path = os.environ.get(ROWS)
    if path:
        line = json.dumps({"what": what, "ours": ours, "instead": instead, "theirs": theirs, "unit": unit})
        with Path(path).open("a", encoding="utf-8") as file:
            file.write(f"{line}\n")
