"""The rules of pollination as a plain double loop over pairs, one `if` after the other.

In: `pollination_inputs.Prepared`. Out: the same three code arrays as `pollination.pair_codes`, found the
way a reader of docs/pollination.md would write it first. It is what the benchmark compares with, and what
the tests hold the array rules against.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from recommender.biology import bloom_overlap, crosses
from recommender.biology import fertility as fert
from recommender.biology import reasons_pollination as say
from recommender.biology.alleles import HAZELNUT_SERIES
from recommender.biology.pollination_inputs import Prepared

PUBLISHED, PRACTICE, ESTIMATED, MEMORY, NOT_KNOWN = range(5)
Answer = tuple[int, str, int]


@dataclass
class Variety:
    """One variety as plain Python objects."""

    crop: str
    root: int
    sheds: int
    sheds_standing: int
    own: int
    own_by_crop: bool
    need: int
    need_standing: int
    race: float
    kind: int
    days: tuple[float, float, float]
    series: dict[str, tuple[frozenset[str], tuple[str, ...], int, frozenset[str] | None, int]]


def varieties(prepared: Prepared) -> list[Variety]:
    """The prepared arrays as objects."""
    own = prepared.own
    out = [
        Variety(
            str(prepared.index["crop"].iloc[k]),
            int(prepared.root[k]),
            int(own["sheds"].iloc[k]),
            int(own["sheds_standing"].iloc[k]),
            int(own["self"].iloc[k]),
            bool(own["self_by_crop"].iloc[k]),
            int(own["need"].iloc[k]),
            int(own["need_standing"].iloc[k]),
            float(own["race"].iloc[k]),
            int(prepared.types[k]),
            (float(prepared.days[k, 0]), float(prepared.days[k, 1]), float(prepared.days[k, 2])),
            {},
        )
        for k in range(len(prepared.index))
    ]
    position = {
        (crop, name): k
        for k, (crop, name) in enumerate(zip(prepared.index["crop"], prepared.index["variety"], strict=True))
    }
    row: Any
    for row in prepared.genotypes.itertuples(index=False):
        place = position.get((row.crop, row.variety))
        if place is None:
            continue
        genotype = row.genotype
        out[place].series[str(row.series)] = (
            frozenset(h.style for h in genotype.haplotypes if h.style),
            tuple(h.pollen for h in genotype.haplotypes if h.pollen),
            len(genotype.haplotypes),
            genotype.expressed,
            int(row.standing),
        )
    return out


def plain_codes(prepared: Prepared) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(result, reason, standing), each (n, n) int8."""
    everyone = varieties(prepared)
    said = {}
    if not prepared.settled.empty:
        columns = ["i", "j", "result", "kind", "standing"]
        said = {(i, j): (r, k, s) for i, j, r, k, s in prepared.settled[columns].itertuples(index=False)}
    n = len(everyone)
    result, reason, standing = (np.empty((n, n), dtype=np.int8) for _ in range(3))
    for i in range(n):
        for j in range(n):
            answer = judge(prepared, everyone[i], everyone[j], i == j, said.get((i, j)))
            result[i, j], reason[i, j], standing[i, j] = answer[0], say.CODE[answer[1]], answer[2]
    return result, reason, standing


def judge(
    prepared: Prepared, female: Variety, donor: Variety, same: bool, said: tuple[str, str, str] | None
) -> Answer:
    """One pair."""
    if female.need == fert.NO_FRUIT:
        return say.INCOMPATIBLE, "bears-no-fruit", female.need_standing
    answer = by_crop(prepared, female, donor)
    if answer[0] != say.WRONG_CROP:
        answer = by_alleles(female, donor, answer)
        answer = by_donor(donor, answer)
    clone = same or female.root == donor.root
    if clone and alike(female, donor):
        answer = by_clone(female, same, answer)
    if said is not None:
        answer = overrule(answer, *said)
    if not clone and female.crop == donor.crop and apart(female, donor):
        spoken = ("published-compatible", "published-semi", "overruled-to-compatible", "listed-half")
        if answer[0] in (say.COMPATIBLE, say.SEMI, say.UNKNOWN) and answer[1] not in spoken:
            answer = say.NOT_TOGETHER, "bloom-apart", ESTIMATED
    return answer


def by_crop(prepared: Prepared, female: Variety, donor: Variety) -> Answer:
    """What the two crops say."""
    if female.crop != donor.crop:
        if frozenset((female.crop, donor.crop)) in crosses.NEVER_CROSS:
            return say.WRONG_CROP, "never-cross", PUBLISHED
        crossing = prepared.crossing.get((female.crop, donor.crop))
        if crossing is None:
            return say.WRONG_CROP, "wrong-crop", PUBLISHED
        return say.COMPATIBLE, "other-species", crossing
    system = prepared.system[female.crop]
    if female.crop == "fig":
        return say.COMPATIBLE, "caprifig", PUBLISHED
    if system == "none":
        return say.COMPATIBLE, "any-of-crop", PRACTICE
    if system == "protogynous":
        return say.COMPATIBLE, "any-other", PRACTICE
    if system == "dichogamous":
        if not female.kind or not donor.kind:
            return say.UNKNOWN, "type-unknown", NOT_KNOWN
        if female.kind != donor.kind:
            return say.COMPATIBLE, "opposite-type", PUBLISHED
        return (say.NOT_TOGETHER if female.crop == "avocado" else say.UNKNOWN), "same-type", PUBLISHED
    if system == "dioecious":
        if female.race == female.race and donor.race == donor.race and female.race != donor.race:
            return say.UNKNOWN, "race-differs", NOT_KNOWN
        return say.COMPATIBLE, "sexes", PUBLISHED
    return say.UNKNOWN, "alleles-untyped", NOT_KNOWN


