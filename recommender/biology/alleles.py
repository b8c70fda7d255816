"""S-alleles: read the names a source prints, keep their nomenclatures apart, and say which pollen a style
rejects.

In: evidence rows of the trait `s_alleles` (with note and source), or the settled column of the wide traits
frame. Out: one genotype per variety and nomenclature (`genotypes`), and per nomenclature the incidence
matrices that turn "which alleles do these two share" into one matrix product (`incidence`).

A name means something only inside its nomenclature (*series*): apple S3, Japanese pear S3 and apricot S3
are three different genes. Two varieties are compared only where both are typed in one series. Where a
printed key equates two nomenclatures the names are translated first; the keys stand below with their
source.

References
1. Hauck NR, Yamane H, Tao R, Iezzoni AF (2006) Genetics 172:1191 - tetraploid cherry: a pollen grain is
   rejected if one functional allele it carries matches a functional allele of the style; breakdown needs
   two dead ones.
2. Mehlenbacher SA (1997) Theor Appl Genet 94:360 - hazelnut: both alleles act in the style, the dominant
   one or both in pollen; S23 (Tonda di Giffoni, Segorbe) and S26 (Gasaway) are recessive.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from recommender.catalog import alleles as catalog_alleles

STANDINGS = ("published", "common practice", "estimated", "from memory", "unknown")
"""House standings, best first; the index is the code used in the matrices, so the weaker of two is the
maximum.
"""

_LETTERS_OF_1994 = {"Sa": "S5", "Sb": "S1", "Sc": "S7", "Sd": "S8"}
# Mission, Nonpareil, Carmel, Thompson, Merced and Monterey are typed in both almond series and agree on
# this key only.
_LETTERS_OF_ONE_PAPER = {"Sa": "S8", "Sb": "S14", "Sd": "S12"}
# Printed beside the genotypes of that paper on Chinese pears.

HAZELNUT_SERIES = "hazelnut numbers"
HAZEL_DOMINANCE = {("S1", "S2")}
"""(expressed, silent) pairs in hazelnut pollen; Barcelona S1 S2 sheds pollen that expresses S1 only."""
HAZEL_RECESSIVE = {"S23", "S26"}
"""Hazelnut alleles silent in pollen beside another allele (reference 2)."""

_TOKEN = re.compile(
    r"S(?:(?P<number>\d{1,3}[a-d]?)|(?P<word>null)|(?P<letter>[a-zA-Z]))(?P<mark>['′’]|sm|m\d?)?"
)
_EXPRESSES = re.compile(r"pollen expresses only (S\d+)")


@dataclass(frozen=True)
class Haplotype:
    """One S-allele: the names its style and its pollen act under (None: does not act)."""

    text: str
    style: str | None
    pollen: str | None


@dataclass(frozen=True)
class Genotype:
    """The alleles of one variety in one series; `faults` says what could not be read."""

    series: str
    haplotypes: tuple[Haplotype, ...]
    expressed: frozenset[str] | None = None
    faults: tuple[str, ...] = field(default=())


def _haplotype(name: str, mark: str, silent_style: bool) -> Haplotype:
    """A mark says which half of the gene is dead: ' the pollen part; m, sm the style part (reference 1)."""
    if name == "Snull":
        return Haplotype(name, None, None)
    style = None if mark.startswith(("m", "sm")) or silent_style else name
    pollen = None if mark in ("'", "′", "’") else name
    return Haplotype(name + ("'" if mark in ("′", "’") else mark), style, pollen)


def _apricot(name: str) -> Haplotype:
    # SC is S8 with a dead pollen part, so its style still rejects S8: S8S9 x SCS9 set well, the reciprocal
    # did not (Halász, Pedryc and Hegedűs 2007, New Phytologist 176: 792-803, and their S-locus study of
    # apricot, abstracts).
    return Haplotype("SC", "S8", None) if name == "SC" else Haplotype(name, name, name)


