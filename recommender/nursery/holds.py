"""What must hold of a stand-in: it lives there, gets its chill, is pollinated, still pollinates, and fits.

In come the sold-out variety, candidates (rows of the catalog's wide traits frame) and, if known, the
customer's site; out go shares in [0, 1] for each demand and whether the site rules a candidate out. Without a
site, a candidate is held against the sold-out variety itself: whoever ordered that one can be taken to have
its winters.
"""

from __future__ import annotations

import weakref
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from recommender.suitability.expectations import Trait, Varieties
from recommender.suitability.ranking import rank, varieties_of
from recommender.suitability.verdicts import LIMITS

if TYPE_CHECKING:
    from recommender.biology.pollination_result import PollinationMatrix
    from recommender.catalog.catalog import Catalog
    from recommender.climate.profile import Profile
    from recommender.suitability.goals import Goals
    from recommender.suitability.site import Site

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]
LIKELY = 0.75
"""Least chance at which pollen counts as serving a tree, as `PollinationMatrix.likely_partner` has it."""
NO_PARTNER, NO_PARTNER_NEXT_DOOR, PARTNER_NOT_SAID = 0.35, 0.75, 0.8
"""What is left of a candidate that needs pollen where no tree of the customer gives it: none at all, fruit
trees next
door, and nothing said of trees while the sold-out one needed none (our own, in steps of the pollination
criterion)."""
STILL_SERVES = 0.5
"""Share of a stand-in's worth that hangs on pollinating what relied on the sold-out tree (our own)."""
COLD_K, CHILL_HOURS = 4.0, 300.0
"""Over how much less hardiness [K] or more chill need [h] a candidate's worth falls to a third, without a
site (our own)."""
_MATRIX: weakref.WeakKeyDictionary[Any, PollinationMatrix] = weakref.WeakKeyDictionary()
_INDEX: weakref.WeakKeyDictionary[Any, dict[tuple[str, str], int]] = weakref.WeakKeyDictionary()
_CHANCE: weakref.WeakKeyDictionary[Any, NDArray[np.float32]] = weakref.WeakKeyDictionary()


@dataclass(frozen=True, eq=False)
class Place:
    """A customer's site, ready to be asked about any variety. Arrays run over all varieties (V,), NaN off the
    crops.

    lives: product of the limiting criteria; verdict: words of the ranking; why, watch: its lines; size: fits
    the room.
    trees: rows of the trees that stand there; neighbours: fruit trees next door (unknown, yes, no).
    """

    lives: Floats
    verdict: NDArray[np.object_]
    why: NDArray[np.object_]
    watch: NDArray[np.object_]
    size: Floats
    trees: tuple[int, ...]
    neighbours: str
    understood: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Holds:
    """For each candidate: shares in [0, 1] and whether it is ruled out at the site. total: their product."""

    lives: Floats
    pollinated: Floats
    still_pollinates: Floats
    fits: Floats
    ruled_out: NDArray[np.bool_]

    @property
    def total(self) -> Floats:
        """The demands multiplied: one that fails is not made up by others."""
        return np.where(self.ruled_out, 0.0, self.lives * self.pollinated * self.still_pollinates * self.fits)


def index_of(catalog: Catalog) -> dict[tuple[str, str], int]:
    """(crop, variety) -> row of the wide traits frame."""
    held = _INDEX.get(catalog)
    if held is None:
        frame = varieties_of(catalog).frame
        held = {pair: row for row, pair in enumerate(zip(frame["crop"], frame["variety"], strict=True))}
        _INDEX[catalog] = held
    return held


def matrix_of(catalog: Catalog) -> PollinationMatrix:
    """Who pollinates whom in the whole catalog, in the order of the wide traits frame; worked out once."""
    held = _MATRIX.get(catalog)
    if held is None:
        from recommender.biology.pollination import catalog_matrix

        held = catalog_matrix(catalog)
        _MATRIX[catalog] = held
    return held


def chance_of(catalog: Catalog) -> NDArray[np.float32]:
    """(V, V) chance that the column's pollen sets fruit on the row."""
    held = _CHANCE.get(catalog)
    if held is None:
        held = matrix_of(catalog).chance()
        _CHANCE[catalog] = held
    return held


def place_of(
    catalog: Catalog,
    site: Site,
    crops: Sequence[str],
    goals: Goals | None = None,
    profile: Profile | None = None,
) -> Place:
    """A site made ready for the varieties of `crops`. Raises what `rank` raises."""
    from recommender.suitability.goals import Goals
    from recommender.suitability.site import existing_trees
    from recommender.suitability.weights import living, weights_of

    asked = (goals or Goals()).model_copy(update={"crops": tuple(crops)})
    ranking = rank(site, asked, catalog=catalog, profile=profile)
    index = index_of(catalog)
    n = len(index)
    frame = ranking.frame
    rows = np.fromiter(
        (index[pair] for pair in zip(frame["crop"], frame["variety"], strict=True)),
        dtype=np.intp,
        count=len(frame),
    )

    def spread(values: Any, empty: object, dtype: Any) -> Any:
        out = np.full(n, empty, dtype=dtype)
        out[rows] = values
        return out

    limits = {name: frame[f"c_{name}"].to_numpy(dtype=float) for name in LIMITS}
    roomy = (
        site.space_m is None
        and site.plot_m2 is None
        and site.container_L is None
        and asked.max_height_m is None
    )
    return Place(
        lives=spread(living(limits, weights_of(catalog).powers), np.nan, float),
        verdict=spread(frame["verdict"].to_numpy(dtype=object), "", object),
        why=spread(frame["why"].to_numpy(dtype=object), "", object),
        watch=spread(frame["watch"].to_numpy(dtype=object), "", object),
        size=spread(1.0 if roomy else frame["c_size"].to_numpy(dtype=float), np.nan, float),
        trees=tuple(index[tree] for tree in existing_trees(site, catalog)),
        neighbours=site.neighbours_have_fruit_trees,
        understood=ranking.site,
    )


