"""The varieties a planting can be made of, as the arrays the programme works on.

In come a `Ranking`, the catalog, the wishes and the room; out go `Candidates`: one row a variety that may be
planted, then one a tree that stands already, with the `Problem` over them. No choice is made here.
"""

from __future__ import annotations

import weakref
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from recommender.biology import sports
from recommender.biology.fertility import NEED_UNKNOWN, NEEDED, NO_FRUIT
from recommender.biology.pollination_result import PollinationMatrix
from recommender.biology.rootstocks import rootstocks_for
from recommender.biology.stature import READ, standard_height, tree_size
from recommender.catalog.catalog import Catalog
from recommender.climate.season import MIDWINTER, Hemisphere, season_day
from recommender.errors import BadInput, UnknownName
from recommender.orchard.problem import Flags, Floats, Problem, Weights
from recommender.orchard.site_year import SiteYear, at_the_site
from recommender.orchard.spacing import IN_ROW_m, ROW_DISTANCE_m
from recommender.orchard.wishes import PlantingWishes
from recommender.suitability.kept import kept
from recommender.suitability.ranking import Ranking
from recommender.wording import crop_in_sentence, missing

TRAINING = {
    "open": "open",
    "hedge": "spindle",
    "espalier": "espalier",
    "cordon": "cordon",
    "fan": "fan",
    "spindle": "spindle",
}
USUAL_ROOM_m = 4.0
"""Width of a garden tree where the grower says nothing (common practice)."""
_FEW, _MANY = 0.02, 0.98


@dataclass(frozen=True, eq=False)
class Candidates:
    """frame (n rows): crop, variety, score, verdict, why, watch, bloom_day, harvest_day, harvest_end,
    harvest_until (of the usual year), harvest_early, harvest_late (of an early and a late one),
    harvest_error_d, storage [wk], rootstock, stock_why, stock_watch, height_low, height_high, spread, spacing
    [m], years_low, years_high, standing (bool). problem, matrix, year: of the same rows. week_start (W,):
    first season day of each wanted week. crops: crop names by the problem's numbers. lat [degrees]: of the
    site."""

    frame: pd.DataFrame
    problem: Problem
    matrix: PollinationMatrix
    year: SiteYear
    week_start: Floats
    crops: tuple[str, ...]
    lat: float

    def position(self, crop: str, variety: str) -> int:
        """Row of a variety. Raises UnknownName."""
        return self.matrix.position(crop, variety)


def candidates(
    ranking: Ranking, catalog: Catalog, wishes: PlantingWishes, area_m2: float | None = None
) -> Candidates:
    """Everything that may be planted, and what stands. area_m2: room there is [m2], None: not limited.

    Raises UnknownName for a tree or crop that is not known, BadInput where nothing is left to plant.
    """
    fixed, dropped = (
        _resolved(names, catalog, what)
        for names, what in ((wishes.fixed, "fixed"), (wishes.dropped, "dropped"))
    )
    frame = _rows(ranking, catalog, wishes, fixed, dropped)
    crops = sorted(set(frame["crop"]))
    traits = catalog.traits().set_index(["crop", "variety"])
    own = traits.loc[pd.MultiIndex.from_frame(frame[["crop", "variety"]])].reset_index()
    frame["storage"] = pd.to_numeric(own["storage"], errors="coerce").to_numpy(float)
    frame = _sized(frame, own, ranking, catalog, wishes)
    year, matrix = _of_the_site(frame, ranking, catalog)
    frame["harvest_day"], frame["harvest_end"], frame["harvest_until"] = year.usual()
    frame["harvest_early"], frame["harvest_late"] = year.spread()
    frame["harvest_error_d"] = year.error_d.round(1)
    week_start, fresh = _weeks(frame, ranking, wishes)
    middle = week_start[None, :] + 3.5
    start, end, stored = (
        frame[name].to_numpy(float)[:, None] for name in ("harvest_day", "harvest_end", "harvest_until")
    )
    bears = (matrix.need != NO_FRUIT)[:, None]
    root, _ = sports.roots(sports.parents(own))
    number = {crop: k for k, crop in enumerate(crops)}
    asked = tuple(dict.fromkeys(catalog.resolve_crop(crop) for crop in ranking.context.goals.crops))
    quota = _quotas(wishes, catalog, number)
    problem = Problem(
        score=np.where(matrix.need != NO_FRUIT, frame["score"].to_numpy(float), 0.0),
        likely=matrix.likely_partner(),
        known=matrix.sets_fruit(),
        needs=np.isin(matrix.need, (NEEDED, NEED_UNKNOWN)),
        triploid=pd.to_numeric(own["ploidy"], errors="coerce").eq(3).to_numpy(bool),
        ripe=(start <= middle) & (middle < end) & bears,
        kept=(end <= middle) & (middle < stored) & bears,
        fresh=fresh,
        group=root.astype(np.int64),
        crop=frame["crop"].map(number).to_numpy(np.int64),
        area=frame["spacing"].to_numpy(float) * _across(frame, wishes),
        price=_prices(frame, wishes, catalog),
        standing=frame["standing"].to_numpy(bool),
        fixed=np.array(
            [key in fixed for key in zip(frame["crop"], frame["variety"], strict=True)], dtype=bool
        ),
        trees=wishes.trees,
        area_limit=np.inf if area_m2 is None else area_m2,
        budget=np.inf if wishes.budget is None else wishes.budget,
        quota=quota,
        wished_crops=tuple(
            number[crop]
            for crop in asked
            if crop in number and quota.get(number[crop], (0, 1))[1] > 0 and len(asked) > 1
        ),
        weights=Weights(cover=wishes.cover),
    )
    return Candidates(
        frame, problem, matrix, year, week_start, tuple(crops), float(ranking.context.profile.lat)
    )


