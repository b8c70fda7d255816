"""How well the open data are covered: what is known of each crop, how, from whom, and where it is thin.

Comes in: a `Catalog`. Goes out: `Quality`, a set of small frames; `quality_page` writes them down. A variety
counts as covered by a criterion if one of the traits that serve it has a value; of several, the best standing
counts.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from recommender.catalog.catalog import Catalog
from recommender.catalog.evidence import COUNTS_MOVED, SOUTHERN_MOVED

CRITERIA: dict[str, tuple[str, ...]] = {
    "hardiness": ("zone_min", "min_survival_temp"),
    "chill": ("chill_hours", "chill_portions", "chill_units"),
    "pollination": (
        "self_fertility",
        "s_alleles",
        "pollinated_by",
        "incompatible_with",
        "flowering_type",
    ),
    "bloom": ("bloom_offset", "bloom_season", "bloom_group"),
    "ripening": (
        "ripening_offset",
        "ripening_season",
        "harvest_start",
        "harvest_end",
        "bloom_to_harvest",
    ),
}
"""The traits of which one is enough to judge a variety by the criterion."""

ALSO_DECIDING = ("pollen", "ploidy", "frost_tolerance_bloom", "heat_need", "rain_cracking", "astringent")
"""Traits that decide together with those of `CRITERIA`: partners, blossom at risk, ripe fruit, cautions."""

STANDINGS = ("published", "common practice", "from memory", "estimated")
"""Best first; a variety with none of them is unknown."""
WHOLE_CROPS: dict[str, tuple[str, bool]] = {
    "crop_limits": ("cold and warmth of a crop, early blossom: winter, warmth, dormancy", True),
    "ripening_parameters": ("days from bloom to harvest: season", True),
    "bloom_parameters": ("bloom of a crop: frost at bloom, season, shared bloom", True),
    "bloom_critical_temps": ("kill temperatures: frost at bloom, which reads full bloom", True),
    "crop_facts": ("habit, chill, size of a crop: partners, chill, evergreens, height", True),
    "native_ranges": ("the wish for native plants", False),
    "rootstock_facts": ("which stock is advised, least height", True),
    "planting": ("planting advice, cover", False),
    "cautions": ("cautions shown beside a variety, rules of movement in a swap", False),
    "standards": ("bud stages and zones as words", False),
    "climate_models": ("constants of equations, for checking", False),
}
"""Tables of facts that are of no single variety: what reads them, and whether a limit of the verdict does."""

CROP_FACTS_READ = (
    "chill_hours",
    "crosses_with",
    "evergreen",
    "incompatibility",
    "seedling_height",
    "typical_self_fertility",
)
"""Facts of a crop that a limit, or the need of a partner, is read from."""
_NOT_ASKED = {
    "incompatibility": "*",
    "typical_self_fertility": "*",
    "crosses_with": "*",
    "seedling_height": "*",
    "evergreen": "no",
}
"""Facts that decide nothing where they are from memory: `biology.fertility` leaves such a habit out,
`biology.crosses` takes such a cross as common practice, `suitability.expectations` takes such a height as
unknown, and a crop not known to be evergreen is not."""

UNKNOWN = "unknown"
MAIN_CROPS = 15
ENOUGH = 0.8
"""Share of the varieties of a main crop for which a criterion should rest on something published."""
NO_YEAR = "no year given"


@dataclass(frozen=True)
class Quality:
    """What the report shows. Shares are between 0 and 1.

    coverage: per crop and criterion (crop, varieties, criterion, and the share of each standing, `unknown`).
    habits: what is published of the self-fertility of a crop as a whole (crop, habit).
    traits: per trait (settled, published, memory, sources, two_or_more, disagree).
    memory: what is from memory (of, from_memory, all, share).
    deciding_memory: the values from memory that decide (crop, variety, trait, value; variety "" for a value
        of the whole crop).
    whole_crops: tables of facts of no single variety (table, read_for, limits, rows, from_memory,
        common_practice, share from memory).
    age: evidence by the decade of its source (decade, rows, share).
    kinds: evidence by the kind of its source (kind, sources, rows, share).
    unsourced: statements set aside because nobody found their source, per trait (trait, rows).
    gaps: why a main crop falls short (crop, criterion, why).
    """

    coverage: pd.DataFrame
    habits: pd.DataFrame
    traits: pd.DataFrame
    memory: pd.DataFrame
    deciding_memory: pd.DataFrame
    whole_crops: pd.DataFrame
    age: pd.DataFrame
    kinds: pd.DataFrame
    unsourced: pd.DataFrame
    gaps: pd.DataFrame

    def main_crops(self) -> list[str]:
        """The crops with most varieties, largest first."""
        sizes = self.coverage.drop_duplicates("crop").set_index("crop")["varieties"]
        return list(sizes.sort_values(ascending=False, kind="stable").index[:MAIN_CROPS])

    def short(self) -> pd.DataFrame:
        """Crop and criterion of the main crops with less than `ENOUGH` published, thinnest first."""
        rows = self.coverage[self.coverage["crop"].isin(self.main_crops())]
        rows = rows[rows["published"].lt(ENOUGH)].sort_values(["published", "crop"], kind="stable")
        return rows[["crop", "criterion", "varieties", "published"]].reset_index(drop=True)


def deciding(trait: str) -> bool:
    """Whether a value of the trait can change a verdict or a caution."""
    return trait in _DECIDING or trait.startswith("disease:")


_DECIDING = frozenset({name for names in CRITERIA.values() for name in names}) | frozenset(ALSO_DECIDING)


def quality(catalog: Catalog) -> Quality:
    """Measure the data of an open catalog."""
    settled = catalog.settled_all()
    evidence = catalog.evidence()
    varieties = catalog.varieties()[["crop", "variety"]]
    return Quality(
        coverage=_coverage(varieties, settled, catalog.estimates()),
        habits=_habits(catalog.crop_facts()),
        traits=_traits(settled),
        memory=_memory(evidence, settled),
        deciding_memory=pd.concat(
            [_deciding_memory(settled), _deciding_of_crops(catalog)], ignore_index=True
        ),
        whole_crops=_whole_crops(catalog),
        age=_age(evidence),
        kinds=_kinds(evidence),
        unsourced=_unsourced(catalog),
        gaps=catalog.table("coverage_gaps")[["crop", "criterion", "why"]],
    )


def _coverage(varieties: pd.DataFrame, settled: pd.DataFrame, estimates: pd.DataFrame) -> pd.DataFrame:
    criterion_of = {name: criterion for criterion, names in CRITERIA.items() for name in names}
    known = settled[["crop", "variety", "trait", "standing"]]
    guessed = estimates[["crop", "variety", "trait"]].assign(standing="estimated")
    rows = pd.concat([known, guessed], ignore_index=True)
    rows["criterion"] = rows["trait"].map(criterion_of)
    rows["place"] = rows["standing"].map({name: place for place, name in enumerate(STANDINGS)})
    rows = rows.dropna(subset=["criterion", "place"])
    best = rows.groupby(["crop", "variety", "criterion"], sort=False)["place"].min()
    every = varieties.merge(pd.DataFrame({"criterion": list(CRITERIA)}), how="cross")
    every["standing"] = (
        best.reindex(pd.MultiIndex.from_frame(every))
        .map(dict(enumerate(STANDINGS)))
        .fillna(UNKNOWN)
        .to_numpy()
    )
    counts = every.pivot_table(
        index=["crop", "criterion"], columns="standing", values="variety", aggfunc="count", fill_value=0
    ).reindex(columns=[*STANDINGS, UNKNOWN], fill_value=0)
    shares = counts.div(counts.sum(axis=1), axis=0).rename_axis(columns=None).reset_index()
    sizes = varieties.groupby("crop").size()
    shares.insert(1, "varieties", shares["crop"].map(sizes).astype("int64"))
    order = {name: place for place, name in enumerate(CRITERIA)}
    place = shares["criterion"].map(order)
    return shares.assign(place=place).sort_values(["crop", "place"], ignore_index=True).drop(columns="place")


def _habits(facts: pd.DataFrame) -> pd.DataFrame:
    rows = facts[facts["trait"].eq("typical_self_fertility") & facts["basis"].eq("published")]
    habits = rows.groupby("crop")["value"].agg(lambda values: " or ".join(dict.fromkeys(values)))
    return habits.rename("habit").reset_index()


_NO_DISAGREEMENT = ("only known", SOUTHERN_MOVED, COUNTS_MOVED)


def _sources_differ(told: str) -> bool:
    """Whether a text of `disagreement` says more than that a value is a bound or was moved.

    >>> _sources_differ("only known to be at most 300"), _sources_differ("80: paper-1 (paper)")
    (False, True)
    """
    return any(part and not part.startswith(_NO_DISAGREEMENT) for part in told.split("; "))


def _traits(settled: pd.DataFrame) -> pd.DataFrame:
    several = settled["n_sources"].ge(2)
    told = settled["disagreement"].fillna("").astype(str)
    rows = pd.DataFrame(
        {
            "trait": settled["trait"],
            "published": settled["standing"].eq("published"),
            "memory": settled["standing"].eq("from memory"),
            "sources": settled["n_sources"],
            "several": several,
            "disagree": several & told.map(_sources_differ),
        }
    )
    found = rows.groupby("trait").agg(
        settled=("published", "size"),
        published=("published", "mean"),
        memory=("memory", "sum"),
        sources=("sources", "mean"),
        two_or_more=("several", "sum"),
        disagree=("disagree", "sum"),
    )
    found["disagree"] = (found["disagree"] / found["two_or_more"]).where(found["two_or_more"].gt(0))
    return found.reset_index().sort_values(["settled", "trait"], ascending=[False, True], ignore_index=True)


def _memory(evidence: pd.DataFrame, settled: pd.DataFrame) -> pd.DataFrame:
    decides = settled["trait"].map(deciding)
    from_memory = settled["standing"].eq("from memory")
    parts = [
        ("evidence rows", int(evidence["basis"].eq("from memory").sum()), len(evidence)),
        ("settled values", int(from_memory.sum()), len(settled)),
        ("settled values that decide", int((from_memory & decides).sum()), int(decides.sum())),
    ]
    frame = pd.DataFrame(parts, columns=["of", "from_memory", "all"])
    return frame.assign(share=frame["from_memory"] / frame["all"].clip(lower=1))


def _deciding_memory(settled: pd.DataFrame) -> pd.DataFrame:
    rows = settled[settled["standing"].eq("from memory") & settled["trait"].map(deciding)]
    return rows[["crop", "variety", "trait", "value"]].reset_index(drop=True)


def _whole_crops(catalog: Catalog) -> pd.DataFrame:
    rows = []
    for name, (read_for, limits) in WHOLE_CROPS.items():
        basis = catalog.table(name)["basis"]
        memory = int(basis.eq("from memory").sum())
        practice = int(basis.eq("common practice").sum())
        rows.append((name, read_for, limits, len(basis), memory, practice, memory / max(len(basis), 1)))
    columns = ["table", "read_for", "limits", "rows", "from_memory", "common_practice", "share"]
    return pd.DataFrame(rows, columns=columns)


def _deciding_of_crops(catalog: Catalog) -> pd.DataFrame:
    """Rows from memory of the tables that a limit reads, less what the code leaves out."""
    found = []
    for name, (_, limits) in WHOLE_CROPS.items():
        # Of rootstocks a limit reads heights only, and takes one from memory as unknown.
        if not limits or name == "rootstock_facts":
            continue
        table = catalog.table(name)
        rows = table[table["basis"].eq("from memory")]
        if name == "crop_facts":
            rows = rows[rows["trait"].isin(CROP_FACTS_READ)]
            left_out = rows["trait"].map(_NOT_ASKED)
            rows = rows[~(left_out.eq("*") | left_out.eq(rows["value"]))]
        elif name == "bloom_critical_temps":
            rows = rows[rows["stage"].isin(["full bloom", "full white", "full pink"])]
        trait = rows["trait"] if "trait" in rows else pd.Series(name, index=rows.index)
        value = rows["value"] if "value" in rows else pd.Series("", index=rows.index)
        found.append(
            pd.DataFrame({"crop": rows["crop"], "variety": "", "trait": trait, "value": value.astype(str)})
        )
    return pd.concat(found, ignore_index=True)


def _age(evidence: pd.DataFrame) -> pd.DataFrame:
    read = evidence[evidence["basis"].ne("from memory")]
    year = pd.to_numeric(read["source_year"], errors="coerce")
    decade = (year // 10 * 10).astype("Int64").astype("string") + "s"
    decade = decade.mask(year.lt(1950), "before 1950").fillna(NO_YEAR)
    counts = decade.value_counts()
    order = sorted(counts.index, key=lambda name: (name == NO_YEAR, name != "before 1950", name))
    rows = counts.reindex(order).astype("int64")
    return pd.DataFrame(
        {"decade": rows.index, "rows": rows.to_numpy(), "share": (rows / len(read)).to_numpy()}
    )


def _kinds(evidence: pd.DataFrame) -> pd.DataFrame:
    groups = evidence.groupby(evidence["source_kind"].fillna("unknown"))
    rows = groups.agg(sources=("source_id", "nunique"), rows=("source_id", "size"))
    rows = rows.sort_values("rows", ascending=False).rename_axis("kind").reset_index()
    return rows.assign(share=rows["rows"] / max(len(evidence), 1))


def _unsourced(catalog: Catalog) -> pd.DataFrame:
    counts = catalog.table("unsourced")["trait"].value_counts().sort_index()
    counts = counts.sort_values(ascending=False, kind="stable")
    return pd.DataFrame({"trait": counts.index.astype(str), "rows": counts.to_numpy(dtype="int64")})
