"""One DuckDB file from the open data: every table as read, settled values, wide traits, account of the build.

Comes in: the folder of the open data. Goes out: a database file at the path given (the caller puts it in
place). Tables are written in a fixed order, sorted as read.
"""

from __future__ import annotations

import datetime as dt
import json
import time
from collections.abc import Callable
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd
import pyarrow as pa

from recommender.catalog import sealed
from recommender.catalog.consensus import KEY, Settlement, settle
from recommender.catalog.gaps import read_estimates, traits_key
from recommender.catalog.package import content_key, read_package
from recommender.catalog.traits import CATEGORY, NUMERIC, SET, TRAITS, trait

Progress = Callable[[str, float], None]
UNKNOWN = "unknown"


def build_database(path: Path, folder: Path, schema_version: int, progress: Progress | None = None) -> None:
    """Read, check, settle and write. Raises DataFaults, StorageFault, OSError, duckdb.Error."""
    say = progress or (lambda _what, _share: None)
    started = time.perf_counter()
    say("Reading and checking the open data", 0.0)
    key = content_key(folder)
    package = read_package(folder)
    tables = dict(package.tables)
    say("Settling the evidence", 0.5)
    settlement = settle(
        tables["traits"], tables["sources"], tables["crops"], tables["varieties"], tables["names"]
    )
    wide = wide_traits(settlement.settled, tables["varieties"], tables["traits"]["trait"].unique())
    estimates, made_from = read_estimates(folder)
    present = pd.MultiIndex.from_frame(wide[["crop", "variety"]])
    estimates = estimates[pd.MultiIndex.from_frame(estimates[["crop", "variety"]]).isin(present)]
    say("Writing the catalog", 0.8)
    frames = {
        **{str(name): frame for name, frame in tables.items() if name != "traits"},
        "evidence": tables["traits"],
        "settled": settlement.settled,
        "traits": wide,
        "estimates": estimates,
        "offset_scales": settlement.offset_scales,
        "set_aside": settlement.set_aside,
        "rejected": package.rejected,
        "data_warnings": package.warnings,
        "file_counts": package.counts,
    }
    info = {
        "built_at": dt.datetime.now(dt.UTC).isoformat(timespec="seconds"),
        "data_key": key,
        "schema_version": schema_version,
        "datasets": str(folder),
        "estimates_current": bool(made_from) and made_from == traits_key(wide),
        "counts": {name: len(frame) for name, frame in frames.items()},
        "settled_by_standing": _counts(settlement),
        "build_seconds": round(time.perf_counter() - started, 3),
    }
    connection = sealed.to_write(path)
    try:
        connection.execute("BEGIN")
        for name, frame in frames.items():
            _write_table(connection, name, frame)
        connection.execute("CREATE TABLE build_info (name VARCHAR PRIMARY KEY, content VARCHAR)")
        content = [(name, json.dumps(value)) for name, value in info.items()]
        connection.executemany("INSERT INTO build_info VALUES (?, ?)", content)
        connection.execute("COMMIT")
        connection.execute("CHECKPOINT")
    finally:
        connection.close()
    say("Done", 1.0)


def _counts(settlement: Settlement) -> dict[str, int]:
    counts = settlement.settled["standing"].value_counts()
    return {str(standing): int(count) for standing, count in counts.items()}


def _write_table(connection: duckdb.DuckDBPyConnection, name: str, frame: pd.DataFrame) -> None:
    connection.register("incoming", _arrow(frame))
    connection.execute(f'CREATE TABLE "{name}" AS SELECT * FROM incoming')
    connection.unregister("incoming")


def _arrow(frame: pd.DataFrame) -> pa.Table:
    """A frame as an Arrow table; columns that are not numbers or truth values become text."""
    columns = {}
    for name in frame.columns:
        column = frame[name]
        if pd.api.types.is_bool_dtype(column) or pd.api.types.is_numeric_dtype(column):
            columns[str(name)] = pa.array(column, from_pandas=True)
        else:
            text = column.astype("object").where(column.notna(), None)
            columns[str(name)] = pa.array([None if t is None else str(t) for t in text], type=pa.string())
    return pa.table(columns)


def wide_traits(settled: pd.DataFrame, varieties: pd.DataFrame, present: np.ndarray) -> pd.DataFrame:
    """One row per variety (sorted by crop, variety): settled value, spread or agreement, standing per trait.

    Numeric traits give t, t_low, t_high, t_standing; classes, texts and sets t, t_agreement, t_standing.
    Of offsets and alleles, t_unit says the scale or numbering. A trait nobody states is missing, `unknown`.
    Origin and year are given where a source states them: scores and estimates lean on them.
    """
    stated = varieties["basis"].ne("from memory")
    base = varieties[["crop", "variety", "origin", "year"]].assign(
        origin=varieties["origin"].where(stated), year=varieties["year"].where(stated)
    )
    base = base.sort_values(["crop", "variety"], ignore_index=True)
    base["year"] = pd.to_numeric(base["year"], errors="coerce").astype("float64")
    index = pd.MultiIndex.from_frame(base[["crop", "variety"]])
    diseases = sorted(name for name in present if str(name).startswith("disease:"))
    others = sorted(name for name in present if name not in TRAITS and name not in diseases)
    columns: dict[str, np.ndarray | pd.Series] = {str(name): base[name] for name in base}
    by_trait = dict(list(settled.groupby("trait", sort=False)))
    for name in [*TRAITS, *diseases, *others]:
        rows = by_trait.get(name, settled.iloc[:0])
        rows = rows.set_index(KEY[:2]).reindex(index)
        if trait(name).kind == NUMERIC:
            columns[name] = rows["number"].to_numpy(dtype="float64")
            columns[f"{name}_low"] = rows["low"].to_numpy(dtype="float64")
            columns[f"{name}_high"] = rows["high"].to_numpy(dtype="float64")
        else:
            columns[name] = rows["value"].to_numpy(dtype="object")
            columns[f"{name}_agreement"] = rows["agreement"].to_numpy(dtype="float64")
        if name in ("s_alleles", "bloom_offset", "ripening_offset"):
            columns[f"{name}_unit"] = rows["unit"].to_numpy(dtype="object")
        columns[f"{name}_standing"] = rows["standing"].fillna(UNKNOWN).to_numpy(dtype="object")
    return pd.DataFrame(columns)


__all__ = ["CATEGORY", "NUMERIC", "SET", "UNKNOWN", "build_database", "wide_traits"]
