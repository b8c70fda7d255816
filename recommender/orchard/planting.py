"""How to plant what was chosen: hole, mound, graft union, backfill, mulch, water, stake, pot, with cautions.

In come a `Plan`, the planting table, the cautions and the site's climate; out goes a `Sheet`: sentences with
figures, each with its standing and source, which `sheet_pdf` and `sheet_html` print. Figures come from
planting.csv; what has no published source says `common practice`. docs/planting.md lists them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from recommender.climate.season import season_date
from recommender.orchard.facts import Facts, date_span, span_words, volume_words
from recommender.orchard.notes import notes_for
from recommender.orchard.plan import Plan, PlannedTree
from recommender.orchard.pots import container_steps
from recommender.orchard.steps import Step, step_of
from recommender.orchard.windows import planting_windows
from recommender.suitability.cautions import DEFERS, places_of
from recommender.wording import (
    Units,
    crop_in_sentence,
    length_words,
    list_words,
    number_words,
    plain,
)

if TYPE_CHECKING:
    from recommender.climate.profile import Profile

MOUND_cm = (5, 10)
"""Height of the mound on heavy clay or wet ground (common practice)."""
WATER_IN_L = (10, 20)
"""To settle the soil on planting (common practice)."""
HOT_SUMMER_degC = 22.0
"""Mean of the warmest three months above which bark is shaded (common practice)."""
TOPICS = ("utilities", "structural-load", "quarantine", "invasive", "propagation-rights")
DEFERS_ALSO = {
    "utilities": "Ask the utilities' locating service and your local code before you dig.",
    "propagation-rights": "Ask the nursery or the breeder before you propagate.",
    "ladder": "Follow the ladder's own instructions and local safety advice.",
}
_SEVERITY = {"stop": 0, "warning": 1, "info": 2}


@dataclass(frozen=True)
class Caution:
    """One caution with who decides."""

    topic: str
    severity: str
    words: str
    standing: str
    source_id: str


@dataclass(frozen=True)
class TreeLine:
    """What differs from tree to tree."""

    name: str
    crop: str
    rootstock: str
    spacing: str
    height: str
    union: Step
    stake: Step
    partners: str
    picked: str
    bears_from: str
    place: str


@dataclass(frozen=True)
class Sheet:
    """A planting sheet: the same steps for all, one line a tree, the cautions. notes: what had to give.
    sources: identifier and title of each source used, in the order of their numbers."""

    title: str
    place: str
    lines: tuple[TreeLine, ...]
    steps: tuple[Step, ...]
    cautions: tuple[Caution, ...]
    notes: tuple[str, ...]
    plan: Plan
    units: Units = "metric"
    sources: tuple[tuple[str, str], ...] = ()

    def told_by(self, standing: str, source_id: str) -> str:
        """Standing with the number of its source: "published 2"."""
        numbers = [number for number, (name, _) in enumerate(self.sources, start=1) if name == source_id]
        return f"{standing}\N{NO-BREAK SPACE}{numbers[0]}" if numbers else standing

    @property
    def source_line(self) -> str:
        """The numbered sources in one line; empty without any."""
        return "; ".join(f"{number} {title}" for number, (_, title) in enumerate(self.sources, start=1))


def ground_steps(plan: Plan, facts: Facts, profile: Profile, units: Units = "metric") -> list[Step]:
    """What to do for trees in the ground, in the order of the work."""
    soil, wetness = str(plan.site.get("soil", "unknown")), str(plan.site.get("wetness", "unknown"))
    north = plan.hemisphere == "north"

    def step(
        topic: str, quantity: str, words: str, group: str | None = None, source: str | None = None
    ) -> Step:
        return step_of(topic, facts.get(quantity, group, source), words, units)

    steps = [
        step(
            "Before you dig",
            "locate_before_you_dig",
            "Have buried pipes and cables located before you dig, even for one small hole; it is {} in some "
            "places. Ask the utilities' locating service.",
        ),
        step("Sun", "sun_hours_min", "Choose a spot with at least {} of sun.", source="lasumida-bare-root"),
        step("Drainage", "drainage_test_max", "Fill a test hole with water: it should empty within {}."),
        step(
            "Soak",
            "root_soak_before_planting",
            "Soak bare roots for {}, never longer than a day.",
            source="iastate-bare-root",
        ),
        step(
            "Hole width",
            "planting_hole_width",
            "For a bare-root tree dig {} wide.",
            source="iastate-bare-root",
        ),
        step(
            "Hole width, potted",
            "planting_hole_width",
            "For a potted tree dig {} wide.",
            source="yuma-sun-planting",
        ),
        step(
            "Hole depth",
            "planting_hole_depth_rule",
            "No deeper than from the root flare to the lowest root, so that the tree cannot sink.",
            source="iastate-bare-root",
        ),
        step(
            "Root flare",
            "root_flare_position",
            "The flare, where the trunk widens into roots, stays {} or just above it.",
        ),
    ]
    if soil == "clay" or wetness == "wet":
        low, high = MOUND_cm
        steps.append(
            Step(
                "Mound",
                span_words(low / 100, high / 100, units),
                "On heavy or wet ground plant on a broad mound "
                f"{span_words(low / 100, high / 100, units)} high.",
                "common practice",
            )
        )
    side = "north-east" if north else "south-east"
    steps += [
        Step(
            "Turn the union",
            side,
            f"Turn the crook of the graft to the {side}, away from the afternoon sun.",
            "common practice",
        ),
        step(
            "Backfill",
            "backfill",
            "Fill with {} as it came out: no compost, no fertiliser, no gravel in the hole.",
        ),
        Step(
            "Water in",
            volume_words(*WATER_IN_L, units),
            f"Water in with {volume_words(*WATER_IN_L, units)} a tree, and firm gently.",
            "common practice",
        ),
        step("Mulch", "mulch_depth", "Mulch {} deep in a wide ring."),
        step("Mulch gap", "mulch_gap_from_trunk", "Keep it {} from the trunk."),
        step(
            "First year",
            "water_first_year_per_week",
            "Give {} a week for each tree while no rain falls; more on sand and in heat.",
        ),
        step("Establishing", "establishment_period", "Keep watering for {}."),
        step("Unbranched trees", "heading_height_unbranched", "Cut an unbranched whip back to {}."),
    ]
    if float(pd.Series(profile.summer_mean).median()) > HOT_SUMMER_degC:
        steps.append(step("Shade the trunk", "trunk_whitewash", "Paint the trunk with {} against sunscald."))
        steps.append(step("Shade until", "trunk_wrap_until", "Or wrap it until {}."))
    return steps


def union_step(tree: PlannedTree, facts: Facts, units: Units = "metric") -> Step:
    """How far the graft union stays above the soil; on its own roots there is none."""
    if not tree.rootstock:
        return Step(
            "Union",
            "ask",
            "Ask whether it is grafted; if so keep the union clear of the soil.",
            "common practice",
        )
    fact = facts.get("graft_union_above_soil", "dwarfing-rootstock")
    return step_of(
        "Union", fact, "Graft union {} above the soil: buried, the variety roots and dwarfing is lost.", units
    )


def stake_step(tree: PlannedTree) -> Step:
    """Stake or not, by the rootstock's published need; by the tree's height where nobody has published it."""
    said = {
        "permanent": ("for good", "Stake it for good: this rootstock anchors poorly."),
        "early": ("first years", "Stake it for the first years."),
        "none": ("none", "No stake, unless the spot is windy."),
    }.get(tree.staking)
    if said is not None:
        return Step("Stake", said[0], said[1], "published", "rootstocks.csv")
    small = tree.height_high_m is not None and tree.height_high_m <= 3.0
    word = "for good" if small else "first year if windy"
    return Step(
        "Stake", word, f"Nobody has published whether this stock needs a stake: {word}.", "common practice"
    )


def cautions_for(
    plan: Plan, table: pd.DataFrame, country: str, region: str, topics: Iterable[str] = TOPICS
) -> list[Caution]:
    """The cautions that concern the act of planting here, gravest first; one ladder caution of our own
    where a tree grows tall."""
    here = places_of(country, region)
    crops = {tree.crop for tree in plan.trees}
    pot = "container_L" in plan.site
    found = []
    for row in table.to_dict("records"):
        topic = str(row["topic"])
        if topic not in topics or (topic == "structural-load" and not pot) or (topic == "utilities" and pot):
            continue
        if topic == "propagation-rights" and str(row["severity"]) != "stop":
            continue
        regions = set(str(row["regions"]).replace(",", "|").split("|"))
        of_crop = str(row["crop"]) == "all" or bool(crops & set(str(row["crop"]).split("|")))
        if not (here & regions) or not of_crop:
            continue
        decides = DEFERS.get(topic, DEFERS_ALSO.get(topic, "Ask locally."))
        words = f"{plain(row['fact']).rstrip('.')}. {decides}"
        found.append(Caution(topic, str(row["severity"]), words, str(row["basis"]), str(row["source_id"])))
    if not pot and any((tree.height_high_m or 0) > 2.5 for tree in plan.trees):
        words = (
            "Pick and prune tall trees with both feet on the ground where you can; set a ladder on firm, "
            f"level ground and have someone by. {DEFERS_ALSO['ladder']}"
        )
        found.append(Caution("ladder", "warning", words, "common practice", ""))
    order = {topic: place for place, topic in enumerate((*topics, "ladder"))}
    return sorted(found, key=lambda caution: (_SEVERITY.get(caution.severity, 3), order[caution.topic]))


def planting_sheet(
    plan: Plan,
    planting: pd.DataFrame,
    cautions: pd.DataFrame,
    profile: Profile,
    *,
    country: str = "",
    region: str = "",
    title: str = "Planting sheet",
    units: Units = "metric",
    sources: Mapping[str, str] | None = None,
) -> Sheet:
    """Everything on one sheet. sources: title by identifier. Raises BadInput where the planting table lacks a
    figure."""
    facts = Facts(planting)
    litres = plan.site.get("container_L")
    citrus = any(tree.evergreen for tree in plan.trees)
    steps = (
        container_steps(float(litres), facts, float(profile.zone_number), citrus, units)
        if litres is not None
        else ground_steps(plan, facts, profile, units)
    )
    steps = [*when_steps(plan, facts, profile, units), *steps]
    cautioned = cautions_for(plan, cautions, country, region)
    used = dict.fromkeys([*(one.source_id for one in steps), *(one.source_id for one in cautioned)])
    return Sheet(
        title=title,
        place=_sentence(plan.place),
        lines=tuple(_line(tree, facts, units) for tree in plan.trees),
        steps=tuple(steps),
        cautions=tuple(cautioned),
        notes=tuple(notes_for(plan, units)),
        plan=plan,
        units=units,
        sources=tuple((name, plain((sources or {}).get(name, name))) for name in used if _is_source(name)),
    )


def _is_source(name: str) -> bool:
    return bool(name) and name != "memory" and not name.endswith(".csv")


def _sentence(place: str) -> str:
    """The place without the word that says how it was found."""
    words = plain(place).removeprefix("Took ")
    return words[:1].upper() + words[1:]


def when_steps(plan: Plan, facts: Facts, profile: Profile, units: Units = "metric") -> list[Step]:
    """When to plant here, for deciduous and for evergreen trees."""
    kinds = sorted({tree.evergreen for tree in plan.trees})
    out = []
    for evergreen in kinds:
        spans: dict[str, list[str]] = {}
        windows = planting_windows(profile, facts, evergreen)
        for window in windows:
            first, last = (season_date(day, profile.hemisphere) for day in (window.first, window.last))
            spans.setdefault(window.kind, []).append(date_span(first, last, units))
        told = "; ".join(f"{kind} {', or '.join(dates)}" for kind, dates in spans.items())
        if told:
            whom = " evergreens" if evergreen and len(kinds) > 1 else ""
            out.append(Step("When", told, f"Plant{whom}: {told}.", windows[0].standing, windows[0].source_id))
    return out


def _line(tree: PlannedTree, facts: Facts, units: Units) -> TreeLine:
    name = plain(tree.variety)
    if tree.grafted_with:
        name = f"{name} with {list_words(plain(other) for other in tree.grafted_with)} grafted on"
    picked = "no date known"
    if tree.harvest is not None:
        picked = date_span(tree.harvest.first, tree.harvest.last, units)
    height = "not known"
    if tree.height_high_m is not None:
        low = tree.height_low_m if tree.height_low_m is not None else tree.height_high_m
        height = span_words(low, tree.height_high_m, units)
    partners = [
        f"{plain(partner.variety)}{'' if partner.sure else ' (likely)'}" for partner in tree.pollinated_by[:3]
    ]
    place = ""
    if tree.x is not None and tree.y is not None:
        place = f"{length_words(tree.x, units)} right, {length_words(tree.y, units)} up"
    bears_from = "not known"
    if tree.years_low is not None:
        high = tree.years_high if tree.years_high is not None else tree.years_low
        years = dict.fromkeys((number_words(tree.years_low), number_words(high)))
        bears_from = f"after {' to '.join(years)} years" if list(years) != ["1"] else "after 1 year"
    bears = "bears alone" if "bears without a partner" in tree.pollination else "none"
    return TreeLine(
        name=name,
        crop=crop_in_sentence(tree.crop),
        rootstock=plain(tree.rootstock) or "own roots, or the nursery's usual",
        spacing=length_words(tree.spacing_m, units),
        height=height,
        union=union_step(tree, facts, units),
        stake=stake_step(tree),
        partners=list_words(partners) if partners else bears,
        picked=picked,
        bears_from=bears_from,
        place=place,
    )
