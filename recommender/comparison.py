"""Up to four varieties side by side: every settled value with its standing and its sources.

In come a catalog and names; out goes a `Comparison`, in the order in which a grower would ask. It settles
nothing itself: that is the catalog's work.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from recommender.dossier import Dossier, dossier, reading_place
from recommender.errors import BadInput
from recommender.wording import missing

if TYPE_CHECKING:
    from recommender.catalog.store import Catalog

MOST = 4


@dataclass(frozen=True)
class Comparison:
    """Varieties side by side.

    dossiers: what is known of each, in the order asked. traits: every trait known of at least one of them, in
    reading order. differing: those of them that are known of two or more and not the same.
    """

    dossiers: tuple[Dossier, ...]
    traits: tuple[str, ...]
    differing: frozenset[str]

    def values(self) -> pd.DataFrame:
        """Every known value as one row: crop, variety, trait, value, number, low, high, unit, standing,
        agreement, disagreement, statements, sources (titles) and addresses, `|`-joined."""
        parts = [_values(found) for found in self.dossiers]
        return pd.concat(parts, ignore_index=True)

    def evidence(self) -> pd.DataFrame:
        """Every statement behind the values, one a row, with its source and note."""
        return pd.concat([found.evidence.drop(columns="ref") for found in self.dossiers], ignore_index=True)


def compare(catalog: Catalog, names: Sequence[str]) -> Comparison:
    """The varieties called `names` ("crop:variety" or a name alone) side by side.

    Raises UnknownName for a name nobody bears, BadInput for none or more than four.
    """
    if not 1 <= len(names) <= MOST:
        raise BadInput(f"{len(names)} varieties cannot be compared", remedy=f"Choose one to {MOST}")
    dossiers = tuple(dossier(catalog, name) for name in names)
    known = pd.concat([_known(found) for found in dossiers])
    traits = tuple(sorted(set(known["trait"]), key=lambda trait: (reading_place(trait), trait)))
    said = known.groupby("trait")["value"].agg(["size", "nunique"])
    differing = frozenset(said.index[(said["size"] > 1) & (said["nunique"] > 1)])
    return Comparison(dossiers, traits, differing)


def _known(found: Dossier) -> pd.DataFrame:
    return found.settled[found.settled["standing"] != "unknown"]


def _values(found: Dossier) -> pd.DataFrame:
    sources = found.sources.set_index("source_id")

    def joined(ids: object, column: str) -> str:
        names = [] if missing(ids) else [name for name in str(ids).split("|") if name in sources.index]
        return " | ".join(
            str(sources.loc[name, column]) for name in names if not missing(sources.loc[name, column])
        )

    known = _known(found)
    columns = ["crop", "variety", "trait", "value", "number", "low", "high", "unit", "standing", "agreement"]
    return (
        known[[*columns, "disagreement", "n_evidence"]]
        .assign(
            sources=[joined(ids, "title") for ids in known["source_ids"]],
            addresses=[joined(ids, "url") for ids in known["source_ids"]],
        )
        .rename(columns={"n_evidence": "statements"})
    )