_KEPT: weakref.WeakKeyDictionary[Ranking, dict[Any, Any]] = weakref.WeakKeyDictionary()


def _of_the_site(
    frame: pd.DataFrame, ranking: Ranking, catalog: Catalog
) -> tuple[SiteYear, PollinationMatrix]:
    """Year and pollen of the rows; kept with the ranking, so that a tree kept or left out costs nothing."""
    held = _KEPT.setdefault(ranking, {})
    names = pd.MultiIndex.from_frame(frame[["crop", "variety"]])
    kept = held.get("site")
    if kept is None or not names.isin(kept[0]).all():
        context = ranking.context
        found = at_the_site(catalog, frame, context.profile, context.site.frost_shift)
        kept = held["site"] = (names, *found)
    rows = kept[0].get_indexer(names)
    return kept[1].taken(rows), kept[2].take(rows)


def _across(frame: pd.DataFrame, wishes: PlantingWishes) -> Floats:
    """Width of ground of each tree [m]: its spacing, or for trees in rows the distance of the rows."""
    if wishes.style == "open":
        return frame["spacing"].to_numpy(float)
    rows = wishes.row_m if wishes.row_m is not None else ROW_DISTANCE_m[wishes.style]
    return np.full(len(frame), rows)


def _resolved(names: tuple[str, ...], catalog: Catalog, where: str) -> list[tuple[str, str]]:
    found = []
    for name in names:
        try:
            found.append(catalog.resolve(name))
        except UnknownName as error:
            raise UnknownName(error.kind, error.name, error.suggestions, where=where) from None
    return found


def _rows(
    ranking: Ranking,
    catalog: Catalog,
    wishes: PlantingWishes,
    fixed: list[tuple[str, str]],
    dropped: list[tuple[str, str]],
) -> pd.DataFrame:
    columns = [
        "crop",
        "variety",
        "score",
        "verdict",
        "why",
        "watch",
        "bloom_day",
        "harvest_day",
        "harvest_error_d",
    ]
    ranked = ranking.frame[columns]
    keys = pd.MultiIndex.from_frame(ranked[["crop", "variety"]])
    stands = list(ranking.context.trees)
    for key in fixed:
        if key not in keys:
            raise BadInput(
                f"{key[1]} is to be planted, but {crop_in_sentence(key[0])} is not among the crops asked for",
                where="fixed",
                remedy="Add its crop to the crops",
            )
        if key in stands:
            raise BadInput(
                f"{key[1]} is to be planted and stands already",
                where="fixed",
                remedy="Leave it out of one of the two",
            )
    verdicts = ["sound", "with care", *(["doubtful"] if wishes.also_doubtful else [])]
    wanted = ranked["verdict"].isin(verdicts).to_numpy() | np.asarray(keys.isin(fixed))
    wanted &= ~np.asarray(keys.isin(dropped)) & ~np.asarray(keys.isin(stands))
    chosen = ranked[wanted].assign(standing=False)
    if chosen.empty:
        raise BadInput(
            "Nothing is left that could be planted here: no variety asked for is sound or with care",
            remedy="Ask for another crop, or allow doubtful varieties as well",
        )
    there = pd.DataFrame(stands, columns=["crop", "variety"]).merge(ranked, "left", ["crop", "variety"])
    there = there.assign(standing=True, score=there["score"].fillna(0.0))
    return pd.concat((chosen, there[[*columns, "standing"]]) if len(there) else (chosen,), ignore_index=True)


