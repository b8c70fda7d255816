"""The open data package: where it is, whether it is sound, and its tables.

In: the folder datasets/ with datapackage.json (a Frictionless Data Package) and its CSV files.
Out: a `DataPackage` of typed tables, with every row that could not be used listed with its reason.
The checks themselves stand in table_checks.py; the reading of one file in csv_table.py.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from graphlib import CycleError, TopologicalSorter
from pathlib import Path
from typing import Any

import pandas as pd

from recommender.catalog.csv_table import FILE, ROW, Fault, read_text_table
from recommender.catalog.descriptor import descriptor_faults
from recommender.errors import BadInput, DataFaults, StorageFault
from recommender.files import json_of

DESCRIPTOR = "datapackage.json"
ENV_DATASETS = "ORCHARDWRIGHT_DATASETS"


@dataclass(frozen=True)
class DataPackage:
    """The tables of a data package, typed, and the account of what was read.

    tables: name (resource name with underscores) -> frame with the columns of its schema plus `_file` and
        `_row` (line of the file). Missing cells are missing values, never "".
    counts: one row a file: file, table, rows_read, rows_kept, rows_rejected.
    faults: everything that was wrong; those with effect "row" say why a row was rejected.
    warnings: rows that were kept but deserve a second look: file, row, column, value, what.
    """

    folder: Path
    tables: Mapping[str, pd.DataFrame]
    counts: pd.DataFrame
    faults: tuple[Fault, ...] = ()
    warnings: pd.DataFrame = field(default_factory=pd.DataFrame)

    @property
    def rejected(self) -> pd.DataFrame:
        """Every fault as a row: file, row, column, value, what, remedy, effect (row or cell)."""
        columns = list(Fault.__dataclass_fields__)
        return pd.DataFrame(
            [[getattr(fault, name) for name in columns] for fault in self.faults], columns=columns
        )

    def __getitem__(self, table: str) -> pd.DataFrame:
        return self.tables[table]


def datasets_folder() -> Path:
    """The folder of the open data: ORCHARDWRIGHT_DATASETS, else the checkout's, else the installed copy.

    Raises StorageFault if there is none, or it cannot be read.
    """
    remedy = f"Point {ENV_DATASETS} at the folder of the open data, or install the package again"
    named = folder_named_by(ENV_DATASETS)
    package = Path(__file__).resolve().parents[1]
    candidates = [named] if named else [package.parent / "datasets", package / "_datasets"]
    for candidate in candidates:
        try:
            if (candidate / DESCRIPTOR).is_file():
                return candidate
        except OSError as problem:
            raise _unreadable(DESCRIPTOR, candidate, problem, remedy) from problem
    where = " or ".join(str(candidate) for candidate in candidates)
    raise StorageFault(f"No {DESCRIPTOR} found", where=where, remedy=remedy)


def folder_named_by(variable: str) -> Path | None:
    """The folder that a variable of the environment names, `~` being a home folder; None if it names none.

    Raises StorageFault if nobody knows that home folder.
    """
    named = os.environ.get(variable, "").strip()
    try:
        return Path(named).expanduser() if named else None
    except RuntimeError as problem:
        raise StorageFault(
            f"{variable} names a home folder that is not known",
            where=named,
            remedy="Write the folder out in full",
        ) from problem


def _unreadable(name: str, folder: Path, problem: OSError, remedy: str) -> StorageFault:
    reason = problem.strerror or str(problem)
    return StorageFault(f"{name} cannot be read ({reason})", where=str(folder), remedy=remedy)


def read_descriptor(folder: Path) -> dict[str, Any]:
    """The content of datapackage.json. Raises StorageFault if unreadable, DataFaults if broken."""
    path = folder / DESCRIPTOR
    remedy = "Put the file back as it was published"
    try:
        content = json_of(path.read_bytes())
    except OSError as problem:
        raise _unreadable(DESCRIPTOR, folder, problem, remedy) from problem
    except ValueError as problem:
        raise DataFaults(
            f"{DESCRIPTOR} is no JSON in UTF-8", [f"{path}: {problem}"], remedy=remedy
        ) from problem
    faults = descriptor_faults(content)
    if faults:
        raise DataFaults(f"{DESCRIPTOR} is broken", faults, remedy=remedy)
    return dict(content)


def tables_of(descriptor: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The resources that are CSV tables, in an order in which each comes after those it refers to."""
    tables = {item["name"]: item for item in descriptor["resources"] if item.get("format") == "csv"}
    graph = {name: {target for target in _targets(item) if target != name} for name, item in tables.items()}
    try:
        return [tables[name] for name in TopologicalSorter(graph).static_order()]
    except CycleError as problem:
        ring = " -> ".join(problem.args[1])
        raise DataFaults(
            f"{DESCRIPTOR} is broken", [f"The tables refer to each other in a ring: {ring}"]
        ) from None


def _targets(resource: Mapping[str, Any]) -> set[str]:
    links = [*resource["schema"].get("foreignKeys", ()), *resource.get("references", ())]
    return {link["reference"]["resource"] for link in links}