_ONE_SERIES = {
    "sweet cherry numbers": "cherry numbers",
    "sour cherry numbers": "cherry numbers",
    "duke cherry numbers": "cherry numbers",
    "bush cherry numbers": "cherry numbers",
    "Japanese pear numbers": "Asian pear numbers",
    "Chinese pear numbers": "Asian pear numbers",
    "plum apricot numbers": "Japanese plum letters",
}
"""Numberings that continue one another: sour cherry keeps the sweet cherry's, the Chinese pears the
Japanese pears'.
"""
_OF_ONE_STUDY = (
    "numbers of one study",
    "mixed series",
    "European pear letters",
    "letters, series not stated",
)


def _series(numbering: str, names: list[str], source_id: str) -> tuple[str, dict[str, str]]:
    """The series in which a genotype may be compared, and the key that translates its names into it.

    numbering: the catalog's name for how the genotype is written (`catalog.alleles.numbering`).
    """
    letters = {name for name in names if name[1:].isalpha()}
    own = f"{numbering} ({source_id or 'source not stated'})"
    if numbering == "old California letters":
        known = letters == set(names) and letters <= set(_LETTERS_OF_1994)
        return ("almond numbers", _LETTERS_OF_1994) if known else (own, {})
    if numbering == "letters of one paper":
        return (
            ("Asian pear numbers", _LETTERS_OF_ONE_PAPER)
            if letters <= set(_LETTERS_OF_ONE_PAPER)
            else (own, {})
        )
    if numbering in _OF_ONE_STUDY:
        return own, {}
    series = _ONE_SERIES.get(numbering, numbering)
    return (own, {}) if series == "Asian pear numbers" and letters else (series, {})


def _unexpected(crop: str, name: str) -> bool:
    """True for a name no nomenclature of the crop uses."""
    letter = name[1:].isalpha() and name != "Snull"
    if crop in ("apple", "hazelnut", "loquat"):
        return letter
    if crop == "apricot":
        return letter and name not in ("SC", "SZ")
    if crop == "almond":
        return letter and name not in ("Sa", "Sb", "Sc", "Sd", "Sf")
    return letter and not name[1:].islower()


def read_genotype(
    crop: str,
    text: str,
    note: str = "",
    source_id: str = "",
    self_sterile: bool = False,
    numbering: str = "",
) -> Genotype:
    """The alleles in `text` ("S3 S4'"), each with what its style rejects and what its pollen is known by.

    self_sterile: published as self-sterile; then Sf (almond) and Se (Japanese plum), whose style part is
    usually silent, are taken as acting. numbering: as the catalog names it; else read from note and text.
    Never raises: names that cannot be read come back in `faults`.

    >>> read_genotype("sweet-cherry", "S3 S4'").haplotypes[1]
    Haplotype(text="S4'", style='S4', pollen=None)
    >>> read_genotype("apple", "S3 Sx9").faults
    ('Sx9',)
    """
    tokens = text.replace("|", " ").replace(",", " ").split()
    faults, parsed = [], []
    for token in tokens:
        match = _TOKEN.fullmatch(token)
        name = f"S{match['number'] or match['word'] or match['letter']}" if match else ""
        if match is None or _unexpected(crop, name):
            faults.append(token)
        else:
            parsed.append((name, match["mark"] or ""))
    numbering = numbering or catalog_alleles.numbering(crop, note, text)
    series, key = _series(numbering, [name for name, _ in parsed], source_id)
    acting = self_sterile or "active (" in note
    haplotypes = []
    for name, mark in parsed:
        translated = key.get(name, name)
        if crop == "apricot":
            haplotypes.append(_apricot(translated))
            continue
        silent = not acting and (series, translated) in {
            ("almond numbers", "Sf"),
            ("Japanese plum letters", "Se"),
        }
        haplotypes.append(_haplotype(translated, mark, silent))
    expressed = _expressed([h.text for h in haplotypes], note) if crop == "hazelnut" else None
    return Genotype(series, tuple(haplotypes), expressed, tuple(faults))


def _expressed(names: list[str], note: str) -> frozenset[str] | None:
    """Which alleles hazelnut pollen shows, or None where nobody has published it."""
    stated = _EXPRESSES.search(note)
    if stated:
        return frozenset({stated[1]})
    if len(set(names)) == 1:
        return frozenset(names)
    if len(names) != 2:
        return None
    first, second = names
    if (first, second) in HAZEL_DOMINANCE or (second in HAZEL_RECESSIVE and first not in HAZEL_RECESSIVE):
        return frozenset({first})
    if (second, first) in HAZEL_DOMINANCE or (first in HAZEL_RECESSIVE and second not in HAZEL_RECESSIVE):
        return frozenset({second})
    return None


