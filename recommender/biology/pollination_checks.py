"""What in the evidence on pollination cannot be right, found before it is believed.

In: traits, pairs, crops and evidence of the catalog. Out: `check_pollination_evidence`, one row a finding
with the file and row it stands in and what to do; and `agreement`, how often the rules alone give what has
been published. Nothing is repaired here: unreadable genotypes and circles are left out of the matrix,
contradictions settled the cautious way.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd

from recommender.biology import alleles, crosses, sports
from recommender.biology import fertility as fert
from recommender.biology.pollination import pollination_matrix
from recommender.biology.reasons_pollination import (
    COMPATIBLE,
    INCOMPATIBLE,
    NO_POLLEN_RESULT,
    RESULTS,
    SEMI,
    UNKNOWN,
)

FINDING_COLUMNS = ["file", "row", "crop", "variety", "severity", "what", "remedy"]
FAULT, WARNING, NOTE = "fault", "warning", "note"
"""fault: left out or overruled; warning: kept, but somebody is wrong; note: worth knowing."""


def check_pollination_evidence(
    traits: pd.DataFrame,
    pairs: pd.DataFrame | None,
    crops: pd.DataFrame,
    evidence: pd.DataFrame | None = None,
    names: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Findings: file, row, crop, variety, severity, what, remedy, sorted by file, row, variety.

    evidence: with `file` and `row` where the catalog keeps them; else those two are empty. Looks for
    unknown allele names, more alleles than chromosome sets, sports in a circle or of a variety not in the
    catalog, pairs with contradicting results, partners that match no variety, and published self-fertility
    against the alleles.
    """
    found: list[tuple[object, ...]] = []
    found.extend(_alleles(traits, evidence))
    found.extend(_sports(traits, evidence))
    found.extend(_pairs(traits, pairs, crops, evidence, names))
    frame = pd.DataFrame(found, columns=FINDING_COLUMNS)
    keys = ["file", "row", "crop", "variety", "what"]
    return frame.sort_values(keys, key=lambda s: s.astype(str), kind="stable", ignore_index=True)


def _ploidies(traits: pd.DataFrame) -> dict[tuple[str, str], float]:
    keys = zip(traits["crop"], traits["variety"], strict=True)
    return dict(zip(keys, fert.numeric(traits, "ploidy"), strict=True))


def _alleles(traits: pd.DataFrame, evidence: pd.DataFrame | None) -> Iterable[tuple[object, ...]]:
    rows = alleles.genotype_evidence(traits, evidence)
    if evidence is not None:
        kept = evidence["trait"].eq("s_alleles")
        for name in ("file", "row"):
            rows[name] = evidence.loc[kept, name].to_numpy() if name in evidence else ""
    else:
        rows = rows.assign(file="", row="")
    ploidy = _ploidies(traits)
    own = pd.Series(fert.column(traits, "self_fertility"), index=list(ploidy), dtype=object).to_dict()
    standing = dict(zip(ploidy, fert.column(traits, "self_fertility_standing"), strict=True))
    for row in rows.to_dict("records"):
        key = (row["crop"], row["variety"])
        place = (row["file"], row["row"], *key)
        genotype = alleles.read_genotype(
            row["crop"], row["text"], row["note"], row["source_id"], numbering=row["numbering"]
        )
        if genotype.faults:
            bad = ", ".join(genotype.faults)
            yield (
                *place,
                FAULT,
                f"Allele name {bad} is not one of {row['crop']}",
                "Write S and a number or letter of the crop's own series, such as S3 or S4'",
            )
        elif not alleles.fits_ploidy(row["crop"], genotype, ploidy.get(key)):
            sets = ploidy.get(key, float("nan"))
            held = "a diploid" if sets == 2 else "its chromosome sets" if sets == sets else "this crop"
            yield (
                *place,
                FAULT,
                f"{len(genotype.haplotypes)} alleles ({row['text']}) do not fit {held}",
                "Check the ploidy and the genotype against the source; the genotype is not used",
            )
        else:
            yield from _against_self_fertility(
                place, genotype, str(own.get(key, "")), str(standing.get(key, ""))
            )


def _against_self_fertility(
    place: tuple[object, ...], genotype: alleles.Genotype, said: str, standing: str
) -> Iterable[tuple[object, ...]]:
    if standing not in ("published", "") or said not in ("self-fertile", "self-sterile"):
        return
    if len(genotype.haplotypes) > 2 or genotype.expressed is not None:
        return
    style = {h.style for h in genotype.haplotypes if h.style}
    passes = any(h.pollen not in style for h in genotype.haplotypes)
    text = " ".join(h.text for h in genotype.haplotypes)
    if passes != (said == "self-fertile"):
        yield (
            *place,
            NOTE,
            f"Published {said}, but {text} would be {'self-fertile' if passes else 'self-sterile'}",
            "Published self-fertility is used; look for a misprinted or unmarked self-compatible allele",
        )


def _sports(traits: pd.DataFrame, evidence: pd.DataFrame | None) -> Iterable[tuple[object, ...]]:
    parent = sports.parents(traits)
    _, circular = sports.roots(parent)
    stated = fert.column(traits, "sport_of")
    place: dict[tuple[str, str], tuple[object, object]] = {}
    if evidence is not None and {"file", "row"} <= set(evidence):
        rows = evidence.loc[evidence["trait"].eq("sport_of")]
        keys = zip(rows["crop"], rows["variety"], strict=True)
        place = dict(zip(keys, zip(rows["file"], rows["row"], strict=True), strict=True))
    crop_of, variety_of = fert.column(traits, "crop"), fert.column(traits, "variety")
    for k in np.flatnonzero(stated != ""):
        key = (str(crop_of[k]), str(variety_of[k]))
        where = (*place.get(key, ("", "")), *key)
        if circular[k]:
            yield (
                *where,
                FAULT,
                f"{key[1]} is a sport of {stated[k]}, which leads back to {key[1]}",
                "Leave out the row that has it the wrong way round; neither is believed until then",
            )
        elif parent[k] < 0:
            yield (
                *where,
                WARNING,
                f"{key[1]} is said to be a sport of {stated[k]}, which is no {key[0]} of the catalog",
                "Add the parent to varieties.csv or correct its name",
            )


