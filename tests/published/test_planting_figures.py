"""The planting figures the sheet prints, against what their sources print.

Numbers are those of the source named beside each, in the source's own unit, turned into ours.
"""

from __future__ import annotations

import pandas as pd
import pytest

from recommender.catalog.package import datasets_folder
from recommender.orchard.facts import Facts
from recommender.orchard.pots import container_mass

FACTS = Facts(pd.read_csv(datasets_folder() / "planting.csv"))
INCH_cm, FOOT_m, GALLON_L, POUND_kg, SQUARE_FOOT_m2 = 2.54, 0.3048, 3.785, 0.4536, 0.0929


@pytest.mark.parametrize(
    ("quantity", "group", "source", "low", "high", "unit"),
    [
        # Iowa State, bare-root trees: hole two to three times as wide as the roots; soak one to two hours.
        ("planting_hole_width", None, "iastate-bare-root", 2, 3, "x_root_spread"),
        ("root_soak_before_planting", None, "iastate-bare-root", 1, 2, "h"),
        # Yuma County: twice the container's width; a test hole empties within an hour.
        ("planting_hole_width", None, "yuma-sun-planting", 2, 2, "x_root_ball"),
        ("drainage_test_max", None, "yuma-sun-planting", 1, 1, "h"),
        # Utah State: graft union 3 to 4 inches above the soil; unbranched whips cut at 36 inches; hole of 24.
        (
            "graft_union_above_soil",
            "dwarfing-rootstock",
            "usu-bareroot-planting",
            3 * INCH_cm,
            4 * INCH_cm,
            "cm",
        ),
        ("heading_height_unbranched", None, "usu-bareroot-planting", 36 * INCH_cm, 36 * INCH_cm, "cm"),
        ("planting_hole_width", None, "usu-bareroot-planting", 24 * INCH_cm, 24 * INCH_cm, "cm"),
        # UF/IFAS Extension Alachua County: mulch kept at two to three inches.
        ("mulch_depth", None, "uf-alachua-mulch", 2 * INCH_cm, 3 * INCH_cm, "cm"),
        # Clemson Extension: mulch at least four inches from the trunk; W. Reeves, of fruit trees: six inches.
        ("mulch_gap_from_trunk", None, "clemson-mulch-radio", 4 * INCH_cm, 4 * INCH_cm, "cm"),
        ("mulch_gap_from_trunk", None, "reeves-mulch-fruit", 6 * INCH_cm, 6 * INCH_cm, "cm"),
        # Half barrel: five holes of an inch. A pot is stepped up by six inches.
        ("drainage_holes", "half barrel", "ehow-dwarf-pots", 5, 5, "count"),
        ("drainage_hole_diameter", "half barrel", "ehow-dwarf-pots", INCH_cm, INCH_cm, "cm"),
        ("container_step_up", "all", "ehow-dwarf-pots", 6 * INCH_cm, 6 * INCH_cm, "cm"),
        # Dwarf fruit trees: 15 to 20 gallons.
        ("container_volume", "dwarf fruit tree", "bhg-dwarf-fruit", 15 * GALLON_L, 20 * GALLON_L, "L"),
        # Taking Root: 10 ft from a building, 5 ft from paving, nothing above 25 ft near wires.
        ("distance_building", "tree up to 25 ft tall", "takingroot-placement", 10 * FOOT_m, 10 * FOOT_m, "m"),
        ("distance_paving_fence", "all", "takingroot-placement", 5 * FOOT_m, 5 * FOOT_m, "m"),
        ("overhead_line_tree_height_max", "all", "takingroot-placement", 25 * FOOT_m, 25 * FOOT_m, "m"),
        # SMU: 10 ft from underground lines, 4 ft below wires.
        ("distance_underground_line", "all", "smu-tree-planting", 10 * FOOT_m, 10 * FOOT_m, "m"),
        ("overhead_line_clearance", "all", "smu-tree-planting", 4 * FOOT_m, 4 * FOOT_m, "m"),
        # Septic fields: 10 ft at the least.
        ("distance_septic_drainfield", "all", "greenyplace-leach", 10 * FOOT_m, 10 * FOOT_m, "m"),
    ],
)
def test_figure_is_the_published_one(
    quantity: str, group: str | None, source: str, low: float, high: float, unit: str
) -> None:
    fact = FACTS.get(quantity, group, source)
    assert fact.standing == "published"
    assert fact.unit == unit
    assert fact.low == pytest.approx(low, rel=0.02)
    assert fact.high == pytest.approx(high, rel=0.02)


def test_a_figure_from_memory_says_so() -> None:
    for quantity in ("water_first_year_per_week", "trunk_whitewash"):
        assert FACTS.get(quantity).standing == "from memory"


def test_a_soaked_75_litre_pot_weighs_what_the_caution_says() -> None:
    # The structural-load caution (alred-2024-bulk-density): wet mix weighs about 1 kg a litre, and a 75 L pot
    # with its tree can pass 90 kg.
    (dry_low, dry_high), (low, soaked) = container_mass(75.0, FACTS)
    assert dry_low < dry_high < low < soaked
    assert soaked == pytest.approx(90.0, abs=2.0)
