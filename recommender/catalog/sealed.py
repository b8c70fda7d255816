"""DuckDB connections that reach nothing but what they are opened for.

In comes a database file or a folder; out goes a connection that reads no other file, fetches no extension,
reaches no other machine, and whose settings nobody can change any more. Every connection of this project is
opened here (a test looks).
"""

from __future__ import annotations

from pathlib import Path

import duckdb

_SEALED: dict[str, str | bool | int | float | list[str]] = {
    "enable_external_access": "false",
    "lock_configuration": "true",
}


def to_read(path: Path) -> duckdb.DuckDBPyConnection:
    """A database file, read-only. Raises duckdb.Error."""
    return duckdb.connect(str(path), read_only=True, config=_SEALED)


def to_write(path: Path) -> duckdb.DuckDBPyConnection:
    """A new database file. Raises duckdb.Error."""
    return duckdb.connect(str(path), config=_SEALED)


def over_folder(folder: Path) -> duckdb.DuckDBPyConnection:
    """No database, only the files of one folder and those below it. Raises duckdb.Error."""
    connection = duckdb.connect()
    # This setting takes no bound value.
    allowed = str(folder.resolve()).replace("'", "''")
    connection.execute(f"SET allowed_directories = ['{allowed}']")
    for name, value in _SEALED.items():
        connection.execute(f"SET {name} = {value}")
    return connection
