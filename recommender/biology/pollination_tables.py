"""The pollination matrix of the whole catalog as DuckDB tables, and what cannot be right in its evidence.

In: an open catalog. Out: a file beside the catalog with the tables `pollination` (every ordered pair of crops
that cross, with result, reason, standing and shared days of bloom at no particular site), `pollination_need`
and `pollination_findings`.
"""

from __future__ import annotations

import functools
import hashlib
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from recommender.biology.partners import whole_matrix
from recommender.biology.pollination_checks import check_pollination_evidence
from recommender.catalog.derived import derived_tables

if TYPE_CHECKING:
    from recommender.catalog.catalog import Catalog


def pollination_findings(catalog: Catalog) -> pd.DataFrame:
    """Findings in the evidence on pollination: file, row, crop, variety, severity, what, remedy."""
    return check_pollination_evidence(
        catalog.traits(), catalog.pairs(), catalog.crops(), catalog.evidence(), catalog.names()
    )


def pollination_tables(catalog: Catalog) -> Path:
    """The file of the three tables; made when first asked for. Raises StorageFault."""

    def make() -> dict[str, pd.DataFrame]:
        matrix = whole_matrix(catalog)
        findings = pollination_findings(catalog).astype({"file": str, "row": str})
        return {
            "pollination": matrix.pair_frame(),
            "pollination_need": matrix.need_frame(),
            "pollination_findings": findings,
        }

    return derived_tables(catalog, "pollination", code_key(), make)


@functools.lru_cache(maxsize=1)
def code_key() -> str:
    """Digest of the modules of biology, so that changed rules never serve an old table."""
    digest = hashlib.sha256()
    for path in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(path.name.encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()[:16]
