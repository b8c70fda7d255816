"""Who needs a pollen partner in this garden, and which tree that stands there can be one.

In come the catalog (through its pollination matrix), the trees that stand there and the bloom at the site;
out goes `Garden`, row for row of the varieties ranked.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from recommender.biology.fertility import (
    GAINS,
    IS_FEMALE,
    NO_FRUIT,
    NOT_NEEDED,
    PARTHENOCARPIC,
    SELF_FERTILE,
)
from recommender.biology.partners import Standing, standing_partners, whole_matrix

if TYPE_CHECKING:
    from recommender.biology.phenology import Bloom
    from recommender.catalog.store import Catalog

Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Garden:
    """alone, gains, male, female (V,): bears without a partner; bears some alone; bears no fruit; a female
    plant. known (V,): its own fertility is told, not its crop's habit. partner: the trees that stand there.
    """

    alone: Bools
    gains: Bools
    male: Bools
    female: Bools
    known: Bools
    partner: Standing


def garden_partners(
    catalog: Catalog, trees: list[tuple[str, str]], rows: NDArray[np.intp], blooms: Bloom | None
) -> Garden:
    """Rows (V,) of the catalog's traits against the trees. blooms: of the whole catalog, at the site; None
    where no tree stands there."""
    matrix = whole_matrix(catalog)
    need, own = matrix.need[rows], matrix.own.iloc[rows]
    kind = own["self"].to_numpy()
    bears_alone = np.isin(kind, (SELF_FERTILE, PARTHENOCARPIC))
    if trees and blooms is not None:
        partner = standing_partners(matrix, [matrix.position(*tree) for tree in trees], rows, blooms)
    else:
        none = np.zeros(len(rows))
        partner = Standing(none, np.full(len(rows), -1), np.full(len(rows), np.nan), none > 0.0)
    return Garden(
        alone=(need == NOT_NEEDED) | ((need == GAINS) & bears_alone),
        gains=need == GAINS,
        male=need == NO_FRUIT,
        female=kind == IS_FEMALE,
        known=~own["self_by_crop"].to_numpy(dtype=bool),
        partner=partner,
    )