def paths_of(resource: Mapping[str, Any]) -> list[str]:
    """The files of a resource, relative to the folder."""
    path = resource["path"]
    return [path] if isinstance(path, str) else list(path)


def content_key(folder: Path) -> str:
    """A key of what the tables hold: SHA-256 over datapackage.json and every CSV file it names."""
    key = hashlib.sha256()
    names = [name for item in tables_of(read_descriptor(folder)) for name in paths_of(item)]
    for name in [DESCRIPTOR, *sorted(names)]:
        path = folder / name
        try:
            content = path.read_bytes()
        except FileNotFoundError:
            content = b"missing"
        except OSError as problem:
            raise _unreadable(name, folder, problem, "Check its permissions") from problem
        key.update(f"{name}\0{len(content)}\0".encode())
        key.update(content)
    return key.hexdigest()


def read_fitted(name: str, columns: Collection[str], folder: Path | None = None) -> pd.DataFrame:
    """A table of fitted parameters, which is no part of the evidence and has no schema.

    Raises StorageFault if it is missing, BadInput if a column is.
    """
    path = (folder or datasets_folder()) / name
    try:
        frame = pd.read_csv(path)
    except OSError as fault:
        raise StorageFault(
            f"{name} cannot be read ({fault.strerror})",
            where=str(path.parent),
            remedy="Put the open data back as they were published",
        ) from fault
    missing = sorted(set(columns) - set(frame))
    if missing:
        raise BadInput(f"{name} has no column {', '.join(missing)}", where=str(path))
    return frame


def read_package(folder: Path | None = None, *, strict: bool = False) -> DataPackage:
    """Read and check all tables of the data package, reporting everything that is wrong at once.

    A row that breaks a rule (unknown source, number out of range, class not allowed, double key) is left out
    and listed in `rejected`; a wrong optional cell of a table with a key is blanked and listed. A file that
    cannot be used at all raises. With `strict`, any fault raises.

    Raises DataFaults (all faults, one line each) and StorageFault.
    """
    from recommender.catalog.table_checks import Checker

    folder = folder or datasets_folder()
    descriptor = read_descriptor(folder)
    checker = Checker()
    counts = []
    for resource in tables_of(descriptor):
        table = resource["name"].replace("-", "_")
        columns = [item["name"] for item in resource["schema"]["fields"]]
        parts, usable = [], True
        for file in paths_of(resource):
            text = read_text_table(folder / file, file, columns)
            checker.faults += text.faults
            usable = usable and not any(fault.effect == "stops" for fault in text.faults)
            parts.append(text.cells)
            counts.append((file, table, text.rows_read))
        checker.check(table, resource, pd.concat(parts, ignore_index=True), whole=usable)
    checker.faults += _stray_files(folder, descriptor)
    if strict:
        checker.faults += _missing_files(folder, descriptor)
    _raise_if_unusable(checker.faults, strict=strict)

    kept = pd.concat([frame[FILE] for frame in checker.tables.values()]).value_counts()
    account = pd.DataFrame(counts, columns=["file", "table", "rows_read"])
    account["rows_kept"] = account["file"].map(kept).fillna(0).astype("int64")
    account["rows_rejected"] = account["rows_read"] - account["rows_kept"]
    return DataPackage(folder, checker.tables, account, tuple(checker.faults), checker.warnings())


def check_package(folder: Path | None = None) -> DataPackage:
    """`read_package` that accepts no fault at all. Raises DataFaults."""
    return read_package(folder, strict=True)


def _raise_if_unusable(faults: list[Fault], *, strict: bool) -> None:
    stopping = any(fault.effect == "stops" for fault in faults)
    if stopping or (strict and faults):
        number = "1 fault" if len(faults) == 1 else f"{len(faults)} faults"
        raise DataFaults(
            f"The open data cannot be used: {number}",
            [str(fault) for fault in faults],
            remedy="Mend the lines named here, then build again",
        )


def _stray_files(folder: Path, descriptor: Mapping[str, Any]) -> list[Fault]:
    named = {path for item in descriptor["resources"] for path in paths_of(item)}
    found = {
        path.relative_to(folder).as_posix()
        for glob in ("*.csv", "traits/*.csv")
        for path in folder.glob(glob)
    }
    return [
        Fault(
            name,
            0,
            "",
            "",
            "The file is not described",
            f"Describe it in {DESCRIPTOR}, or take it away",
            "file",
        )
        for name in sorted(found - named)
    ]


def _missing_files(folder: Path, descriptor: Mapping[str, Any]) -> list[Fault]:
    others = [
        path for item in descriptor["resources"] if item.get("format") != "csv" for path in paths_of(item)
    ]
    return [
        Fault(name, 0, "", "", "The file is missing", "Build it with the scripts in datasets/build", "file")
        for name in others
        if not (folder / name).is_file()
    ]


__all__ = [
    "FILE",
    "ROW",
    "DataPackage",
    "Fault",
    "check_package",
    "content_key",
    "datasets_folder",
    "folder_named_by",
    "paths_of",
    "read_descriptor",
    "read_package",
    "tables_of",
]
