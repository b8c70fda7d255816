"""The one family of errors a user can meet: what is wrong, where, and what to do about it."""

from __future__ import annotations

from collections.abc import Sequence


class OrchardwrightError(Exception):
    """Something a user can mend. `str()` is fit to print as it stands; no traceback is needed.

    what: what was wrong, one sentence without the final stop.
    where: file, row and column, option or question; empty if it is plain from `what`.
    remedy: what to do, one sentence.
    """

    exit_code = 2

    def __init__(self, what: str, *, where: str = "", remedy: str = "") -> None:
        self.what, self.where, self.remedy = what, where, remedy
        super().__init__(what)

    def __str__(self) -> str:
        place = f" ({self.where})" if self.where else ""
        remedy = f" {self.remedy.rstrip('.')}." if self.remedy else ""
        return f"{self.what.rstrip('.')}{place}.{remedy}"


class UnknownName(OrchardwrightError):
    """A place, crop, variety or column that is not known; `suggestions` are the nearest ones that are."""

    def __init__(self, kind: str, name: str, suggestions: Sequence[str] = (), *, where: str = "") -> None:
        self.kind, self.name, self.suggestions = kind, name, tuple(suggestions)
        remedy = f"Did you mean {', or '.join(self.suggestions)}?" if self.suggestions else ""
        super().__init__(f"No {kind} is called “{name}”", where=where, remedy=remedy)

    def __str__(self) -> str:
        return super().__str__().replace("?.", "?")


class BadInput(OrchardwrightError):
    """An answer or an option that cannot be used as given."""


class DataFaults(OrchardwrightError):
    """Faults found in a table, all at once; `faults` holds one line each (file, row, column, remedy)."""

    def __init__(self, what: str, faults: Sequence[str], *, remedy: str = "") -> None:
        self.faults = tuple(faults)
        super().__init__(what, remedy=remedy)

    def __str__(self) -> str:
        return "\n".join([super().__str__(), *(f"  {fault}" for fault in self.faults)])


class StorageFault(OrchardwrightError):
    """A file or folder could not be read or written; what was there before is kept."""

    exit_code = 3
