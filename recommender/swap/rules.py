"""Rules that stop a hand-over whatever people wish: plant-health law by region, and the season for grafting.

In: the cautions table, the regions of giver and taker, dates. Out: sentences that name the rule and who
decides; an empty sentence where nothing stands in the way.
"""

from __future__ import annotations

from datetime import date
from typing import Literal

import pandas as pd

from recommender.climate.season import Hemisphere
from recommender.swap.borders import Region, area_name
from recommender.wording import day_words

DEFER = "Ask the plant-health authority; its current rule decides, not this table."
Direction = Literal["in", "out", "any"]
# Which way a quarantine of the cautions table works, by its source: into the region from outside, out of a
# part of it, or any movement. Read from the fact beside it; what is not listed stops any movement.
_DIRECTION: dict[str, Direction] = {
    "au-peq-apple-pear": "in",
    "tas-import-requirement-18": "in",
    "cfia-d-00-03": "in",
    "digger-filbert": "in",
    "wa-wac-16-474": "in",
    "defra-private-plants": "in",
    "hmrc-plants-into-gb": "in",
    "mpi-nursery-stock": "in",
    "defra-fireblight-zones": "in",
    "evira-protected-zones": "in",
    "ca-3-ccr-3250": "in",
    "az-r3-4-220": "in",
    "az-r3-4-229": "in",
    "fl-581-182": "in",
    "fl-5b-62-007": "any",
    "nappo-795": "out",
    "nappo-690": "out",
    "cdfa-301-76": "out",
    "hortknowledge-citrus-greening": "out",
    "greenhousemag-2008": "out",
}
# Where the source speaks of plants from some places only (by code, or by plant-health area).
_FROM: dict[str, frozenset[str]] = {
    "defra-private-plants": frozenset({"GB"}),
    "hmrc-plants-into-gb": frozenset({"EU"}),
}
# Places that a rule of entry lets through, by its source.
_NOT_FROM: dict[str, frozenset[str]] = {
    "ca-3-ccr-3250": frozenset({"US-AZ"}),
    "az-r3-4-229": frozenset({"US-CA"}),
    "evira-protected-zones": frozenset({"EE", "IE"}),
}
BORDER = (
    "Plants and scion wood that cross a plant-health border need a phytosanitary certificate, and some are "
    "banned (common practice under the International Plant Protection Convention)"
)
# What is told where plants go from one country of the EU's plant-health area to another.
_COMMON_AREA = "blw-swiss-eu"
# When dormant scion wood is handed over and grafted, and when buds are set in summer (month, day), in the
# north; half a year later in the south. Evergreens are worked while they grow. Common practice.
DORMANT_HANDOVER = ((12, 15), (5, 15))
DORMANT_CUT = ((11, 15), (3, 31))
BUDDING = ((7, 10), (9, 15))
EVERGREEN_WORK = ((3, 15), (9, 30))
DORMANT_KEEPS_DAYS = 150
BUDWOOD_KEEPS_DAYS = 7


