"""A swap in words: why each match, what stopped each plant or person left over, and what would free it.

In: the desk, the candidates and the matches made. Out: sentences. Nothing is decided here.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass

import numpy as np

from recommender.swap.candidates import STOPS, WISH_NAMES, Candidates
from recommender.swap.people import Desk, Taker
from recommender.wording import crop_in_sentence, crop_plural, list_words, number_words

MOST_REASONS = 3
_WISHED = {
    "named": "asked for by name",
    "fruit-and-use": "the fruit and the use they asked for",
    "fruit": "the fruit they asked for",
    "use": "good for the use they asked for",
    "fruit-use-unknown": "the fruit they asked for, its use not published",
    "anything": "they take anything",
    "fruit-other-use": "the fruit they asked for, though known for other uses",
}
# What stopped a pair, and what would free it.
_STOPPED = {
    "brought": "they brought the same variety",
    "promised": "the variety is promised to them already",
    "standing": "the variety stands there and was not asked for by name",
    "kind": "they asked for {asked} only",
    "law": "{law}",
    "site": "{site}",
    "ruled-out": "it is ruled out at their site by winter, chill or season",
    "window": "{window}",
    "no-stock": "no rootstock that takes it and no tree of the fruit stands ready",
    "too-far": "it is farther away than they would go",
}
_FREES = {
    "brought": "Somebody else with that variety or that wish",
    "promised": "A wish for another variety",
    "standing": "Asking for it by name",
    "kind": "Taking plants as well as scion wood, or the other way round",
    "law": "Nothing at this table; the plant-health authority may allow it with a certificate",
    "site": "A place, or hardiness zone and chill hours, beside the request",
    "ruled-out": "A hardier variety, or one with less chill need or an earlier season",
    "window": "Another day, or wood cut at the right time",
    "no-stock": "A rootstock for {crops}, or a tree of the fruit to graft on",
    "too-far": "A longer way, or the post",
}


@dataclass(frozen=True)
class Unmatched:
    """kind: offer or request; id, person; what: the variety or the wish; left: how many; stopped: what
    stopped it; frees: what would free it."""

    kind: str
    id: str
    person: str
    what: str
    left: int
    stopped: str
    frees: str


def reason(desk: Desk, found: Candidates, row: int, stock: str, mate: int | None = None) -> str:
    """Why a pair was matched: site, wish, pollen, graft, distance. mate: a variety that arrives with it and
    is its likeliest pollen partner."""
    said = [f"Suits the site at {found.suits[row]:.2f} of 1", _WISHED[WISH_NAMES[found.wish[row]]]]
    names = found.pollen.matrix.variety_of
    partner, serves = int(found.partner[row]), int(found.serves[row])
    if mate is not None:
        said.append(f"{found.pollen.name(mate)}, which comes with it, can pollinate it once both flower")
    elif partner >= 0:
        said.append(f"their {names[partner]} can pollinate it")
    elif found.fruit[row] < 0.8:
        said.append("it will need a pollen partner")
    if serves >= 0:
        said.append(f"it can pollinate their {names[serves]}")
    taker = desk.takers[int(found.request[row])]
    offer = desk.offers[found.lots[int(found.lot[row])][0]]
    if offer.entry.kind == "scion wood":
        where = stock or f"their own {crop_in_sentence(offer.variety[0])} tree"
        said.append(f"to graft on {where}")
    if not math.isnan(found.km[row]):
        said.append(f"{number_words(round(found.km[row]))} km away")
    text = f"{'; '.join(said)}."
    return f"{text} {taker.minds}." if taker.minds else text


def minds(found: Candidates, row: int, offer_minds: str, health: str) -> str:
    """What to mind with a match: rights, plant health, what the giver said of its health."""
    said = [offer_minds, found.law[int(found.law_of[row])][1]]
    if health:
        said.append(f"The giver says: {health}")
    return " ".join(f"{text.rstrip('.')}." for text in said if text)


def wish_words(taker: Taker) -> str:
    """What a request asks for, in a few words."""
    wishes = [variety for _, variety in taker.wished] + [crop_plural(crop) for crop in taker.crops]
    if not wishes:
        wishes = [*taker.entry.varieties, *taker.entry.crops] or ["anything"]
    uses = f" for {list_words(taker.entry.uses, 'or')}" if taker.entry.uses else ""
    return list_words(wishes, "or") + uses


def unmatched(
    desk: Desk, found: Candidates, given: Counter[int], got: dict[int, set[int]]
) -> list[Unmatched]:
    """Every offer with plants left and every request with room left.

    given: offer -> how many were matched; got: request -> the varieties matched to it (positions).
    """
    lot_of = {offer: lot for lot, members in enumerate(found.lots) for offer in members}
    by_lot, by_request = _rows_by(found.lot, len(found.lots)), _rows_by(found.request, len(desk.takers))
    out = []
    for position, offer in enumerate(desk.offers):
        left = offer.left - given[position]
        if left <= 0:
            continue
        stopped, frees = offer.says, offer.frees
        if not offer.stop:
            stopped, frees = _offer_left(desk, found, by_lot[lot_of[position]], offer.variety[0])
        what = offer.variety[1] or offer.entry.variety
        out.append(
            Unmatched(
                "offer", offer.entry.id, offer.entry.person, what, left, _closed(stopped), _closed(frees)
            )
        )
    for position, taker in enumerate(desk.takers):
        now = got.get(position, set())
        left = taker.left - len(now)
        if left <= 0:
            continue
        stopped, frees = taker.says, taker.frees
        if not taker.stop:
            stopped, frees = _request_left(desk, found, by_request[position], taker, now)
        entry = taker.entry
        out.append(
            Unmatched(
                "request", entry.id, entry.person, wish_words(taker), left, _closed(stopped), _closed(frees)
            )
        )
    return out


def _closed(text: str) -> str:
    """Text as a sentence: a capital in front, one mark at its end."""
    text = text.strip()
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "?")) or not text else ".")


def _rows_by(group: np.ndarray, size: int) -> list[np.ndarray]:
    order = np.argsort(group, kind="stable")
    return np.split(order, np.cumsum(np.bincount(group, minlength=size))[:-1]) if size else []


def _offer_left(desk: Desk, found: Candidates, rows: np.ndarray, crop: str) -> tuple[str, str]:
    if not len(rows):
        return "Nobody asked for it", f"Somebody who asks for it, for {crop_plural(crop)} or for anything"
    open_rows = rows[found.stop[rows] == 0]
    if len(open_rows):
        people = len(set(found.request[open_rows].tolist()))
        who = "The one whom it suits has" if people == 1 else f"All {people} whom it suits have"
        return (
            f"{who} as many as they have room or rootstocks for, or one of the variety",
            "Room for one more",
        )
    parts = []
    counts = Counter(found.stop[rows].tolist())
    for code, number in counts.most_common(MOST_REASONS):
        row = int(rows[found.stop[rows] == code][0])
        said = _fill(_STOPPED[STOPS[code]], desk, found, row)
        parts.append(f"for {number} request{'s' if number > 1 else ''}: {said}")
    first = counts.most_common(1)[0][0]
    return "; ".join(parts), _FREES[STOPS[first]].format(crops=crop_plural(crop))


def _request_left(
    desk: Desk, found: Candidates, rows: np.ndarray, taker: Taker, got: set[int]
) -> tuple[str, str]:
    had = taker.entry.take - taker.left + len(got)
    start = f"Has {had} of {taker.entry.take}. " if had else ""
    rows = rows[~np.isin(found.variety[rows], list(got))]
    if not len(rows):
        stopped = f"Nobody brought {'more of ' if had else ''}what was asked for"
        if taker.minds:
            stopped += f". {taker.minds.rstrip('.')}"
        return start + stopped, f"Somebody who brings {wish_words(taker)}, or a wider wish"
    open_rows = rows[found.stop[rows] == 0]
    if len(open_rows):
        best = open_rows[np.argsort(-found.benefit[open_rows], kind="stable")]
        names = list(dict.fromkeys(found.varieties[int(found.variety[row])][1] for row in best))
        if had:
            return (
                f"{start}What else would suit went where people have fewer or gain more, or is the same kind",
                f"One more of {list_words(names[:MOST_REASONS], 'or')}",
            )
        return (
            "What would suit is too few: it went where it serves as many people, and gains more",
            f"One more of {list_words(names[:MOST_REASONS], 'or')}",
        )
    parts = []
    counts = Counter(found.stop[rows].tolist())
    for code, _ in counts.most_common(MOST_REASONS):
        at = rows[found.stop[rows] == code]
        names = list(dict.fromkeys(found.varieties[int(found.variety[row])][1] for row in at))
        shown = list_words(names[:MOST_REASONS]) + (" and others" if len(names) > MOST_REASONS else "")
        parts.append(f"{shown}: {_fill(_STOPPED[STOPS[code]], desk, found, int(at[0]))}")
    first = counts.most_common(1)[0][0]
    crops = {found.varieties[int(found.variety[row])][0] for row in rows[found.stop[rows] == first]}
    frees = _FREES[STOPS[first]].format(crops=list_words([crop_plural(crop) for crop in sorted(crops)], "or"))
    return start + "; ".join(parts), frees


def _fill(text: str, desk: Desk, found: Candidates, row: int) -> str:
    lot, request = int(found.lot[row]), int(found.request[row])
    taker = desk.takers[request]
    return text.format(
        asked=list_words([f"{kind}s" if kind == "plant" else kind for kind in taker.entry.kinds], "or"),
        law=found.law[int(found.law_of[row])][0].rstrip("."),
        window=found.window.get((lot, taker.hemisphere), ""),
        site=taker.site_fault.rstrip("."),
    )
