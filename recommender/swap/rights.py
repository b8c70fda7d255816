"""Whether a variety may be propagated: patents, breeders' rights and trademarks, as the evidence has them.

In: the evidence rows of the trait `rights`, with their notes. Out: one `Right` for each variety. A right
whose end the evidence does not allow to be worked out counts as held.

Terms: a US plant patent lasts 20 years from filing (cautions table, idiots-guide-inventions); breeders'
rights on trees 25 years under UPOV and 30 in the EU (giblerundpoth-pvr), the longer is taken. Patent numbers
rise with the day of issue, so a patent is no younger than any patent of a higher number whose year of issue
the evidence states.
"""

from __future__ import annotations

import calendar
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Literal

import pandas as pd

from recommender.wording import day_words, missing

State = Literal["free", "held", "over", "name only", "not recorded"]
PATENT_YEARS = 20
BREEDERS_RIGHT_YEARS = 30
RECENT_YEARS = 30

_NUMBER = re.compile(r"(?:PP|Pat\.|plant patent|US)\s?(\d{1,2},?\d{3})\b(?!/)", re.IGNORECASE)
_ISSUED = re.compile(
    r"(?:PP|plant patent |US )\s?(\d{1,2},?\d{3})\s*(?:of|issued|\()\s*((?:19|20)\d\d)", re.IGNORECASE
)
_OVER = re.compile(
    r"\b(?:term|patents?|status)\b[^,;]*\b(?:over|lapsed|expired)\b|^expired\b|\bexpired\b;", re.I
)
_DAY = re.compile(r"expir\w*\s+((?:19|20)\d\d-\d\d-\d\d)")
_MONTHS = "jan feb mar apr may jun jul aug sep oct nov dec".split()  # noqa: SIM905
_MONTH = re.compile(r"\b(?:to|ends)\s+([a-z]{3})[a-z]*\s+(20\d\d)", re.IGNORECASE)
_FILED = re.compile(r"\bfiled\b[^;,]*?((?:19|20)\d\d)", re.IGNORECASE)
_APPLICATION = re.compile(r"\b(20\d\d)/\d{6,7}\b|\bapplication published (20\d\d)", re.IGNORECASE)
_REGISTERED = re.compile(r"\bregistration\b[^;,]*\bof\s+((?:19|20)\d\d)", re.IGNORECASE)


@dataclass(frozen=True)
class Right:
    """state: free, held, over, name only (a trademark that limits labels) or not recorded. until: the last
    day it can hold, None where not known. says: one sentence."""

    state: State
    says: str
    until: date | None = None


NOT_RECORDED = Right("not recorded", "")


def _number(text: str) -> int:
    return int(text.replace(",", ""))


def issue_years(notes: pd.Series) -> dict[int, int]:
    """US plant patent number -> year of issue, wherever a note states both."""
    found: dict[int, int] = {}
    for note in notes.dropna():
        for number, year in _ISSUED.findall(str(note)):
            found[_number(number)] = int(year)
    return found


def issued_by(number: int, years: Mapping[int, int]) -> int | None:
    """The latest year in which the patent can have been issued; None where no higher number is dated.

    >>> issued_by(11392, {12357: 2002, 15159: 2004})
    2002
    """
    return min((year for known, year in years.items() if known >= number), default=None)


def last_day(value: str, note: str, years: Mapping[int, int]) -> date | None:
    """The last day a right can hold by what its note says; None where the note does not say enough."""
    if found := _DAY.search(note):
        return date.fromisoformat(found[1])
    if (found := _MONTH.search(note)) and found[1].lower() in _MONTHS:
        month, year = _MONTHS.index(found[1].lower()) + 1, int(found[2])
        return date(year, month, calendar.monthrange(year, month)[1])
    if value == "patented":
        if found := _FILED.search(note):
            return date(int(found[1]) + PATENT_YEARS, 12, 31)
        if found := _APPLICATION.search(note):
            return date(int(found[1] or found[2]) + PATENT_YEARS, 12, 31)
        if found := _NUMBER.search(note):
            issued = issued_by(_number(found[1]), years)
            return None if issued is None else date(issued + PATENT_YEARS, 12, 31)
    if value == "pbr" and (found := _REGISTERED.search(note)):
        return date(int(found[1]) + BREEDERS_RIGHT_YEARS, 12, 31)
    return None


def _one(value: str, note: str, source: str, years: Mapping[int, int], today: date) -> Right:
    name = {"patented": "a plant patent", "pbr": "breeders' rights", "trademark": "a trademark"}.get(
        value, value
    )
    cited = f" ({note or 'no detail given'}) [{source}]"
    if value == "free":
        return Right("free", f"Recorded as free to propagate{cited}")
    if value == "trademark":
        if _OVER.search(note):
            return Right("name only", f"The name is a trademark; label it with its variety name{cited}")
        return Right("held", f"Sold under a trademark or licence{cited}")
    if _OVER.search(note):
        return Right("over", f"Its US patent has ended; breeders' rights elsewhere may not have{cited}")
    end = last_day(value, note, years)
    if end is not None and end < today:
        ended = f"Its {name.removeprefix('a ')} ended by {_said(end)}; rights elsewhere may not have{cited}"
        return Right("over", ended, end)
    until = f" until {_said(end)} at the latest" if end else "; the evidence does not say until when"
    return Right("held", f"Protected by {name}{until}{cited}", end)


def _said(end: date) -> str:
    return f"{day_words(f'{end.month:02d}-{end.day:02d}')} {end.year}"


_WEIGHT: dict[str, int] = {"held": 0, "name only": 1, "over": 2, "free": 3}


def rights_of(evidence: pd.DataFrame, today: date) -> dict[tuple[str, str], Right]:
    """(crop, variety) -> Right, for each variety with evidence on rights; the strictest statement counts.

    evidence: `Catalog.evidence()`; only rows of the trait `rights` are read.
    """
    rows = evidence.loc[evidence["trait"].eq("rights"), ["crop", "variety", "value", "source_id", "note"]]
    years = issue_years(rows["note"])
    found: dict[tuple[str, str], Right] = {}
    for crop, variety, value, source, note in rows.itertuples(index=False, name=None):
        right = _one(str(value), "" if missing(note) else str(note), str(source), years, today)
        key = (str(crop), str(variety))
        if key not in found or _WEIGHT[right.state] < _WEIGHT[found[key].state]:
            found[key] = right
    return found


def recent(year: object, today: date) -> str:
    """A caution for a variety young enough to be protected although nobody recorded a right; "" otherwise."""
    if missing(year) or not isinstance(year, (int, float)) or today.year - float(year) > RECENT_YEARS:
        return ""
    return (
        f"Raised in {int(year)}; whether breeders' rights or a patent hold is not recorded here, so "
        "ask before it is propagated"
    )
