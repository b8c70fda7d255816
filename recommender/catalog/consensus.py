"""Many evidence rows -> one settled value per variety and trait, with spread, agreement and disagreement.

Comes in: evidence, sources, crops, varieties and names as frames of text. Goes out: `Settlement` with the
long table of settled values (`SETTLED_COLUMNS`), the rows that could not be used and why, and the scales
on which offsets were put. Vectorised over varieties; it loops over kinds of trait only.
Method, weights and their reasons: docs/settling-evidence.md.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from recommender.catalog import alleles, day_counts, offsets, voting
from recommender.catalog.evidence import STANDINGS, date_text, prepare
from recommender.catalog.traits import INHERITED_BY_SPORTS, NUMERIC, SET, trait

KEY = voting.KEY
SETTLED_COLUMNS = [
    *KEY,
    "kind",
    "value",
    "number",
    "low",
    "high",
    "unit",
    "standing",
    "agreement",
    "n_evidence",
    "n_sources",
    "disagreement",
    "source_ids",
]


@dataclass(frozen=True)
class Settlement:
    """What the evidence came to.

    settled: one row per variety and trait, columns `SETTLED_COLUMNS`, sorted by `KEY`.
    set_aside: evidence rows not used (crop, variety, trait, value, low, high, source_id, note, reason).
    offset_scales: per crop and trait the zero of the scale and how well it fits (`offsets.SCALE_COLUMNS`).
    """

    settled: pd.DataFrame
    set_aside: pd.DataFrame
    offset_scales: pd.DataFrame


def settle(
    evidence: pd.DataFrame,
    sources: pd.DataFrame,
    crops: pd.DataFrame,
    varieties: pd.DataFrame | None = None,
    names: pd.DataFrame | None = None,
) -> Settlement:
    """Settle all evidence. Frames have the columns of the CSV files; `varieties`, `names` may be absent.

    Order of rows does not matter, and several rows of one source count once.
    """
    rows = prepare(evidence, sources)
    usable = rows[rows["set_aside"].eq("")]
    on_scale = offsets.solve(usable, varieties, names)
    rows.loc[on_scale.set_aside.index, "set_aside"] = on_scale.set_aside.to_numpy()
    usable = usable[~usable["trait"].isin(offsets.OFFSET_TRAITS)]

    deciding, overruled = _by_standing(usable)
    kinds = deciding["trait"].map({name: trait(name).kind for name in deciding["trait"].unique()})
    whole = deciding["trait"].isin({name for name in deciding["trait"].unique() if trait(name).whole})
    numeric = kinds.eq(NUMERIC) & ~whole
    sets = kinds.eq(SET)
    alleles_stated = deciding["trait"].eq("s_alleles")
    fertility = deciding["trait"].eq("self_fertility")

    by_allele = _settle_alleles(deciding[alleles_stated])
    votes = deciding[~numeric & ~sets & ~alleles_stated & ~fertility]
    classes = voting.settle_classes(votes)
    sports = classes[classes["trait"].eq("sport_of")]
    genotypes = _joined(by_allele, _inherited(_joined(by_allele, sports)))
    against_biology = _against_biology(deciding[fertility], crops, genotypes)
    parts = [
        voting.settle_numbers(day_counts.on_one_level(deciding[numeric])),
        classes,
        voting.settle_classes(against_biology),
        voting.settle_sets(deciding[sets]),
        by_allele,
    ]
    settled = _joined(*parts)
    settled = settled.merge(_standing(deciding), on=KEY, how="left")
    settled.loc[settled["only_biology"].eq(True), "standing"] = "estimated"
    settled["disagreement"] = _with_overruled(settled, overruled)
    settled = _joined(settled, on_scale.settled)
    settled = _with_texts(settled)
    settled = _joined(settled, _inherited(settled))
    settled = _joined(settled, _pollen_of_triploids(settled))
    settled = settled[SETTLED_COLUMNS].sort_values(KEY, kind="stable").reset_index(drop=True)
    columns = [*KEY, "value", "low", "high", "source_id", "note", "set_aside"]
    unused = rows.loc[rows["set_aside"].ne(""), columns].rename(columns={"set_aside": "reason"})
    return Settlement(settled, unused.reset_index(drop=True), on_scale.scales)


def _joined(*parts: pd.DataFrame) -> pd.DataFrame:
    """Frames one below the other; empty ones are left out, as their column types would spoil the others'."""
    filled = [part for part in parts if not part.empty]
    return pd.concat(filled, ignore_index=True) if filled else parts[0]


