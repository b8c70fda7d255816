"""S-alleles written one way, each with the numbering (nomenclature) it belongs to.

Comes in: prepared evidence rows of trait `s_alleles`. Goes out: genotype text sorted ("S2 S3") and the
name of its numbering. Genotypes of different numberings are never compared or mixed.
"""

from __future__ import annotations

import re

import pandas as pd

SELF_COMPATIBLE = {
    "sweet-cherry": frozenset({"S3'", "S4'", "S5'"}),
    "duke-cherry": frozenset({"S4'"}),
    "apricot": frozenset({"SC"}),
    "japanese-plum": frozenset({"Se"}),
    "asian-pear": frozenset({"S4sm"}),
}
"""Alleles that let a variety set fruit on its own pollen. Almond Sf is left out: some trees with it are
sterile."""

_JAPANESE_PLUM_LETTERS = {"S3": "Sk", "S4": "Sc", "S5": "Se", "S6": "Sf"}
"""Numbers and letters of the same Japanese plum alleles, as the sources of the letter series give them."""

_NUMBERINGS = (
    ("almond", r"old California lettering", "old California letters"),
    ("almond", r"", "almond numbers"),
    ("european-pear", r"S101\+ series \(Goldway", "S101+ numbers"),
    ("european-pear", r"older letter series", "older letters"),
    ("european-pear", r"local S numbering", "numbers of one study"),
    ("european-pear", r"mixed series", "mixed series"),
    ("asian-pear", r"Japanese pear S1|S1 to S9", "Japanese pear numbers"),
    ("asian-pear", r"Chinese pear S", "Chinese pear numbers"),
    ("asian-pear", r"P\. communis letters|mixed", "European pear letters"),
    ("asian-pear", r"Sa, Sb, Sd of this paper", "letters of one paper"),
    ("japanese-plum", r"", "Japanese plum letters"),
)
_PART = re.compile(r"(\d+)")


def _natural(allele: str) -> tuple[tuple[int, str], ...]:
    return tuple((int(part), "") if part.isdigit() else (-1, part) for part in _PART.split(allele))


def normalise(value: str) -> str:
    """Alleles in natural order, one blank between, typographic primes made plain.

    >>> normalise("S10 S2"), normalise("S4’, S3")
    ('S2 S10', "S3 S4'")
    """
    alleles = re.split(r"[\s,;/|]+", value.replace("’", "'").replace("′", "'").strip())
    return " ".join(sorted((allele for allele in alleles if allele), key=_natural))


def numbering(crop: str, note: str, value: str) -> str:
    """Name of the numbering a genotype is written in.

    >>> numbering("european-pear", "", "S101 S102"), numbering("apple", "", "S2 S3")
    ('S101+ numbers', 'apple numbers')
    """
    for its_crop, pattern, name in _NUMBERINGS:
        if its_crop == crop and re.search(pattern, note) and (pattern or crop != "european-pear"):
            return name
    if crop == "european-pear":
        return "S101+ numbers" if re.search(r"S1\d\d\b", value) else "older letters"
    if crop == "asian-pear":
        return "Japanese pear numbers" if re.search(r"S\d", value) else "letters, series not stated"
    return f"{crop.replace('-', ' ')} numbers"


def with_numbering(rows: pd.DataFrame) -> pd.DataFrame:
    """Prepared `s_alleles` rows with `value` normalised and `unit` = numbering."""
    result = rows.copy()
    pairs = zip(rows["crop"], rows["value"], rows["note"], strict=True)
    values, units = [], []
    for crop, value, note in pairs:
        genotype = normalise(value)
        if crop == "japanese-plum":
            genotype = normalise(" ".join(_JAPANESE_PLUM_LETTERS.get(a, a) for a in genotype.split(" ")))
        values.append(genotype)
        units.append(numbering(crop, note, genotype))
    result["value"], result["unit"] = values, units
    return result


SELF_COMPATIBLE_KNOWN = frozenset({*SELF_COMPATIBLE, "almond"})
"""Crops in which self-compatible alleles are known, so that a self-fertile variety is nothing unheard of."""


def self_compatible(crop: str, genotype: str) -> bool:
    """True where the genotype holds an allele known to let the variety set on its own pollen."""
    return not SELF_COMPATIBLE.get(crop, frozenset()).isdisjoint(genotype.split(" "))
