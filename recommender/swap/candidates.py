"""Every offer held against every request that could want it: what stops the pair, and what it is worth.

In: checked offers and requests, the catalog, the settings of the event. Out: `Candidates`, arrays with one
row a pair of a lot and a request. A lot is all offers that no request can tell apart (same variety, kind and
place), so that thousands of offers of a few hundred varieties stay a small problem without losing anything.

Benefit of a pair, in [0, 1] = suits x wish x fruit x way, each in [0, 1]:
- suits: the score of the variety at the recipient's site (`rank`, with pollen taken as provided for, because
  `fruit` judges pollen);
- wish: how closely it meets what was asked (`WISH`);
- fruit: whether it will find pollen there, and whether it serves a tree that has none (`FRUIT`);
- way: nearer is better, only where a distance matters (`WAY_LOSS` at the farthest).
The weights are house rules, said in docs/swap-matching.md.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from recommender.biology.fertility import GAINS, NEEDED, NO_FRUIT, NOT_NEEDED
from recommender.biology.pollination import catalog_matrix
from recommender.climate.grid import distance_km
from recommender.climate.season import Hemisphere
from recommender.errors import BadInput
from recommender.swap.people import Desk, SwapSettings, Taker
from recommender.swap.rules import Region, grafting_stop

if TYPE_CHECKING:
    from recommender.biology.pollination_result import PollinationMatrix
    from recommender.catalog.store import Catalog

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
MOST_PAIRS = 4_000_000
# What stops a pair, in the order in which it is looked at; the first that applies is told.
STOPS = (
    "", "brought", "promised", "standing", "kind", "law", "site", "ruled-out", "window", "no-stock",
    "too-far",
)  # fmt: skip
CODE = {name: position for position, name in enumerate(STOPS)}
# How closely a variety meets what was asked.
WISH = {
    "named": 1.0,
    "fruit-and-use": 0.9,
    "fruit": 0.85,
    "use": 0.8,
    "fruit-use-unknown": 0.6,
    "anything": 0.6,
    "fruit-other-use": 0.4,
}
WISH_NAMES = tuple(WISH)
_WISH_WORTH = np.array([WISH[name] for name in WISH_NAMES])
# Share of the benefit that hangs on fruit at all; on its own pollen partner; on serving a tree that has none.
FRUIT = {"always": 0.6, "partner": 0.3, "serves": 0.1}
NEIGHBOUR_PARTNER = {"yes": 0.85, "unknown": 0.5, "no": 0.0}
BEARS_ALONE_IN_PART = 0.8
PARTNER_UNKNOWN = 0.7
WAY_LOSS = 0.2
LEAST_BENEFIT = 0.0001


@dataclass(frozen=True, eq=False)
class Candidates:
    """C pairs. lot, request, variety, wish (C,): positions; stop (C,): position in STOPS; benefit (C,);
    suits, fruit (C,); km (C,) NaN where not known; partner (C,): position in `matrix` of the tree that
    pollinates it, serves (C,): of the tree it serves, -1 where none. law: sentences, law_of (C,) into it."""

    varieties: list[tuple[str, str]]
    lots: list[list[int]]
    lot: Ints
    request: Ints
    variety: Ints
    wish: Ints
    stop: Ints
    benefit: Floats
    suits: Floats
    fruit: Floats
    km: Floats
    partner: Ints
    serves: Ints
    matrix: PollinationMatrix
    law: list[tuple[str, str]]
    law_of: Ints
    window: dict[tuple[int, str], str] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.lot)


def _lots(desk: Desk, varieties: dict[tuple[str, str], int]) -> tuple[list[list[int]], Ints]:
    """Offers that no request can tell apart, and the variety of each lot."""
    far = desk.distances_matter
    groups: dict[tuple[object, ...], list[int]] = {}
    for position, offer in enumerate(desk.offers):
        if offer.stop or offer.left <= 0:
            continue
        at = (offer.at if far else None,)
        # Wood of another age may be good or bad at another place, so it is a lot of its own.
        cut = offer.entry.cut_on if offer.entry.kind == "scion wood" else None
        key = (varieties[offer.variety], offer.entry.kind, offer.region, *at, cut)
        groups.setdefault(key, []).append(position)
    lots = list(groups.values())
    of = np.array([varieties[desk.offers[lot[0]].variety] for lot in lots], dtype=np.int64)
    return lots, of


def _wishes(
    desk: Desk, taker: Taker, index: _Index, cache: dict[object, tuple[Ints, Ints]]
) -> tuple[Ints, Ints]:
    """(varieties, their place in WISH_NAMES) that a request asks for, among those offered."""
    key = (taker.wished, taker.crops, taker.entry.uses)
    if key in cache:
        return cache[key]
    place = np.full(len(index.crops), -1, dtype=np.int64)

    def put(where: NDArray[np.bool_], name: str) -> None:
        place[where & (place < 0)] = WISH_NAMES.index(name)

    named = [index.of[variety] for variety in taker.wished if variety in index.of]
    mask = np.zeros(len(place), dtype=bool)
    mask[named] = True
    put(mask, "named")
    uses = taker.entry.uses
    fits = index.fits(uses)
    if taker.crops:
        asked = np.isin(index.crops, list(taker.crops))
        if uses:
            put(asked & (fits == 1), "fruit-and-use")
            put(asked & (fits < 0), "fruit-use-unknown")
            put(asked, "fruit-other-use")
        else:
            put(asked, "fruit")
    elif uses:
        put(fits == 1, "use")
    elif not taker.entry.varieties:
        put(np.ones(len(place), dtype=bool), "anything")
    found = np.flatnonzero(place >= 0)
    cache[key] = (found, place[found])
    return cache[key]


class _Index:
    """The offered varieties: crops (V,), uses, and where each stands."""

    def __init__(self, varieties: list[tuple[str, str]], uses: dict[tuple[str, str], frozenset[str]]) -> None:
        self.of = {variety: position for position, variety in enumerate(varieties)}
        self.crops = np.array([crop for crop, _ in varieties], dtype=object)
        self._uses = [uses.get(variety, frozenset()) for variety in varieties]

    def fits(self, uses: tuple[str, ...]) -> Ints:
        """(V,) 1 good for one of the uses, 0 for others only, -1 where nobody published a use."""
        wanted = frozenset(uses)
        return np.array([-1 if not u else int(bool(u & wanted)) for u in self._uses], dtype=np.int64)


def _uses(catalog: Catalog) -> dict[tuple[str, str], frozenset[str]]:
    frame = catalog.traits()[["crop", "variety", "use"]]
    return {
        (str(crop), str(variety)): frozenset(use.split("|")) if isinstance(use, str) else frozenset()
        for crop, variety, use in frame.itertuples(index=False, name=None)
    }


class _Pollen:
    """What each offered variety finds, and gives, among the trees that stand at a request's site."""

    def __init__(self, catalog: Catalog, varieties: list[tuple[str, str]], desk: Desk) -> None:
        trees = {tree for taker in desk.takers for tree in taker.trees}
        crops = {crop for crop, _ in [*varieties, *trees]}
        self.matrix = catalog_matrix(catalog, crops)
        self._at = np.array([self.matrix.position(*variety) for variety in varieties], dtype=np.int64)
        self._chance = self.matrix.chance().astype(np.float64)
        self._cache: dict[object, tuple[Floats, Ints, Ints]] = {}

    def judge(self, taker: Taker) -> tuple[Floats, Ints, Ints]:
        """(fruit (V,), partner (V,), serves (V,)); the latter two are positions in the matrix, -1 if none."""
        neighbours = taker.entry.neighbours_have_fruit_trees
        key = (taker.trees, neighbours)
        if key not in self._cache:
            self._cache[key] = self._judged(taker.trees, NEIGHBOUR_PARTNER[neighbours])
        return self._cache[key]

    def _judged(self, trees: tuple[tuple[str, str], ...], next_door: float) -> tuple[Floats, Ints, Ints]:
        at, need = self._at, self.matrix.need
        size = len(at)
        best, partner = np.full(size, next_door), np.full(size, -1, dtype=np.int64)
        gives, serves = np.zeros(size), np.full(size, -1, dtype=np.int64)
        stand = np.array([self.matrix.position(*tree) for tree in trees], dtype=np.int64)
        if len(stand):
            here = np.where(at[:, None] == stand[None, :], 0.0, self._chance[np.ix_(at, stand)])
            first = here.argmax(axis=1)
            better = here.max(axis=1) > best
            best = np.where(better, here.max(axis=1), best)
            partner = np.where(better, stand[first], partner)
            among = self._chance[np.ix_(stand, stand)] * (stand[:, None] != stand[None, :])
            lonely = np.isin(need[stand], (NEEDED, GAINS)) & (among.max(axis=1) < 0.5)
            if lonely.any():
                waiting = stand[lonely]
                given = np.where(at[:, None] == waiting[None, :], 0.0, self._chance[np.ix_(waiting, at)].T)
                gives, most = given.max(axis=1), given.argmax(axis=1)
                serves = np.where(gives >= 0.5, waiting[most], -1)
        wants = need[at]
        own = np.where(wants == NEEDED, best, PARTNER_UNKNOWN + (1 - PARTNER_UNKNOWN) * best)
        own = np.where(wants == GAINS, BEARS_ALONE_IN_PART + (1 - BEARS_ALONE_IN_PART) * best, own)
        own = np.where((wants == NOT_NEEDED) | (wants == NO_FRUIT), 1.0, own)
        fruit = FRUIT["always"] + FRUIT["partner"] * own + FRUIT["serves"] * gives
        partner = np.where((wants == NOT_NEEDED) | (wants == NO_FRUIT), -1, partner)
        return np.minimum(fruit, 1.0), partner, serves


