"""Which crops' pollen serves which crop, and what has been published of single pairs of varieties.

In: the crop table, the pair table, and evidence of the traits `pollinated_by` and `incompatible_with`.
Out: `crop_crosses` (which crop accepts which), `published_pairs` (one row a statement, names resolved) and
`settled_pairs` (one row an ordered pair).
"""

from __future__ import annotations

import re
from collections.abc import Iterable

import numpy as np
import pandas as pd

EXTRA_CROSSES: dict[tuple[str, str], str] = {
    # (crop that bears, crop that gives pollen): standing. Both directions are set.
    ("sour-cherry", "sweet-cherry"): "published",  # hauck-2006 (sour on sweet), fischer-sauer (sweet on sour)
}
NEVER_CROSS = frozenset(
    frozenset(("european-plum", other))
    for other in ("japanese-plum", "american-plum", "cherry-plum", "plum-apricot")
)
"""European plums have six chromosome sets, the others two: their pollen does not serve each other."""

PAIR_COLUMNS = [
    "female_crop",
    "female",
    "male_crop",
    "male",
    "result",
    "kind",
    "standing",
    "source_id",
    "note",
]
KINDS = ("stated", "same group", "partner list", "mirrored")
"""stated: a cross or pair named as such; same group: read off a chart or from equal genotypes; partner
list: named as a good partner; mirrored: the other way round of a stated incompatible pair.
"""

_REVERSED = re.compile(
    r"will not pollinate these|pollen on these|not to pollinate|does not pollinate (?!it\b)"
)
_ONE_WAY = re.compile(r"one-way|only this way round|pollen is sterile|Gamma pollen|Narumi pollen")
_GROUPED = re.compile(
    r"same (?:pollen-)?(?:incompatibility )?group|same (?:pollen )?group|genotype|S-alleles"
)
_UNCHECKED = re.compile(r"not checked")
CHARTS = ("trees-online-chart", "omafra-02-037", "puget-chart", "connell-sacvalley-almond")
"""Sources that print incompatibility groups, not crosses; many cherry alleles were derived from them."""


def crop_crosses(crops: pd.DataFrame) -> dict[tuple[str, str], str]:
    """{(bearing crop, pollen crop): standing} of all crops that serve one another, both ways.

    crops: one row a crop with `crop`, `crosses_with` (`|`-joined) and `memory_cells`.
    """
    known = set(crops["crop"])
    found: dict[tuple[str, str], str] = {}
    memory = crops["memory_cells"].fillna("") if "memory_cells" in crops else pd.Series("", index=crops.index)
    for crop, others, from_memory in zip(
        crops["crop"], crops["crosses_with"].fillna(""), memory, strict=True
    ):
        standing = "common practice" if "crosses_with" in str(from_memory).split("|") else "published"
        found[crop, crop] = "published"
        for other in str(others).split("|"):
            if other in known and other != crop:
                found.setdefault((crop, other), standing)
                found.setdefault((other, crop), standing)
    for (bears, gives), standing in EXTRA_CROSSES.items():
        if bears in known and gives in known:
            found[bears, gives] = found[gives, bears] = standing
    return {pair: standing for pair, standing in found.items() if frozenset(pair) not in NEVER_CROSS}


class VarietyNames:
    """Finds a variety by the name a list prints: in the crop itself, then in the crops it crosses with."""

    def __init__(
        self,
        varieties: Iterable[tuple[str, str]],
        crosses: dict[tuple[str, str], str],
        names: pd.DataFrame | None = None,
    ) -> None:
        self._known = set(varieties)
        self._synonyms: dict[tuple[str, str], str] = {}
        if names is not None:
            for crop, name, variety in zip(names["crop"], names["name"], names["variety"], strict=True):
                self._synonyms.setdefault((crop, name), variety)
        self._partners: dict[str, list[str]] = {}
        for bears, gives in sorted(crosses):
            if bears != gives:
                self._partners.setdefault(bears, []).append(gives)

    def find(self, crop: str, name: str) -> tuple[str, str] | None:
        """(crop, accepted name), or None where the catalog has no such variety. Reads "crop:name" too."""
        stated, colon, rest = name.partition(":")
        if colon:
            return self.find(stated, rest) if (stated, rest) in self._known else None
        for other in [crop, *self._partners.get(crop, [])]:
            if (other, name) in self._known:
                return other, name
            synonym = self._synonyms.get((other, name))
            if synonym is not None and (other, synonym) in self._known:
                return other, synonym
        return None


