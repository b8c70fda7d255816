"""Every offer held against every request that could want it: what stops the pair, and what it is worth.

In: checked offers and requests, the catalog, the settings of the event. Out: `Candidates`, arrays with one
row a pair of a lot and a request. A lot is all offers that no request can tell apart (same variety, kind and
place), so that thousands of offers of a few hundred varieties stay a small problem without losing anything.

Benefit of a pair, in [0, 1] = suits x wish x fruit x way, each in [0, 1]:
- suits: the score of the variety at the recipient's site (`rank`, with pollen taken as provided for, because
  `fruit` judges pollen);
- wish: how closely it meets what was asked (`WISH`);
- fruit: whether it will find pollen there, and whether it serves a tree that has none (`pollen`); two
  varieties that arrive together may raise each other's (`Gains`);
- way: nearer is better, only where a distance matters (`WAY_LOSS` at the farthest).
The weights are house rules, said in docs/swap-matching.md.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from recommender.climate.grid import distance_km
from recommender.climate.season import Hemisphere
from recommender.errors import BadInput
from recommender.swap.borders import Region
from recommender.swap.people import Desk, SwapSettings, Taker
from recommender.swap.pollen import Pollen
from recommender.swap.rules import grafting_stop

if TYPE_CHECKING:
    from recommender.catalog.store import Catalog

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
MOST_PAIRS = 4_000_000
MOST_GAINS = 200_000
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
WAY_LOSS = 0.2
LEAST_BENEFIT = 0.0001


@dataclass(frozen=True, eq=False)
class Candidates:
    """C pairs. lot, request, variety, wish (C,): positions; stop (C,): position in STOPS; benefit (C,);
    suits, fruit (C,); km (C,) NaN where not known; partner (C,): position in `pollen.matrix` of the tree that
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
    pollen: Pollen
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
        self._fits: dict[frozenset[str], Ints] = {}

    def fits(self, uses: tuple[str, ...]) -> Ints:
        """(V,) 1 good for one of the uses, 0 for others only, -1 where nobody published a use."""
        wanted = frozenset(uses)
        if wanted not in self._fits:
            found = [-1 if not used else int(bool(used & wanted)) for used in self._uses]
            self._fits[wanted] = np.array(found, dtype=np.int64)
        return self._fits[wanted]


def _uses(catalog: Catalog) -> dict[tuple[str, str], frozenset[str]]:
    frame = catalog.traits()[["crop", "variety", "use"]]
    return {
        (str(crop), str(variety)): frozenset(use.split("|")) if isinstance(use, str) else frozenset()
        for crop, variety, use in frame.itertuples(index=False, name=None)
    }


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
    pollen = Pollen(catalog, offered, desk)
    evergreen = set(catalog.crops().loc[catalog.crops()["evergreen"].eq("yes"), "crop"])
    facts = _LotFacts(desk, lots, evergreen, settings.on)
    whole = _Columns()
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
        whole.add_whole(lot=lot, request=np.full(len(lot), position), variety=variety, wish=place, stop=stop)
        whole.add_whole(partner=partner[variety], serves=serves[variety], law_of=law)
        whole.add_real(benefit=benefit, suits=suits[variety], fruit=fruit[variety], km=km)
    return Candidates(
        varieties=offered,
        lots=lots,
        lot=whole.ints("lot"),
        request=whole.ints("request"),
        variety=whole.ints("variety"),
        wish=whole.ints("wish"),
        stop=whole.ints("stop"),
        benefit=np.maximum(whole.floats("benefit").round(4), LEAST_BENEFIT),
        suits=whole.floats("suits"),
        fruit=whole.floats("fruit"),
        km=whole.floats("km"),
        partner=whole.ints("partner"),
        serves=whole.ints("serves"),
        pollen=pollen,
        law=facts.law,
        law_of=whole.ints("law_of"),
        window=facts.window,
    )


class _Columns:
    """Columns that grow request by request."""

    def __init__(self) -> None:
        self._ints: dict[str, list[Ints]] = {}
        self._floats: dict[str, list[Floats]] = {}

    def add_whole(self, **columns: Ints) -> None:
        """More of columns of whole numbers."""
        for name, values in columns.items():
            self._ints.setdefault(name, []).append(np.asarray(values, dtype=np.int64))

    def add_real(self, **columns: Floats) -> None:
        """More of columns of real numbers."""
        for name, values in columns.items():
            self._floats.setdefault(name, []).append(np.asarray(values, dtype=np.float64))

    def ints(self, name: str) -> Ints:
        """A column of whole numbers; empty where nothing was added."""
        return np.concatenate(self._ints.get(name) or [np.empty(0, np.int64)])

    def floats(self, name: str) -> Floats:
        """A column of real numbers; empty where nothing was added."""
        return np.concatenate(self._floats.get(name) or [np.empty(0, np.float64)])


@dataclass(frozen=True, eq=False)
class Gains:
    """By how much a pair's benefit rises when another variety arrives with it: row (G,) of the candidates,
    variety (G,) that arrives too, gain (G,). most: partners kept for each pair, None where all are."""

    row: Ints
    variety: Ints
    gain: Floats
    most: int | None = None


def gains(desk: Desk, found: Candidates) -> Gains:
    """Every rise of benefit by pollen of what arrives with it, of pairs that nothing stops.

    Where the wishes are so wide that there would be more than `MOST_GAINS`, each pair keeps its best ones.
    """
    able = np.flatnonzero(found.stop == 0)
    order = able[np.argsort(found.request[able], kind="stable")]
    bounds = np.flatnonzero(np.diff(found.request[order])) + 1
    groups = [
        rows for rows in np.split(order, bounds) if len(rows) and desk.takers[found.request[rows[0]]].left > 1
    ]
    offered = [np.unique(found.variety[rows]) for rows in groups]
    total = sum(len(rows) * len(some) for rows, some in zip(groups, offered, strict=True))
    most = max(MOST_GAINS // max(sum(map(len, groups)), 1), 1) if total > MOST_GAINS else None
    whole = _Columns()
    for rows, some in zip(groups, offered, strict=True):
        if len(some) < 2:
            continue
        rises = found.pollen.together(desk.takers[int(found.request[rows[0]])], some)
        if most is not None and len(some) > most:
            kept = np.argpartition(-rises, most - 1, axis=1)[:, :most]
            mask = np.zeros(rises.shape, dtype=bool)
            np.put_along_axis(mask, kept, True, axis=1)
            rises = np.where(mask, rises, 0.0)
        # Benefit is a product, so that a rise of fruit counts in proportion.
        each = rises[np.searchsorted(some, found.variety[rows])]
        each = (each * (found.benefit[rows] / found.fruit[rows])[:, None]).round(4)
        row, column = np.nonzero(each > 0)
        whole.add_whole(row=rows[row], variety=some[column])
        whole.add_real(gain=each[row, column])
    return Gains(whole.ints("row"), whole.ints("variety"), whole.floats("gain"), most)


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
