"""What an atlas was worked out by: the code of the scores, and derived data that no key of the tables covers.

A folder whose parts come of two versions would compare places by two measures; so an atlas keeps the key of
its method, and goes on only with the same.
"""

from __future__ import annotations

import hashlib
from functools import lru_cache
from pathlib import Path

from recommender.catalog.package import datasets_folder

_PACKAGE = Path(__file__).parents[1]
_CODE = ("biology", "catalog", "climate", "suitability")
_DERIVED = ("*.parquet", "*_coefficients.json", "score_weights.json")


def method_key() -> str:
    """The same where the same scores come of the same tables."""
    return hashlib.sha256((_code_key() + derived_key()).encode()).hexdigest()[:16]


@lru_cache(maxsize=1)
def _code_key() -> str:
    """Read once: it is the code that this process runs."""
    made = hashlib.sha256()
    for folder in _CODE:
        for path in sorted((_PACKAGE / folder).rglob("*.py")):
            made.update(path.relative_to(_PACKAGE).as_posix().encode() + path.read_bytes())
    return made.hexdigest()


def derived_key() -> str:
    """The same where the climate grid, the places, the estimates and what was fitted are the same."""
    folder = datasets_folder()
    paths = sorted(path for pattern in _DERIVED for path in folder.glob(pattern))
    return _digest(tuple((path, path.stat().st_size, path.stat().st_mtime_ns) for path in paths))


@lru_cache(maxsize=4)
def _digest(files: tuple[tuple[Path, int, int], ...]) -> str:
    """files: path, size and time of each, so that a changed file is read anew."""
    made = hashlib.sha256()
    for path, _, _ in files:
        made.update(path.name.encode() + path.read_bytes())
    return made.hexdigest()[:16]
