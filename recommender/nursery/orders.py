"""Back orders read: who waits for which variety, how many, with what priority, what else they accept, and
where.

In comes a table (`stock_files.read_table` with `ORDERS`) and a catalog; out come `Orders`: one row a line. A
line that cannot be served as it stands (unknown variety, no count) stays in the list with the reason; the
others are served.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, get_args

import pandas as pd

from recommender.errors import OrchardwrightError
from recommender.nursery.decisions import Decisions
from recommender.nursery.names import read_stock
from recommender.nursery.stock_files import ORDERS, Table, numbered
from recommender.nursery.stock_line import parse_count, why_no_count
from recommender.suitability.goals import Use
from recommender.wording import crop_in_sentence, list_words

if TYPE_CHECKING:
    from recommender.catalog.catalog import Catalog
    from recommender.suitability.site import Site

COLUMNS = (
    "line", "order", "customer", "text", "crop", "variety", "rootstock", "count", "priority", "crops",
    "site", "trees",
    "uses", "confidence", "decision", "problem",
)  # fmt: skip
PRIORITY_WORDS = {
    "high": 1, "first": 1, "urgent": 1, "a": 1, "normal": 2, "usual": 2, "medium": 2, "b": 2, "low": 3,
    "last": 3, "c": 3,
}  # fmt: skip
USUAL_PRIORITY = 2
_USE_WORDS: dict[str, Use] = {
    "fresh": "fresh", "eating": "fresh", "dessert": "fresh", "eating fresh": "fresh", "fresh eating": "fresh",
    "table": "fresh", "eater": "fresh", "eaters": "fresh", "tafelobst": "fresh", "cooking": "cooking",
    "culinary": "cooking", "cooker": "cooking", "cookers": "cooking", "baking": "cooking", "pies": "cooking",
    "cider": "cider", "perry": "cider", "most": "cider", "juice": "juice", "juicing": "juice",
    "pressing": "juice", "saft": "juice", "canning": "canning", "bottling": "canning",
    "preserving": "canning", "jam": "jam", "jelly": "jam", "jams": "jam", "drying": "drying",
    "dried": "drying", "oil": "oil",
    "storage": "storage", "keeping": "storage", "storing": "storage", "keeper": "storage",
}  # fmt: skip
"""Words of customers for what fruit is for -> the words of `Goals.uses` (common practice)."""
_LIST = re.compile(r"[|;,/+]|\band\b|\bor\b")
_SPARE = re.compile(r"[|;,]")


@dataclass(frozen=True, eq=False)
class Orders:
    """lines: one row an order line, columns COLUMNS; `problem` is empty where the line can be served.

    crops: tuple of crops accepted besides the one ordered; trees: (crop, variety) standing at the customer's;
    uses: what the fruit is for, in the words of `Goals.uses`. site: key into `sites`, "" if not known.
    faults: one sentence for each cell that could not be used.
    """

    lines: pd.DataFrame
    sites: Mapping[str, Site] = field(default_factory=dict)
    faults: tuple[str, ...] = ()
    mapping: Mapping[str, str] = field(default_factory=dict)


def read_orders(
    table: Table, catalog: Catalog, decisions: Decisions | None = None, site: Site | None = None
) -> Orders:
    """The order lines of a table. site: where every customer is taken to be whose line names no place."""
    from recommender.suitability.site import Site as ASite

    named = Table(
        frame=table.frame[[part for part in ("name", "rootstock") if part in table.frame]],
        rows=table.rows,
        mapping=table.mapping,
        file=table.file,
        faults=table.faults,
        notes=table.notes,
    )
    read = read_stock(named, catalog, decisions)
    by_line = {int(row["line"]): row for row in read.lines.to_dict("records")}
    faults = list(read.faults)
    sites: dict[str, Site] = {} if site is None else {"": site}
    bad_sites: dict[str, str] = {}
    rows: list[dict[str, Any]] = []
    for place, (number, cells) in enumerate(numbered(table)):
        found = by_line.get(number)
        if found is None:
            found = {
                "text": cells.get("name", ""),
                "decision": "unknown",
                "runners_up": "",
                "confidence": 0.0,
            }
        problem = _name_problem(found)
        count = parse_count(cells.get("count", "")) if cells.get("count") else None
        if count is None and not cells.get("count"):
            said = found.get("count", pd.NA)
            count = 1 if said is pd.NA or pd.isna(said) else int(said)
        unread = table.unread(place)
        if "count" in unread:
            problem, count = problem or "the number of trees could not be read", 0
        elif count is None or count <= 0:
            why = why_no_count(cells.get("count", ""), "is no whole number above nought")
            problem = problem or f"the number of trees {why}"
            faults.append(
                f"{table.where(place, 'count')}: the number “{cells.get('count', '')[:40]}” {why}; the line"
                f" is kept unfilled. Write how many trees"
            )
            count = 0
        priority = _priority(cells.get("priority", ""))
        if priority is None:
            faults.append(
                f"{table.where(place, 'priority')}: the priority “{cells['priority'][:40]}” is not 1, 2 or 3;"
                f" taken as {USUAL_PRIORITY}"
            )
            priority = USUAL_PRIORITY
        uses, other = _uses(cells.get("uses", ""))
        if other:
            faults.append(
                f"{table.where(place, 'uses')}: the use “{other[0][:40]}” is none of"
                f" {', '.join(get_args(Use))}; it is left out"
            )
        accepted, unknown = _resolved(cells.get("crops", ""), _LIST, catalog.resolve_crop)
        trees, strangers = _resolved(cells.get("trees", ""), _SPARE, catalog.resolve)
        faults += [f"{table.where(place, 'crops')}: {message}" for message in unknown]
        faults += [f"{table.where(place, 'trees')}: {message}" for message in strangers]
        key, wrong = _site(cells, sites, bad_sites, ASite, site is not None)
        if unread & {"site", "zone", "chill_hours"}:
            problem = problem or "the site could not be understood"
        if wrong:
            faults.append(
                f"{table.where(place, 'site' if cells.get('site') else 'zone')}: {wrong}"
                f" The line is not served, so that no tree is sent where it cannot live."
            )
            problem = problem or "the site could not be understood"
        rows.append(
            {
                "line": number,
                "order": cells.get("order") or str(number),
                "customer": cells.get("customer", ""),
                "text": found["text"],
                "crop": found.get("crop"),
                "variety": found.get("variety"),
                "rootstock": found.get("rootstock"),
                "count": count,
                "priority": priority,
                "crops": tuple(dict.fromkeys(accepted)),
                "site": key,
                "trees": tuple(dict.fromkeys(trees)),
                "uses": uses,
                "confidence": found["confidence"],
                "decision": found["decision"],
                "problem": problem,
            }
        )
    lines = pd.DataFrame(rows, columns=list(COLUMNS))
    return Orders(lines=lines, sites=sites, faults=tuple(faults), mapping=dict(table.mapping))


def _name_problem(found: Mapping[Any, Any]) -> str:
    if found["decision"] == "decided":
        return ""
    near = []
    for part in str(found.get("runners_up") or "").split(" | "):
        crop, mark, name = part.rsplit(" ", 1)[0].partition(":")
        if mark:
            near.append(f"{name} ({crop_in_sentence(crop)})")
    told = f"; nearest are {list_words(near)}" if near else ""
    return f"the variety “{str(found['text'])[:60]}” is not known for certain{told}"


def _uses(cell: str) -> tuple[tuple[Use, ...], list[str]]:
    """Uses a cell names, in the words of `Goals.uses`, and the words that are none."""
    words = [" ".join(word.casefold().split()) for word in _LIST.split(cell) if word.strip()]
    found = [_USE_WORDS[word] for word in words if word in _USE_WORDS]
    return tuple(dict.fromkeys(found)), [word for word in words if word not in _USE_WORDS]


def _priority(cell: str) -> int | None:
    text = cell.strip().casefold()
    if not text:
        return USUAL_PRIORITY
    if text in PRIORITY_WORDS:
        return PRIORITY_WORDS[text]
    return int(text) if text in ("1", "2", "3") else None


def _resolved(cell: str, parting: re.Pattern[str], resolve: Any) -> tuple[list[Any], list[str]]:
    found, messages = [], []
    for word in parting.split(cell):
        if word.strip():
            try:
                found.append(resolve(word.strip()))
            except OrchardwrightError as error:
                messages.append(f"{error} It is left out.")
    return found, messages


def _site(
    cells: Mapping[str, str], sites: dict[str, Site], bad: dict[str, str], site_of: Any, usual: bool
) -> tuple[str, str]:
    """Key of the line's site and what was wrong with it. A place that is not known is an error, never left
    out."""
    place, zone, chill = (cells.get(part, "").strip() for part in ("site", "zone", "chill_hours"))
    key = " ".join(filter(None, (place, zone and f"zone {zone}", chill and f"{chill} h")))
    if not key:
        return "", ""
    if key in bad:
        return key, bad[key]
    if key not in sites:
        try:
            made = (
                site_of(place=place)
                if place
                else site_of(zone=zone, chill_hours=float(chill) if chill else None)
            )
            from recommender.suitability.site import climate_of

            climate_of(made)
        except (OrchardwrightError, ValueError) as error:
            bad[key] = (
                str(error) if isinstance(error, OrchardwrightError) else f"“{chill}” is no number of hours."
            )
            return key, bad[key]
        sites[key] = made
    return key, ""


__all__ = ["COLUMNS", "ORDERS", "Orders", "read_orders"]
