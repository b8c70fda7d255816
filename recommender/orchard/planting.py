"""How to plant what was chosen: hole, mound, graft union, backfill, mulch, water, stake, pot, with cautions.

In come a `Plan`, the planting table, the cautions and the site's climate; out goes a `Sheet`: sentences with
figures, each with its standing and source, which `sheet_pdf` and `sheet_html` print. Figures come from
planting.csv; what has no published source says `common practice`. docs/planting.md lists them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from recommender.orchard.facts import Fact, Facts
from recommender.orchard.notes import notes_for
from recommender.orchard.plan import Plan, PlannedTree
from recommender.suitability.cautions import DEFERS, places_of
from recommender.wording import Units, list_words, number_words, plain

if TYPE_CHECKING:
    from recommender.climate.profile import Profile

MOUND_cm = (5, 10)
"""Height of the mound on heavy clay or wet ground (common practice)."""
WATER_IN_L = (10, 20)
"""To settle the soil on planting (common practice)."""
SETTLING = 1.1
"""Mix to buy for each litre of pot, since it settles (common practice)."""
POT_SHARE = (0.06, 0.2)
"""Mass of the pot and its tree [kg per litre of pot]: a plastic pot with a young tree, a wooden tub with a
grown one (common practice)."""
HOT_SUMMER_degC = 22.0
"""Mean of the warmest three months above which bark is shaded (common practice)."""
FROST_CRACKS_BELOW_ZONE = 9.0
TOPICS = ("utilities", "structural-load", "quarantine", "invasive", "propagation-rights")
DEFERS_ALSO = {
    "utilities": "Ask the utilities' locating service and your local code before you dig.",
    "propagation-rights": "Ask the nursery or the breeder before you propagate.",
    "ladder": "Follow the ladder's own instructions and local safety advice.",
}
_SEVERITY = {"stop": 0, "warning": 1, "info": 2}


@dataclass(frozen=True)
class Step:
    """One thing to do. value: the figure alone; words: the sentence; standing, source_id: of the figure."""

    topic: str
    value: str
    words: str
    standing: str
    source_id: str = ""


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


@dataclass(frozen=True)
class Sheet:
    """A planting sheet: the same steps for all, one line a tree, the cautions."""

    title: str
    place: str
    lines: tuple[TreeLine, ...]
    steps: tuple[Step, ...]
    cautions: tuple[Caution, ...]
    notes: tuple[str, ...]
    plan: Plan


def _step(topic: str, fact: Fact, words: str, units: Units) -> Step:
    return Step(topic, fact.words(units), words.format(fact.words(units)), fact.standing, fact.source_id)


def ground_steps(plan: Plan, facts: Facts, profile: Profile, units: Units = "metric") -> list[Step]:
    """What to do for trees in the ground, in the order of the work."""
    soil, wetness = str(plan.site.get("soil", "unknown")), str(plan.site.get("wetness", "unknown"))
    north = plan.hemisphere == "north"

    def step(
        topic: str, quantity: str, words: str, group: str | None = None, source: str | None = None
    ) -> Step:
        return _step(topic, facts.get(quantity, group, source), words, units)

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
            "Dig the hole {} of a bare-root tree across,",
            source="iastate-bare-root",
        ),
        step(
            "Hole width, potted", "planting_hole_width", "or {} of a potted one.", source="yuma-sun-planting"
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
                f"{low} to {high} cm",
                f"On heavy or wet ground plant on a broad mound {low} to {high} cm high.",
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
            f"{WATER_IN_L[0]} to {WATER_IN_L[1]} L",
            f"Water in with {WATER_IN_L[0]} to {WATER_IN_L[1]} L a tree, and firm gently.",
            "common practice",
        ),
        step("Mulch", "mulch_depth", "Mulch {} deep,"),
        step("Mulch gap", "mulch_gap_from_trunk", "and keep it {} from the trunk."),
        step(
            "First year",
            "water_first_year_per_week",
            "Give {} a week for each tree while no rain falls; more on sand and in heat.",
        ),
        step("Establishing", "establishment_period", "Keep watering for {}."),
        step("Unbranched trees", "heading_height_unbranched", "Cut an unbranched whip back to {}."),
    ]
    if float(pd.Series(profile.summer_mean).median()) > HOT_SUMMER_degC:
        steps.append(step("Shade the trunk", "trunk_whitewash", "Paint the trunk with {} against sunscald,"))
        steps.append(step("Shade until", "trunk_wrap_until", "or wrap it until {}."))
    return steps


def container_steps(
    litres: float, facts: Facts, zone_number: float, citrus: bool = False, units: Units = "metric"
) -> list[Step]:
    """What to do for one tree in a pot of that volume [L]."""

    def step(
        topic: str, quantity: str, words: str, group: str | None = None, source: str | None = None
    ) -> Step:
        return _step(topic, facts.get(quantity, group, source), words, units)

    dry, wet = container_mass(litres, facts)
    width = pot_width_m(litres)
    load = wet[1] / (math.pi / 4 * width**2)
    density = facts.get("substrate_bulk_density_saturated", "peat-based potting mix")
    steps = [
        Step(
            "Pot",
            f"{number_words(litres)} L",
            f"A pot of {number_words(litres)} L is about "
            f"{round(width * 100)} cm wide. Smallest that works: "
            f"{facts.get('container_volume', 'small fruit tree, lowest that works').words(units)}; final "
            f"pot of a dwarf tree: {facts.get('container_volume', 'dwarf fruit tree').words(units)}.",
            "published",
            "growingfruit-containers",
        ),
        step(
            "Drainage holes",
            "drainage_holes",
            "At least {} holes in a pot as wide as a half barrel,",
            "half barrel",
        ),
        step("Hole size", "drainage_hole_diameter", "each {} across.", "half barrel"),
        Step(
            "No gravel",
            "none",
            "No layer of gravel below: it lifts the wet zone into the roots.",
            "common practice",
        ),
        Step(
            "Mix",
            f"{number_words(litres * SETTLING)} L",
            f"Buy about {number_words(litres * SETTLING)} L of potting mix; it settles.",
            "common practice",
        ),
        step(
            "Mix pores",
            "air_filled_porosity_min",
            "At least {} of the mix should be air after draining.",
            "potting mix",
        ),
        step("Mix pH", "potting_mix_ph", "Mix with {}.", "potting mix"),
        Step(
            "Weight",
            f"{round(dry[0])} to {round(dry[1])} kg dry, {round(wet[0])} to {round(wet[1])} kg soaked",
            f"It weighs {round(dry[0])} to {round(dry[1])} kg with dry mix and {round(wet[0])} to "
            f"{round(wet[1])} kg soaked, up to {round(load)} kg on a square metre of its own footprint. "
            "A balcony or roof needs an engineer's or the owner's word first.",
            density.standing,
            density.source_id,
        ),
        step(
            "Repot",
            "container_step_up",
            "Every two to three years move it to a pot "
            + ("of {} of the old one." if citrus else "{} wider."),
            "citrus" if citrus else "all",
        ),
        Step(
            "Feed",
            "monthly in growth",
            "Feed monthly from bud break to midsummer; water when the top few centimetres are dry.",
            "common practice",
        ),
    ]
    if zone_number < FROST_CRACKS_BELOW_ZONE:
        steps.append(
            Step(
                "Frost",
                "no terracotta",
                "Terracotta and thin ceramic crack in frost: use wood, plastic or "
                "frost-proof stoneware, and keep roots from freezing through.",
                "common practice",
            )
        )
    return steps


def pot_width_m(litres: float) -> float:
    """Width of a round pot as high as it is wide [m].

    >>> round(pot_width_m(50.0), 2)
    0.4
    """
    return float((4.0 * litres / 1000.0 / math.pi) ** (1 / 3))


def container_mass(litres: float, facts: Facts) -> tuple[tuple[float, float], tuple[float, float]]:
    """((low, high) dry, (low, high) soaked) mass of pot, mix and young tree [kg], of bark or peat mixes."""
    dry = facts.get("substrate_bulk_density_dry", "bark, coir and peat mixes")
    soaked = facts.get("substrate_bulk_density_saturated", "peat-based potting mix")
    least, most = (share * litres for share in POT_SHARE)
    return (
        (dry.low * litres + least, dry.high * litres + most),
        (soaked.low * litres + least, soaked.high * litres + most),
    )


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
    return _step(
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
        if topic not in topics or (topic == "structural-load" and not pot):
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
    if any((tree.height_high_m or 0) > 2.5 for tree in plan.trees):
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
) -> Sheet:
    """Everything on one sheet. Raises BadInput where the planting table lacks a figure."""
    facts = Facts(planting)
    litres = plan.site.get("container_L")
    citrus = any(tree.evergreen for tree in plan.trees)
    steps = (
        container_steps(float(litres), facts, float(profile.zone_number), citrus, units)
        if litres is not None
        else ground_steps(plan, facts, profile, units)
    )
    return Sheet(
        title=title,
        place=plan.place,
        lines=tuple(_line(tree, facts, units) for tree in plan.trees),
        steps=tuple(steps),
        cautions=tuple(cautions_for(plan, cautions, country, region)),
        notes=tuple(notes_for(plan, units)),
        plan=plan,
    )


def _line(tree: PlannedTree, facts: Facts, units: Units) -> TreeLine:
    from recommender.wording import crop_in_sentence, day_words, length_words

    name = plain(tree.variety)
    if tree.grafted_with:
        name = f"{name} with {list_words(plain(other) for other in tree.grafted_with)} grafted on"
    picked = "no date known"
    if tree.harvest is not None:
        picked = f"{day_words(tree.harvest.first, units)} to {day_words(tree.harvest.last, units)}"
    height = "not known"
    if tree.height_high_m is not None:
        low = tree.height_low_m if tree.height_low_m is not None else tree.height_high_m
        height = f"{length_words(low, units)} to {length_words(tree.height_high_m, units)}"
    partners = [
        f"{plain(partner.variety)}{'' if partner.sure else ' (likely)'}" for partner in tree.pollinated_by[:3]
    ]
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
    )