def genotype_evidence(traits: pd.DataFrame, evidence: pd.DataFrame | None = None) -> pd.DataFrame:
    """Rows crop, variety, text, standing, source_id, note, numbering: every printed genotype, or the
    settled ones.

    traits: wide frame with `s_alleles`; used where `evidence` (long, trait `s_alleles`) is not given.
    """
    if evidence is not None:
        rows = evidence.loc[evidence["trait"].eq("s_alleles")]
        standing = rows["basis"] if "basis" in rows else rows["standing"]
        return pd.DataFrame(
            {
                "crop": rows["crop"],
                "variety": rows["variety"],
                "text": rows["value"],
                "standing": standing,
                "source_id": rows["source_id"].fillna(""),
                "note": rows["note"].fillna(""),
                "numbering": "",
            }
        )
    if "s_alleles" not in traits:
        return pd.DataFrame(columns=["crop", "variety", "text", "standing", "source_id", "note", "numbering"])
    rows = traits.loc[traits["s_alleles"].notna() & traits["s_alleles"].ne("")]
    standing = (
        rows["s_alleles_standing"]
        if "s_alleles_standing" in rows
        else pd.Series("published", index=rows.index)
    )
    unit = rows["s_alleles_unit"].fillna("") if "s_alleles_unit" in rows else ""
    return rows[["crop", "variety"]].assign(
        text=rows["s_alleles"], standing=standing, source_id="", note="", numbering=unit
    )


def genotypes(
    rows: pd.DataFrame, ploidy: dict[tuple[str, str], float], self_sterile: set[tuple[str, str]]
) -> pd.DataFrame:
    """One genotype per variety and series: crop, variety, series, genotype, standing (code), source_id,
    derived.

    rows: from `genotype_evidence`. A published genotype overrules one from memory; among equals the one
    most often printed stands. Genotypes with unreadable names, or with more alleles than the variety has
    chromosome sets, are left out here and reported by `pollination_checks`.
    """
    chosen: dict[tuple[str, str, str], list[tuple[int, str, Genotype, str, bool]]] = {}
    read: dict[tuple[object, ...], Genotype] = {}
    columns = ["crop", "variety", "text", "standing", "source_id", "note", "numbering"]
    for values in zip(*(rows[name].tolist() for name in columns), strict=True):
        crop, name, text, standing, source, note, numbering = values
        how = (crop, text, note, source, (crop, name) in self_sterile, numbering)
        genotype = read.get(how)
        if genotype is None:
            genotype = read[how] = read_genotype(*how)
        if genotype.faults or not fits_ploidy(crop, genotype, ploidy.get((crop, name))):
            continue
        code = STANDINGS.index(standing) if standing in STANDINGS else len(STANDINGS) - 1
        key = " ".join(sorted(h.text for h in genotype.haplotypes))
        derived = note.startswith("derived") or "; derived" in note
        chosen.setdefault((crop, name, genotype.series), []).append((code, key, genotype, source, derived))
    out = []
    for (crop, variety_name, series), found in chosen.items():
        best = min(item[0] for item in found)
        top = [item for item in found if item[0] == best]
        count = Counter(item[1] for item in top)
        key = min(count, key=lambda k: (-count[k], k))
        same = [item for item in top if item[1] == key]
        out.append((crop, variety_name, series, same[0][2], best, same[0][3], all(item[4] for item in same)))
    names = ["crop", "variety", "series", "genotype", "standing", "source_id", "derived"]
    return pd.DataFrame(out, columns=names)


def fits_ploidy(crop: str, genotype: Genotype, ploidy: float | None) -> bool:
    """False where a genotype has more alleles than the variety has chromosome sets [sets], or only one."""
    count = len(genotype.haplotypes)
    if count < 2:
        return False
    if ploidy is not None and ploidy == ploidy:
        return count <= ploidy
    return count <= (4 if crop in ("sour-cherry", "duke-cherry", "bush-cherry") else 3)