def _graftable(desk: Desk, taker: Taker, variety: tuple[str, str]) -> bool:
    return taker.grafts_on_tree(variety) or bool(desk.stocks.fitting(taker, variety))


def candidates(desk: Desk, catalog: Catalog, settings: SwapSettings) -> Candidates:
    """All pairs that meet in a wish, each with what stops it or its benefit.

    Raises BadInput where the wishes are so wide that the pairs do not fit in memory.
    """
    offered = sorted({offer.variety for offer in desk.offers if not offer.stop and offer.left > 0})
    index = _Index(offered, _uses(catalog))
    lots, variety_of_lot = _lots(desk, index.of)
    by_variety = [np.flatnonzero(variety_of_lot == position) for position in range(len(offered))]
    n_lots = np.array([len(group) for group in by_variety], dtype=np.int64)
    wish_cache: dict[object, tuple[Ints, Ints]] = {}
    wished = [
        _wishes(desk, taker, index, wish_cache) if taker.left > 0 and not taker.stop else _NOTHING
        for taker in desk.takers
    ]
    total = sum(int(n_lots[found].sum()) for found, _ in wished)
    if total > MOST_PAIRS:
        raise BadInput(
            f"The wishes are so wide that {total:,} pairs of offer and request would have to be weighed",
            remedy="Ask for named varieties or one fruit in most requests, or split the event by fruit",
        )
    pollen = _Pollen(catalog, offered, desk)
    evergreen = set(catalog.crops().loc[catalog.crops()["evergreen"].eq("yes"), "crop"])
    facts = _LotFacts(desk, lots, evergreen, settings.on)
    parts: dict[str, list[NDArray[np.generic]]] = {name: [] for name in _COLUMNS}
    for position, (taker, (found, wish)) in enumerate(zip(desk.takers, wished, strict=True)):
        if not len(found):
            continue
        counts = n_lots[found]
        lot = np.concatenate([by_variety[v] for v in found])
        variety, place = np.repeat(found, counts), np.repeat(wish, counts)
        fruit, partner, serves = pollen.judge(taker)
        suits, ruled_out = desk.sites.scores(taker, offered)
        km, law = facts.km(taker)[lot], facts.law_for(taker.region)[lot]
        scion, reach = facts.scion[lot], desk.reach(taker)
        takes_plants, takes_wood = ("plant" in taker.entry.kinds), ("scion wood" in taker.entry.kinds)
        ungraftable = np.zeros(len(offered), dtype=bool)
        for v in set(variety[scion].tolist()):
            ungraftable[v] = not _graftable(desk, taker, offered[v])
        barred = _barred(desk, taker, offered, found)[variety]
        stop = np.select(
            [
                barred > 0,
                np.where(scion, not takes_wood, not takes_plants),
                facts.law_stops()[law],
                np.full(len(lot), bool(taker.site_fault)),
                ruled_out[variety],
                scion & facts.out_of_season(taker.hemisphere)[lot],
                scion & ungraftable[variety],
                km > reach,
            ],
            [barred, *(CODE[name] for name in _IN_ORDER)],
            0,
        )
        benefit = suits[variety] * _WISH_WORTH[place] * fruit[variety] * _way(km, reach)
        for name, values in zip(
            _COLUMNS,
            (lot, np.full(len(lot), position), variety, place, stop, benefit, suits[variety], fruit[variety],
             km, partner[variety], serves[variety], law),
            strict=True,
        ):  # fmt: skip
            parts[name].append(np.asarray(values))
    joined = {name: np.concatenate(parts[name]) if parts[name] else _EMPTY[name] for name in _COLUMNS}
    joined["benefit"] = np.maximum(joined["benefit"].round(4), LEAST_BENEFIT)
    return Candidates(
        varieties=offered,
        lots=lots,
        matrix=pollen.matrix,
        law=facts.law,
        window=facts.window,
        **joined,  # type: ignore[arg-type]
    )


