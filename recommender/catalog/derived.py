"""Tables that other rooms work out from the catalog, kept in a DuckDB file of their own beside it.

In: an open catalog, frames by name, and a key of the code that made them. Out: the same tables, read back.
The file bears the name of the catalog file and the key, so that neither other data nor other code is served
an old table; it is written beside and put in place whole, under a lock, so that two processes make it once.
A damaged file is noticed by its digest and made again.
"""

from __future__ import annotations

import tempfile
import warnings
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import duckdb
import pandas as pd
import pyarrow as pa

from recommender.catalog import sealed
from recommender.catalog.store import LOCK_TIMEOUT_S, CatalogNotice, digest_of, state_of
from recommender.errors import StorageFault, UnknownName

if TYPE_CHECKING:
    from recommender.catalog.catalog import Catalog


def derived_path(catalog: Catalog, name: str, key: str) -> Path:
    """Where the derived tables called `name` of this catalog lie."""
    return catalog.path.with_name(f"{catalog.path.stem}.{name}-{key}.duckdb")


def derived_tables(
    catalog: Catalog, name: str, key: str, make: Callable[[], Mapping[str, pd.DataFrame]]
) -> Path:
    """The file of the derived tables; made by `make` if there is none or a damaged one; older ones go.

    Raises StorageFault where it cannot be written; what was there before stays.
    """
    from filelock import FileLock, Timeout

    path = derived_path(catalog, name, key)
    if state_of(path) == "sound":
        return path
    lock = FileLock(path.with_name(f"{name}.lock"), timeout=LOCK_TIMEOUT_S)
    try:
        with lock:
            state = state_of(path)
            if state == "damaged":
                warnings.warn(
                    f"The file of the {name} tables was damaged or half written and is made again ({path}).",
                    CatalogNotice,
                    stacklevel=2,
                )
            if state != "sound":
                _write(path, make())
    except Timeout as problem:
        raise StorageFault(
            f"Another process has been making the {name} tables for five minutes",
            where=str(path.parent),
            remedy="End that process, then try again",
        ) from problem
    except (OSError, duckdb.Error) as problem:
        raise StorageFault(
            f"The {name} tables could not be written ({' '.join(str(problem).split())[:200]})",
            where=str(path.parent),
            remedy="Free some space there, or set ORCHARDWRIGHT_CACHE to another folder",
        ) from problem
    for old in path.parent.glob(f"{catalog.path.stem}.{name}-*.duckdb"):
        if old != path:
            old.with_suffix(".digest").unlink(missing_ok=True)
            old.unlink(missing_ok=True)
    return path


def _write(path: Path, frames: Mapping[str, pd.DataFrame]) -> None:
    """Write the tables beside `path`, then put digest and file in place."""
    with tempfile.TemporaryDirectory(prefix=".derived-", dir=path.parent) as folder:
        made, digest = Path(folder) / path.name, Path(folder) / "digest"
        with sealed.to_write(made) as connection:
            for table, frame in frames.items():
                connection.register("incoming", pa.Table.from_pandas(frame, preserve_index=False))
                connection.execute(f'CREATE TABLE "{table}" AS SELECT * FROM incoming')
                connection.unregister("incoming")
        digest.write_text(digest_of(made) + "\n", encoding="ascii")
        digest.replace(path.with_suffix(".digest"))
        made.replace(path)


def read_derived(path: Path, table: str) -> pd.DataFrame:
    """One table of a file of derived tables. Raises UnknownName, or StorageFault if it cannot be read."""
    try:
        with sealed.to_read(path) as connection:
            names = [
                row[0] for row in connection.execute("SELECT table_name FROM duckdb_tables()").fetchall()
            ]
            if table not in names:
                raise UnknownName("table", table, names)
            return connection.execute(f'SELECT * FROM "{table}"').df()
    except duckdb.Error as problem:
        raise StorageFault(
            "The derived tables cannot be read", where=str(path), remedy="Remove the file; it is made again"
        ) from problem
