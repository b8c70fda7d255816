"""A solved choice put into words and plain figures: the `Plan` of a solution.

In come the candidates, the solution, the layout and the ranking; out goes a `Plan` with each tree's donors,
harvest and standing facts. Nothing is chosen here.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from recommender.biology.stature import tree_size
from recommender.catalog.catalog import Catalog
from recommender.climate.season import season_date
from recommender.orchard.candidates import Candidates, sized, stock_for
from recommender.orchard.plan import Harvest, Measured, Partner, Plan, PlannedTree, Week
from recommender.orchard.plot import Plot
from recommender.orchard.programme import Solution
from recommender.orchard.site_year import EARLY, LATE
from recommender.orchard.spacing import Layout, reach_of
from recommender.orchard.wishes import PlantingWishes
from recommender.suitability.goals import Goals
from recommender.suitability.ranking import Ranking
from recommender.wording import list_words, missing, place_sentence, plain

FACTS = (
    "zone_min",
    "chill_hours",
    "bloom_offset",
    "bloom_group",
    "ripening_offset",
    "ripening_season",
    "storage",
    "s_alleles",
    "ploidy",
    "self_fertility",
    "sport_of",
)
"""Settled traits a choice rests on most; kept with the plan to see later what changed."""


def described(
    *,
    ranking: Ranking,
    catalog: Catalog,
    found: Candidates,
    solution: Solution,
    layout: Layout | None,
    family: Sequence[NDArray[np.intp]],
    goals: Goals,
    wishes: PlantingWishes,
    plot: Plot | None,
    measured: Measured,
    greedy: Measured,
    alternatives: tuple[Measured, ...],
    one_tree: tuple[Measured, ...],
    notes: tuple[str, ...],
) -> Plan:
    """The plan of a solution; see `selection.compose`."""
    from importlib import metadata

    rows = np.flatnonzero(solution.chosen)
    there = np.flatnonzero(solution.chosen | found.problem.standing)
    grafted = bool(family)
    shown = rows[:1] if grafted else rows
    if grafted:
        shown = rows[np.argsort(-found.problem.score[rows], kind="stable")][:1]
    trees = []
    for place, row in enumerate(shown):
        others = tuple(str(found.frame["variety"].iloc[k]) for k in rows if k != row) if grafted else ()
        spot = _spot(layout, place, str(found.frame["crop"].iloc[row]), catalog)
        trees.append(_tree(int(row), there, spot, others, found, ranking, catalog, wishes))
    low, high = _cover_of_years(found, there)
    try:
        version = metadata.version("orchardwright")
    except metadata.PackageNotFoundError:
        version = "unpacked"
    gap = float(solution.gap)
    return Plan(
        made_with=version,
        data_key=str(catalog.info["data_key"]),
        place=place_sentence(ranking.site),
        hemisphere=ranking.context.profile.hemisphere,
        lat=found.lat,
        site=ranking.context.site.model_dump(mode="json", exclude_none=True),
        goals=goals.model_dump(mode="json", exclude_none=True),
        planting=wishes.model_dump(mode="json", exclude_none=True),
        plot=None if plot is None else plot.model_dump(mode="json", exclude_none=True),
        trees=tuple(trees),
        weeks=tuple(_weeks(found, there, ranking)),
        harvest_cover=measured.harvest_cover,
        cover_low=low,
        cover_high=high,
        optimality_gap=gap if np.isfinite(gap) else None,
        solve_seconds=round(solution.seconds, 3),
        status=solution.status,
        candidates=int((~found.problem.standing).sum()),
        measured=measured,
        greedy=greedy,
        alternatives=alternatives,
        one_tree=one_tree,
        notes=notes,
    )


def _watch(told: str, served: bool) -> str:
    """What the ranking says to watch; a partner is no longer to be looked for where the set has one."""
    return "" if served and "partner" in told else told


def _cover_of_years(found: Candidates, there: NDArray[np.intp]) -> tuple[float | None, float | None]:
    """Harvest cover in a poor and in a good year; None where no weeks are wanted."""
    if not len(found.week_start):
        return None, None
    cover = found.year.covered(there, found.week_start + 3.5, found.problem.fresh)
    low, high = np.quantile(cover, [EARLY, LATE])
    return round(float(low), 4), round(float(high), 4)


def _spot(layout: Layout | None, place: int, crop: str, catalog: Catalog) -> dict[str, float | None]:
    """Where a tree stands, how dark, and how far from its pollen."""
    if layout is None:
        return {}
    away = _number(layout.donor_distance[place])
    return {
        "x": _number(layout.x[place]),
        "y": _number(layout.y[place]),
        "shade": _number(layout.shade[place]),
        "donor_distance_m": away,
        "donor_reach_m": None if away is None else _number(reach_of(catalog.crops(), [crop])[0]),
    }


def _usual_spacing(
    variety: pd.DataFrame, rootstock: str, catalog: Catalog, wishes: PlantingWishes
) -> float | None:
    """Least distance usual on the rootstock of a tree grown in a row; where none is published, that of a
    free-standing tree of its size. None for trees each by themselves."""
    if wishes.style == "open":
        return None
    stocks = catalog.rootstocks().set_index("rootstock")["spacing_low_m"]
    usual = float(stocks.get(rootstock, np.nan))
    if np.isnan(usual):
        size = tree_size(
            variety,
            catalog.crops(),
            catalog.rootstocks(),
            planting=catalog.planting(),
            rootstock=rootstock or None,
        )
        usual = float(size["spacing"].iloc[0])
    return _number(usual)


def _number(value: Any) -> float | None:
    return None if missing(value) or not np.isfinite(float(value)) else round(float(value), 2)


def _tree(
    row: int,
    there: NDArray[np.intp],
    spot: dict[str, float | None],
    grafted_with: tuple[str, ...],
    found: Candidates,
    ranking: Ranking,
    catalog: Catalog,
    wishes: PlantingWishes,
) -> PlannedTree:
    own = found.frame.iloc[row]
    traits = catalog.traits()
    variety = traits.loc[traits["crop"].eq(own["crop"]) & traits["variety"].eq(own["variety"])]
    stock = stock_for(str(own["crop"]), ranking, catalog, wishes, variety.iloc[0])
    size = sized(variety, stock, ranking, catalog, wishes).iloc[0]
    # The place was sought for the room of the crop's usual stock: the wider of the two is what counts.
    spacing = max(float(own["spacing"]), float(size["spacing"])) if wishes.style == "open" else own["spacing"]
    partners = donors_of(found, row, there)
    return PlannedTree(
        crop=str(own["crop"]),
        variety=str(own["variety"]),
        rootstock=str(size["rootstock"]),
        **spot,
        pollinated_by=partners,
        pollination=pollination_words(found, row, partners, bool(grafted_with)),
        bloom=None
        if missing(own["bloom_day"])
        else season_date(float(own["bloom_day"]), ranking.context.profile.hemisphere),
        harvest=harvest_of(own, ranking),
        score=round(float(own["score"]), 4),
        verdict=str(own["verdict"]),
        why=str(own["why"]),
        watch=_watch(str(own["watch"]), bool(partners) or not found.problem.needs[row]),
        locked=bool(found.problem.fixed[row]),
        height_low_m=_number(size["height_low"]),
        height_high_m=_number(size["height_high"]),
        spread_m=round(float(size["spread"]), 2),
        spacing_m=round(float(spacing), 2),
        usual_spacing_m=_usual_spacing(variety, str(size["rootstock"]), catalog, wishes),
        years_low=_number(size["years_low"]),
        years_high=_number(size["years_high"]),
        stock_why=str(size["stock_why"]),
        stock_watch=str(size["stock_watch"]),
        staking=str(size["staking"]),
        grafted_with=grafted_with,
        evergreen=evergreen_crop(catalog, str(own["crop"])),
        facts=facts_of(variety.iloc[0]),
    )


def evergreen_crop(catalog: Catalog, crop: str) -> bool:
    """Whether a crop keeps its leaves in winter."""
    crops = catalog.crops()
    return bool(crops.loc[crops["crop"].eq(crop), "evergreen"].eq("yes").any())


def facts_of(traits: pd.Series) -> dict[str, str]:
    """The settled values a choice rests on, as text; what is not known is left out."""
    return {
        name: f"{traits[name]:g}" if isinstance(traits[name], float) else str(traits[name])
        for name in FACTS
        if name in traits and not missing(traits[name])
    }


def donors_of(found: Candidates, row: int, there: NDArray[np.intp]) -> tuple[Partner, ...]:
    """Who serves the tree among those that stand or are planted, sure ones first."""
    problem = found.problem
    serving = [int(k) for k in there if k != row and problem.likely[row, k]]
    serving.sort(key=lambda k: (not problem.known[row, k], k))
    frame = found.frame
    return tuple(
        Partner(
            crop=str(frame["crop"].iloc[k]),
            variety=str(frame["variety"].iloc[k]),
            sure=bool(problem.known[row, k]),
            standing=bool(problem.standing[k]),
        )
        for k in serving
    )


def pollination_words(found: Candidates, row: int, partners: tuple[Partner, ...], one_tree: bool) -> str:
    """How the tree comes by its pollen, in a sentence."""
    name = plain(found.frame["variety"].iloc[row])
    sure = [plain(partner.variety) for partner in partners if partner.sure]
    likely = [plain(partner.variety) for partner in partners if not partner.sure]
    where = " on the same tree" if one_tree else ""
    if not found.problem.needs[row]:
        return f"{name} bears without a partner" + (f"; {list_words(sure[:3])} helps." if sure else ".")
    if sure:
        also = f"; {list_words(likely[:2])} probably too" if likely and len(sure) < 2 else ""
        return f"{name} is served by {list_words(sure[:4])}{where}{also}."
    if likely:
        return (
            f"{name} is probably served by {list_words(likely[:4])}{where}; nobody has published that pair, "
            "most of its kind work."
        )
    return f"{name} needs a partner and has none here."


def harvest_of(own: pd.Series, ranking: Ranking) -> Harvest | None:
    """Picking window of a row of the candidates; None where no date can be given."""
    days = [
        float(own[f"harvest_{name}"]) if not missing(own[f"harvest_{name}"]) else np.nan
        for name in ("day", "end", "early", "late")
    ]
    if not np.isfinite(days[:2]).all():
        return None
    hemisphere = ranking.context.profile.hemisphere
    first, last, early, late = (season_date(day, hemisphere) if np.isfinite(day) else None for day in days)
    return Harvest(
        first=str(first),
        last=str(last),
        early=early,
        late=late,
        error_d=_number(own["harvest_error_d"]),
        store_weeks=_number(own["storage"]),
    )


def _weeks(found: Candidates, there: NDArray[np.intp], ranking: Ranking) -> list[Week]:
    hemisphere = ranking.context.profile.hemisphere
    problem = found.problem
    names = [str(name) for name in found.frame["variety"]]
    return [
        Week(
            first=season_date(start, hemisphere),
            last=season_date(start + 6, hemisphere),
            wanted="fresh" if problem.fresh[week] else "from store",
            ripe=tuple(names[k] for k in there if problem.ripe[k, week]),
            in_store=tuple(names[k] for k in there if problem.kept[k, week]),
        )
        for week, start in enumerate(found.week_start)
    ]
