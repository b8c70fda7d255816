"""The care year of a planting: when to plant, water, mulch, cover, thin and pick, as dates and as a calendar
file.

In come a `Plan`, the site's climate and the planting table; out go `Event`s (with dates of real years), and
from them an iCalendar text (RFC 5545). docs/planting.md states each rule; published windows are named beside
the dates the site's own weather gives.
"""

from __future__ import annotations

import math
import uuid
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from recommender.climate.season import MIDSUMMER, MIDWINTER, Hemisphere, season_date, season_day
from recommender.orchard.facts import Facts
from recommender.orchard.plan import Harvest, Plan, PlannedTree
from recommender.orchard.windows import ROOTS_GROW_ABOVE_degC, fortnight_mean, planting_windows
from recommender.wording import crop_in_sentence, day_words, list_words, plain

if TYPE_CHECKING:
    from recommender.climate.profile import Profile

THINNED = (
    "apple",
    "european-pear",
    "asian-pear",
    "european-plum",
    "japanese-plum",
    "peach",
    "nectarine",
    "apricot",
    "plum-apricot",
    "quince",
)
"""Crops whose fruit is thinned (common practice)."""
THIN_AFTER_BLOOM_DAYS = (35, 50)
"""After the natural drop, five to seven weeks after full bloom (common practice)."""
FRUITLETS_OFF_AFTER_BLOOM_DAYS = (7, 35)
"""When fruitlets can be told from flowers and before they cost the tree much (common practice)."""
BEARS_AFTER_YEARS = (2, 5)
"""First crop where nobody has published when a kind bears (common practice)."""


@dataclass(frozen=True)
class Event:
    """One entry. first, last: real dates, both included. trees: names, empty for all of them. every_days: the
    task comes again within its span; yearly: the span comes again every year."""

    kind: str
    title: str
    first: date
    last: date
    words: str
    standing: str
    source_id: str = ""
    trees: tuple[str, ...] = ()
    every_days: int | None = None
    yearly: bool = False


def _on(day: float, harvest_year: int, hemisphere: Hemisphere) -> date:
    """Real date of a season day; the season starts the year before the harvest year."""
    start = date(harvest_year - 1, 7, 1) if hemisphere == "north" else date(harvest_year - 1, 1, 1)
    month, of_month = (int(part) for part in season_date(day, hemisphere).split("-"))
    near = start + timedelta(days=round(day))
    years = (near.year - 1, near.year, near.year + 1)
    return min((date(year, month, of_month) for year in years), key=lambda found: abs((found - near).days))


@dataclass
class Entries:
    """The events entered so far. planted, hemisphere: of the planting, as in `events`."""

    planted: int
    hemisphere: Hemisphere
    found: list[Event] = field(default_factory=list)

    def add(
        self,
        kind: str,
        title: str,
        first: float,
        last: float,
        words: str,
        standing: str,
        source: str = "",
        trees: Sequence[str] = (),
        year: int | None = None,
        every: int | None = None,
        yearly: bool = False,
    ) -> None:
        """Enter one event, from season day `first` to `last` of a harvest year (that of planting)."""
        of = self.planted if year is None else year
        begin, end = _on(first, of, self.hemisphere), _on(last, of, self.hemisphere)
        self.found.append(
            Event(kind, title, begin, max(begin, end), words, standing, source, tuple(trees), every, yearly)
        )


def events(plan: Plan, profile: Profile, facts: Facts, planted: int) -> list[Event]:
    """The entries from planting to the first crops, in order of date; thinning and picking begin in the year
    in which a tree's first crop is expected and come again every year.

    planted: the year in whose growing season the trees start (the harvest year of that season).
    """
    entries = Entries(planted, profile.hemisphere)

    evergreen = _evergreens(plan)
    for deciduous, names in (
        (True, [t for t in plan.trees if t.crop not in evergreen]),
        (False, [t for t in plan.trees if t.crop in evergreen]),
    ):
        if not names:
            continue
        for window in planting_windows(profile, facts, evergreen=not deciduous):
            title = f"Plant {'bare-root' if window.kind == 'bare-root' else 'potted'} trees"
            entries.add(
                "planting",
                title,
                window.first,
                window.last,
                window.why,
                window.standing,
                window.source_id,
                [plain(tree.variety) for tree in names],
            )
    _care(entries, profile, facts)
    _by_tree(entries, plan)
    return sorted(entries.found, key=lambda event: (event.first, event.last, event.title))


def _evergreens(plan: Plan) -> set[str]:
    return {tree.crop for tree in plan.trees if tree.evergreen}


def _care(entries: Entries, profile: Profile, facts: Facts) -> None:
    """Water, mulch, frost cover: the same for all trees of the first year."""
    hemisphere, middle = profile.hemisphere, MIDWINTER[profile.hemisphere]
    mean = fortnight_mean(profile)
    growing = np.flatnonzero(mean[middle:] > ROOTS_GROW_ABOVE_degC)
    start = float(middle + growing[0]) if len(growing) else float(middle + 90)
    midsummer = float(MIDSUMMER[hemisphere])
    water = facts.get("water_first_year_per_week")
    years = facts.get("establishment_period")
    amount = f"{water.words()} a week for each tree without rain ({water.standing}); {water.note}"
    entries.add(
        "water",
        "Water the new trees: spring",
        start,
        midsummer - 45,
        f"{amount}. Once a week where rain has not wetted the soil.",
        water.standing,
        water.source_id,
        every=7,
    )
    entries.add(
        "water",
        "Water the new trees: summer",
        midsummer - 44,
        midsummer + 45,
        f"{amount}. The upper figure, twice a week in heat and on sand. Keep it up for {years.words()}.",
        water.standing,
        water.source_id,
        every=7,
    )
    entries.add(
        "water",
        "Water the new trees: autumn",
        midsummer + 46,
        midsummer + 90,
        f"{amount}. The lower figure, until leaves fall.",
        water.standing,
        water.source_id,
        every=14,
    )
    depth, gap = facts.get("mulch_depth"), facts.get("mulch_gap_from_trunk")
    entries.add(
        "mulch",
        "Mulch",
        start,
        start + 21,
        f"{depth.words()} deep, {gap.words()} clear of the trunk ({gap.standing}).",
        depth.standing,
        depth.source_id,
    )
    frosts = profile.last_spring_frost[np.isfinite(profile.last_spring_frost)]
    if len(frosts):
        early, late = np.quantile(frosts, [0.1, 0.9])
        remove = facts.get("frost_cover_remove_above")
        entries.add(
            "frost",
            "Frost cover at hand",
            float(early),
            float(late),
            f"In two springs of ten the last frost comes before or after these dates. Cover on still, clear "
            f"nights; take covers off by day above {remove.words()}.",
            remove.standing,
            remove.source_id,
        )


