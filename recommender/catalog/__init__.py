"""1 evidence -> DuckDB: what is known of each variety, by whom, how sure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from recommender.catalog.catalog import Catalog
    from recommender.catalog.store import CatalogNotice, open_catalog

__all__ = ["Catalog", "CatalogNotice", "open_catalog"]


def __getattr__(name: str) -> Any:
    # Loaded on first use: a command that only asks for help should not wait for DuckDB.
    if name == "Catalog":
        from recommender.catalog.catalog import Catalog

        return Catalog
    if name in ("open_catalog", "CatalogNotice"):
        from recommender.catalog import store

        return getattr(store, name)
    raise AttributeError(name)