def _pairs(
    traits: pd.DataFrame,
    pairs: pd.DataFrame | None,
    crops: pd.DataFrame,
    evidence: pd.DataFrame | None,
    names: pd.DataFrame | None,
) -> Iterable[tuple[object, ...]]:
    keys = list(zip(traits["crop"], traits["variety"], strict=True))
    crossing = crosses.crop_crosses(crops)
    statements, lost = crosses.published_pairs(pairs, evidence, crosses.VarietyNames(keys, crossing, names))
    settled = crosses.settled_pairs(statements)
    rows = _pair_rows(pairs, evidence)
    for row in settled.loc[settled["contradicted"].astype(bool)].to_dict("records"):
        both = statements
        for name in ("female_crop", "female", "male_crop", "male"):
            both = both.loc[both[name].eq(row[name])]
        said = "; ".join(f"{r.result} by {r.source_id}" for r in both.itertuples(index=False))
        file, number = rows.get((row["female_crop"], row["female"], row["male"]), ("", ""))
        yield (
            file,
            number,
            row["female_crop"],
            row["female"],
            WARNING,
            f"{row['male']} on {row['female']}: {said}",
            f"Taken as {row['result']}; check the sources against each other",
        )
    for row in settled.to_dict("records"):
        pair = (row["female_crop"], row["male_crop"])
        if row["result"] != "incompatible" and pair not in crossing:
            file, number = rows.get((row["female_crop"], row["female"], row["male"]), ("", ""))
            yield (
                file,
                number,
                row["female_crop"],
                row["female"],
                WARNING,
                f"{row['male']} ({row['male_crop']}) is named as a partner, but the crops do not cross",
                "Check the name, or the crop table's crosses_with",
            )
    for row in lost.drop_duplicates().to_dict("records"):
        file, number = rows.get((row["crop"], row["variety"], row["name"]), ("", ""))
        yield (
            file,
            number,
            row["crop"],
            row["variety"],
            NOTE,
            f"{row['name']}, named as {_AS[row['trait']]}, matches no variety of the catalog",
            "Add the variety or a synonym; the pair is not used",
        )


_AS = {"pollinated_by": "a partner", "incompatible_with": "incompatible", "pair": "one of a pair"}


def _pair_rows(
    pairs: pd.DataFrame | None, evidence: pd.DataFrame | None
) -> dict[tuple[str, str, str], tuple[object, object]]:
    """(crop, female, male as printed) -> (file, row) where the catalog keeps them."""
    found: dict[tuple[str, str, str], tuple[object, object]] = {}
    if pairs is not None:
        columns = ["female_crop", "female", "male"]
        for number, key in enumerate(zip(*(pairs[c] for c in columns), strict=True), start=2):
            found.setdefault(key, ("pollination_pairs.csv", number))
    if evidence is not None and {"file", "row"} <= set(evidence):
        rows = evidence.loc[evidence["trait"].isin(["pollinated_by", "incompatible_with"])]
        for row in rows.to_dict("records"):
            for name in str(row["value"]).split("|"):
                plain = name.partition(":")[2] or name
                found.setdefault((row["crop"], row["variety"], plain), (row["file"], row["row"]))
    return found


def agreement(
    traits: pd.DataFrame,
    pairs: pd.DataFrame | None,
    crops: pd.DataFrame,
    evidence: pd.DataFrame,
    names: pd.DataFrame | None = None,
    *,
    derived_alleles: bool = True,
) -> pd.DataFrame:
    """Every published pair beside what the rules alone give for it, and what the matrix says in the end.

    derived_alleles: False leaves out genotypes that were read off incompatibility groups, so that the rules
    are judged on evidence the pairs did not make. Columns: those of a settled pair, `independent` (not read
    off a chart), `rule`, `final`, `verdict` (agrees, unknown, disagrees) and `why` (the rule's reason).
    """
    if not derived_alleles:
        note = evidence["note"].fillna("")
        derived = evidence["trait"].eq("s_alleles") & note.str.contains("derived:")
        evidence = evidence.loc[~derived]
    rules = pollination_matrix(traits, None, crops, evidence=evidence, names=names, published=False)
    final = pollination_matrix(traits, pairs, crops, evidence=evidence, names=names)
    found = final.settled.loc[final.settled["kind"].ne("mirrored")].reset_index(drop=True)
    i, j = found["i"].to_numpy(np.int64), found["j"].to_numpy(np.int64)
    rule, said = rules.result[i, j], found["result"].to_numpy(dtype=object)
    sets = np.isin(rule, (COMPATIBLE, SEMI))
    fails = np.isin(rule, (INCOMPATIBLE, NO_POLLEN_RESULT))
    good = np.where(said == "incompatible", fails, sets)
    verdict = np.where(good, "agrees", np.where(rule == UNKNOWN, "unknown", "disagrees"))
    labels = np.array(RESULTS, dtype=object)
    return found.assign(
        independent=found["kind"].ne("same group"),
        rule=labels[rule],
        final=labels[final.result[i, j]],
        verdict=verdict,
        why=[rules.explain(int(a), int(b)) for a, b in zip(i, j, strict=True)],
    )
