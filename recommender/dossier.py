"""What is known of one variety, gathered for reading: settled values, disagreements, evidence, sources,
cautions.

In come a catalog and a name; out goes a `Dossier` of frames, in the order in which a grower would ask. It
settles nothing itself: that is the catalog's work.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from recommender.wording import missing, plain

if TYPE_CHECKING:
    from recommender.catalog.store import Catalog

# What decides whether a tree can live and fruit at a site stands first; looks and names come last.
_READING_ORDER = (
    "zone_min", "zone_max", "min_survival_temp", "chill_hours", "chill_portions", "chill_units",
    "bloom_season", "bloom_group", "bloom_offset", "frost_tolerance_bloom", "self_fertility", "pollen",
    "ploidy", "s_alleles", "ripening_season", "ripening_offset", "harvest_start", "harvest_end",
    "bloom_to_harvest", "storage", "use", "vigour", "mature_height", "habit", "bearing_years",
    "yield_class", "fruit_size", "skin_colour", "flesh_colour", "brix",
)  # fmt: skip


def reading_place(trait: str) -> int:
    """Where a trait stands among what a grower asks; those not named there come last."""
    return _READING_ORDER.index(trait) if trait in _READING_ORDER else len(_READING_ORDER)


@dataclass(frozen=True)
class Dossier:
    """Everything the catalog holds of one variety.

    crop, variety: its accepted name. origin, year: where and when it arose, None where not known;
    origin_standing: published | from memory. also: its other names. settled: one row a trait (see
    `Catalog.settled`). evidence: one row a published statement, with the number of its source in `ref`.
    sources: one row a source, `ref` first. cautions: what to mind, as the catalog words it, with region and
    severity.
    """

    crop: str
    variety: str
    origin: str | None
    year: int | None
    origin_standing: str
    also: tuple[str, ...]
    settled: pd.DataFrame
    evidence: pd.DataFrame
    sources: pd.DataFrame
    cautions: pd.DataFrame

    @property
    def born(self) -> str:
        """Country and year in words, empty where neither is known; what no source states says so."""
        words = ", ".join(str(part) for part in (self.origin, self.year) if part)
        return f"{words} ({self.origin_standing})" if words and self.origin_standing != "published" else words

    @property
    def disagreements(self) -> pd.DataFrame:
        """The settled values on which sources disagree."""
        said = self.settled["disagreement"].astype("string").fillna("")
        return self.settled[said.str.strip() != ""]

    def references(self, source_ids: object) -> tuple[int, ...]:
        """The numbers, in `sources`, of the sources named in a `|`-joined text."""
        if not isinstance(source_ids, str):
            return ()
        numbers = self.sources.set_index("source_id")["ref"]
        return tuple(sorted({int(numbers[name]) for name in source_ids.split("|") if name in numbers.index}))

    def as_dict(self) -> dict[str, object]:
        """The whole dossier as plain objects, ready for JSON."""
        from recommender.outputs import frame_records

        return {
            "crop": self.crop,
            "variety": self.variety,
            "origin": self.origin,
            "year": self.year,
            "origin_standing": self.origin_standing,
            "also_called": list(self.also),
            "values": frame_records(self.settled),
            "evidence": frame_records(self.evidence),
            "sources": frame_records(self.sources),
            "cautions": frame_records(self.cautions),
        }


def cautions_for(catalog: Catalog, crop: str) -> pd.DataFrame:
    """Cautions that concern one crop (columns as in `cautions.csv`), gravest first; those for all crops are
    left to the pages on growing."""
    cautions = catalog.cautions()
    mine = cautions[cautions["crop"].fillna("").map(lambda crops: crop in str(crops).split("|"))]
    rank = {"stop": 0, "warning": 1, "info": 2}
    return mine.sort_values("severity", key=lambda words: words.map(rank).fillna(3), kind="stable")


def statement_words(row: Any) -> str:
    """One piece of evidence as it was written down: value or range, and its unit.

    row: a row of `Dossier.evidence`.
    """
    value, low, high = (None if missing(part) else plain(part) for part in (row.value, row.low, row.high))
    ends = f"{low or '…'} to {high or '…'}" if low or high else ""
    text = f"{value} ({ends})" if value and ends else value or ends
    return text if missing(row.unit) else f"{text} {plain(row.unit)}"


def _text(value: object) -> str | None:
    return None if missing(value) else str(value)


def dossier(catalog: Catalog, name: str, crop: str | None = None) -> Dossier:
    """All that is known of a variety. `name` may be `crop:variety`, a synonym or a near spelling.

    Raises UnknownName, with the nearest three, if no variety is called so.
    """
    crop, variety = catalog.resolve(name, crop)
    settled = catalog.settled(crop, variety)
    settled = settled.sort_values("trait", key=lambda traits: traits.map(reading_place), kind="stable")
    evidence = catalog.evidence(crop, variety)
    evidence = evidence.sort_values("trait", key=lambda traits: traits.map(reading_place), kind="stable")
    cited = [c for c in evidence["source_id"].dropna().drop_duplicates() if c != "memory"]
    sources = catalog.sources().set_index("source_id").reindex(cited).rename_axis("source_id").reset_index()
    sources.insert(0, "ref", range(1, len(sources) + 1))
    numbers = dict(zip(sources["source_id"], sources["ref"], strict=True))
    evidence = evidence.assign(ref=evidence["source_id"].map(numbers).astype("Int64"))
    names = catalog.names()
    also = names[(names["crop"] == crop) & (names["variety"] == variety)]["name"]
    varieties = catalog.varieties()
    record = varieties[(varieties["crop"] == crop) & (varieties["variety"] == variety)].iloc[0]
    year = _text(record["year"])
    return Dossier(
        crop=crop,
        variety=variety,
        origin=_text(record["origin"]),
        year=int(float(year)) if year and year.replace(".", "", 1).isdigit() else None,
        origin_standing=str(record["basis"]),
        also=tuple(n for n in also.drop_duplicates() if n != variety),
        settled=settled.reset_index(drop=True),
        evidence=evidence.reset_index(drop=True),
        sources=sources,
        cautions=cautions_for(catalog, crop).reset_index(drop=True),
    )
