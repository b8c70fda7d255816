"""What each criterion counts in the score, and the score itself.

In come criteria in [0, 1]; out goes one score in [0, 1]. Criteria on which a tree lives or bears are
multiplied, each to a power; the zone rating and the track record take a share off that grows with what is
missing; wishes come in as a factor. The weights ship in `score_weights.csv`, set by hand and learned from
published regional lists; `datasets/build/fit_weights.py` writes it and says which are used.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from recommender.errors import UnknownName

if TYPE_CHECKING:
    from recommender.catalog.catalog import Catalog

Floats = NDArray[np.float64]
# Below this a criterion counts as this much: one hopeless criterion ends a score, not the comparison of two.
LEAST = 0.03
# The best known variety of a region has about this share of the highest record there could be (computed over
# the regions with lists: median 0.59, a tenth of them above 0.71); a record that full counts as 1.
FULL_RECORD = 0.6


@dataclass(frozen=True)
class Weights:
    """powers: of each limiting criterion; rating: of the zone rating; record: of each kind of record; kernel:
    how alike climates and countries are (`track_record.Kernel`, by name; empty: by hand). A variety with no
    rating and no record keeps exp(-rating - total) of its score."""

    powers: Mapping[str, float]
    rating: float
    record: Mapping[str, float]
    kernel: Mapping[str, float] = field(default_factory=dict)

    @property
    def total(self) -> float:
        """What the whole track record weighs: from none to one as full as the best known varieties have."""
        return FULL_RECORD * sum(self.record.values())


HAND = Weights(
    powers={"winter": 1.4, "chill": 1.4, "dormancy": 0.4, "bloom_frost": 0.6, "season": 0.1, "warmth": 0.3},
    rating=0.3,
    record={
        "recommended": 0.8,
        "anywhere": 0.3,
        "described": 0.5,
        "sources": 0.1,
        "named": 0.1,
        "origin": 0.2,
        "kin": 0.1,
        "home": 0.4,
    },
)


def weights_from(table: pd.DataFrame, column: str) -> Weights:
    """Weights from the columns term, part and `column` of `score_weights.csv`."""
    values = {
        str(part): {str(term): float(value) for term, value in rows[["term", column]].itertuples(index=False)}
        for part, rows in table.groupby("part")
    }
    record = values["record"]
    rating = record.pop("rating")
    return Weights(values["power"], rating, record, values.get("kernel", {}))


def weights_of(catalog: Catalog) -> Weights:
    """The weights that ship with a catalog's data; those set by hand where it has none."""
    try:
        return weights_from(catalog.table("score_weights"), "used")
    except (AttributeError, UnknownName):
        return HAND


def living(criteria: Mapping[str, Floats], powers: Mapping[str, float], end: str = "") -> Floats:
    """The limiting criteria multiplied, each to its power; `end` picks the cautious or hopeful values."""
    logs = [
        power * np.log(np.clip(criteria.get(name + end, criteria[name]), LEAST, 1.0))
        for name, power in powers.items()
    ]
    return np.exp(np.sum(logs, axis=0))


def standing(rating: Floats, track: Floats, weights: Weights, trust: float = 1.0) -> Floats:
    """What the zone rating and the track record leave of a score; trust: how much the asker minds a thin
    record."""
    return np.exp(-weights.rating * (1.0 - rating) - trust * weights.total * (1.0 - track))
