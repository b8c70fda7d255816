"""Published facts of what can stand in for what (substitution_facts.py), against the stand-ins offered.

The sports rest on a fact the catalog holds; they check that the fact is used. The tables check resemblance:
the settled values come from all sources together, so that one table's word is one of several. The weights
were learned from these tables; the second test learns them from one half and serves the other.
"""

from __future__ import annotations

from collections import Counter

import numpy as np
import pandas as pd
import pytest

from benchmarks.nursery_likeness import compared, half_of, learned, met
from recommender import open_catalog, substitutes
from recommender.catalog.catalog import Catalog
from recommender.nursery.resemblance import COMMON_PRACTICE
from tests.published.substitution_facts import sport_pairs, table_cases


@pytest.fixture(scope="module")
def catalog() -> Catalog:
    return open_catalog()


def test_sports_and_parents_are_in_the_top_three(catalog: Catalog) -> None:
    """The whole catalog in stock."""
    sports = sport_pairs(catalog)
    found = [
        parent in set(substitutes(f"{crop}:{name}", catalog=catalog).frame["variety"])
        for crop, name, parent in sports
    ]
    print(f"sports {sum(found)} of {len(sports)}")
    assert len(sports) >= 60
    assert np.mean(found) >= 0.95


def test_varieties_of_one_use_and_season_are_in_the_top_three(catalog: Catalog) -> None:
    """The table in stock."""
    cases = table_cases(catalog)
    of, right = Counter[str](), Counter[str]()
    for case in cases:
        stock = pd.DataFrame({"crop": case.crop, "variety": case.table})
        found = substitutes(f"{case.crop}:{case.variety}", stock, catalog=catalog)
        of[case.source_id] += 1
        right[case.source_id] += bool(set(case.like) & set(found.frame["variety"]))
    blind = np.mean([case.met_blindly() for case in cases])
    told = ", ".join(f"{name} {right[name]} of {of[name]}" for name in sorted(of))
    print(f"tables {right.total()} of {of.total()}, blindly {blind:.0%}: {told}")
    assert of.total() >= 150
    assert len(of) >= 5
    assert right.total() / of.total() >= 0.90
    assert right.total() / of.total() >= 2 * blind


def test_weights_learned_from_one_half_serve_the_other(catalog: Catalog) -> None:
    cases = compared(catalog, table_cases(catalog))
    start = np.array(list(COMMON_PRACTICE.values()))
    served = 0
    for half in (0, 1):
        weights = learned([case for case in cases if half_of(case) != half])
        served += met([case for case in cases if half_of(case) == half], weights)
    print(f"held out {served} of {len(cases)}; common practice {met(cases, start)}")
    assert served / len(cases) >= 0.90
    assert served >= met(cases, start)
