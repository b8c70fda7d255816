"""Who pollinates whom among the trees of a plan, at its own site.

In come a `Plan` (also one opened from a file) and the catalog; out goes the pollination matrix of the trees
that are planted and of those standing that serve them. The site's climate is worked out again from its
answers.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import pandas as pd

from recommender.biology.pollination_result import PollinationMatrix
from recommender.errors import UnknownName
from recommender.orchard.plan import Plan
from recommender.orchard.site_year import at_the_site
from recommender.suitability.site import Site, climate_of

if TYPE_CHECKING:
    from recommender.catalog.catalog import Catalog

MOST_TREES = 20


def matrix_at(plan: Plan, keys: Sequence[tuple[str, str]], catalog: Catalog) -> PollinationMatrix:
    """The matrix of varieties (crop, variety) at the plan's site, in their order."""
    site = Site(**plan.site)
    profile, _ = climate_of(site)
    _, matrix = at_the_site(
        catalog, pd.DataFrame(keys, columns=["crop", "variety"]), profile, site.frost_shift
    )
    return matrix


def network_of(plan: Plan, catalog: Catalog) -> PollinationMatrix | None:
    """The matrix of the plan's trees and their donors that stand; None for one tree alone, and where a tree
    is no longer listed."""
    keys = [(tree.crop, tree.variety) for tree in plan.trees]
    keys += [(tree.crop, name) for tree in plan.trees for name in tree.grafted_with]
    keys += [(p.crop, p.variety) for tree in plan.trees for p in tree.pollinated_by if p.standing]
    keys = list(dict.fromkeys(keys))[:MOST_TREES]
    if len(keys) < 2:
        return None
    try:
        known = [catalog.resolve(variety, crop) for crop, variety in keys]
    except UnknownName:
        return None
    return matrix_at(plan, list(dict.fromkeys(known)), catalog)