@dataclass(frozen=True)
class Incidence:
    """The varieties typed in one series. All arrays have the varieties on axis 0, the alleles on axis 1.

    style (m, k): 1 where the style rejects that allele. pollen (m, k): how many haplotypes carry it.
    copies (m,): haplotypes typed. expressed (m, k) and expression_known (m,): hazelnut pollen.
    """

    series: str
    positions: np.ndarray
    standing: np.ndarray
    style: np.ndarray
    pollen: np.ndarray
    copies: np.ndarray
    expressed: np.ndarray
    expression_known: np.ndarray


def incidence(table: pd.DataFrame, position: dict[tuple[str, str], int]) -> list[Incidence]:
    """One `Incidence` per series of `genotypes(...)`; `position` places a variety in the matrix."""
    members: dict[str, list[tuple[int, Genotype, int]]] = {}
    for crop, variety, series, genotype, standing in zip(
        *(table[name].tolist() for name in ("crop", "variety", "series", "genotype", "standing")), strict=True
    ):
        place = position.get((crop, variety))
        if place is not None:
            members.setdefault(series, []).append((place, genotype, standing))
    return [_arrays(series, members[series]) for series in sorted(members)]


def _arrays(series: str, members: list[tuple[int, Genotype, int]]) -> Incidence:
    found = [genotype for _, genotype, _ in members]
    names = sorted({a for g in found for h in g.haplotypes for a in (h.style, h.pollen) if a})
    column = {name: k for k, name in enumerate(names)}
    style = np.zeros((len(found), len(names)), dtype=np.float32)
    pollen, expressed = np.zeros_like(style), np.zeros_like(style)
    for i, genotype in enumerate(found):
        for haplotype in genotype.haplotypes:
            if haplotype.style:
                style[i, column[haplotype.style]] = 1
            if haplotype.pollen:
                pollen[i, column[haplotype.pollen]] += 1
        for name in genotype.expressed or ():
            expressed[i, column[name]] = 1
    return Incidence(
        series,
        np.array([place for place, _, _ in members]),
        np.array([standing for _, _, standing in members], dtype=np.int8),
        style,
        pollen,
        np.array([len(g.haplotypes) for g in found], dtype=np.int8),
        expressed,
        np.array([g.expressed is not None for g in found]),
    )


ACCEPTS_ALL, ACCEPTS_SOME, ACCEPTS_NONE, NOT_KNOWN = range(4)


def gametophytic(group: Incidence) -> np.ndarray:
    """(m, m) int8 code, row = style, column = pollen: which part of the donor's pollen grains the style
    accepts.

    A grain of a diploid carries one haplotype, of a tetraploid two; it is rejected if any functional allele
    in it meets its like in the style (reference 1). With c haplotypes of which r are rejected, a grain of g
    passes with probability C(c - r, g) / C(c, g): all pass at r = 0, none once fewer than g haplotypes
    pass.
    """
    rejected = (group.style @ group.pollen.T).astype(np.int8)
    # Triploid donors (3 copies) come out as if their grains carried one; their pollen is ruled out elsewhere.
    per_grain = np.where(group.copies >= 4, 2, 1).astype(np.int8)
    code = np.full(rejected.shape, ACCEPTS_SOME, dtype=np.int8)
    code[group.copies - rejected < per_grain] = ACCEPTS_NONE
    code[rejected == 0] = ACCEPTS_ALL
    return code


def sporophytic(group: Incidence) -> np.ndarray:
    """(m, m) int8 code for hazelnut: all pollen of a plant behaves as the allele it expresses (reference
    2).
    """
    blocked = (group.style @ group.expressed.T) > 0
    carried = (group.pollen > 0).astype(np.float32)
    shared = group.style @ carried.T
    code = np.full(blocked.shape, NOT_KNOWN, dtype=np.int8)
    code[:, group.expression_known] = np.where(blocked[:, group.expression_known], ACCEPTS_NONE, ACCEPTS_ALL)
    code[shared == 0] = ACCEPTS_ALL
    code[shared == carried.sum(axis=1)] = ACCEPTS_NONE
    return code