class Movement:
    """The quarantines of a cautions table, asked crop by crop."""

    def __init__(self, cautions: pd.DataFrame) -> None:
        rows = cautions.loc[cautions["topic"].eq("quarantine")]
        self._rows = [
            (
                frozenset(str(crop).split("|")),
                frozenset(str(regions).split("|")),
                str(severity),
                str(fact),
                str(source),
            )
            for crop, regions, severity, fact, source in rows[
                ["crop", "regions", "severity", "fact", "source_id"]
            ].itertuples(index=False, name=None)
        ]
        self._asked: dict[tuple[str, Region, Region], tuple[str, str]] = {}

    def asked(self, crop: str, giver: Region, taker: Region) -> tuple[str, str]:
        """(what stops it, what to mind), a sentence or "" each, for a plant of the crop on its way."""
        key = (crop, giver, taker)
        if key not in self._asked:
            self._asked[key] = (self._stops(crop, giver, taker), self._minds(crop, giver, taker))
        return self._asked[key]

    def _stops(self, crop: str, giver: Region, taker: Region) -> str:
        for crops, regions, severity, fact, source in self._rows:
            if severity != "stop" or not (crops & {crop, "all"}) or not _concerned(source, giver):
                continue
            if "all" in crops and giver.area == taker.area:
                continue
            direction = _DIRECTION.get(source, "any")
            into, out = regions & taker.codes, regions & giver.codes
            if (
                (direction == "in" and into and not out)
                or (direction == "out" and out)
                or (direction == "any" and (into or out))
            ):
                return f"{fact.rstrip('.')} [{source}]. {DEFER}"
        if giver.area and taker.area and giver.area != taker.area:
            return f"{BORDER}: {area_name(giver)} to {area_name(taker)}. {DEFER}"
        return ""

    def _minds(self, crop: str, giver: Region, taker: Region) -> str:
        said = []
        if giver.area == taker.area == "EU" and giver.country != taker.country:
            said = [
                f"{giver.name} to {taker.name}: {fact.rstrip('.')} [{source}]"
                for _, _, _, fact, source in self._rows
                if source == _COMMON_AREA
            ]
        for crops, regions, severity, fact, source in self._rows:
            if severity == "warning" and crop in crops and regions & (giver.codes | taker.codes):
                said.append(f"{fact.rstrip('.')} [{source}]")
                break
        if not said and not (giver.country and taker.country):
            stopped = any(crop in crops and severity == "stop" for crops, _, severity, _, _ in self._rows)
            if stopped:
                said.append("Nobody said in which country it changes hands; some regions stop this fruit")
        return ". ".join([*said, DEFER]) if said else ""


def _concerned(source: str, giver: Region) -> bool:
    """The rule of this source speaks of plants from where the giver is."""
    where = giver.codes | {giver.area}
    origins = _FROM.get(source)
    if origins is not None and not origins & {giver.area}:
        return False
    return not (_NOT_FROM.get(source, frozenset()) & where)


def _in_season(on: date, span: tuple[tuple[int, int], tuple[int, int]], hemisphere: Hemisphere) -> bool:
    month = on.month if hemisphere == "north" else (on.month + 5) % 12 + 1
    start, end = span
    at = (month, on.day)
    return start <= at <= end if start <= end else at >= start or at <= end


def _span_words(span: tuple[tuple[int, int], tuple[int, int]], hemisphere: Hemisphere) -> str:
    ends = []
    for month, day in span:
        there = month if hemisphere == "north" else (month + 5) % 12 + 1
        ends.append(day_words(f"{there:02d}-{day:02d}"))
    return f"{ends[0]} to {ends[1]}"


def grafting_stop(on: date, cut_on: date | None, hemisphere: Hemisphere, evergreen: bool) -> str:
    """What keeps scion wood handed over on a day from being grafted; "" where it can be.

    >>> grafting_stop(date(2027, 2, 14), date(2027, 1, 20), "north", False)
    ''
    """
    age = None if cut_on is None else (on - cut_on).days
    if age is not None and age < 0:
        return "The wood is cut after the day of the swap"
    if evergreen:
        if not _in_season(on, EVERGREEN_WORK, hemisphere):
            return f"Evergreens are grafted while they grow, {_span_words(EVERGREEN_WORK, hemisphere)}"
        return _budwood(age)
    if _in_season(on, DORMANT_HANDOVER, hemisphere):
        if cut_on is not None and not _in_season(cut_on, DORMANT_CUT, hemisphere) and age != 0:
            return f"The wood was not cut in dormancy ({_span_words(DORMANT_CUT, hemisphere)})"
        if age is not None and age > DORMANT_KEEPS_DAYS:
            return f"The wood was cut {age} days before; kept cool it lasts about {DORMANT_KEEPS_DAYS}"
        return ""
    if _in_season(on, BUDDING, hemisphere):
        return _budwood(age)
    return (
        "The day of the swap is outside the grafting window: dormant wood "
        f"{_span_words(DORMANT_HANDOVER, hemisphere)}, buds {_span_words(BUDDING, hemisphere)}"
    )


def _budwood(age: int | None) -> str:
    if age is not None and age > BUDWOOD_KEEPS_DAYS:
        return f"The wood was cut {age} days before; buds in leaf last about {BUDWOOD_KEEPS_DAYS} days"
    return ""
