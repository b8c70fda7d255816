"""Orchardwright: which fruit varieties suit a site, from open evidence and the site's climate.

`open_catalog`, `Site`, `Goals` and `rank` do the main errand, `compose` the planting, `substitutes` the
nursery desk and `match_swap` the swap table; each is imported when it is first asked for.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from recommender.catalog.store import open_catalog
    from recommender.nursery.substitutes import substitutes
    from recommender.orchard.plot import Plot
    from recommender.orchard.selection import compose
    from recommender.orchard.wishes import PlantingWishes
    from recommender.suitability.goals import Goals
    from recommender.suitability.ranking import rank
    from recommender.suitability.site import Site
    from recommender.swap.matching import match_swap

__all__ = [
    "Goals",
    "PlantingWishes",
    "Plot",
    "Site",
    "compose",
    "match_swap",
    "open_catalog",
    "rank",
    "substitutes",
]

_HOMES = {
    "Goals": "recommender.suitability.goals",
    "PlantingWishes": "recommender.orchard.wishes",
    "Plot": "recommender.orchard.plot",
    "Site": "recommender.suitability.site",
    "compose": "recommender.orchard.selection",
    "match_swap": "recommender.swap.matching",
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