def by_alleles(female: Variety, donor: Variety, answer: Answer) -> Answer:
    """S-alleles, in every series both are typed in; the better standing speaks."""
    if answer[1] not in ("alleles-untyped", "other-species"):
        return answer
    best: Answer | None = None
    for series in sorted(female.series):
        if series not in donor.series:
            continue
        style, _, _, _, one = female.series[series]
        _, pollen, copies, expressed, two = donor.series[series]
        stands = max(one, two)
        if best is not None and stands >= best[2]:
            continue
        if series == HAZELNUT_SERIES:
            best = hazelnut(style, pollen, expressed, stands)
            continue
        rejected = sum(name in style for name in pollen)
        grain = 2 if copies >= 4 else 1
        if rejected == 0:
            best = say.COMPATIBLE, "alleles-all", stands
        elif copies - rejected < grain:
            best = say.INCOMPATIBLE, "alleles-none", stands
        else:
            best = say.SEMI, "alleles-some", stands
    return best or answer


def hazelnut(
    style: frozenset[str], pollen: tuple[str, ...], expressed: frozenset[str] | None, stands: int
) -> Answer:
    """Pollen of a hazelnut behaves as the allele it shows."""
    shared = style & set(pollen)
    if not shared:
        return say.COMPATIBLE, "alleles-all", stands
    if shared == set(pollen):
        return say.INCOMPATIBLE, "alleles-none", stands
    if expressed is None:
        return say.UNKNOWN, "hazel-silent", NOT_KNOWN
    if style & expressed:
        return say.INCOMPATIBLE, "alleles-none", stands
    return say.COMPATIBLE, "alleles-all", stands


_DONOR = {
    fert.STERILE: "sterile-pollen",
    fert.TRIPLOID: "triploid-donor",
    fert.POOR: "poor-pollen",
    fert.FEMALE: "female-donor",
    fert.NO_POLLEN: "no-pollen-type",
}


def by_donor(donor: Variety, answer: Answer) -> Answer:
    """A donor without viable pollen gives nothing."""
    if donor.sheds == fert.VIABLE:
        return answer
    if donor.sheds == fert.MALE_UNKNOWN:
        return say.UNKNOWN, "sex-unknown", NOT_KNOWN
    return say.NO_POLLEN_RESULT, _DONOR[donor.sheds], donor.sheds_standing


def alike(female: Variety, donor: Variety) -> bool:
    """No series types the two differently."""
    for series in set(female.series) & set(donor.series):
        one, two = female.series[series], donor.series[series]
        if one[0] != two[0] or sorted(one[1]) != sorted(two[1]):
            return False
    return True


def by_clone(female: Variety, same: bool, answer: Answer) -> Answer:
    """Own pollen, or that of a sport."""
    result, word = {
        fert.SELF_FERTILE: (say.COMPATIBLE, "fertile"),
        fert.PARTLY: (say.SEMI, "partly"),
        fert.SELF_STERILE: (say.INCOMPATIBLE, "sterile"),
    }.get(female.own, (say.UNKNOWN, "unknown"))
    if female.own_by_crop and result == say.SEMI:
        result, word = say.UNKNOWN, "unknown"
    if answer[0] == say.NO_POLLEN_RESULT and result != say.COMPATIBLE:
        return answer
    stands = NOT_KNOWN if result == say.UNKNOWN else female.need_standing
    return result, f"{'self' if same else 'sport'}-{word}", stands


def overrule(answer: Answer, result: str, kind: str, standing: str) -> Answer:
    """A published pair against the rule."""
    now, why, stands = answer
    stated = ("published", "common practice", "estimated", "from memory", "unknown").index(standing)
    if result == "incompatible":
        if kind == "mirrored" and now not in (say.UNKNOWN, say.INCOMPATIBLE):
            return answer
        if why in ("sterile-pollen", "triploid-donor", "bears-no-fruit"):
            return answer
        if now in (say.COMPATIBLE, say.SEMI):
            return say.INCOMPATIBLE, "overruled-to-incompatible", stated
        name = "published-reverse" if kind == "mirrored" else "published-incompatible"
        return say.INCOMPATIBLE, name, stated
    if stated > PUBLISHED and now != say.UNKNOWN:
        return answer
    if result == "semi-compatible":
        return say.SEMI, "published-semi", stated
    if now == say.SEMI and why == "alleles-some":
        return say.SEMI, "listed-half", min(stated, stands)
    if kind == "partner list" and now == say.NO_POLLEN_RESULT and stands == PUBLISHED:
        return now, "list-against-pollen", stands
    if kind == "partner list" and why == "alleles-none" and stands == PUBLISHED:
        return now, "list-against-alleles", stands
    if now in (say.INCOMPATIBLE, say.NO_POLLEN_RESULT, say.NOT_TOGETHER, say.WRONG_CROP):
        return say.COMPATIBLE, "overruled-to-compatible", stated
    return say.COMPATIBLE, "published-compatible", stated


def apart(female: Variety, donor: Variety) -> bool:
    """Known to bloom apart, by the first measure both have."""
    for one, two in zip(female.days, donor.days, strict=True):
        if one == one and two == two:
            shared = max(bloom_overlap.BLOOM_LENGTH_DAYS - abs(one - two), 0.0)
            return shared < bloom_overlap.ENOUGH_DAYS
    return False
