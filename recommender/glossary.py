"""The words of the trade in plain language: what a grower reads first, the trade's term, what it means.

Nothing comes in; out go `TERMS`. Definitions are our own words; where a figure stands in one, its source is
named.
"""

from __future__ import annotations

from typing import NamedTuple


class Term(NamedTuple):
    """plain: as the pages say it; trade: the trade's word; meaning: one or two sentences; source: "" for
    common practice."""

    plain: str
    trade: str
    meaning: str
    source: str = ""


TERMS: tuple[Term, ...] = (
    Term(
        "winter chill",
        "chill hours, chill portions",
        "The cold a tree has to feel in winter before its buds will open evenly in spring. Chill"
        " hours count the hours between 0 and 7.2 °C; chill portions weigh mild and warm hours too,"
        " and serve better where winters are soft.",
        "Weinberger 1950; Fishman, Erez and Couvillon 1987 (Dynamic Model)",
    ),
    Term(
        "hardiness zone",
        "USDA zone",
        "How cold the coldest night of a usual year is, in steps of 10 °F, each halved into a and b."
        " It says whether a tree lives through winter, nothing about summer.",
        "USDA Plant Hardiness Zone Map",
    ),
    Term(
        "last spring frost, first autumn frost",
        "frost dates",
        "The last night of spring and the first of autumn at or below 0 °C. They move from year to"
        " year; the pages give the middle year and the span of eight years in ten.",
    ),
    Term(
        "pollen partner",
        "pollinator, pollenizer",
        "A second variety whose pollen makes the fruit set. It has to flower at the same time, stand"
        " within bee flight, and be of another kin.",
    ),
    Term(
        "sets fruit alone",
        "self-fertile",
        "Its own pollen is enough. A partner often still makes it bear more.",
    ),
    Term(
        "flowers together",
        "bloom group, pollination group",
        "Varieties are sorted by when they flower; those of the same group or the next meet in bloom."
        " The schemes of different countries do not match.",
    ),
    Term(
        "compatibility genes",
        "S-alleles",
        "Two varieties with the same pair of these genes cannot pollinate each other, however well"
        " they flower together.",
    ),
    Term(
        "three sets of chromosomes",
        "triploid",
        "Such a variety grows strongly but its pollen is poor: it needs partners and serves as none.",
    ),
    Term(
        "the root it is grafted on",
        "rootstock",
        "A variety is grafted on the root of another tree, which decides how tall it grows, how soon"
        " it bears and what ground it stands.",
    ),
    Term(
        "small, middling and tall trees",
        "dwarf, semi-dwarf, standard",
        "Sizes that a rootstock gives. Labels differ from nursery to nursery; metres do not.",
    ),
    Term(
        "cuttings for grafting",
        "scion wood",
        "One-year shoots cut in winter. Moving or growing them may be under plant-health or variety"
        " rights: ask the authority and the owner first.",
    ),
    Term(
        "time from blossom to picking",
        "bloom to harvest",
        "Days that a fruit needs to ripen. Warm summers shorten them.",
    ),
    Term(
        "a variety that changed by itself",
        "sport",
        "A branch that differs, grown on as a variety of its own: the same tree in most things, with"
        " redder or earlier fruit.",
    ),
    Term(
        "warmth of the season",
        "growing degree days",
        "Degrees above 10 °C added up day by day, which tells how much summer there is for fruit to ripen.",
    ),
    Term(
        "settled value",
        "consensus",
        "What the catalog makes of all the statements on one thing, papers and registers weighing"
        " more than catalogues.",
    ),
)
