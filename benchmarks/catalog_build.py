"""What the catalog costs to build, open and read, against what a user would do instead, in one run.

The plain way: read every CSV file with pandas, then settle each variety and trait by groupby-apply with a
row-by-row weighted median or vote (a part only of what the catalog does: no offsets, alleles or checks).
Each figure is the best of a few runs; compare the ratios, the seconds depend on the machine.

Run: python -m benchmarks.catalog_build
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd

from benchmarks.record import compared
from recommender.catalog import open_catalog
from recommender.catalog.evidence import SOURCE_WEIGHTS
from recommender.catalog.package import datasets_folder
from recommender.catalog.traits import NUMERIC, trait


def best(work: Callable[[], object], runs: int) -> float:
    """Shortest wall time of several runs [s]."""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def read_all(folder: Path) -> dict[str, pd.DataFrame]:
    """Every CSV file with pandas, evidence of all crops in one frame."""
    tables = {path.stem: pd.read_csv(path) for path in folder.glob("*.csv")}
    parts = [pd.read_csv(path) for path in sorted((folder / "traits").glob("*.csv"))]
    return tables | {"evidence": pd.concat(parts, ignore_index=True)}


def settle_one(group: pd.DataFrame) -> object:
    """The plain weighted median or vote of one variety and trait."""
    totals: dict[Any, float] = {}
    numeric = trait(str(group["trait"].iloc[0])).kind == NUMERIC
    for _, row in group.iterrows():
        value = row["value"]
        if pd.isna(value):
            value = (row["low"] + row["high"]) / 2.0
        if numeric:
            value = pd.to_numeric(value, errors="coerce")
        totals[value] = totals.get(value, 0.0) + SOURCE_WEIGHTS.get(str(row["kind"]), 0.15)
    if not numeric:
        return max(totals, key=lambda each: totals[each])
    reached, half = 0.0, sum(totals.values()) / 2.0
    for value in sorted(totals, key=float):
        reached += totals[value]
        if reached >= half:
            return value
    return None


def settle_plainly(tables: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """All evidence settled by groupby-apply, then spread to one row per variety."""
    evidence = tables["evidence"].merge(tables["sources"][["source_id", "kind"]], on="source_id", how="left")
    keys = ["crop", "variety", "trait"]
    records = [(*key, settle_one(group)) for key, group in evidence.groupby(keys)]
    long = pd.DataFrame(records, columns=[*keys, "value"])
    return long.pivot_table(index=keys[:2], columns="trait", values="value", aggfunc="first")


def main() -> None:
    folder = datasets_folder()
    tables = read_all(folder)
    plain_read = best(lambda: read_all(folder), 3)
    plain_settle = best(lambda: settle_plainly(tables), 1)

    with tempfile.TemporaryDirectory() as name:
        cache = Path(name)
        start = time.perf_counter()
        open_catalog(cache=cache / "cold").close()
        build = time.perf_counter() - start
        opening = best(lambda: open_catalog(cache=cache / "cold").close(), 5)
        with open_catalog(cache=cache / "cold") as catalog:
            again = best(catalog.traits, 5)

        def open_and_read() -> None:
            with open_catalog(cache=cache / "cold") as fresh:
                fresh.traits()

        first = best(open_and_read, 5)
        size = sum(path.stat().st_size for path in (cache / "cold").glob("*.duckdb"))

    plain = plain_read + plain_settle
    print(f"catalog file                          {size / 1e6:8.1f} MB")
    print(
        f"build, cold (checks, settles, writes) {build:8.2f} s   plain read and settle {plain:8.2f} s", end=""
    )
    print(f"   ratio {build / plain:6.2f}")
    print(f"open                                  {opening * 1e3:8.1f} ms  plain read of the CSV ", end="")
    print(f"{plain_read * 1e3:8.0f} ms  ratio {opening / plain_read:6.3f}")
    print(f"open and read traits                  {first * 1e3:8.1f} ms  plain read and settle ", end="")
    print(f"{plain * 1e3:8.0f} ms  ratio {first / plain:6.4f}")
    compared(
        "open the catalog, read all settled traits", first, "read CSV, settle by groupby-apply", plain, "s"
    )
    print(f"traits again                          {again * 1e3:8.1f} ms")


if __name__ == "__main__":
    main()
