"""Published facts of what can stand in for what, against the stand-ins offered.

Two kinds: sports and their parents (`sport_of` in datasets/traits, each with its source; those from memory
count
apart), and pairs that one extension, government, paper or genebank table gives the same use and the same
season
(the same class, or dates within a week). The first rests on a fact the catalog holds; it checks that the fact
is used.
The second checks resemblance: the settled values come from all sources together, so that one table's word is
one of
several. Picked blindly, one in four to two in five of the second kind would be met; the share is printed
beside.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from recommender import open_catalog, substitutes
from recommender.catalog.catalog import Catalog

TABLES = ("extension", "government", "paper", "genebank")
LEAST_VARIETIES = 8
WEEK = 7.0


@pytest.fixture(scope="module")
def catalog() -> Catalog:
    return open_catalog()


def sport_pairs(catalog: Catalog) -> list[tuple[str, str, str]]:
    """crop, sold-out variety, near-identical variety; both ways."""
    traits = catalog.traits()
    found = traits.loc[traits["sport_of"].notna(), ["crop", "variety", "sport_of"]].itertuples(
        index=False, name=None
    )
    return [pair for crop, sport, parent in found for pair in ((crop, sport, parent), (crop, parent, sport))]


def table_cases(catalog: Catalog) -> list[tuple[str, str, list[str], list[str]]]:
    """crop, sold-out variety, varieties the table calls like it, all varieties of the table (the stock)."""
    evidence = catalog.evidence()
    evidence = evidence[
        evidence["source_kind"].isin(TABLES)
        & evidence["trait"].isin(["use", "ripening_season", "harvest_start"])
    ]
    cases = []
    for (_, crop), rows in evidence.groupby(["source_id", "crop"]):
        table = rows.drop_duplicates(["variety", "trait"]).pivot_table(
            index="variety", columns="trait", values="value", aggfunc="first"
        )
        season = next(
            (
                name
                for name in ("ripening_season", "harvest_start")
                if name in table and table[name].notna().sum() >= LEAST_VARIETIES
            ),
            None,
        )
        if season is None or "use" not in table:
            continue
        table = table[table[season].notna() & table["use"].notna()]
        if len(table) < LEAST_VARIETIES:
            continue
        days = table[season].map(_day) if season == "harvest_start" else None
        for variety in table.index:
            same = table["use"].eq(table["use"][variety])
            same &= (
                table[season].eq(table[season][variety])
                if days is None
                else (days - days[variety]).abs().le(WEEK)
            )
            like = [name for name in table.index[same] if name != variety]
            # Where a quarter of the table is alike, offering one of them is no feat.
            if 1 <= len(like) <= max(3, (len(table) - 1) // 4):
                cases.append((str(crop), str(variety), like, list(table.index)))
    return cases


def _day(text: object) -> float:
    month, day = str(text).split("-")
    return (int(month) - 1) * 30.4 + int(day)


def _met_blindly(like: int, others: int) -> float:
    return float(1.0 - np.prod([(others - like - k) / (others - k) for k in range(min(3, others))]))


def test_near_identical_variety_is_in_the_top_three(catalog: Catalog) -> None:
    sports = sport_pairs(catalog)
    met_sports = [
        parent in set(substitutes(f"{crop}:{name}", catalog=catalog).frame["variety"])
        for crop, name, parent in sports
    ]
    cases = table_cases(catalog)
    met = []
    for crop, name, like, table in cases:
        found = substitutes(f"{crop}:{name}", pd.DataFrame({"crop": crop, "variety": table}), catalog=catalog)
        met.append(bool(set(like) & set(found.frame["variety"])))
    blind = np.mean([_met_blindly(len(like), len(table) - 1) for _, _, like, table in cases])
    print(
        f"sports {sum(met_sports)} of {len(sports)}; tables {sum(met)} of {len(cases)}, blindly {blind:.0%}"
    )
    assert len(sports) >= 60
    assert len(cases) >= 150
    assert np.mean(met_sports) >= 0.95
    assert np.mean(met) >= 0.85
    assert np.mean(met) >= 2 * blind
    assert np.mean([*met_sports, *met]) >= 0.90
