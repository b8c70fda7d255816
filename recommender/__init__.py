"""Orchardwright: which fruit varieties suit a site, from open evidence and the site's climate.

`open_catalog`, `Site`, `Goals` and `rank` do the main errand, `substitutes` the nursery's; each is imported
when it is first asked for.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from recommender.catalog.store import open_catalog
    from recommender.nursery.substitutes import substitutes
    from recommender.suitability.goals import Goals
    from recommender.suitability.ranking import rank
    from recommender.suitability.site import Site

__all__ = ["Goals", "Site", "open_catalog", "rank", "substitutes"]

_HOMES = {
    "Goals": "recommender.suitability.goals",
    "Site": "recommender.suitability.site",
    "open_catalog": "recommender.catalog.store",
    "rank": "recommender.suitability.ranking",
    "substitutes": "recommender.nursery.substitutes",
}


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(importlib.import_module(_HOMES[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