class _LotFacts:
    """What is the same for every request that looks at a lot: kind, place, season, law by region."""

    def __init__(self, desk: Desk, lots: list[list[int]], evergreen: set[str], on: date) -> None:
        self._desk, self._on, self._evergreen = desk, on, evergreen
        self._first = [desk.offers[lot[0]] for lot in lots]
        self.scion = np.array([one.entry.kind == "scion wood" for one in self._first], dtype=bool)
        self._at = np.array([one.at or (np.nan, np.nan) for one in self._first], dtype=float).reshape(-1, 2)
        self.law: list[tuple[str, str]] = [("", "")]
        self._law_place = {("", ""): 0}
        self._by_region: dict[Region, Ints] = {}
        self._late: dict[str, NDArray[np.bool_]] = {}
        self.window: dict[tuple[int, str], str] = {}

    def km(self, taker: Taker) -> Floats:
        """Way from each lot to the taker [km], NaN where not known or of no matter (L,)."""
        if not self._desk.distances_matter or taker.at is None:
            return np.full(len(self._first), np.nan)
        return distance_km(*taker.at, self._at[:, 0], self._at[:, 1])

    def law_for(self, region: Region) -> Ints:
        """Place in `law` of what the law says of each lot on its way to a region (L,)."""
        if region not in self._by_region:
            told = [self._desk.movement.asked(one.variety[0], one.region, region) for one in self._first]
            for said in told:
                if said not in self._law_place:
                    self._law_place[said] = len(self.law)
                    self.law.append(said)
            self._by_region[region] = np.array([self._law_place[said] for said in told], dtype=np.int64)
        return self._by_region[region]

    def law_stops(self) -> NDArray[np.bool_]:
        """Which entries of `law` stop a plant."""
        return np.array([bool(stops) for stops, _ in self.law], dtype=bool)

    def out_of_season(self, hemisphere: Hemisphere) -> NDArray[np.bool_]:
        """Scion wood that cannot be grafted after this day (L,)."""
        if hemisphere not in self._late:
            late = np.zeros(len(self._first), dtype=bool)
            for lot in np.flatnonzero(self.scion).tolist():
                one = self._first[lot]
                said = grafting_stop(
                    self._on, one.entry.cut_on, hemisphere, one.variety[0] in self._evergreen
                )
                if said:
                    late[lot] = True
                    self.window[lot, hemisphere] = said
            self._late[hemisphere] = late
        return self._late[hemisphere]


