"""A tree in a pot: size, holes, mix, weight and care, as `Step`s with their standing.

In come the pot's volume and the planting table; out go steps for the planting sheet. A balcony's or a roof's
strength is never judged here: an engineer or the owner decides.
"""

from __future__ import annotations

import math

from recommender import units as convert
from recommender.orchard.facts import Facts, mass_words, span_words, volume_words
from recommender.orchard.steps import Step, step_of
from recommender.wording import Units

SETTLING = 1.1
"""Mix to buy for each litre of pot, since it settles (common practice)."""
POT_SHARE = (0.06, 0.2)
"""Mass of the pot and its tree [kg per litre of pot]: a plastic pot with a young tree, a wooden tub with a
grown one (common practice)."""
FROST_CRACKS_BELOW_ZONE = 9.0


def container_steps(
    litres: float, facts: Facts, zone_number: float, citrus: bool = False, units: Units = "metric"
) -> list[Step]:
    """What to do for one tree in a pot of that volume [L]."""

    def step(
        topic: str, quantity: str, words: str, group: str | None = None, source: str | None = None
    ) -> Step:
        return step_of(topic, facts.get(quantity, group, source), words, units)

    dry, wet = container_mass(litres, facts)
    width = pot_width_m(litres)
    load = wet[1] / (math.pi / 4 * width**2)
    density = facts.get("substrate_bulk_density_saturated", "peat-based potting mix")
    steps = [
        Step(
            "Pot",
            volume_words(litres, litres, units),
            f"A pot of {volume_words(litres, litres, units)} is about "
            f"{span_words(width, width, units)} wide. Smallest that works: "
            f"{facts.get('container_volume', 'small fruit tree, lowest that works').words(units)}; final "
            f"pot of a dwarf tree: {facts.get('container_volume', 'dwarf fruit tree').words(units)}.",
            "published",
            "growingfruit-containers",
        ),
        step(
            "Drainage holes",
            "drainage_holes",
            "Make at least {} holes in a pot as wide as a half barrel.",
            "half barrel",
        ),
        step("Hole size", "drainage_hole_diameter", "Make each {} across.", "half barrel"),
        Step(
            "No gravel",
            "none",
            "No layer of gravel below: it lifts the wet zone into the roots.",
            "common practice",
        ),
        Step(
            "Mix",
            volume_words(litres * SETTLING, litres * SETTLING, units),
            f"Buy about {volume_words(litres * SETTLING, litres * SETTLING, units)} of potting mix; it "
            "settles.",
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
            f"{mass_words(*dry, units)} dry, {mass_words(*wet, units)} soaked",
            f"It weighs {mass_words(*dry, units)} with dry mix and {mass_words(*wet, units)} soaked, up to "
            f"{_load_words(load, units)} of its own footprint. "
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
            "Feed monthly from bud break to midsummer; water when the mix is dry to a finger's depth.",
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


def _load_words(kg_per_m2: float, units: Units) -> str:
    if units == "imperial":
        pounds = kg_per_m2 / convert.KILOGRAMS_PER_POUND * convert.METRES_PER_FOOT**2
        return f"{round(pounds)} lb on a square foot"
    return f"{round(kg_per_m2)} kg on a square metre"


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