def holds(
    catalog: Catalog,
    wanted: int,
    candidates: Rows,
    place: Place | None = None,
    trees: Sequence[int] = (),
    sport: NDArray[np.bool_] | None = None,
) -> Holds:
    """The demands on each candidate. wanted: row of the sold-out variety; trees: rows of trees known without
    a site.

    sport: candidates that are sports of it: what nobody measured of a sport it has from its parent.
    """
    varieties = varieties_of(catalog)
    standing = tuple(dict.fromkeys([*(place.trees if place is not None else ()), *trees]))
    neighbours = place.neighbours if place is not None else "unknown"
    if place is not None:
        lives = np.nan_to_num(place.lives[candidates], nan=0.0)
        ruled_out = place.verdict[candidates] == "ruled out"
        fits = np.clip(np.nan_to_num(place.size[candidates], nan=1.0), 0.05, 1.0)
    else:
        lives = as_hardy(varieties, wanted, candidates)
        ruled_out = np.zeros(len(candidates), dtype=bool)
        fits = no_larger(varieties, wanted, candidates)
    if sport is not None and sport.any():
        own = 1.0 if place is None else float(np.nan_to_num(place.lives[wanted]))
        lives = np.where(sport, np.maximum(lives, own), lives)
        fits = np.where(
            sport,
            np.maximum(fits, 1.0 if place is None else float(np.nan_to_num(place.size[wanted], nan=1.0))),
            fits,
        )
    return Holds(
        lives=lives,
        pollinated=pollinated(catalog, wanted, candidates, standing, neighbours),
        still_pollinates=still_pollinates(catalog, wanted, candidates, standing),
        fits=fits,
        ruled_out=ruled_out,
    )


def as_hardy(varieties: Varieties, wanted: int, candidates: Rows) -> Floats:
    """1 where a candidate stands as much cold and needs no more chill than the sold-out variety; less beyond.

    A difference counts from where it exceeds the doubt of both values: what nobody published of a candidate
    is no reason to pass it over.
    """

    def beyond(trait: Trait) -> Floats:
        doubt = np.hypot(trait.error[candidates], trait.error[wanted])
        return np.asarray(
            np.nan_to_num(np.maximum(trait.value[candidates] - trait.value[wanted] - doubt, 0.0)), dtype=float
        )

    return np.asarray(
        np.exp(-beyond(varieties.hardiness) / COLD_K - beyond(varieties.chill_hours) / CHILL_HOURS),
        dtype=float,
    )


def no_larger(varieties: Varieties, wanted: int, candidates: Rows) -> Floats:
    """1 where a candidate can be kept as small as the sold-out variety; less where it grows taller."""
    ratio = varieties.height.value[candidates] / max(float(varieties.height.value[wanted]), 0.1)
    return np.asarray(1.0 / np.clip(np.nan_to_num(ratio, nan=1.0), 1.0, 3.0), dtype=float)


def pollinated(
    catalog: Catalog, wanted: int, candidates: Rows, trees: Sequence[int], neighbours: str
) -> Floats:
    """1 where a candidate needs no partner or a tree that stands there is one; less where none is."""
    needs = matrix_of(catalog).needs_partner()
    out = np.ones(len(candidates))
    alone = needs[candidates]
    if trees:
        alone = alone & ~(chance_of(catalog)[np.ix_(candidates, np.asarray(trees))] >= LIKELY).any(axis=1)
        out[alone] = NO_PARTNER_NEXT_DOOR if neighbours == "yes" else NO_PARTNER
    elif not needs[wanted]:
        out[alone] = 1.0 if neighbours == "yes" else PARTNER_NOT_SAID
    return out


def relying(catalog: Catalog, wanted: int, trees: Sequence[int]) -> list[int]:
    """Trees that need a partner and have none but the sold-out one."""
    chance, needs = chance_of(catalog), matrix_of(catalog).needs_partner()
    return [
        tree
        for tree in trees
        if needs[tree]
        and chance[tree, wanted] >= LIKELY
        and not any(chance[tree, other] >= LIKELY for other in trees if other != tree)
    ]


def still_pollinates(catalog: Catalog, wanted: int, candidates: Rows, trees: Sequence[int]) -> Floats:
    """1 where a candidate pollinates every tree that would have relied on the sold-out one; less for each it
    does not."""
    waiting = relying(catalog, wanted, trees)
    if not waiting:
        return np.ones(len(candidates))
    served = (chance_of(catalog)[np.ix_(np.asarray(waiting), candidates)] >= LIKELY).mean(axis=0)
    return np.asarray(1.0 - STILL_SERVES * (1.0 - served), dtype=float)
