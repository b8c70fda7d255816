"""What one variety can do by itself: does it need a partner, and does it shed pollen that works?

In: the wide traits frame and the crop table. Out: `fertility(...)`, a small frame of codes, one row a
variety in the order of the traits frame. Nothing here looks at pairs.

A published `self_fertility` overrules what the S-alleles say (some almonds with Sf are self-sterile, some
apricots without SC self-fertile); where neither is known, the crop's usual habit stands in, marked common
practice.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from recommender.biology.alleles import STANDINGS

NEEDS = ("not needed", "gains", "needed", "bears no fruit", "unknown")
"""Need of a pollen partner. gains: bears alone, better with one."""
SHEDS = (
    "viable pollen",
    "sterile pollen",
    "triploid",
    "poor pollen",
    "female plant",
    "no pollen in this type",
    "male flowers not known",
)
"""What a variety is worth as a donor; only the first gives pollen, of the last nobody has said."""
SELF = ("self-fertile", "partly-self-fertile", "self-sterile", "parthenocarpic", "female", "male", "unknown")

VIABLE, STERILE, TRIPLOID, POOR, FEMALE, NO_POLLEN, MALE_UNKNOWN = range(len(SHEDS))
NOT_NEEDED, GAINS, NEEDED, NO_FRUIT, NEED_UNKNOWN = range(len(NEEDS))
SELF_FERTILE, PARTLY, SELF_STERILE, PARTHENOCARPIC, IS_FEMALE, IS_MALE, SELF_UNKNOWN = range(len(SELF))

FULLY_CROSSING = ("gametophytic", "sporophytic", "dioecious", "dichogamous", "protogynous")


def column(traits: pd.DataFrame, name: str) -> np.ndarray:
    """A category column as an object array of text, missing as ""."""
    if name not in traits:
        return np.full(len(traits), "", dtype=object)
    values = traits[name]
    return np.asarray(values.astype(object).where(values.notna(), ""), dtype=object)


def standing_codes(traits: pd.DataFrame, trait: str) -> np.ndarray:
    """(n,) int8 index into STANDINGS of a trait; a value without a stated standing counts as published."""
    given = column(traits, f"{trait}_standing")
    fallback = np.where(column(traits, trait) == "", "unknown", "published")
    text = np.where(given == "", fallback, given)
    return _codes(text, STANDINGS)


def numeric(traits: pd.DataFrame, name: str) -> np.ndarray:
    """A numeric column as float64, missing as NaN."""
    if name not in traits:
        return np.full(len(traits), np.nan)
    return np.asarray(pd.to_numeric(traits[name], errors="coerce"), dtype=np.float64)


def _codes(values: np.ndarray, names: tuple[str, ...]) -> np.ndarray:
    """Index of each text in `names`; whatever is not there gets the last code."""
    codes = np.asarray(pd.Index(names).get_indexer(pd.Index(values)), dtype=np.int8)
    return np.where(codes < 0, len(names) - 1, codes).astype(np.int8)


def crop_column(crops: pd.DataFrame, crop_of: np.ndarray, name: str) -> np.ndarray:
    """The crop table's `name` for each variety's crop, missing as ""."""
    table = dict(zip(crops["crop"], crops[name], strict=True))
    codes, names = pd.factorize(np.asarray(crop_of, dtype=object))
    found = np.empty(len(names), dtype=object)
    found[:] = ["" if pd.isna(value := table.get(each)) else value for each in names]
    return found[codes]


def from_memory(crops: pd.DataFrame, crop_of: np.ndarray, name: str) -> np.ndarray:
    """Whether the crop table's `name` is from memory for each variety's crop (its `memory_cells`)."""
    if "memory_cells" not in crops:
        return np.zeros(len(crop_of), dtype=bool)
    cells = crop_column(crops, crop_of, "memory_cells")
    return np.array([name in str(each).split("|") for each in cells], dtype=bool)


def fertility(traits: pd.DataFrame, crops: pd.DataFrame, self_compatible: np.ndarray) -> pd.DataFrame:
    """Columns need, sheds, self (codes, int8), need_standing, sheds_standing (codes), race (ploidy [sets]
    or NaN).

    traits: wide, n rows. self_compatible: (n,) int8 from the alleles: 1 yes, 0 no, -1 not typed.
    """
    crop_of = column(traits, "crop")
    system = crop_column(crops, crop_of, "incompatibility")
    own = _codes(column(traits, "self_fertility"), SELF)
    standing = standing_codes(traits, "self_fertility")
    unsaid = own == SELF_UNKNOWN
    typed = unsaid & (self_compatible >= 0)
    own = np.where(typed, np.where(self_compatible == 1, SELF_FERTILE, SELF_STERILE), own).astype(np.int8)
    standing = np.where(typed, standing_codes(traits, "s_alleles"), standing)
    by_crop = unsaid & ~typed
    usual = _codes(crop_column(crops, crop_of, "typical_self_fertility"), SELF)
    # What nobody was read to publish of a crop decides nothing: neither its habit nor its way of crossing.
    usual = np.where(from_memory(crops, crop_of, "typical_self_fertility"), SELF_UNKNOWN, usual)
    # "female" as a crop's habit says nothing of one unnamed plant.
    usual = np.where(np.isin(usual, (IS_FEMALE, IS_MALE)), SELF_UNKNOWN, usual)
    own = np.where(by_crop, usual, own).astype(np.int8)
    standing = np.where(by_crop, STANDINGS.index("common practice"), standing).astype(np.int8)
    flowering = column(traits, "flowering_type")
    crossing = np.isin(system, FULLY_CROSSING) & ~from_memory(crops, crop_of, "incompatibility")
    need = _need(own, flowering, crossing, by_crop | (self_compatible == 0))
    sheds, sheds_standing = _sheds(traits, crop_of, system, own, standing)
    return pd.DataFrame(
        {
            "need": need,
            "need_standing": standing,
            "sheds": sheds,
            "sheds_standing": sheds_standing,
            "self": own,
            "self_by_crop": by_crop,
            "race": numeric(traits, "ploidy"),
        },
        index=traits.index,
    )


def _need(own: np.ndarray, flowering: np.ndarray, crossing: np.ndarray, doubtful: np.ndarray) -> np.ndarray:
    need = np.full(len(own), NEED_UNKNOWN, dtype=np.int8)
    need[np.isin(own, (SELF_FERTILE, PARTHENOCARPIC))] = NOT_NEEDED
    need[own == PARTLY] = GAINS
    # Plan for a partner where only the crop's habit speaks for a little set, or the alleles speak against it.
    need[(own == PARTLY) & crossing & doubtful] = NEEDED
    need[np.isin(own, (SELF_STERILE, IS_FEMALE))] = NEEDED
    need[own == IS_MALE] = NO_FRUIT
    need[(own == SELF_UNKNOWN) & crossing] = NEEDED
    need[flowering == "common"] = NOT_NEEDED
    need[flowering == "san-pedro"] = GAINS
    need[flowering == "smyrna"] = NEEDED
    need[flowering == "caprifig"] = NO_FRUIT
    return need


def _sheds(
    traits: pd.DataFrame, crop_of: np.ndarray, system: np.ndarray, own: np.ndarray, own_standing: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Worth as a donor, and its standing. Viable unless something published or known says otherwise."""
    pollen, ploidy = column(traits, "pollen"), numeric(traits, "ploidy")
    flowering = column(traits, "flowering_type")
    sheds = np.full(len(own), VIABLE, dtype=np.int8)
    standing = np.full(len(own), STANDINGS.index("common practice"), dtype=np.int8)

    def mark(rows: np.ndarray, code: int, source: np.ndarray) -> None:
        sheds[rows] = code
        standing[rows] = source[rows]

    practice = np.full(len(own), STANDINGS.index("common practice"), dtype=np.int8)
    pollen_standing = standing_codes(traits, "pollen")
    dioecious = system == "dioecious"
    sexed_crop = dioecious | (crop_of == "asian-persimmon")
    mark(sexed_crop, MALE_UNKNOWN, practice)
    mark(dioecious & np.isin(own, (IS_FEMALE, PARTHENOCARPIC)), FEMALE, own_standing)
    mark(own == IS_MALE, VIABLE, own_standing)
    mark(pollen == "fertile", VIABLE, pollen_standing)
    mark(pollen == "poor", POOR, pollen_standing)
    mark(pollen == "sterile", STERILE, pollen_standing)
    # Odd numbers of chromosome sets cannot be halved into sound pollen.
    odd = np.isfinite(ploidy) & (ploidy % 2 == 1)
    mark(odd, TRIPLOID, standing_codes(traits, "ploidy"))
    fig = crop_of == "fig"
    mark(fig, MALE_UNKNOWN, practice)
    flowering_standing = standing_codes(traits, "flowering_type")
    mark(fig & np.isin(flowering, ("common", "san-pedro", "smyrna")), NO_POLLEN, flowering_standing)
    mark(fig & (flowering == "caprifig"), VIABLE, flowering_standing)
    return sheds, standing
