"""The traits a variety can have: kind, unit, plausible range, floor of doubt and order of classes.

Comes in: nothing. Goes out: `TRAITS` (name -> `Trait`), `trait(name)` for any name, also `disease:<name>`.
The classes are those of the tables in datasets/; the floors are explained in docs/settling-evidence.md.
"""

from __future__ import annotations

from dataclasses import dataclass, field

NUMERIC, CATEGORY, SET, TEXT = "numeric", "category", "set", "text"


@dataclass(frozen=True)
class Trait:
    """One trait. `floor` is the half-width of doubt that remains even if three papers agree [unit]."""

    name: str
    kind: str
    unit: str = ""
    floor: float = 0.0
    least: float = float("-inf")
    most: float = float("inf")
    order: tuple[str, ...] = ()
    others: tuple[str, ...] = ()
    between: dict[str, tuple[str, str]] = field(default_factory=dict)
    date: bool = False
    whole: bool = False

    @property
    def classes(self) -> tuple[str, ...]:
        """All classes the trait may take; empty where any text may stand."""
        return (*self.order, *self.others)


SEASONS = ("very-early", "early", "mid", "late", "very-late")
_SEASONS_BETWEEN = {"early-mid": ("early", "mid"), "mid-late": ("mid", "late")}
LOW_TO_HIGH = ("low", "medium", "high")
DISEASE_CLASSES = (
    "very-susceptible",
    "susceptible",
    "moderately-susceptible",
    "moderately-resistant",
    "resistant",
    "immune",
)


def _numeric(name: str, unit: str, floor: float, least: float, most: float, *, date: bool = False) -> Trait:
    return Trait(name, NUMERIC, unit, floor, least, most, date=date)


def _ordered(name: str, order: tuple[str, ...], others: tuple[str, ...] = ()) -> Trait:
    return Trait(name, CATEGORY, order=order, others=others)


_ALL = (
    _numeric("zone_min", "USDA zone", 0.5, 1.0, 13.5),
    _numeric("zone_max", "USDA zone", 0.5, 1.0, 13.5),
    _numeric("min_survival_temp", "degC", 2.0, -60.0, 10.0),
    _numeric("chill_hours", "h", 100.0, 0.0, 2000.0),
    _numeric("chill_portions", "CP", 5.0, 0.0, 120.0),
    _numeric("chill_units", "CU", 100.0, 0.0, 2000.0),
    _numeric("bloom_offset", "d", 2.0, -60.0, 90.0),
    _numeric("ripening_offset", "d", 5.0, -150.0, 150.0),
    _numeric("harvest_start", "day of year", 7.0, 1.0, 365.0, date=True),
    _numeric("harvest_end", "day of year", 7.0, 1.0, 365.0, date=True),
    _numeric("bloom_to_harvest", "d", 7.0, 20.0, 400.0),
    _numeric("storage", "wk", 2.0, 0.0, 60.0),
    _numeric("mature_height", "m", 0.5, 0.3, 40.0),
    _numeric("bearing_years", "yr", 1.0, 0.0, 20.0),
    _numeric("brix", "degBx", 1.0, 4.0, 40.0),
    Trait("ploidy", NUMERIC, "sets of chromosomes", 0.0, 2.0, 8.0, whole=True),
    _numeric("heat_to_bloom", "GDH", 500.0, 0.0, 20000.0),
    _ordered(
        "self_fertility",
        ("self-sterile", "partly-self-fertile", "self-fertile"),
        ("parthenocarpic", "female", "male"),
    ),
    Trait("bloom_season", CATEGORY, order=SEASONS, between=_SEASONS_BETWEEN),
    Trait("ripening_season", CATEGORY, order=SEASONS, between=_SEASONS_BETWEEN),
    _ordered("vigour", ("weak", "medium", "strong", "very-strong")),
    _ordered("fruit_size", ("small", "medium", "large", "very-large")),
    _ordered("stone_freedom", ("cling", "semi", "free")),
    _ordered("yield_class", LOW_TO_HIGH),
    _ordered("frost_tolerance_bloom", LOW_TO_HIGH),
    _ordered("rain_cracking", LOW_TO_HIGH),
    _ordered("heat_need", LOW_TO_HIGH),
    _ordered("salt_tolerance", LOW_TO_HIGH),
    _ordered("pollen", ("sterile", "poor", "fertile")),
    _ordered("biennial", ("no", "slight", "yes")),
    *(
        Trait(name, TEXT)
        for name in (
            "bloom_group",
            "skin_colour",
            "flesh_colour",
            "habit",
            "flowering_type",
            "rights",
            "astringent",
            "graft_on_quince",
            "s_alleles",
            "parentage",
            "sport_of",
        )
    ),
    Trait("use", SET),
    Trait("incompatible_with", SET),
    Trait("pollinated_by", SET),
)
TRAITS: dict[str, Trait] = {each.name: each for each in _ALL}

INHERITED_BY_SPORTS = ("s_alleles", "ploidy", "self_fertility", "bloom_offset")
"""Traits a sport has from its parent variety unless something is published of the sport itself."""


def trait(name: str) -> Trait:
    """The trait of that name. A `disease:` trait has the six resistance classes; any other is free text."""
    known = TRAITS.get(name)
    if known is not None:
        return known
    if name.startswith("disease:"):
        return _ordered(name, DISEASE_CLASSES)
    return Trait(name, TEXT)