def _by_standing(rows: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Rows that decide, and rows overruled by a better standing for the same variety and trait."""
    best = rows.groupby(KEY, sort=False)["tier"].transform("min")
    return rows[rows["tier"].eq(best)], rows[rows["tier"].gt(best)]


def _standing(deciding: pd.DataFrame) -> pd.DataFrame:
    """Standing, number of rows and of sources, and their ids, per variety and trait."""
    first = deciding.groupby(KEY, sort=False)
    result = first.agg(tier=("tier", "min"), n_evidence=("tier", "size")).reset_index()
    unique = deciding[[*KEY, "source_id"]].drop_duplicates().sort_values([*KEY, "source_id"])
    ids = unique.groupby(KEY, sort=False)["source_id"]
    joined = ids.agg("|".join).rename("source_ids").to_frame().assign(n_sources=ids.size()).reset_index()
    result["standing"] = result["tier"].map(dict(enumerate(STANDINGS)))
    return result.drop(columns="tier").merge(joined, on=KEY)


def _settle_alleles(rows: pd.DataFrame) -> pd.DataFrame:
    """Genotypes voted within the numbering most used for the crop; other numberings are named, not mixed."""
    if rows.empty:
        return voting.no_rows()
    rows = alleles.with_numbering(rows)
    counts = rows.groupby(["crop", "unit"]).size().rename("uses").reset_index()
    rows = rows.merge(counts, on=["crop", "unit"]).sort_values(["uses", "unit"], ascending=[False, True])
    main = rows.groupby(KEY)["unit"].transform("first")
    settled = voting.settle_classes(rows[rows["unit"].eq(main)])
    units = rows.drop_duplicates(KEY)[[*KEY, "unit"]]
    settled = settled.drop(columns="unit").merge(units, on=KEY)
    other = rows[rows["unit"].ne(main)]
    if other.empty:
        return settled
    text = "in " + other["unit"] + ": " + other["value"] + " (" + other["source_id"] + ")"
    said = text.groupby([other[column] for column in KEY]).agg(lambda each: "; ".join(sorted(set(each))))
    extra = settled[KEY].merge(said.rename("text").reset_index(), on=KEY, how="left")["text"].fillna("")
    settled["disagreement"] = voting.join_texts(settled["disagreement"], extra)
    return settled


BIOLOGY_WEIGHT = 0.5
"""Vote of a crop's own biology: more than one catalogue (0.3), less than one extension source (0.8)."""
BIOLOGY_WEIGHT_GENOTYPE_UNKNOWN = 0.25
"""The same in crops with known self-compatible alleles, where the variety's own genotype is unknown."""


def _against_biology(rows: pd.DataFrame, crops: pd.DataFrame, genotypes: pd.DataFrame) -> pd.DataFrame:
    """Where only catalogues call a variety of a self-incompatible crop self-fertile, its biology votes too.

    Their claim then counts as partly self-fertile at best. A known self-compatible allele (sweet cherry S4'
    and the like), in the genotype or in the note of the claim, or one source of another kind, lifts this.
    """
    sterile = crops["typical_self_fertility"].eq("self-sterile") & crops["incompatibility"].isin(
        ["gametophytic", "sporophytic"]
    )
    sterile_crops = set(crops.loc[sterile, "crop"])
    compatible = {
        (crop, variety)
        for crop, variety, value in zip(
            genotypes["crop"], genotypes["variety"], genotypes["value"], strict=True
        )
        if alleles.self_compatible(crop, value)
    }
    claims = rows["value"].eq("self-fertile") & rows["tier"].eq(0) & rows["crop"].isin(sterile_crops)
    supported = rows["kind"].ne("catalogue") | rows["note"].str.contains("S4'", regex=False)
    carriers = pd.Series(
        [pair in compatible for pair in zip(rows["crop"], rows["variety"], strict=True)],
        index=rows.index,
        dtype=bool,
    )
    keys = [rows["crop"], rows["variety"]]
    lifted = (claims & (supported | carriers)).groupby(keys).transform("any")
    doubted = claims & ~lifted
    result = rows.copy()
    result["claimed"] = result["value"]
    result.loc[doubted, "value"] = "partly-self-fertile"
    biology = result[doubted].drop_duplicates(KEY).copy()
    biology["value"] = biology["claimed"] = "self-sterile"
    biology["source_id"] = voting.BIOLOGY
    biology["kind"] = "biology of the crop"
    typed = pd.MultiIndex.from_frame(genotypes[["crop", "variety"]].astype(object))
    unknown = ~pd.MultiIndex.from_frame(biology[["crop", "variety"]].astype(object)).isin(typed)
    unknown &= biology["crop"].isin(alleles.SELF_COMPATIBLE_KNOWN).to_numpy()
    biology["weight"] = np.where(unknown, BIOLOGY_WEIGHT_GENOTYPE_UNKNOWN, BIOLOGY_WEIGHT)
    return pd.concat([result, biology])


def _with_overruled(settled: pd.DataFrame, overruled: pd.DataFrame) -> pd.Series:
    """Disagreement text with the values of lower standing that say otherwise."""
    text = settled["disagreement"]
    if overruled.empty:
        return text
    stated = overruled.assign(value=voting.stated_value(overruled))
    stated = stated.merge(settled[[*KEY, "value", "low", "high", "kind"]], on=KEY, suffixes=("", "_settled"))
    number = pd.to_numeric(stated["value"], errors="coerce")
    within = (number >= stated["low_settled"]) & (number <= stated["high_settled"])
    same = stated["value"].eq(stated["value_settled"]) | within
    stated = stated[~same & stated["kind_settled"].ne(SET)]
    if stated.empty:
        return text
    words = stated["value"] + ": " + stated["source_id"] + " (" + stated["basis"] + ", overruled)"
    said = words.groupby([stated[column] for column in KEY]).agg(lambda each: "; ".join(sorted(set(each))))
    extra = settled[KEY].merge(said.rename("text").reset_index(), on=KEY, how="left")["text"].fillna("")
    return voting.join_texts(text, extra)


def _with_texts(settled: pd.DataFrame) -> pd.DataFrame:
    """Value as text for numeric traits (dates as MM-DD), unit for those that have none yet."""
    result = settled.copy()
    numbers = result["kind"].eq(NUMERIC)
    is_date = result["trait"].isin({name for name in result["trait"].unique() if trait(name).date})
    plain = result.loc[numbers & ~is_date, "number"].round(1).map(lambda number: f"{number:g}")
    result.loc[numbers & ~is_date, "value"] = plain
    result.loc[numbers & is_date, "value"] = result.loc[numbers & is_date, "number"].map(date_text)
    units = result["trait"].map({name: trait(name).unit for name in result["trait"].unique()})
    result["unit"] = result["unit"].fillna("").where(result["unit"].fillna("").ne(""), units)
    return result


def _inherited(settled: pd.DataFrame) -> pd.DataFrame:
    """Rows a sport takes from its parent variety where it has none of its own; always `estimated`."""
    parents = settled.loc[settled["trait"].eq("sport_of"), ["crop", "variety", "value"]]
    parents = parents.rename(columns={"value": "parent"})
    known = settled[settled["trait"].isin(INHERITED_BY_SPORTS)]
    taken: list[pd.DataFrame] = []
    for _generation in range(3):
        source = pd.concat([known, *taken])
        rows = parents.merge(source.rename(columns={"variety": "parent"}), on=["crop", "parent"])
        has = pd.MultiIndex.from_frame(source[KEY])
        rows = rows[~pd.MultiIndex.from_frame(rows[KEY]).isin(has) & rows["parent"].ne(rows["variety"])]
        if rows.empty:
            break
        rows["standing"] = "estimated"
        rows["disagreement"] = "from its parent variety " + rows["parent"]
        half = rows["trait"].map({name: trait(name).floor for name in INHERITED_BY_SPORTS})
        rows["low"], rows["high"] = rows["low"] - half, rows["high"] + half
        taken.append(rows.drop(columns="parent"))
    return pd.concat(taken) if taken else settled.iloc[:0]


def _pollen_of_triploids(settled: pd.DataFrame) -> pd.DataFrame:
    """Triploids of which no pollen is published: poor pollen, `estimated` from their ploidy."""
    triploid = settled[settled["trait"].eq("ploidy") & settled["number"].eq(3.0)]
    stated = pd.MultiIndex.from_frame(settled.loc[settled["trait"].eq("pollen"), ["crop", "variety"]])
    rows = triploid[~pd.MultiIndex.from_frame(triploid[["crop", "variety"]]).isin(stated)].copy()
    rows = rows.assign(trait="pollen", kind="category", value="poor", unit="", standing="estimated")
    return rows.assign(number=2.0, low=np.nan, high=np.nan, disagreement="from its three sets of chromosomes")
