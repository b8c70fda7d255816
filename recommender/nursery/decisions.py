"""The nursery's memory: what a person decided about a name, kept for the next import.

In come decisions (the name as written, the crop if the line said one, the variety or "none of ours"); out
goes a small CSV file in the user's data folder, and look-ups by name. Written atomically, together with what
others kept in the meantime; a damaged row is an error that names it, never a silent loss.
"""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Iterable
from pathlib import Path

from recommender.errors import DataFaults, StorageFault
from recommender.files import one_at_a_time, real_file, write_whole
from recommender.nursery.stock_line import mended, spaced
from recommender.outputs import guarded

Variety = tuple[str, str]
NONE_OF_OURS: Variety = ("", "")
_REMEDY = "Name a file you may write with --decisions"
_COLUMNS = ["name", "crop_said", "crop", "variety"]


def default_path() -> Path:
    """ORCHARDWRIGHT_DECISIONS, else stock-decisions.csv in the user's data folder of this system."""
    told = os.environ.get("ORCHARDWRIGHT_DECISIONS")
    if told:
        return Path(told)
    from platformdirs import user_data_dir

    return Path(user_data_dir("orchardwright")) / "stock-decisions.csv"


class Decisions:
    """Decisions of one nursery. `path`: its file; None keeps them for this run only.

    Raises StorageFault if the file cannot be read, DataFaults naming its rows that make no sense.
    """

    def __init__(self, path: Path | None = None) -> None:
        self.path = path
        self._kept: dict[tuple[str, str], Variety] = {}
        self._written: dict[tuple[str, str], str] = {}
        self._new: set[tuple[str, str]] = set()
        if path is not None:
            self._read(path)

    def __len__(self) -> int:
        return len(self._kept)

    def find(self, name: str, crops: Iterable[str] = ()) -> Variety | None:
        """What was decided for a name: the variety, NONE_OF_OURS, or None if nothing was.

        A decision made for a line that named its crop holds only where the same crop may be meant.
        """
        words = spaced(mended(name))
        for crop in (*crops, ""):
            kept = self._kept.get((words, crop))
            if kept is not None:
                return kept
        return None

    def remember(self, name: str, variety: Variety, crop_said: str = "") -> None:
        """Keep a decision (in memory; `save` writes it). crop_said: the crop its line named, or ""."""
        key = (spaced(mended(name)), crop_said)
        if key[0]:
            self._kept[key] = variety
            self._written[key] = name
            self._new.add(key)

    def save(self) -> None:
        """Write all decisions to the file, atomically, with those that another process kept in the meantime.

        Raises StorageFault, or DataFaults if the file has faults by now; what was there before is kept.
        """
        if self.path is None:
            return
        with one_at_a_time(self.path, "the decisions", _REMEDY):
            others = Decisions(self.path)
            for key in others._kept.keys() - self._new:
                self._kept[key], self._written[key] = others._kept[key], others._written[key]
            write_whole(self.path, self._text(), _REMEDY)
        self._new.clear()

    def _text(self) -> str:
        text = io.StringIO()
        rows = csv.writer(text, lineterminator="\n")
        rows.writerow(_COLUMNS)
        for key in sorted(self._kept):
            rows.writerow([guarded(part) for part in (self._written[key], key[1], *self._kept[key])])
        return text.getvalue()

    def _read(self, path: Path) -> None:
        try:
            text = real_file(path).read_text(encoding="utf-8")
            rows = list(csv.reader(io.StringIO(text, newline="")))
        except (FileNotFoundError, NotADirectoryError):
            return
        except (OSError, ValueError, csv.Error) as problem:
            raise StorageFault(
                f"The decisions cannot be read ({problem})",
                where=str(path),
                remedy="Mend or move the file away",
            ) from problem
        faults = []
        if rows and rows[0] != _COLUMNS:
            faults.append(f"{path}, row 1: the headings are not {', '.join(_COLUMNS)}")
        for number, row in enumerate(rows[1:], start=2):
            if len(row) != len(_COLUMNS) or bool(row[2]) != bool(row[3]):
                faults.append(f"{path}, row {number}: not name, crop_said, crop and variety")
                continue
            name, said, crop, variety = (
                cell[1:] if cell.startswith("'") and guarded(cell[1:]) == cell else cell for cell in row
            )
            self.remember(name, (crop, variety), said)
        self._new.clear()
        if faults:
            raise DataFaults(
                "The decisions file has faults", faults, remedy="Mend the rows or move the file away"
            )
