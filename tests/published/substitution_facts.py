"""Published facts of what can stand in for what: the cases of test_substitution_facts.py.

Two kinds: sports and their parents (`sport_of` in datasets/traits, each with its source), and pairs that
one extension, government, paper or genebank table gives the same use and the same season. The same season
is the same class, or picking dates within a week where a table gives dates and no class. A table counts
from eight varieties that it gives both; a variety counts where one to a quarter of its table (three at
least) are like it, since where more are, offering one is no feat.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recommender.catalog.catalog import Catalog

TABLES = ("extension", "government", "paper", "genebank")
LEAST_VARIETIES = 8
WEEK = 7.0


def sport_pairs(catalog: Catalog) -> list[tuple[str, str, str]]:
    """crop, sold-out variety, near-identical variety; both ways."""
    traits = catalog.traits()
    found = traits.loc[traits["sport_of"].notna(), ["crop", "variety", "sport_of"]].itertuples(
        index=False, name=None
    )
    return [pair for crop, sport, parent in found for pair in ((crop, sport, parent), (crop, parent, sport))]


@dataclass(frozen=True)
class Case:
    """One sold-out variety of one table: those the table calls like it, and all it holds (the stock)."""

    source_id: str
    crop: str
    variety: str
    like: tuple[str, ...]
    table: tuple[str, ...]

    def met_blindly(self) -> float:
        """Chance that three drawn from the table hold one that is like it."""
        others, like = len(self.table) - 1, len(self.like)
        return float(1.0 - np.prod([(others - like - k) / (others - k) for k in range(min(3, others))]))


def table_cases(catalog: Catalog) -> list[Case]:
    """Every case of every table."""
    evidence = catalog.evidence()
    evidence = evidence[
        evidence["source_kind"].isin(TABLES)
        & evidence["trait"].isin(["use", "ripening_season", "harvest_start"])
    ]
    cases: list[Case] = []
    for (source_id, crop), rows in evidence.groupby(["source_id", "crop"]):
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
            if 1 <= len(like) <= max(3, (len(table) - 1) // 4):
                cases.append(
                    Case(str(source_id), str(crop), str(variety), tuple(like), tuple(map(str, table.index)))
                )
    return cases


def _day(text: object) -> float:
    month, day = str(text).split("-")
    return (int(month) - 1) * 30.4 + int(day)
