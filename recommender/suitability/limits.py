"""The six criteria a tree lives or bears by, each with its cautious and hopeful end where evidence is wide.

In come varieties and the figures of one site, (Y,), or of many, (S, Y); out go values by name: `winter`,
`winter_low`, `winter_high` and so on, (V,) or (S, V). The ranking of one site and the scoring of many ask the
same functions, the latter for one variety of each kind.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from recommender.suitability import criteria
from recommender.suitability.expectations import Trait, Varieties

if TYPE_CHECKING:
    from recommender.suitability.timing import Timing

Floats = NDArray[np.float64]
# What nobody published could lie farther off, so its hopeful end is taken two errors away, not one.
ENDS: dict[str, tuple[float, float]] = {"_low": (1.0, 1.0), "_high": (-1.0, 2.0)}
BOTH = tuple(ENDS)
# Trees that need no more chill than this [h] can be made to crop without any, by stripping their leaves after
# harvest, as is done in the tropics (common practice): too little chill makes them doubtful, never ruled out.
LOW_NEED_h, STRIPPED = 300.0, 0.25


def steps(end: str, known: NDArray[np.bool_]) -> Floats:
    """By how many of its errors each figure (V,) is moved for an end."""
    side, unknown = ENDS[end]
    return side * np.where(known, 1.0, unknown)


def _within(found: dict[str, Floats], name: str) -> dict[str, Floats]:
    """The cautious end is never above what is expected, the hopeful one never below."""
    if f"{name}_low" in found:
        found[f"{name}_low"] = np.minimum(found[f"{name}_low"], found[name])
    if f"{name}_high" in found:
        found[f"{name}_high"] = np.maximum(found[f"{name}_high"], found[name])
    return found


def winter(
    coldest: Floats, hardiness: Trait, error_K: Floats | float, ends: Sequence[str] = BOTH
) -> dict[str, Floats]:
    """Survival of winter from the coldest nights [degC] and their error [K]."""
    found = {"winter": criteria.winter_survival(coldest, hardiness, error_K)}
    exact = np.zeros(len(hardiness.value))
    for end in ends:
        moved = hardiness.value + steps(end, hardiness.known) * hardiness.error
        found[f"winter{end}"] = criteria.winter_survival(
            coldest, Trait(moved, exact, hardiness.known), error_K
        )
    return _within(found, "winter")


def chill(
    hours: Floats,
    portions: Floats,
    varieties: Varieties,
    error_hours: Floats | float,
    error_portions: Floats | float,
    ends: Sequence[str] = BOTH,
) -> dict[str, Floats]:
    """Enough chill, from hours at or below 7.2 degC and chill portions."""
    years = hours, portions, varieties, error_hours, error_portions
    known = varieties.chill_hours.known | varieties.by_portions
    found = {"chill": criteria.enough_chill(*years)}
    for end in ends:
        found[f"chill{end}"] = criteria.enough_chill(*years, steps(end, known))
    if "_high" in ends:
        low = ~varieties.by_portions & (varieties.chill_hours.value <= LOW_NEED_h)
        found["chill_high"] = np.where(low, np.maximum(found["chill_high"], STRIPPED), found["chill_high"])
    return _within(found, "chill")


def season(when: Timing, evergreen: NDArray[np.bool_], ends: Sequence[str] = BOTH) -> dict[str, Floats]:
    """Ripe in time. A date at a new place is no better known for being published, so its hopeful end is two
    errors away for all."""
    found = {"season": criteria.ripens_in_time(when, evergreen)}
    unknown = np.zeros(len(evergreen), dtype=bool)
    for end in ends:
        found[f"season{end}"] = criteria.ripens_in_time(when, evergreen, steps(end, unknown))
    return _within(found, "season")
