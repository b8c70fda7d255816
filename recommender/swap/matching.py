"""Who gets which plant: `match_swap`, from offers and requests to matches with reasons.

In: offers and requests (objects, or paths of CSV or XLSX tables), the settings of the event, what is
confirmed. Out: a `SwapResult`. Rules and worth are in `candidates`, the exact optimum in `assignment`, the
words in `explanations`; docs/swap-matching.md states the model.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from recommender.swap import explanations
from recommender.swap.assignment import NO_STOCK, Problem, Solution, greedy
from recommender.swap.candidates import Candidates, candidates, gains
from recommender.swap.explanations import Unmatched
from recommender.swap.offers import Doubt, Offer, Request
from recommender.swap.people import Confirmed, Desk, SwapSettings, look_up
from recommender.swap.reading import read_offers, read_requests
from recommender.swap.together import TIME_LIMIT_S, solve_together

if TYPE_CHECKING:
    from recommender.catalog.store import Catalog

Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Match:
    """One plant (or graft) from an offer to a request. offer, request: ids; giver, taker: nicknames; benefit
    in [0, 1]; reason: why; minds: what to mind; on: the rootstock it is grafted on, "" if none."""

    offer: str
    request: str
    count: int
    benefit: float
    reason: str
    minds: str
    giver: str
    giver_area: str
    taker: str
    taker_area: str
    crop: str
    variety: str
    kind: str
    on: str = ""
    confirmed: bool = False


@dataclass(frozen=True)
class SwapResult:
    """matches; unmatched: what is left over and why; rounds: people with at least 1, 2, ... plants;
    people: who asks; benefit: sum over all matches; proof: why nothing can do better; best_first: rounds and
    benefit of always taking the best match first, for comparison; notes: for the organiser; doubts: names
    that a person has to look at, never guessed."""

    matches: tuple[Match, ...]
    unmatched: tuple[Unmatched, ...]
    people: int
    rounds: tuple[int, ...]
    benefit: float
    proof: str
    best_first: dict[str, Any] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    doubts: tuple[Doubt, ...] = ()

    @property
    def served(self) -> int:
        """People who get at least one plant."""
        return self.rounds[0] if self.rounds else 0

    def record(self) -> dict[str, Any]:
        """The result as plain values: matches, unmatched, and the account of the whole."""
        return {
            "matches": [asdict(match) for match in self.matches],
            "unmatched": [asdict(one) for one in self.unmatched],
            "people": self.people,
            "served": self.served,
            "rounds": list(self.rounds),
            "benefit": self.benefit,
            "proof": self.proof,
            "best_first": self.best_first,
            "notes": list(self.notes),
            "doubts": [asdict(one) for one in self.doubts],
        }

    def frame(self) -> pd.DataFrame:
        """One row a match, the columns of `Match`."""
        return pd.DataFrame(
            [asdict(match) for match in self.matches], columns=list(Match.__dataclass_fields__)
        )


def match_swap(
    offers: Sequence[Offer] | Path | str,
    requests: Sequence[Request] | Path | str,
    *,
    settings: SwapSettings | None = None,
    confirmed: Sequence[Confirmed] = (),
    catalog: Catalog | None = None,
    search_s: float = TIME_LIMIT_S,
) -> SwapResult:
    """Match what is offered with what is asked for: first as many people as possible with one plant, then
    with two, and so on, then the greatest benefit; without touching what is confirmed.

    search_s [s]: how long to search for the best pairs of plants that pollinate each other; `proof` says
    whether that was enough, and `together` why that is a question.

    Raises DataFaults for tables that cannot be read or contradict themselves, BadInput for settings.
    """
    settings = settings if settings is not None else SwapSettings()
    if catalog is None:
        from recommender.catalog.store import open_catalog

        catalog = open_catalog()
    notes: list[str] = []
    if isinstance(offers, (str, Path)):
        table = read_offers(offers)
        offers, notes = table.entries, [*notes, *table.notes]
    if isinstance(requests, (str, Path)):
        asked = read_requests(requests)
        requests, notes = asked.entries, [*notes, *asked.notes]
    desk = look_up(offers, requests, catalog, settings, confirmed)
    found = candidates(desk, catalog, settings)
    problem, rows, piles = as_problem(desk, found)
    best, plain = solve_together(problem, settings.givers_first, search_s), greedy(problem)
    new, given, got = _new_matches(desk, found, best, problem, rows, piles)
    kept = [_kept(desk, match) for match in confirmed]
    return SwapResult(
        matches=(*kept, *new),
        unmatched=tuple(explanations.unmatched(desk, found, given, got)),
        people=len(problem.already),
        rounds=best.rounds,
        benefit=round(best.benefit + sum(match.benefit * match.count for match in kept), 4),
        proof=best.proof,
        best_first={
            "served": plain.rounds[0] if plain.rounds else 0,
            "rounds": list(plain.rounds),
            "benefit": round(plain.benefit + sum(match.benefit * match.count for match in kept), 4),
        },
        notes=(*notes, *_warnings(desk)),
        doubts=(
            *(doubt for offer in desk.offers for doubt in offer.doubts),
            *(doubt for taker in desk.takers for doubt in taker.doubts),
        ),
    )


def as_problem(desk: Desk, found: Candidates) -> tuple[Problem, Ints, list[tuple[int, str]]]:
    """The pairs nothing stops, as arrays; the row of `found` of each edge; the rootstock piles as (request,
    stock). Scion wood with several rootstocks to go on becomes one edge for each."""
    people = {person: k for k, person in enumerate(dict.fromkeys(taker.person for taker in desk.takers))}
    piles = {
        (request, stock): place
        for place, (request, stock) in enumerate(
            (request, stock) for request, taker in enumerate(desk.takers) for stock, _ in taker.stocks
        )
    }
    counts = [count for taker in desk.takers for _, count in taker.stocks]
    _use_up(desk, piles, counts)
    rows: list[int] = []
    stocks: list[int] = []
    for row in np.flatnonzero(found.stop == 0).tolist():
        offer = desk.offers[found.lots[int(found.lot[row])][0]]
        taker = desk.takers[int(found.request[row])]
        if offer.entry.kind != "scion wood" or taker.grafts_on_tree(offer.variety):
            rows.append(row)
            stocks.append(NO_STOCK)
            continue
        for stock in desk.stocks.fitting(taker, offer.variety):
            rows.append(row)
            stocks.append(piles[int(found.request[row]), stock])
    at = np.array(rows, dtype=np.int64)
    rise = gains(desk, found)
    gain_edge, of = _joined(at, rise.row)
    already = np.zeros(len(people), dtype=np.int64)
    by_id = {taker.entry.id: taker for taker in desk.takers}
    for match in desk.confirmed:
        already[people[by_id[match.request].person]] += match.count
    givers = {offer.person for offer in desk.offers}
    problem = Problem(
        lot=found.lot[at],
        request=found.request[at],
        variety=found.variety[at],
        stock=np.array(stocks, dtype=np.int64),
        benefit=found.benefit[at],
        lot_count=np.array([sum(desk.offers[o].left for o in lot) for lot in found.lots], dtype=np.int64),
        take=np.array([max(taker.left, 0) for taker in desk.takers], dtype=np.int64),
        person=np.array([people[taker.person] for taker in desk.takers], dtype=np.int64),
        already=already,
        gives=np.array([person in givers for person in people], dtype=bool),
        stock_count=np.array(counts, dtype=np.int64),
        gain_edge=gain_edge,
        gain_variety=rise.variety[of],
        gain=rise.gain[of],
    )
    return problem, at, list(piles)


def _joined(rows: Ints, wanted: Ints) -> tuple[Ints, Ints]:
    """Every pair of places (i, j) with rows[i] == wanted[j]; rows rise."""
    first, last = np.searchsorted(rows, wanted, "left"), np.searchsorted(rows, wanted, "right")
    many = last - first
    j = np.repeat(np.arange(len(wanted)), many)
    within = np.arange(many.sum()) - np.repeat(np.cumsum(many) - many, many)
    return np.repeat(first, many) + within, j


def _use_up(desk: Desk, piles: dict[tuple[int, str], int], counts: list[int]) -> None:
    """Take the rootstocks that confirmed grafts need off the piles."""
    offers = {offer.entry.id: offer for offer in desk.offers}
    place = {taker.entry.id: position for position, taker in enumerate(desk.takers)}
    for match in desk.confirmed:
        offer, position = offers[match.offer], place[match.request]
        taker = desk.takers[position]
        if offer.entry.kind != "scion wood" or taker.grafts_on_tree(offer.variety) or not offer.variety[1]:
            continue
        for _ in range(match.count):
            fitting = [piles[position, stock] for stock in desk.stocks.fitting(taker, offer.variety)]
            left = [pile for pile in fitting if counts[pile] > 0]
            if left:
                counts[left[0]] -= 1


def _new_matches(
    desk: Desk, found: Candidates, best: Solution, problem: Problem, rows: Ints, piles: list[tuple[int, str]]
) -> tuple[list[Match], Counter[int], dict[int, set[int]]]:
    """The chosen edges as matches; a lot's plants come from its offers in turn, the fullest first."""
    given: Counter[int] = Counter()
    got: dict[int, set[int]] = {}
    out = []
    more, mates = problem.gained(best.chosen), _mates(problem, best)
    for edge in np.flatnonzero(best.chosen).tolist():
        row = int(rows[edge])
        request = int(found.request[row])
        lot = found.lots[int(found.lot[row])]
        position = max(lot, key=lambda one: (desk.offers[one].left - given[one], -one))
        given[position] += 1
        got.setdefault(request, set()).add(int(found.variety[row]))
        offer, taker = desk.offers[position], desk.takers[request]
        stock = "" if problem.stock[edge] == NO_STOCK else piles[problem.stock[edge]][1]
        out.append(
            Match(
                offer=offer.entry.id,
                request=taker.entry.id,
                count=1,
                benefit=round(float(found.benefit[row] + more[edge]), 4),
                reason=explanations.reason(desk, found, row, stock, mates.get(edge)),
                minds=explanations.minds(found, row, offer.minds, offer.entry.health),
                giver=offer.entry.person,
                giver_area=offer.entry.area,
                taker=taker.entry.person,
                taker_area=taker.entry.area,
                crop=offer.variety[0],
                variety=offer.variety[1],
                kind=offer.entry.kind,
                on=stock,
            )
        )
    place = {taker.entry.id: position for position, taker in enumerate(desk.takers)}
    return sorted(out, key=lambda match: (place[match.request], -match.benefit, match.offer)), given, got