def published_pairs(
    pairs: pd.DataFrame | None, evidence: pd.DataFrame | None, names: VarietyNames
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """(statements, unresolved): every published statement about a pair, and the names that match no variety.

    pairs: female_crop, female, male_crop, male, result, source_id. evidence: long, traits `pollinated_by` and
    `incompatible_with`. Statements have `PAIR_COLUMNS`; unresolved has crop, variety, trait, name, source_id.
    """
    rows: list[tuple[str, ...]] = []
    lost: list[tuple[str, ...]] = []
    if pairs is not None:
        columns = ["female_crop", "female", "male_crop", "male", "result", "source_id"]
        for female_crop, female, male_crop, male, result, source in _tuples(pairs, columns):
            bears, gives = names.find(female_crop, female), names.find(male_crop, male)
            if bears is None or gives is None:
                lost.append((female_crop, female, "pair", female if bears is None else male, source))
                continue
            kind = "same group" if source in CHARTS and result == "incompatible" else "stated"
            rows.append((*bears, *gives, result, kind, "published", source, ""))
    if evidence is not None:
        _from_evidence(evidence, names, rows, lost)
    statements = pd.DataFrame(list(dict.fromkeys(rows)), columns=PAIR_COLUMNS)
    return statements, pd.DataFrame(lost, columns=["crop", "variety", "trait", "name", "source_id"])


def _tuples(frame: pd.DataFrame, columns: list[str]) -> Iterable[tuple[str, ...]]:
    return zip(*(frame[name].fillna("").tolist() for name in columns), strict=True)


def _from_evidence(
    evidence: pd.DataFrame, names: VarietyNames, rows: list[tuple[str, ...]], lost: list[tuple[str, ...]]
) -> None:
    wanted = evidence.loc[evidence["trait"].isin(["pollinated_by", "incompatible_with"])]
    basis = "basis" if "basis" in wanted else "standing"
    columns = ["crop", "variety", "trait", "value", "source_id", "note", basis]
    for crop, variety, trait, value, source, note, standing in _tuples(wanted, columns):
        own = names.find(crop, variety)
        if own is None or (trait == "pollinated_by" and _UNCHECKED.search(note)):
            continue
        for name in value.split("|"):
            other = names.find(crop, name.strip())
            if other is None:
                lost.append((crop, variety, trait, name, source))
                continue
            female, male = (other, own) if _REVERSED.search(note) else (own, other)
            if trait == "pollinated_by":
                result, kind = "compatible", "partner list"
            else:
                result = "incompatible"
                kind = "same group" if source in CHARTS or _GROUPED.search(note) else "stated"
            rows.append((*female, *male, result, kind, standing, source, note))


_RESULT_ORDER = {"incompatible": 0, "semi-compatible": 1, "compatible": 2}
_STANDING_ORDER = {"published": 0, "common practice": 1, "estimated": 2, "from memory": 3}
_KIND_ORDER = {"stated": 0, "same group": 1, "partner list": 2, "mirrored": 3}


def settled_pairs(statements: pd.DataFrame) -> pd.DataFrame:
    """One row an ordered pair, with `sources` (`|`-joined) and `contradicted` (another source says
    otherwise).

    Published statements go before those from memory; among equals the cautious one stands, because a tree
    without a partner bears nothing: incompatible, then semi-compatible, then compatible.
    """
    by_pair: dict[tuple[str, ...], list[tuple[str, ...]]] = {}
    for row in zip(*(statements[name].tolist() for name in PAIR_COLUMNS), strict=True):
        by_pair.setdefault(row[:4], []).append(row)
    out = []
    for pair in sorted(by_pair):
        said = by_pair[pair]
        best = min(
            said,
            key=lambda r: (_STANDING_ORDER.get(r[6], 4), _RESULT_ORDER.get(r[4], 3), _KIND_ORDER[r[5]], r[7]),
        )
        sources = "|".join(sorted({row[7] for row in said if row[4] == best[4]}))
        out.append((*best, sources, len({row[4] == "incompatible" for row in said}) > 1))
    return pd.DataFrame(out, columns=[*PAIR_COLUMNS, "sources", "contradicted"])


def mirrored(settled: pd.DataFrame, diploid: np.ndarray) -> pd.DataFrame:
    """The other way round of each incompatible pair of two diploids in which that is implied.

    Two diploids that reject each other's pollen entirely have the same two alleles, so the reverse fails too
    (gametophytic crops). Not where a note says it holds one way only, nor where the reverse is published.
    diploid: bool per row of `settled`, true where both are diploids of one gametophytic crop.
    """
    keep = settled["result"].eq("incompatible") & diploid & ~settled["note"].str.contains(_ONE_WAY)
    turned = settled.loc[keep].rename(
        columns={"female_crop": "male_crop", "female": "male", "male_crop": "female_crop", "male": "female"}
    )
    key = ["female_crop", "female", "male_crop", "male"]
    known = pd.MultiIndex.from_frame(settled[key])
    turned = turned.loc[~pd.MultiIndex.from_frame(turned[key]).isin(known)]
    return turned.assign(kind="mirrored")[list(settled.columns)]
