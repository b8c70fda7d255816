"""The pollination matrix of the whole catalog as DuckDB tables, and what cannot be right in its evidence.

In: an open catalog. Out: a file beside the catalog with the tables `pollination` (every ordered pair of crops
that cross, with result, reason, standing and shared days of bloom at no particular site), `pollination_need`
and `pollination_findings`; for a site, one with `pollination` by the days expected to be shared there, and
`bloom`, when every variety blooms.
"""

from __future__ import annotations

import functools
import hashlib
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from recommender.biology.bloom import bloom
from recommender.biology.bloom_table import bloom_summary
from recommender.biology.partners import site_matrix, whole_matrix
from recommender.biology.pollination_checks import check_pollination_evidence
from recommender.catalog.derived import derived_tables
from recommender.catalog.package import datasets_folder

if TYPE_CHECKING:
    from recommender.catalog.catalog import Catalog
    from recommender.climate.profile import Profile


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


def site_tables(catalog: Catalog, profile: Profile) -> Path:
    """The file of the tables of one site, `pollination` and `bloom`; that of another site is removed.

    The same in arrays: `partners.site_matrix` and `bloom.bloom`. Raises StorageFault.
    """

    def make() -> dict[str, pd.DataFrame]:
        traits = catalog.traits()
        blooms = bloom(traits, profile)
        return {
            "pollination": site_matrix(catalog, profile, blooms).pair_frame(),
            "bloom": bloom_summary(traits, profile, blooms),
        }

    return derived_tables(catalog, "site", site_key(profile), make)


def site_key(profile: Profile) -> str:
    """Digest of the code, the bloom parameters and the days of a profile."""
    digest = hashlib.sha256(f"{code_key()}\0{profile.lat!r}\0{profile.hemisphere}".encode())
    for name in ("bloom_parameters.csv", "bloom_varieties.csv"):
        digest.update((datasets_folder() / name).read_bytes())
    for days in (profile.year, profile.tmin, profile.tmax):
        digest.update(np.ascontiguousarray(days).tobytes())
    return digest.hexdigest()[:16]


@functools.lru_cache(maxsize=1)
def code_key() -> str:
    """Digest of the modules of biology, so that changed rules never serve an old table."""
    digest = hashlib.sha256()
    for path in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(path.name.encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()[:16]
