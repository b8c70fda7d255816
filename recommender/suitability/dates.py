"""When each kind of variety blooms and ripens at a site: `timing` for one variety of each kind.

In come all varieties and a climate; out go `Timing`s with a row for every kind instead of every variety.
Varieties are of a kind where their needs of bloom, or of bloom and ripening, are the same figures.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from recommender.biology.bloom import bloom
from recommender.biology.bloom_parameters import BloomNeeds, bloom_needs
from recommender.biology.ripening import RipeningNeeds, harvest_window, ripening_needs
from recommender.suitability.timing import Timing, bloom_days, timing_of

if TYPE_CHECKING:
    from recommender.climate.profile import Profile
    from recommender.suitability.expectations import Varieties

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]
Needs = TypeVar("Needs", BloomNeeds, RipeningNeeds)


@dataclass(frozen=True, eq=False)
class Kinds:
    """Kb kinds of bloom and Ks kinds of harvest.

    bloom_of, harvest_of (V,): the kinds of each variety; blooms_as (Ks,): the bloom kind of each kind of
    harvest; traits, needs (Kb rows) and harvest_traits, ripe (Ks rows): of one variety of each; kill10,
    kill90 (Kb,) [degC]; evergreen (Kb,), harvest_evergreen (Ks,).
    """

    bloom_of: Indices
    harvest_of: Indices
    blooms_as: Indices
    traits: pd.DataFrame
    needs: BloomNeeds
    harvest_traits: pd.DataFrame
    ripe: RipeningNeeds
    kill10: Floats
    kill90: Floats
    evergreen: Bools
    harvest_evergreen: Bools


@dataclass(frozen=True, eq=False)
class Dates:
    """bloom (Kb, Y): season day of each kind, bloom_error (Kb,) [d]; harvest: the timing of each kind of
    harvest."""

    bloom: Indices
    bloom_error: Floats
    harvest: Timing


def _rows(needs: Needs, rows: Indices) -> Needs:
    """The needs of some varieties."""
    parts: dict[str, Any] = {part.name: getattr(needs, part.name)[rows] for part in fields(needs)}
    return replace(needs, **parts)


def _alike(*figures: NDArray[np.generic]) -> tuple[Indices, Indices]:
    """One row of each kind, and the kind of each row: rows of a kind have the same figures."""
    read = np.column_stack([np.asarray(figure, dtype=float) for figure in figures])
    _, first, of = np.unique(np.nan_to_num(read, nan=-9e9), axis=0, return_index=True, return_inverse=True)
    return first, np.ravel(of)


def kinds_of(varieties: Varieties, rows: Indices, kills: tuple[Floats, Floats]) -> Kinds:
    """The kinds among some rows of all varieties (what is usual for a crop rests on all). kills (V,): of all
    varieties [degC]."""
    traits = varieties.frame
    needs = bloom_needs(traits)
    ripe = _rows(ripening_needs(traits, needs.shift_d), rows)
    needs = _rows(needs, rows)
    evergreen = varieties.evergreen[rows]
    crop = pd.factorize(needs.crop)[0].astype(np.float64)
    kill10, kill90 = (each[rows] for each in kills)
    first, of = _alike(
        crop, needs.log_requirement, needs.need_factor, needs.error_d, needs.variety_error_d, evergreen,
        kill10, kill90,
    )  # fmt: skip
    harvest_first, harvest_of = _alike(of, ripe.days, ripe.window_start, ripe.window_end, ripe.error_d)
    named = traits[["crop", "variety"]].iloc[rows]
    return Kinds(
        bloom_of=of,
        harvest_of=harvest_of,
        blooms_as=of[harvest_first],
        traits=named.iloc[first].reset_index(drop=True),
        needs=_rows(needs, first),
        harvest_traits=named.iloc[harvest_first].reset_index(drop=True),
        ripe=_rows(ripe, harvest_first),
        kill10=kill10[first],
        kill90=kill90[first],
        evergreen=evergreen[first],
        harvest_evergreen=evergreen[harvest_first],
    )


def dates_of(profile: Profile, kinds: Kinds) -> Dates:
    """When each kind blooms and ripens in every year of the profile."""
    blooms = bloom(kinds.traits, profile, needs=kinds.needs)
    as_kinds = blooms.taken(kinds.blooms_as)
    shift = kinds.needs.shift_d[kinds.blooms_as]
    harvest = harvest_window(kinds.harvest_traits, profile, as_kinds, shift, needs=kinds.ripe)
    return Dates(bloom_days(blooms), blooms.error_d, timing_of(as_kinds, harvest))