def _mates(problem: Problem, best: Solution) -> dict[int, int]:
    """Chosen edge -> the variety that arrives with it and gives it the most pollen."""
    has = np.zeros(int(problem.pair.max(initial=-1)) + 1, dtype=bool)
    has[problem.pair[best.chosen]] = True
    live = np.flatnonzero(best.chosen[problem.gain_edge] & has[problem.gain_pair])
    order = live[np.argsort(problem.gain[live], kind="stable")]
    return dict(zip(problem.gain_edge[order].tolist(), problem.gain_variety[order].tolist(), strict=True))


def _kept(desk: Desk, match: Confirmed) -> Match:
    offer = next(one for one in desk.offers if one.entry.id == match.offer)
    taker = next(one for one in desk.takers if one.entry.id == match.request)
    return Match(
        offer=match.offer,
        request=match.request,
        count=match.count,
        benefit=match.benefit,
        reason=match.reason or "Confirmed by the organiser.",
        minds=" ".join(f"{text.rstrip('.')}." for text in (offer.says, offer.minds) if text),
        giver=offer.entry.person,
        giver_area=offer.entry.area,
        taker=taker.entry.person,
        taker_area=taker.entry.area,
        crop=offer.variety[0],
        variety=offer.variety[1] or offer.entry.variety,
        kind=offer.entry.kind,
        confirmed=True,
    )


def _warnings(desk: Desk) -> list[str]:
    """Confirmed matches that a rule would stop today."""
    offers = {offer.entry.id: offer for offer in desk.offers}
    takers = {taker.entry.id: taker for taker in desk.takers}
    said = []
    for match in desk.confirmed:
        offer, taker = offers[match.offer], takers[match.request]
        stops = (
            offer.says if offer.stop else desk.movement.asked(offer.variety[0], offer.region, taker.region)[0]
        )
        if stops:
            said.append(
                f"{match.offer} to {match.request} is confirmed and kept, but a rule stops it now: {stops}"
            )
    return said
