"""The people of a swap and what they said, looked up: names, places, trees, rootstocks, rights, sites.

In: offers, requests, the settings of the event, what is confirmed already, and the catalog. Out: a `Desk`:
each offer and request with its accepted names and region, and with what keeps it from the table, if anything
does. One bad line never stops the others; only a table that contradicts itself is refused.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import TYPE_CHECKING, Any, ClassVar, Generic, TypeVar

from pydantic import Field, field_validator

from recommender.catalog.references import fold
from recommender.climate.season import Hemisphere
from recommender.errors import DataFaults, OrchardwrightError, UnknownName
from recommender.suitability.answers import Answers
from recommender.suitability.site import Site
from recommender.swap.borders import NOWHERE, Region, region_of_code, region_of_place
from recommender.swap.lookups import Sites, Stocks, place_found
from recommender.swap.naming import Names
from recommender.swap.offers import Doubt, Offer, Request, Way, day, region_code, stocks_at_hand
from recommender.swap.rights import Right, recent, rights_of
from recommender.swap.rules import Movement
from recommender.wording import list_words

if TYPE_CHECKING:
    from recommender.catalog.store import Catalog

Entry = TypeVar("Entry", Offer, Request)


class SwapSettings(Answers):
    """What the organiser decides. on: the day of the swap; site: where things grow whose request does not
    say; region: code of the region (GB, US-NY) for those who name none; givers_first: where not all can be
    served, people who brought something go first; max_km [km]: the farthest anyone travels or posts;
    permitted: ids of offers for which the organiser confirms that they may be propagated and passed on.
    Raises BadInput."""

    section: ClassVar[str] = "swap"

    on: date = Field(default_factory=date.today)
    site: Site | None = None
    region: str | None = None
    givers_first: bool = False
    max_km: Way | None = None
    permitted: tuple[str, ...] = ()

    @field_validator("on", mode="before")
    @classmethod
    def _day(cls, value: Any) -> Any:
        return day(value)

    @field_validator("region", mode="before")
    @classmethod
    def _region(cls, value: Any) -> Any:
        return region_code(value)

    @field_validator("permitted", mode="before")
    @classmethod
    def _several(cls, value: Any) -> Any:
        return tuple(dict.fromkeys(value)) if isinstance(value, (list, set, tuple)) else value


@dataclass(frozen=True)
class Confirmed:
    """A match that people agreed on: kept whatever else changes. offer, request: their ids; benefit, reason:
    as they stood when it was agreed."""

    offer: str
    request: str
    count: int = 1
    benefit: float = 0.0
    reason: str = ""


@dataclass(frozen=True, eq=False)
class Resolved(Generic[Entry]):
    """An entry with its accepted names. left: plants not yet promised; stop: why it cannot take part, "" if
    it can; frees: what would free it; minds: what to mind; at: (lat, lon) or None; doubts: names in it that a
    person has to look at."""

    entry: Entry
    person: str
    region: Region
    at: tuple[float, float] | None
    left: int
    variety: tuple[str, str] = ("", "")
    stop: str = ""
    says: str = ""
    frees: str = ""
    minds: str = ""
    doubts: tuple[Doubt, ...] = ()


@dataclass(frozen=True, eq=False)
class Taker(Resolved[Request]):
    """A request, looked up. wished, trees: (crop, variety); stocks: accepted name -> how many; site: where it
    grows; site_fault: why that cannot be judged."""

    wished: tuple[tuple[str, str], ...] = ()
    crops: tuple[str, ...] = ()
    trees: tuple[tuple[str, str], ...] = ()
    stocks: tuple[tuple[str, int], ...] = ()
    site: Site | None = None
    site_fault: str = ""
    hemisphere: Hemisphere = "north"

    def grafts_on_tree(self, variety: tuple[str, str]) -> bool:
        """A tree of the same fruit stands there to graft on."""
        return any(crop == variety[0] for crop, _ in self.trees)


@dataclass(eq=False)
class Desk:
    """Everybody and everything, looked up. brought: person -> varieties."""

    offers: list[Resolved[Offer]]
    takers: list[Taker]
    brought: dict[str, frozenset[tuple[str, str]]]
    sites: Sites
    stocks: Stocks
    movement: Movement
    distances_matter: bool
    max_km: float | None
    confirmed: tuple[Confirmed, ...] = ()

    def reach(self, taker: Taker) -> float:
        """How far things may travel to the taker [km]; infinite where nobody set a limit."""
        limits = [limit for limit in (self.max_km, taker.entry.max_km) if limit is not None]
        return min(limits, default=math.inf)

    def promised(self, taker: Taker) -> frozenset[tuple[str, str]]:
        """Varieties that confirmed matches give to the request."""
        return self._promised_to.get(taker.entry.id, frozenset())

    @cached_property
    def _promised_to(self) -> dict[str, frozenset[tuple[str, str]]]:
        variety = {offer.entry.id: offer.variety for offer in self.offers}
        found: dict[str, set[tuple[str, str]]] = {}
        for match in self.confirmed:
            found.setdefault(match.request, set()).add(variety[match.offer])
        return {request: frozenset(varieties) for request, varieties in found.items()}


def person_key(nickname: str) -> str:
    """A nickname as a key: capitals, accents and blanks do not matter."""
    return fold(nickname) or nickname.casefold()


def with_ids(entries: Sequence[Entry], letter: str) -> list[Entry]:
    """Entries with an id each: their own, or the letter and their place in the list."""
    taken = {entry.id for entry in entries if entry.id}
    out: list[Entry] = []
    for place, entry in enumerate(entries, start=1):
        name = entry.id or f"{letter}{place}"
        while not entry.id and name in taken:
            name += "'"
        taken.add(name)
        out.append(entry if entry.id else entry.model_copy(update={"id": name}))
    return out


def _contradictions(offers: Sequence[Offer], requests: Sequence[Request]) -> list[str]:
    faults = [
        f"The id “{name}” stands on {number} {what}. Give each its own"
        for what, entries in (("offers", offers), ("requests", requests))
        for name, number in Counter(entry.id for entry in entries).items()
        if number > 1
    ]
    areas: dict[str, dict[str, str]] = {}
    for entry in [*offers, *requests]:
        if entry.area:
            areas.setdefault(person_key(entry.person), {}).setdefault(fold(entry.area), entry.area)
    for entry in {person_key(entry.person): entry for entry in [*offers, *requests]}.values():
        named = list(areas.get(person_key(entry.person), {}).values())
        if len(named) > 1:
            faults.append(
                f"The nickname “{entry.person}” stands with {list_words(named)}. Give one of them another "
                "nickname, or write the area alike"
            )
    return faults


def _promised(
    offers: Sequence[Offer], requests: Sequence[Request], confirmed: Sequence[Confirmed]
) -> tuple[Counter[str], Counter[str]]:
    """How many of each offer and request are confirmed. Raises DataFaults where that cannot be kept."""
    given: Counter[str] = Counter()
    had: Counter[str] = Counter()
    for match in confirmed:
        given[match.offer] += match.count
        had[match.request] += match.count
    room = {offer.id: offer.count for offer in offers}, {request.id: request.take for request in requests}
    faults = []
    for what, counts, limits in (("offer", given, room[0]), ("request", had, room[1])):
        for name, number in counts.items():
            if name not in limits:
                faults.append(f"The {what} “{name}” is gone, but a confirmed match rests on it")
            elif number > limits[name]:
                faults.append(f"The {what} “{name}” has room for {limits[name]}, but {number} are confirmed")
    if faults:
        raise DataFaults(
            "Confirmed matches cannot be kept",
            faults,
            remedy="Put the line back, or take the confirmation back first",
        )
    return given, had


def look_up(
    offers: Sequence[Offer],
    requests: Sequence[Request],
    catalog: Catalog,
    settings: SwapSettings,
    confirmed: Sequence[Confirmed] = (),
) -> Desk:
    """The desk of an event. Raises DataFaults for ids or nicknames that contradict each other, and for
    confirmed matches that can no longer be kept; everything else is told beside the entry."""
    offers, requests = with_ids(offers, "O"), with_ids(requests, "R")
    if faults := _contradictions(offers, requests):
        raise DataFaults("The offers and requests contradict each other", faults)
    given, had = _promised(offers, requests, confirmed)
    unknown = [name for name in settings.permitted if name not in {offer.id for offer in offers}]
    if unknown:
        raise UnknownName("offer", unknown[0], sorted(offer.id for offer in offers)[:3], where="permitted")
    far = settings.max_km is not None or any(request.max_km is not None for request in requests)
    home = region_of_code(settings.region)
    if settings.region is None and settings.site is not None and settings.site.place:
        found = place_found(settings.site.place)
        home = region_of_place(found.country, found.region) if found else NOWHERE
    rights = rights_of(catalog.evidence(), settings.on)
    years = {
        (str(crop), str(variety)): year
        for crop, variety, year in catalog.varieties()[["crop", "variety", "year"]].itertuples(
            index=False, name=None
        )
    }
    names = Names(catalog)
    names.learn(
        [
            *((offer.variety, offer.crop) for offer in offers),
            *((name, "") for one in requests for name in (*one.varieties, *one.existing_trees)),
        ]
    )
    desk_offers = [
        _offer(offer, offer.count - given[offer.id], names, settings, rights, years, home, far)
        for offer in offers
    ]
    brought: dict[str, set[tuple[str, str]]] = {}
    for one in desk_offers:
        if one.variety[1]:
            brought.setdefault(one.person, set()).add(one.variety)
    sites = Sites(catalog, {one.variety[0] for one in desk_offers if one.variety[1]} or {"apple"})
    stocks = Stocks(catalog)
    takers = [
        _taker(request, request.take - had[request.id], catalog, names, settings, sites, stocks, home, far)
        for request in requests
    ]
    return Desk(
        offers=desk_offers,
        takers=takers,
        brought={person: frozenset(found) for person, found in brought.items()},
        sites=sites,
        stocks=stocks,
        movement=Movement(catalog.cautions()),
        distances_matter=far,
        max_km=settings.max_km,
        confirmed=tuple(confirmed),
    )


def _where(entry: Offer | Request, home: Region, far: bool) -> tuple[Region, tuple[float, float] | None]:
    match = place_found(entry.place) if entry.place else None
    region = home
    if entry.region:
        region = region_of_code(entry.region)
    elif match:
        region = region_of_place(match.country, match.region)
    if match is None and far and entry.area:
        match = place_found(entry.area)
        # An area called like a town abroad is not that town.
        if (
            match
            and region.country
            and region_of_place(match.country, match.region).country != region.country
        ):
            match = None
    return region, (match.lat, match.lon) if match else None


def _offer(
    offer: Offer,
    left: int,
    names: Names,
    settings: SwapSettings,
    rights: dict[tuple[str, str], Right],
    years: dict[tuple[str, str], Any],
    home: Region,
    far: bool,
) -> Resolved[Offer]:
    region, at = _where(offer, home, far)
    person = person_key(offer.person)
    stopped: dict[str, Any] = {"entry": offer, "person": person, "region": region, "at": at, "left": left}
    read = names.read(offer.variety, offer.crop)
    if read.decision != "decided":
        told = "Its name needs a look" if read.decision == "review" else "Its name is not known"
        return Resolved(
            **stopped,
            stop="name",
            says=f"{told}: {read.says}",
            frees=read.remedy or "Correct the name, or name the fruit",
            doubts=(read.doubt("offer", offer.id),),
        )
    variety = stopped["variety"] = read.variety
    if offer.available_from and settings.on < offer.available_from:
        return Resolved(
            **stopped,
            stop="day",
            says=f"It is available from {offer.available_from} only",
            frees="Another day",
        )
    if offer.available_until and settings.on > offer.available_until:
        return Resolved(
            **stopped, stop="day", says=f"It was available until {offer.available_until}", frees="Another day"
        )
    right = rights.get(variety)
    if right and right.state == "held" and offer.id not in settings.permitted:
        bought = (
            " A plant bought from a licensed grower can often be passed on." if offer.kind == "plant" else ""
        )
        return Resolved(
            **stopped,
            stop="rights",
            says=right.says,
            frees=f"The organiser confirms that the owner of the right allows it.{bought}",
        )
    minds = right.says if right and right.state in ("over", "name only") else ""
    if right and right.state == "held":
        minds = f"{right.says}; the organiser confirmed permission"
    if right is None:
        minds = recent(years.get(variety), settings.on)
    return Resolved(**stopped, minds=". ".join(text.rstrip(".") for text in (read.says, minds) if text))


def _taker(
    request: Request,
    left: int,
    catalog: Catalog,
    known: Names,
    settings: SwapSettings,
    sites: Sites,
    stocks: Stocks,
    home: Region,
    far: bool,
) -> Taker:
    region, at = _where(request, home, far)
    notes: list[str] = []
    doubts: list[Doubt] = []
    frees: list[str] = []

    def looked_up(names: Sequence[str], what: str) -> tuple[tuple[str, str], ...]:
        found = []
        for name in names:
            read = known.read(name)
            if read.decision == "decided":
                found.append(read.variety)
                notes.extend([read.says] if read.says else [])
                continue
            notes.append(f"{what}: {read.says}")
            frees.append(read.remedy or "Correct the names")
            doubts.append(read.doubt("request", request.id))
        return tuple(dict.fromkeys(found))

    wished = looked_up(request.varieties, "Wish left out")
    trees = looked_up(request.existing_trees, "Tree left out")
    crops = []
    for name in request.crops:
        try:
            crops.append(catalog.resolve_crop(name))
        except OrchardwrightError as error:
            notes.append(f"Wish left out: {error}")
            frees.append("Correct the names")
    held: Counter[str] = Counter()
    for name, count in stocks_at_hand(request.rootstocks).items():
        stock = stocks.named(name)
        if stock is None:
            notes.append(f"Rootstock left out: “{name}” is not in the catalog")
            frees.append("Correct the name of the rootstock")
        else:
            held[stock] += count
    site = request.site(settings.site)
    understood, fault = ({}, "Nothing says where it would grow") if site is None else sites.understood(site)
    if request.lat is not None and request.lon is not None:
        at = (request.lat, request.lon)
    asked = bool(request.varieties or request.crops)
    nothing_left = asked and not wished and not crops
    return Taker(
        entry=request,
        person=person_key(request.person),
        region=region,
        at=at,
        left=left,
        stop="name" if nothing_left and not request.uses else "",
        says=". ".join(note.rstrip(".") for note in notes) if nothing_left else "",
        minds="; ".join(notes),
        frees="; ".join(dict.fromkeys(frees)),
        doubts=tuple(doubts),
        wished=wished,
        crops=tuple(dict.fromkeys(crops)),
        trees=trees,
        stocks=tuple(sorted(held.items())),
        site=site,
        site_fault=fault,
        hemisphere="south" if understood.get("hemisphere") == "south" else "north",
    )
