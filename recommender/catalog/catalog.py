"""The open catalog: tables, settled values and evidence of one DuckDB file, read-only.

Comes in: the path of a catalog file. Goes out: pandas frames, each a copy the caller may change. All SQL of
reading stands here. Column names of `traits()` and `settled()`: docs/settling-evidence.md.
"""

from __future__ import annotations

import json
import threading
from collections import Counter
from pathlib import Path
from types import TracebackType
from typing import Any

import duckdb
import pandas as pd

from recommender.catalog import sealed
from recommender.catalog.resolve import Resolver, nearest
from recommender.errors import StorageFault, UnknownName

_EVIDENCE = """
    SELECT e.* EXCLUDE (_file, _row), s.title AS source_title, s.author AS source_author,
           s.year AS source_year, s.url AS source_url, s.kind AS source_kind,
           e._file AS file, e._row AS "row"
    FROM evidence e LEFT JOIN sources s USING (source_id)
"""


class Catalog:
    """What is known of each variety, by whom and how surely. Safe to share between threads."""

    def __init__(self, path: Path, open_files: Counter[str] | None = None) -> None:
        self.path = path
        self._lock = threading.Lock()
        self._frames: dict[str, pd.DataFrame] = {}
        self._resolver: Resolver | None = None
        self._open_files = open_files if open_files is not None else Counter()
        try:
            self._connection: duckdb.DuckDBPyConnection | None = sealed.to_read(path)
        except duckdb.Error as problem:
            raise StorageFault(
                "The catalog file cannot be opened", where=str(path), remedy="Remove it; it is built again"
            ) from problem
        self._open_files[str(path)] += 1

    def close(self) -> None:
        """Let go of the file. The catalog cannot be asked any more."""
        with self._lock:
            if self._connection is not None:
                self._connection.close()
                self._open_files[str(self.path)] -= 1
                self._connection = None

    def __enter__(self) -> Catalog:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _query(self, sql: str, values: list[object] | None = None) -> pd.DataFrame:
        with self._lock:
            if self._connection is None:
                raise StorageFault(
                    "The catalog has been closed", where=str(self.path), remedy="Open it again"
                )
            try:
                return self._connection.sql(sql, params=values or []).to_arrow_table().to_pandas()
            except duckdb.IOException as problem:
                raise StorageFault(
                    "The catalog file cannot be read",
                    where=str(self.path),
                    remedy="Remove it; it is built again",
                ) from problem

    def _kept(self, name: str, sql: str) -> pd.DataFrame:
        if name not in self._frames:
            self._frames[name] = self._query(sql)
        return self._frames[name].copy()

    def tables(self) -> list[str]:
        """Names of all tables."""
        rows = self._kept("(tables)", "SELECT table_name FROM duckdb_tables() ORDER BY table_name")
        return list(rows["table_name"])

    def table(self, name: str) -> pd.DataFrame:
        """Any table by name, as built. Raises UnknownName."""
        if name not in self._frames and not name.isidentifier():
            raise UnknownName("table", name, nearest(name, self.tables()))
        try:
            return self._kept(name, f'SELECT * FROM "{name}"')
        except duckdb.CatalogException as problem:
            raise UnknownName("table", name, nearest(name, self.tables())) from problem

    def _raw(self, name: str) -> pd.DataFrame:
        return self._kept(f"(raw) {name}", f'SELECT * EXCLUDE (_file, _row) FROM "{name}"')

    def traits(self) -> pd.DataFrame:
        """Wide: one row per variety, sorted by crop and variety; see `build.wide_traits` for the columns."""
        return self.table("traits")

    def estimates(self) -> pd.DataFrame:
        """Long: estimates of traits nobody published, with interval, error [one standard deviation] and
        method; see `gaps.Gaps`. `info["estimates_current"]` says whether they were made from these traits."""
        return self.table("estimates")

    def settled_all(self) -> pd.DataFrame:
        """Long: every settled value, one row per crop, variety and trait."""
        return self.table("settled")

    def settled(self, crop: str, variety: str) -> pd.DataFrame:
        """Settled values of one variety, with disagreement and sources. Raises UnknownName."""
        pair = self.resolve(variety, crop)
        return self._query("SELECT * FROM settled WHERE crop = ? AND variety = ? ORDER BY trait", [*pair])

    def evidence(self, crop: str | None = None, variety: str | None = None) -> pd.DataFrame:
        """Evidence rows with their source's title, author, year, url and kind, and the file and row.

        Of all crops, of one crop, or of one variety. Raises UnknownName.
        """
        order = ' ORDER BY crop, variety, trait, source_id, file, "row"'
        if variety is not None:
            pair = self.resolve(variety, crop)
            return self._query(_EVIDENCE + " WHERE crop = ? AND variety = ?" + order, [*pair])
        if crop is not None:
            return self._query(_EVIDENCE + " WHERE crop = ?" + order, [self.resolve_crop(crop)])
        return self._query(_EVIDENCE + order)

    def statement_counts(self) -> pd.DataFrame:
        """How many statements there are of each variety, from how many sources: crop, variety, statements,
        sources."""
        return self._kept(
            "(statement counts)",
            "SELECT crop, variety, count(*) AS statements, count(DISTINCT source_id) AS sources "
            "FROM evidence GROUP BY crop, variety ORDER BY crop, variety",
        )

    def crops(self) -> pd.DataFrame:
        """One row per crop."""
        return self._raw("crops")

    def crop_facts(self) -> pd.DataFrame:
        """Facts of crops, one per source."""
        return self._raw("crop_facts")

    def varieties(self) -> pd.DataFrame:
        """Accepted varieties with origin and year."""
        return self._raw("varieties")

    def names(self) -> pd.DataFrame:
        """Synonyms, trade designations and spellings with their accepted variety."""
        return self._raw("names")

    def sources(self) -> pd.DataFrame:
        """Where each source_id leads."""
        return self._raw("sources")

    def rootstocks(self) -> pd.DataFrame:
        """One row per rootstock."""
        return self._raw("rootstocks")

    def rootstock_facts(self) -> pd.DataFrame:
        """Facts of rootstocks, one per source."""
        return self._raw("rootstock_facts")

    def cautions(self) -> pd.DataFrame:
        """Cautions with regions and severity."""
        return self._raw("cautions")

    def pairs(self) -> pd.DataFrame:
        """Published or charted results of female x male."""
        return self._raw("pollination_pairs")

    def regional_lists(self) -> pd.DataFrame:
        """Published regional verdicts on varieties."""
        return self._raw("regional_lists")

    def stations(self) -> pd.DataFrame:
        """Weather stations with monthly means."""
        return self._raw("stations")

    def planting(self) -> pd.DataFrame:
        """Planting quantities."""
        return self._raw("planting")

    def bloom_critical_temps(self) -> pd.DataFrame:
        """Temperatures that kill 10 % and 90 % of buds, by stage."""
        return self._raw("bloom_critical_temps")

    def standards(self) -> pd.DataFrame:
        """Bounds and codes of published standards."""
        return self._raw("standards")

    def offset_scales(self) -> pd.DataFrame:
        """Per crop: the variety at zero of the bloom and ripening scales, and how well they fit."""
        return self.table("offset_scales")

    def _names(self) -> Resolver:
        if self._resolver is None:
            self._resolver = Resolver(self.crops(), self.varieties(), self.names())
        return self._resolver

    def resolve_crop(self, text: str) -> str:
        """Accepted crop of a text. Raises UnknownName (nearest three) or BadInput (several fit)."""
        return self._names().crop(text)

    def resolve(self, text: str, crop: str | None = None) -> tuple[str, str]:
        """Accepted (crop, variety) of a text, which may be "crop:variety". Raises UnknownName, BadInput."""
        return self._names().variety(text, crop)

    @property
    def info(self) -> dict[str, Any]:
        """Account of the build: built_at, data_key, schema_version, files, rejected, set_aside, counts."""
        rows = self._kept("build_info", "SELECT * FROM build_info")
        result = {name: json.loads(content) for name, content in rows.itertuples(index=False, name=None)}
        result["files"] = self.table("file_counts").to_dict("records")
        result["rejected"] = self.table("rejected").to_dict("records")
        result["set_aside"] = self.table("set_aside").to_dict("records")
        return result