def _sized(
    frame: pd.DataFrame, own: pd.DataFrame, ranking: Ranking, catalog: Catalog, wishes: PlantingWishes
) -> pd.DataFrame:
    """Rootstock and size of each tree: the best stock of its crop for the ground, the room and the cold."""
    sizes = []
    # The wide traits have hundreds of columns; few of them say how big a tree gets.
    own = own[[name for name in READ if name in own]]
    held = _KEPT.setdefault(ranking, {})
    for crop, rows in frame.groupby("crop").groups.items():
        key = (crop, wishes.style, wishes.in_row_m)
        found = held.get(key)
        names = own.loc[rows, "variety"]
        if found is None or not names.isin(found.index).all():
            stock = stock_for(str(crop), ranking, catalog, wishes)
            found = sized(own.loc[rows], stock, ranking, catalog, wishes).set_axis(names, axis=0)
            held[key] = found
        sizes.append(found.loc[names].set_axis(rows, axis=0))
    return frame.join(pd.concat(sizes))


@kept
def _standard_heights(catalog: Catalog) -> pd.DataFrame:
    """`standard_height` of a catalog; worked out once."""
    return standard_height(catalog.crops(), catalog.rootstocks())


def sized(
    traits: pd.DataFrame,
    stock: pd.Series | None,
    ranking: Ranking,
    catalog: Catalog,
    wishes: PlantingWishes,
) -> pd.DataFrame:
    """Size columns of varieties on one rootstock, in the order and with the index of `traits`."""
    site = ranking.context.site
    name = None if stock is None else str(stock["rootstock"])
    size = tree_size(
        traits,
        catalog.crops(),
        catalog.rootstocks(),
        planting=catalog.planting(),
        rootstock=name,
        soil=site.soil,
        training=TRAINING[wishes.style],
        container_L=site.container_L,
        standard=_standard_heights(catalog),
    )
    kept = size[["height_low", "height_high", "spread", "spacing", "years_low", "years_high"]].copy()
    if wishes.style != "open":
        kept["spacing"] = wishes.in_row_m if wishes.in_row_m is not None else IN_ROW_m[wishes.style]
        kept["spread"] = np.minimum(kept["spread"], kept["spacing"])
    # A crop without any published height takes the room there is said to be, else that of a small tree.
    kept["spread"] = kept["spread"].fillna(site.space_m or 4.0)
    kept["height_high"] = kept["height_high"].fillna(kept["spread"])
    kept["spacing"] = kept["spacing"].fillna(kept["spread"])
    kept["rootstock"] = name or ""
    kept["stock_why"] = "" if stock is None else str(stock["why"])
    kept["stock_watch"] = "" if stock is None else str(stock["watch"])
    kept["staking"] = "" if stock is None else str(stock["staking"])
    return kept


def stock_for(
    crop: str, ranking: Ranking, catalog: Catalog, wishes: PlantingWishes, variety: pd.Series | None = None
) -> pd.Series | None:
    """The best rootstock of a crop for the site and the room; None where the catalog knows none.

    Among those that suit the ground equally, the tree nearest to the room there is, never above it.
    """
    context = ranking.context
    site, goals = context.site, context.goals
    found = rootstocks_for(
        crop,
        catalog.rootstocks(),
        catalog.crops(),
        soil=site.soil,
        wetness=site.wetness,
        container=site.container_L is not None,
        max_height_m=goals.max_height_m,
        zone=float(context.profile.zone_number),
        variety=variety,
        facts=catalog.rootstock_facts(),
        names=catalog.names(),
        standard=_standard_heights(catalog),
    )
    found = found.loc[found["verdict"].ne("ruled out")]
    if found.empty:
        return None
    room = (
        site.space_m if site.space_m is not None else (3.0 if site.container_L is not None else USUAL_ROOM_m)
    )
    table = _standard_heights(catalog)
    full = float(table.loc[table["crop"].eq(crop), "high"].to_numpy(float)[0])
    # Where nobody has published how far a stock dwarfs, a full-size tree is reckoned with.
    known = found["height_high"].notna().to_numpy(bool)
    height = np.where(known, found["height_high"].to_numpy(float), full)
    spacing = found["spacing"].to_numpy(float)
    width = np.where(known & np.isfinite(spacing), spacing, np.fmax(spacing, height * 0.85))
    # Unknown sizes come last of their verdict; a stock too big for the room loses more than one too small.
    misfit = np.where(width > room, 3.0 * (width - room), room - width)
    place = found["verdict"].map({"sound": 0.0, "with care": 0.5, "doubtful": 1.5})
    if goals.max_height_m is not None:
        too_tall = np.clip(height - goals.max_height_m, 0.0, None)
        misfit = misfit + 3.0 * np.nan_to_num(too_tall, nan=1.0)
    cost = place + np.nan_to_num(misfit / room, nan=1.0) - found["score"].to_numpy(float)
    return found.iloc[int(np.argmin(cost.to_numpy(float)))]


