"""The answer to "who pollinates whom": three code arrays, and the sentences, lists and frames made from them.

In: arrays from `pollination.pollination_matrix`. Out: `PollinationMatrix` with `explain`, `partners`,
`pair_frame`, `sets_fruit` and `chance`. No rules of pollination here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import cast

import numpy as np
import pandas as pd

from recommender.biology import bloom_order
from recommender.biology.alleles import (
    ACCEPTS_NONE,
    HAZELNUT_SERIES,
    NOT_KNOWN,
    STANDINGS,
    Genotype,
    gametophytic,
    incidence,
    sporophytic,
)
from recommender.biology.fertility import GAINS, NEEDED, NEEDS
from recommender.biology.reasons_pollination import (
    COMPATIBLE,
    REASONS,
    RESULTS,
    SEMI,
    SENTENCES,
    UNKNOWN,
    WRONG_CROP,
)
from recommender.errors import UnknownName
from recommender.wording import crop_in_sentence

FEWEST_PAIRS = 45
"""Typed pairs of a crop (10 varieties) below which the pooled share stands in for the crop's own."""


@dataclass(frozen=True, eq=False)
class PollinationMatrix:
    """Every ordered pair of n varieties; row = the variety that bears, column = the pollen donor.

    index: frame crop, variety (n rows). result, reason, standing: (n, n) int8, positions in RESULTS,
    REASONS and STANDINGS. need: (n,) int8, positions in NEEDS. own: fertility codes, one row a variety.
    days: (n, 3) from `bloom_order.bloom_day`. overlap: (n, n) shared days at a site [d] or None.
    genotypes: the alleles used.
    settled: published pairs with their positions i, j and sources.
    """

    index: pd.DataFrame
    result: np.ndarray
    reason: np.ndarray
    standing: np.ndarray
    need: np.ndarray
    own: pd.DataFrame
    days: np.ndarray
    overlap: np.ndarray | None
    genotypes: pd.DataFrame
    settled: pd.DataFrame

    def __len__(self) -> int:
        return len(self.index)

    def take(self, rows: Sequence[int] | np.ndarray) -> PollinationMatrix:
        """The same answers for the varieties at `rows`, in that order."""
        rows = np.asarray(rows, dtype=np.int64)
        square = np.ix_(rows, rows)
        settled = self.settled
        if not settled.empty:
            place = pd.Series(np.arange(len(rows)), index=rows)
            kept = settled["i"].isin(place.index) & settled["j"].isin(place.index)
            settled = settled.loc[kept]
            settled = settled.assign(
                i=place[settled["i"]].to_numpy(), j=place[settled["j"]].to_numpy()
            ).reset_index(drop=True)
        return PollinationMatrix(
            self.index.iloc[rows].reset_index(drop=True),
            self.result[square],
            self.reason[square],
            self.standing[square],
            self.need[rows],
            self.own.iloc[rows].reset_index(drop=True),
            self.days[rows],
            None if self.overlap is None else self.overlap[square],
            self.genotypes,
            settled,
        )

    @cached_property
    def crop_of(self) -> list[str]:
        """Crop of each row."""
        return [str(crop) for crop in self.index["crop"]]

    @cached_property
    def variety_of(self) -> list[str]:
        """Variety of each row."""
        return [str(variety) for variety in self.index["variety"]]

    @cached_property
    def _position(self) -> dict[tuple[str, str], int]:
        return {key: k for k, key in enumerate(zip(self.crop_of, self.variety_of, strict=True))}

    def position(self, crop: str, variety: str) -> int:
        """Row of a variety. Raises UnknownName."""
        found = self._position.get((crop, variety))
        if found is None:
            raise UnknownName("variety", f"{crop}:{variety}", where="pollination matrix")
        return found

    def shared_days(self, i: int, j: int) -> float:
        """Days both bloom [d], of the site if known, else from offsets, groups or seasons; NaN where not
        known.
        """
        if self.overlap is not None:
            return float(self.overlap[i, j])
        if self.crop_of[i] != self.crop_of[j]:
            return float("nan")
        return float(bloom_order.shared_days(self.days[i : i + 1], self.days[j : j + 1])[0, 0])

    def sets_fruit(self) -> np.ndarray:
        """(n, n) bool: the donor's pollen is known to set fruit, all of it or part."""
        return np.asarray((self.result == COMPATIBLE) | (self.result == SEMI))

    def needs_partner(self) -> np.ndarray:
        """(n,) bool: bears nothing worth picking without pollen of another plant."""
        return np.asarray(self.need == NEEDED)

    def gains_from_partner(self) -> np.ndarray:
        """(n,) bool: bears alone, better with a partner."""
        return np.asarray(self.need == GAINS)

    def chance(
        self,
        rows: Sequence[int] | np.ndarray | slice = slice(None),
        donors: Sequence[int] | np.ndarray | slice = slice(None),
    ) -> np.ndarray:
        """(n, n) float32 in [0, 1] that the donor's pollen sets fruit: 1 or 0 where known; where the result
        is unknown, the share of the crop's typed pairs that set fruit (of all crops pooled where few are
        typed).

        rows, donors: only those positions, for (rows, donors).
        """
        result = self.result[rows][:, donors]
        known = ((result == COMPATIBLE) | (result == SEMI)).astype(np.float32)
        return np.where(result == UNKNOWN, self._rates[rows][:, None], known).astype(np.float32)

    def likely_partner(self, least_chance: float = 0.75) -> np.ndarray:
        """(n, n) bool: known to set fruit, or not published but with at least that chance."""
        return np.asarray(self.chance() >= least_chance)

    @cached_property
    def _rates(self) -> np.ndarray:
        """(n,) float32: the share of typed pairs that set fruit, of each variety's crop."""
        return np.array([self._base_rates[crop] for crop in self.crop_of], dtype=np.float32)

    @cached_property
    def _base_rates(self) -> dict[str, float]:
        """Crop -> share of its typed pairs that set fruit."""
        keys = list(zip(self.genotypes["crop"], self.genotypes["variety"], strict=True))
        position = {key: k for k, key in enumerate(dict.fromkeys(keys))}
        crop_at = np.array([crop for crop, _ in position], dtype=object)
        typed: dict[str, list[int]] = {}
        for group in incidence(self.genotypes, position):
            rule = sporophytic if group.series == HAZELNUT_SERIES else gametophytic
            code, crop_of = rule(group), crop_at[group.positions]
            judged = (code != NOT_KNOWN) & ~np.eye(len(code), dtype=bool)
            for crop in set(crop_of):
                inside = judged & (crop_of == crop)[:, None] & (crop_of == crop)[None, :]
                counts = typed.setdefault(str(crop), [0, 0])
                counts[0] += int(inside.sum())
                counts[1] += int((inside & (code != ACCEPTS_NONE)).sum())
        pairs, sets = (sum(counts[k] for counts in typed.values()) for k in (0, 1))
        pooled = sets / pairs if pairs else 0.5
        share = {crop: n[1] / n[0] for crop, n in typed.items() if n[0] >= 2 * FEWEST_PAIRS}
        return {crop: share.get(crop, pooled) for crop in set(self.crop_of)}

    def explain(self, i: int, j: int) -> str:
        """The result of donor j on variety i as one or two sentences, with the published sources in
        brackets.
        """
        name = REASONS[self.reason[i, j]]
        crops, varieties = self.crop_of, self.variety_of
        days = self.shared_days(i, j)
        female, donor, shared = self._alleles(i, j)
        text = SENTENCES[name].format(
            female=varieties[i],
            donor=varieties[j],
            female_crop=crop_in_sentence(crops[i]),
            donor_crop=crop_in_sentence(crops[j]),
            a_female_crop=with_article(crop_in_sentence(crops[i])),
            a_donor_crop=with_article(crop_in_sentence(crops[j])),
            female_alleles=female,
            donor_alleles=donor,
            shared=shared,
            overlap="no" if not days > 0.5 else f"{days:.0f}",
            share=f"{100 * self._base_rates[crops[i]]:.0f}" if name == "alleles-untyped" else "",
        )
        sources = self._sources(i, j) if "published" in name or "list" in name or "overruled" in name else ""
        return f"{text} [{sources}]" if sources else text

    def _alleles(self, i: int, j: int) -> tuple[str, str, str]:
        """Alleles of both and those shared, in the first series both are typed in."""
        one, two = (self._genotypes_of(k) for k in (i, j))
        for series, genotype in one.items():
            if series in two:
                style = [h.style for h in genotype.haplotypes if h.style]
                pollen = [h.pollen for h in two[series].haplotypes if h.pollen]
                shared = [name for name in dict.fromkeys(style) if name in pollen]
                return _printed(genotype), _printed(two[series]), " and ".join(shared) or "no S-allele"
        return "not typed", "not typed", "an S-allele"

    @cached_property
    def _by_variety(self) -> dict[tuple[str, str], dict[str, Genotype]]:
        out: dict[tuple[str, str], dict[str, Genotype]] = {}
        rows = self.genotypes.sort_values("standing", kind="stable")
        for row in rows.itertuples(index=False):
            found = out.setdefault((str(row.crop), str(row.variety)), {})
            found[str(row.series)] = cast("Genotype", row.genotype)
        return out

    def _genotypes_of(self, k: int) -> dict[str, Genotype]:
        return self._by_variety.get((self.crop_of[k], self.variety_of[k]), {})

    def _sources(self, i: int, j: int) -> str:
        if self.settled.empty:
            return ""
        found = self.settled.loc[self.settled["i"].eq(i) & self.settled["j"].eq(j), "sources"]
        return ", ".join(str(found.to_numpy()[0]).split("|")) if len(found) else ""

    def partners(self, i: int, donors: Sequence[int] | np.ndarray | None = None) -> pd.DataFrame:
        """Donors for variety i, best first: crop, variety, result, standing, overlap_days, reason.

        donors: positions to look at; None: every variety of the crops it crosses with, but itself.
        Best first: result, then standing, then shared days, then name.
        """
        if donors is None:
            found = np.flatnonzero(self.result[i] != WRONG_CROP)
            found = found[found != i]
        else:
            found = np.asarray(donors, dtype=np.int64)
        frame = pd.DataFrame(
            {
                "crop": self.index["crop"].to_numpy()[found],
                "variety": self.index["variety"].to_numpy()[found],
                "result": np.array(RESULTS, dtype=object)[self.result[i, found]],
                "standing": np.array(STANDINGS, dtype=object)[self.standing[i, found]],
                "overlap_days": [self.shared_days(i, int(j)) for j in found],
                "position": found,
            }
        )
        order = np.lexsort(
            (
                frame["variety"].to_numpy(dtype=str),
                -np.nan_to_num(frame["overlap_days"].to_numpy(np.float64), nan=-1.0),
                self.standing[i, found],
                self.result[i, found],
            )
        )
        frame = frame.iloc[order].reset_index(drop=True)
        frame["reason"] = [self.explain(i, int(j)) for j in frame["position"]]
        return frame

    def pair_frame(self) -> pd.DataFrame:
        """Long frame of all pairs of crops that cross, for the catalog to store.

        Columns female_crop, female, male_crop, male, result, reason (its short name), standing, overlap_days.
        """
        i, j = np.nonzero(self.result != WRONG_CROP)
        crop = pd.Categorical(self.index["crop"])
        variety = self.index["variety"].to_numpy()
        days = np.full(len(i), np.nan, dtype=np.float32)
        if self.overlap is not None:
            days = self.overlap[i, j].astype(np.float32)
        else:
            codes = crop.codes
            for k in np.unique(codes):
                rows = np.flatnonzero(codes == k)
                shared = bloom_order.shared_days(self.days[rows], self.days[rows])
                place = np.full(len(self), -1)
                place[rows] = np.arange(len(rows))
                inside = (codes[i] == k) & (codes[j] == k)
                days[inside] = shared[place[i[inside]], place[j[inside]]]
        return pd.DataFrame(
            {
                "female_crop": crop[i],
                "female": variety[i],
                "male_crop": crop[j],
                "male": variety[j],
                "result": pd.Categorical.from_codes(self.result[i, j], pd.Index(RESULTS)),
                "reason": pd.Categorical.from_codes(self.reason[i, j], pd.Index(REASONS)),
                "standing": pd.Categorical.from_codes(self.standing[i, j], pd.Index(STANDINGS)),
                "overlap_days": days,
            }
        )

    def need_frame(self) -> pd.DataFrame:
        """crop, variety, need, need_standing: who needs a partner."""
        return self.index.assign(
            need=np.array(NEEDS, dtype=object)[self.need],
            need_standing=np.array(STANDINGS, dtype=object)[self.own["need_standing"].to_numpy()],
        )


def _printed(genotype: Genotype) -> str:
    return " ".join(haplotype.text for haplotype in genotype.haplotypes)


def with_article(words: str) -> str:
    """ "an apple", "a quince", "a European pear"."""
    return f"{'an' if words[0] in 'aeiouAIO' else 'a'} {words}"