_IN_ORDER = ("kind", "law", "site", "ruled-out", "window", "no-stock", "too-far")
_COLUMNS = (
    "lot", "request", "variety", "wish", "stop", "benefit", "suits", "fruit", "km", "partner", "serves",
    "law_of",
)  # fmt: skip
_FLOATS = ("benefit", "suits", "fruit", "km")
_EMPTY = {name: np.empty(0, np.float64 if name in _FLOATS else np.int64) for name in _COLUMNS}
_NOTHING = (np.empty(0, np.int64), np.empty(0, np.int64))


def _barred(desk: Desk, taker: Taker, offered: list[tuple[str, str]], found: Ints) -> Ints:
    """Stop of varieties the person brought, was promised, or has standing and did not name (V,)."""
    own = desk.brought.get(taker.person, frozenset())
    promised = desk.promised(taker)
    barred = np.zeros(len(offered), dtype=np.int64)
    for v in found.tolist():
        if offered[v] in own:
            barred[v] = CODE["brought"]
        elif offered[v] in promised:
            barred[v] = CODE["promised"]
        elif offered[v] in taker.trees and offered[v] not in taker.wished:
            barred[v] = CODE["standing"]
    return barred


def _way(km: Floats, reach: float) -> Floats:
    if not np.isfinite(reach):
        return np.ones(len(km))
    share = np.clip(np.nan_to_num(km, nan=reach) / reach, 0.0, 1.0)
    return np.asarray(1.0 - WAY_LOSS * share)