def _weeks(frame: pd.DataFrame, ranking: Ranking, wishes: PlantingWishes) -> tuple[Floats, Flags]:
    """First days of the wanted weeks, and in which of them ripe fruit is wanted."""
    hemisphere = ranking.context.profile.hemisphere
    picked = frame.loc[~frame["standing"], ["harvest_day", "harvest_end"]].dropna().to_numpy(float)
    if wishes.fresh_from is not None and wishes.fresh_to is not None:
        first = season_day(wishes.fresh_from, hemisphere, after=MIDWINTER[hemisphere])
        last = season_day(wishes.fresh_to, hemisphere, after=first)
    elif len(picked):
        first = int(np.quantile(picked[:, 0], _FEW))
        last = min(int(np.quantile(picked[:, 1], _MANY)), first + 52 * 7)
    else:
        return np.zeros(0), np.zeros(0, dtype=bool)
    fresh = np.arange(first, last, 7, dtype=float)
    if wishes.store_to is None:
        return fresh, np.ones(len(fresh), dtype=bool)
    begin = float(fresh[-1] + 7)
    until = _store_end(wishes.store_to, hemisphere, begin)
    store = np.arange(begin, until, 7, dtype=float)
    return np.concatenate((fresh, store)), np.arange(len(fresh) + len(store)) < len(fresh)


def _store_end(date: str, hemisphere: Hemisphere, begin: float) -> float:
    """Season day of the store's last week; it may lie in the year after the season's 548 days."""
    day = season_day(date, hemisphere)
    while day < begin:
        day += 365
    return float(day)


def _quotas(wishes: PlantingWishes, catalog: Catalog, number: dict[str, int]) -> dict[int, tuple[int, int]]:
    out = {}
    for name, span in wishes.quotas.items():
        crop = catalog.resolve_crop(name)
        if crop not in number:
            if span[0] == 0:
                continue
            raise BadInput(
                f"{span[0]} trees of {crop_in_sentence(crop)} are asked for, but none can be planted here",
                where="quotas",
                remedy="Add the crop to the crops, or leave its quota out",
            )
        out[number[crop]] = span
    return out


def _prices(frame: pd.DataFrame, wishes: PlantingWishes, catalog: Catalog) -> Floats:
    if not wishes.prices:
        return np.zeros(len(frame))
    by_name: dict[tuple[str, str], float] = {}
    by_crop: dict[str, float] = {}
    for name, price in wishes.prices.items():
        if name.casefold() == "any":
            continue
        if ":" in name:
            by_name[catalog.resolve(name)] = price
        else:
            by_crop[catalog.resolve_crop(name)] = price
    usual = next((price for name, price in wishes.prices.items() if name.casefold() == "any"), np.nan)
    out = np.array(
        [
            by_name.get((crop, variety), by_crop.get(crop, usual))
            for crop, variety in zip(frame["crop"], frame["variety"], strict=True)
        ]
    )
    silent = frame.loc[np.isnan(out) & ~frame["standing"].to_numpy(bool), "crop"]
    if wishes.budget is not None and len(silent):
        raise BadInput(
            f"There is a budget, but no price for {crop_in_sentence(silent.iloc[0])}",
            where="prices",
            remedy="Give a price for the crop, or one for any tree",
        )
    return np.nan_to_num(out)


def names_of(frame: pd.DataFrame, rows: Flags) -> list[str]:
    """ "crop:variety" of the rows, for files and options."""
    return [
        f"{row[0]}:{row[1]}"
        for row in frame.loc[rows, ["crop", "variety"]].itertuples(index=False)
        if not missing(row[1])
    ]
