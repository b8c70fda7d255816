"""`compose`: which varieties to plant together, proven, and where each stands.

In come the site, the goals, the wishes and the plot; out goes a `Plan`. The ranking gives what suits, the
pollination matrix who serves whom, the programme the best set of them, the layout a place for each.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from recommender.orchard.candidates import Candidates, candidates
from recommender.orchard.facts import Facts
from recommender.orchard.plan import Measured, Plan
from recommender.orchard.plot import Plot
from recommender.orchard.problem import Flags, Problem, evaluate, greedy
from recommender.orchard.programme import Solution
from recommender.orchard.reduction import solve_all
from recommender.orchard.relaxation import NoPlanting, smallest_relaxation
from recommender.orchard.spacing import Layout, lay_out, reach_of
from recommender.orchard.telling import described
from recommender.orchard.wishes import PlantingWishes
from recommender.suitability.goals import Goals
from recommender.suitability.site import Site
from recommender.wording import number_words

if TYPE_CHECKING:
    from recommender.catalog.catalog import Catalog
    from recommender.climate.profile import Profile
    from recommender.suitability.ranking import Ranking

ROOM_TRIES = 4
_SHRINK = 0.9
GRAFTED = 3
"""Varieties on a family tree: two or three (common practice)."""
GRAFTED_TOGETHER = (
    "apple",
    "european-pear",
    "asian-pear",
    "european-plum",
    "japanese-plum",
    "sweet-cherry",
    "sour-cherry",
    "apricot",
    "almond",
)
"""Crops sold as family trees (common practice): one stock, several varieties."""


def compose(
    site: Site,
    goals: Goals | None = None,
    wishes: PlantingWishes | None = None,
    plot: Plot | None = None,
    catalog: Catalog | None = None,
    profile: Profile | None = None,
    ranking: Ranking | None = None,
) -> Plan:
    """Choose a planting that pollinates itself, ripens in sequence and fits; proven best, or with its gap.

    ranking: of the same site and goals, if at hand already. Raises NoPlanting (a BadInput) naming the fewest
    wishes to give up where all cannot be met; UnknownName and BadInput as `rank` does.
    """
    goals = goals if goals is not None else Goals()
    wishes = wishes if wishes is not None else PlantingWishes()
    if catalog is None:
        from recommender.catalog.store import open_catalog

        catalog = open_catalog()
    if ranking is None:
        from recommender.suitability.ranking import rank

        ranking = rank(site, goals, catalog=catalog, profile=profile)
    area = None if plot is not None and plot.trained_along(wishes.style) else _room(site, plot)
    found = candidates(ranking, catalog, wishes, area)
    notes: list[str] = []
    layout: Layout | None = None
    for turn in range(ROOM_TRIES):
        if wishes.trees == 1:
            solution, family, offers = _one_tree(found, wishes)
        else:
            solution, family, offers = _several(found, wishes), (), ()
        rows = np.flatnonzero(solution.chosen)
        if not len(rows):
            raise NoPlanting(_what_for_one_tree(found.problem))
        if plot is None:
            break
        layout = _laid_out(found, rows, plot, catalog, wishes)
        placed = int(layout.placed.sum())
        if placed == len(rows):
            break
        notes = [
            f"There was room for {placed} of {len(rows)} trees at their full spacing; the set is smaller."
        ]
        if placed == 0 or turn == ROOM_TRIES - 1:
            raise NoPlanting(
                ("Give the trees more room, choose smaller ones, or move what stands in the way",)
            )
        taken = float(found.problem.area[rows].sum()) * _SHRINK
        found = replace(
            found,
            problem=replace(found.problem, trees=max(placed, 1), area_limit=taken),
        )
    alternatives = _alternatives(found.problem, solution, wishes) if not family else ()
    measured = measure(_roomy(found) if family else found, solution.chosen)
    order = np.lexsort((np.arange(len(found.frame)), -found.problem.score))
    by_list = greedy(found.problem, order)
    return described(
        ranking=ranking,
        catalog=catalog,
        found=found,
        solution=solution,
        layout=layout,
        family=family,
        goals=goals,
        wishes=wishes,
        plot=plot,
        measured=measured,
        greedy=measure(found, by_list),
        alternatives=tuple(measure(found, chosen) for chosen in alternatives),
        one_tree=tuple(measure(_roomy(found), chosen) for chosen in offers),
        notes=tuple(notes),
    )


def _what_for_one_tree(problem: Problem) -> tuple[str, ...]:
    """What to give where the wishes let nothing be planted at all."""
    new = ~problem.standing
    least_m2, least = float(problem.area[new].min()), float(problem.price[new].min())
    told = []
    if least_m2 > problem.area_limit:
        told.append(
            f"Give at least {number_words(np.ceil(least_m2))} square metres of ground, or grow the trees "
            "trained or in pots"
        )
    if least > problem.budget:
        told.append(f"Spend at least {number_words(least)}, the price of one tree")
    return tuple(told) or ("Ask for more trees, another fruit or a partner for it",)


def _room(site: Site, plot: Plot | None) -> float | None:
    if plot is not None:
        return plot.area_m2
    return site.plot_m2


def measure(found: Candidates, chosen: Flags) -> Measured:
    """A set with its figures."""
    worth = evaluate(found.problem, chosen)
    return Measured(
        trees=tuple(
            f"{crop}:{variety}"
            for crop, variety in found.frame.loc[chosen, ["crop", "variety"]].itertuples(index=False)
        ),
        value=round(worth.value, 6),
        suitability=round(worth.suitability, 4),
        harvest_cover=round(worth.cover, 4),
        served=round(worth.served, 4),
        served_sure=round(worth.served_known, 4),
        served_twice=round(worth.served_twice, 4),
        faults=worth.faults,
    )


def _roomy(found: Candidates) -> Candidates:
    """The same for a family tree: several varieties in the room of one."""
    return replace(found, problem=replace(found.problem, trees=GRAFTED, wished_crops=(), quota={}))


def _several(found: Candidates, wishes: PlantingWishes) -> Solution:
    solution = solve_all(found.problem, time_limit=wishes.time_limit_s)
    if solution.status == "infeasible":
        names = [str(name) for name in found.frame["variety"]]
        raise NoPlanting(smallest_relaxation(found.problem, names, found.crops))
    return solution


def _alternatives(problem: Problem, best: Solution, wishes: PlantingWishes) -> tuple[Flags, ...]:
    """The next best sets, each with at least one tree in four other than in all before it."""
    seen = [best.chosen]
    differ = max(1, round(int(best.chosen.sum()) / 4))
    free = int((best.chosen & ~problem.fixed).sum())
    for _ in range(wishes.alternatives if free else 0):
        found = solve_all(
            problem,
            time_limit=wishes.time_limit_s,
            different_from=seen,
            differ_by=min(differ, free),
        )
        if not np.isfinite(found.value):
            break
        seen.append(found.chosen)
    return tuple(seen[1:])


def _one_tree(
    found: Candidates, wishes: PlantingWishes
) -> tuple[Solution, tuple[NDArray[np.intp], ...], tuple[Flags, ...]]:
    """Room for one tree: one that bears alone (or with what stands near), or one with several grafted on it.

    Returns the solution, the rows of a family tree (one entry) if that is the choice, and the other offers.
    """
    offers: list[Solution] = []
    single = solve_all(found.problem, time_limit=wishes.time_limit_s)
    family = _family(found, wishes)
    if wishes.one_tree != "family" and np.isfinite(single.value):
        offers = [single] + ([family] if family is not None else [])
        return single, (), tuple(offer.chosen for offer in offers[1:])
    if wishes.one_tree != "self-fertile" and family is not None:
        other = (single.chosen,) if np.isfinite(single.value) else ()
        return family, (np.flatnonzero(family.chosen),), other
    names = [str(name) for name in found.frame["variety"]]
    raise NoPlanting(smallest_relaxation(found.problem, names, found.crops))


def _family(found: Candidates, wishes: PlantingWishes) -> Solution | None:
    """The best two or three varieties of one crop that serve each other on one tree."""
    best: Solution | None = None
    problem = found.problem
    for crop in GRAFTED_TOGETHER:
        if crop not in found.crops:
            continue
        number = found.crops.index(crop)
        if (problem.fixed & (problem.crop != number)).any():
            continue
        rows = np.flatnonzero((problem.crop == number) | problem.standing)
        part = replace(
            problem.take(rows),
            trees=GRAFTED,
            quota={number: (2, GRAFTED)},
            area_limit=np.inf,
            wished_crops=(),
        )
        tried = solve_all(part, time_limit=wishes.time_limit_s / 3)
        if np.isfinite(tried.value) and (best is None or tried.value > best.value):
            chosen = np.zeros(len(problem), dtype=bool)
            chosen[rows[tried.chosen]] = True
            best = replace(tried, chosen=chosen)
    return best


def _laid_out(
    found: Candidates, rows: NDArray[np.intp], plot: Plot, catalog: Catalog, wishes: PlantingWishes
) -> Layout:
    trees = found.frame.iloc[rows].reset_index(drop=True)
    crops = [str(crop) for crop in trees["crop"]]
    trees = trees.assign(reach=reach_of(catalog.crops(), crops))
    square = np.ix_(rows, rows)
    donors = found.problem.likely[square] & ~np.eye(len(rows), dtype=bool)
    standing = _named_standing(found, rows, plot, catalog)
    return lay_out(
        trees,
        donors,
        found.problem.needs[rows],
        plot,
        Facts(catalog.planting()),
        lat=found.lat,
        style=wishes.style,
        row_spacing_m=wishes.row_m,
        standing_donors=standing,
    )


def _named_standing(
    found: Candidates, rows: NDArray[np.intp], plot: Plot, catalog: Catalog
) -> NDArray[np.bool_] | None:
    named: Sequence[str] = [o.name for o in plot.obstacles if o.kind == "tree" and o.name]
    if not named:
        return None
    out = np.zeros((len(rows), len(named)), dtype=bool)
    for column, name in enumerate(named):
        key = catalog.resolve(name)
        hits = np.flatnonzero(
            (found.frame["crop"] == key[0]) & (found.frame["variety"] == key[1]) & found.frame["standing"]
        )
        if len(hits):
            out[:, column] = found.problem.likely[rows, hits[0]]
    return out