def first_crop(tree: PlannedTree, planted: int) -> tuple[int, int]:
    """Years between which a tree's first crop is expected. planted: its first growing season.

    Where nobody has published how soon its kind bears, two to five years are taken (common practice).
    """
    low = BEARS_AFTER_YEARS[0] if tree.years_low is None else tree.years_low
    high = tree.years_high if tree.years_high is not None else max(low, BEARS_AFTER_YEARS[1])
    return planted + math.floor(low), planted + math.ceil(max(high, low))


def _by_tree(entries: Entries, plan: Plan) -> None:
    """Flowers off in the first season; thinning and picking from the first crop expected."""
    hemisphere = plan.hemisphere
    after = MIDWINTER[hemisphere]
    blooms = {
        plain(tree.variety): season_day(tree.bloom, hemisphere, after=after)
        for tree in plan.trees
        if tree.bloom is not None
    }
    if blooms:
        entries.add(
            "first season",
            "No crop yet: take the fruitlets off",
            min(blooms.values()) + FRUITLETS_OFF_AFTER_BLOOM_DAYS[0],
            max(blooms.values()) + FRUITLETS_OFF_AFTER_BLOOM_DAYS[1],
            "In the season of planting roots come first: rub off whatever sets.",
            "common practice",
            trees=list(blooms),
        )
    for tree in plan.trees:
        name = plain(tree.variety)
        early, late = first_crop(tree, entries.planted)
        when = f"in {early}" if early == late else f"between {early} and {late}"
        if tree.bloom is not None and tree.crop in THINNED:
            at = blooms[name]
            entries.add(
                "thinning",
                f"Thin {name}",
                at + THIN_AFTER_BLOOM_DAYS[0],
                at + THIN_AFTER_BLOOM_DAYS[1],
                "After the natural drop leave one fruit a spur or a hand apart.",
                "common practice",
                trees=[name],
                year=early,
                yearly=True,
            )
        if tree.harvest is not None:
            first = season_day(tree.harvest.first, hemisphere, after=after)
            last = season_day(tree.harvest.last, hemisphere, after=first)
            entries.add(
                "harvest",
                f"Pick {name} ({crop_in_sentence(tree.crop)})",
                first,
                last,
                f"The first crop is expected {when}. {_picking(tree.harvest)}",
                "estimated",
                trees=[name],
                year=early,
                yearly=True,
            )


def _picking(harvest: Harvest) -> str:
    told = "The usual year of this site; go by the fruit."
    if harvest.early is not None and harvest.late is not None:
        told += (
            f" An early year begins about {day_words(harvest.early)}, a late one ends about "
            f"{day_words(harvest.late)}."
        )
    if harvest.error_d is not None:
        told += f" Give or take {round(harvest.error_d)} days."
    if harvest.store_weeks:
        told += f" Keeps about {round(harvest.store_weeks)} weeks in a cool store."
    return told


def ical_text(events_: Sequence[Event], name: str, made: datetime | None = None) -> str:
    """The events as an iCalendar file (RFC 5545): one VEVENT each, whole days, DTEND not included.

    A weekly task repeats by RRULE. UIDs are made of the content, so that a calendar read twice does not
    double its entries. made: time stamp, now if not told.
    """
    import icalendar

    stamp = made if made is not None else datetime.now(UTC).replace(microsecond=0)
    calendar = icalendar.Calendar()
    calendar.add("prodid", "-//Orchardwright//Planting calendar//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("x-wr-calname", plain(name))
    for event in events_:
        entry = icalendar.Event()
        key = f"{event.kind}|{event.title}|{event.first}|{event.last}|{'|'.join(event.trees)}"
        entry.add("uid", f"{uuid.uuid5(uuid.NAMESPACE_URL, key)}@orchardwright")
        entry.add("dtstamp", stamp)
        entry.add("summary", plain(event.title))
        trees = f"For {list_words(event.trees)}. " if event.trees else ""
        source = f" Source: {event.source_id}." if event.source_id and event.source_id != "memory" else ""
        entry.add("description", f"{trees}{plain(event.words)} ({event.standing}).{source}")
        entry.add("categories", [event.kind])
        entry.add("transp", "TRANSPARENT")
        entry.add("dtstart", event.first)
        if event.every_days:
            entry.add("dtend", event.first + timedelta(days=1))
            entry.add("rrule", {"freq": "daily", "interval": event.every_days, "until": event.last})
        else:
            entry.add("dtend", event.last + timedelta(days=1))
            if event.yearly:
                entry.add("rrule", {"freq": "yearly"})
        calendar.add_component(entry)
    return calendar.to_ical().decode("utf-8")
