"""How well the ranking agrees with what is published for regions, beside plain rules, on regions left out.

In comes an open catalog; out go scores and figures (`agreement.report` puts them together). For every region
with a published list the site is ranked with all records of the same source, of kin sources (same web host)
and of the same state or country taken out (nothing within 150 km either), with weights fitted on other states
only. Varieties that the catalog knows from nowhere but the records taken out are not asked about: a catalog
without those records would not hold them. How the figures fall when they are asked about is reported too.

A list does not name all that would thrive, so a variety it leaves out is no failure; what is measured is
whether named varieties stand above the others of their crop (ROC AUC, precision in the first ten), and
whether of two varieties that one list judges differently the better stands first.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import rankdata

from recommender.suitability import track_record
from recommender.suitability.garden import WEIGHTS
from recommender.suitability.learning import KERNELS, Case, fit
from recommender.suitability.ranking import (
    PRESETS,
    WISHES,
    known_share,
    rank,
    records_of,
    varieties_of,
)
from recommender.suitability.site import Site
from recommender.suitability.verdicts import RULED_OUT, RULED_OUT_CEILING, evidence, tier, verdicts
from recommender.suitability.weights import HAND, LEAST, Weights, living, standing

if TYPE_CHECKING:
    from recommender.catalog.catalog import Catalog
    from recommender.climate.profile import Profile

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]
Progress = Callable[[str, float], None]

STRICT_KINDS = ("extension", "government", "paper", "genebank")
LEAST_NAMED = 3
"""A list with fewer recommended varieties of a crop is too short for an AUC; its pairs still count."""
NEAR_km = 150.0
FOLDS = 10
# Hosts that keep the papers and posts of everybody: two sources there are no kin.
COMMON_HOSTS = frozenset(
    [
        "docslib.org",
        "scribd.com",
        "yumpu.com",
        "studylib.net",
        "growingfruit.org",
        "pmc.ncbi.nlm.nih.gov",
        "doi.org",
        "github.com",
        "en.wikipedia.org",
        "patents.justia.com",
        "what-when-how.com",
        "journals.ashs.org",
        "vdocuments.net",
    ]
)
RULES = ("zone only", "zone and chill", "most recommended elsewhere")


@dataclass(frozen=True, eq=False)
class Region:
    """One region with a list: the limiting criteria with their ends and the rating (name -> (V,)), wishes
    (name -> (V,)) and their factor (V,), published share (V,), which lists, facts and mentions stay
    when it is judged, and of these, what lists say anywhere (V,) and which varieties are asked about (V,)."""

    at: int
    name: str
    covers: frozenset[str]
    country: str
    climate: Floats
    zone: float
    chill: float
    criteria: Mapping[str, Floats]
    wished: Mapping[str, Floats]
    wishes: Floats
    share: Floats
    stays: tuple[Bools, Bools, Bools]
    elsewhere: Floats
    asked: Bools


def auc(named: Bools, score: Floats) -> float:
    """Chance that a named variety stands above one that is not named; ties count half.

    >>> auc(np.array([True, False, False]), np.array([0.5, 0.5, 0.1]))
    0.75
    """
    ranks, n = rankdata(score), int(named.sum())
    others = len(named) - n
    return float((ranks[named].sum() - n * (n + 1) / 2.0) / (n * others))


def precision_at_ten(named: Bools, score: Floats) -> float:
    """Average precision over the first ten, against the best that could be reached; ties in the worst order.

    >>> precision_at_ten(np.array([True, False, True]), np.array([0.9, 0.8, 0.1])).__round__(3)
    0.833
    """
    order = np.lexsort((named, -score))[:10]
    hits = named[order]
    precision = np.cumsum(hits) / np.arange(1, len(hits) + 1)
    return float((precision * hits).sum() / min(int(named.sum()), 10))


def distance_km(lat: float, lon: float, lats: Floats, lons: Floats) -> Floats:
    """Great-circle distance (N,) from one point to others [degrees]."""
    a, b = np.radians(lat), np.radians(lats)
    half = np.sin((b - a) / 2) ** 2 + np.cos(a) * np.cos(b) * np.sin(np.radians(lons - lon) / 2) ** 2
    return 2.0 * 6371.0 * np.arcsin(np.sqrt(half))


class Validation:
    """Everything that is measured on a catalog, region by region."""

    def __init__(
        self,
        catalog: Catalog,
        regions: Iterable[str] | None = None,
        same_state: bool = True,
        progress: Progress | None = None,
        like: Validation | None = None,
    ) -> None:
        """regions: names of the regions to rank (default: all). same_state: also leave out what others of the
        same state or country say (False: only the same source and its kin, as for a state already
        covered). like: regions ranked already, whose criteria are used again."""
        tables = records_of(catalog)[0]
        if tables is None:
            raise ValueError("The catalog holds no regional lists")
        self.catalog, self.records, self.same_state = catalog, tables.records, same_state
        self.frame = varieties_of(catalog).frame
        self.crop = self.frame["crop"].to_numpy(dtype=object)
        host = (
            catalog.sources().set_index("source_id")["url"].fillna("").str.extract(r"//(?:www\.)?([^/]+)")[0]
        )
        self._host = host.where(~host.isin(COMMON_HOSTS)).to_dict()
        covers = self.records.regions["covers"].astype(str)
        self.covers = [frozenset(text.split("|")) for text in covers]
        wanted = set(regions) if regions is not None else None
        chosen = [
            at for at, name in enumerate(self.records.regions["place"]) if wanted is None or name in wanted
        ]
        self.regions: list[Region] = []
        self._records: dict[tuple[int, track_record.Kernel], Mapping[str, Floats]] = {}
        self.share = known_share(varieties_of(catalog))
        ranked = {region.at: region for region in like.regions} if like is not None else {}
        for done, at in enumerate(chosen):
            if progress is not None:
                progress(f"Ranking {self.records.regions['place'].iloc[at]}", done / len(chosen))
            self.regions.append(self._region(at, ranked.get(at)))

    def left_out(self, at: int) -> tuple[Bools, Bools, Bools]:
        """Which lists, facts and mentions stay when a region is judged."""
        records, regions = self.records, self.records.regions
        own = records.lists[records.lists["place"] == at]
        sources = set(own["source_id"])
        hosts = {self._host.get(name) for name in sources} - {None}
        here = regions.iloc[at]
        near = distance_km(
            here["lat"], here["lon"], regions["lat"].to_numpy(float), regions["lon"].to_numpy(float)
        )
        beside = np.array([bool(self.covers[at] & other) for other in self.covers]) | (near < NEAR_km)
        if not self.same_state:
            beside = np.arange(len(regions)) == at

        def kin(source: pd.Series) -> Bools:
            return np.asarray(source.isin(sources) | source.map(self._host).isin(hosts), dtype=bool)

        lists = ~beside[records.lists["place"].to_numpy()] & ~kin(records.lists["source_id"])
        there = np.zeros(len(records.facts), dtype=bool)
        if self.same_state:
            place = records.facts["place"].to_numpy()
            inside = np.array([name in self.covers[at] for name in records.place_names])
            of_state = set(records.facts["source_id"][(place >= 0) & inside[place]])
            there = records.facts["source_id"].isin(of_state).to_numpy()
        facts = ~kin(records.facts["source_id"]) & ~there
        return lists, facts, ~kin(records.mentions["source_id"])

    def _region(self, at: int, ranked: Region | None) -> Region:
        lists, facts, _ = stays = self.left_out(at)
        known = np.bincount(self.records.lists["at"][lists], minlength=self.records.size)
        known = known + np.bincount(self.records.facts["at"][facts], minlength=self.records.size)
        left: dict[str, Any] = {
            "stays": stays,
            "elsewhere": track_record.sum_up(self.records, *stays).anywhere,
            "asked": ~self.records.only_listed | (known > 0),
        }
        if ranked is not None:
            return replace(ranked, **left)
        profile = self._profile(at)
        ranking = rank(Site(lat=profile.lat, lon=profile.lon), catalog=self.catalog, profile=profile)
        told = ranking.context
        rating = ranking.frame["c_rating"].sort_index().to_numpy(dtype=float)
        return Region(
            at=at,
            name=str(self.records.regions["place"].iloc[at]),
            covers=self.covers[at],
            country=str(self.records.region_country[at]),
            climate=track_record.climate_of(profile),
            zone=profile.zone_number,
            chill=float(np.median(profile.chill_hours_below_7)),
            criteria={**{n: v for n, v in told.found.items() if n != "evidence"}, "rating": rating},
            wished=told.wished,
            wishes=wishes_factor(told.wished),
            share=self.share,
            **left,
        )

    def record(self, region: Region, kernel: track_record.Kernel) -> Mapping[str, Floats]:
        """The track records (name -> (V,)) of a region with its own left out."""
        key = region.at, kernel
        if key not in self._records:
            tables = track_record.sum_up(self.records, *region.stays, kernel=kernel)
            found = track_record.track_records(tables, region.climate[None, :], (region.country,))
            self._records[key] = {name: value[0] for name, value in found.items()}
        return self._records[key]

    def forget(self, kernel: track_record.Kernel) -> None:
        """Drop the records kept for a kernel."""
        self._records = {key: held for key, held in self._records.items() if key[1] != kernel}

    def _profile(self, at: int) -> Profile:
        from recommender.climate.normals import normals_at
        from recommender.climate.profile import build_profile

        here = self.records.regions.iloc[at]
        return build_profile(normals_at(float(here["lat"]), float(here["lon"])))

    @cached_property
    def folds(self) -> Indices:
        """Fold of each region: regions that share a state, a country or a source are in the same one."""
        group = np.arange(len(self.regions))
        sources = [
            frozenset(self.records.lists.loc[self.records.lists["place"] == region.at, "source_id"])
            for region in self.regions
        ]
        for one, region in enumerate(self.regions):
            for two in range(one):
                if region.covers & self.regions[two].covers or sources[one] & sources[two]:
                    group[group == group[one]] = group[two]
        _, number = np.unique(group, return_inverse=True)
        return np.random.default_rng(5).permutation(int(number.max()) + 1)[number] % FOLDS

    def cases(self, strict: bool = False, everyone: bool = False) -> list[tuple[int, Case]]:
        """(index of the region, case) for every region and crop. everyone: ask about all varieties."""
        found: list[tuple[int, Case]] = []
        lists = self.records.lists
        if strict:
            plain = lists["flags"].fillna("").astype(str) == ""
            lists = lists[lists["source_kind"].isin(STRICT_KINDS) & plain]
        for index, region in enumerate(self.regions):
            asked = np.ones(len(self.crop), dtype=bool) if everyone else region.asked
            for crop, rows in lists[lists["place"] == region.at].groupby("crop"):
                of = np.flatnonzero((self.crop == crop) & asked)
                sets = {
                    verdict: set(rows.loc[rows["verdict"] == verdict, "at"])
                    for verdict in track_record.VERDICT_WORTH
                }
                named = sets["recommended"]
                unfit = sets["not-recommended"] - named
                middling = sets["marginal"] - named - unfit
                found.append(
                    (
                        index,
                        Case(
                            crop=str(crop),
                            of=of,
                            named=np.isin(of, sorted(named)),
                            middling=np.isin(of, sorted(middling)),
                            unfit=np.isin(of, sorted(unfit)),
                        ),
                    )
                )
        return found

    def features(self, region: Region, kernel: track_record.Kernel) -> tuple[dict[str, Floats], Floats]:
        """What is weighed (name -> (V,), each the logarithm that one unit of weight adds) and what is
        fixed."""
        found = {name: np.log(np.clip(region.criteria[name], LEAST, 1.0)) for name in HAND.powers}
        found["rating"] = region.criteria["rating"] - 1.0
        found.update({name: value - 1.0 for name, value in self.record(region, kernel).items()})
        return found, np.log(region.wishes)

    def learned(self, cases: Sequence[tuple[int, Case]], kernel: track_record.Kernel) -> Weights:
        """Weights fitted on some cases, with a kernel."""
        prepared = {index: self.features(self.regions[index], kernel) for index, _ in cases}
        return replace(fit([(*prepared[index], case) for index, case in cases]), kernel=kernel.by_name())

    def kernels(self, cases: Sequence[tuple[int, Case]]) -> Floats:
        """AUC (K, C) of every kernel of `learning.KERNELS` on every case long enough, weights by hand; NaN on
        the others."""
        found = np.full((len(KERNELS), len(cases)), np.nan)
        for row, kernel in enumerate(KERNELS):
            scores = self.scores([replace(HAND, kernel=kernel.by_name())] * len(self.regions))
            for column, (index, case) in enumerate(cases):
                if LEAST_NAMED <= int(case.named.sum()) < len(case.of):
                    found[row, column] = auc(case.named, scores[index][case.of])
            if kernel != track_record.BY_HAND:
                self.forget(kernel)
        return found

    def judged(self, region: Region, weights: Weights, record: bool = True) -> tuple[Floats, Indices]:
        """Score and verdict (V,) of a region with its own records left out. record: with the track record."""
        parts = self.record(region, track_record.kernel_of(weights))
        track = track_record.combined(dict(parts), dict(weights.record)) if record else np.ones(1)
        value = living(region.criteria, weights.powers) * region.wishes
        value = value * standing(region.criteria["rating"], track, weights)
        found = dict(region.criteria)
        if record:
            found["evidence"] = evidence(region.share, track)
        verdict = verdicts(found, region.wished)
        return np.where(verdict == RULED_OUT, value * RULED_OUT_CEILING, value), verdict

    def scores(self, weights: Sequence[Weights], record: bool = True) -> list[Floats]:
        """What every region's list is sorted by (V,): the score, one less for each tier of verdicts.
        weights: of each region; record: with the track record."""
        found = []
        for index, region in enumerate(self.regions):
            value, verdict = self.judged(region, weights[index], record)
            found.append(value - tier(verdict))
        return found


def wishes_factor(criteria: Mapping[str, Floats]) -> Floats:
    """What the wishes of a beginner who stated none leave of a score (V,): pollination, disease and care."""
    weight = {name: WISHES[name] for name in ("pollination", "disease")} | {"care": WEIGHTS["care"]}
    liked = sum(criteria[name] * weight[name] for name in weight) / sum(weight.values())
    return np.asarray(1.0 - PRESETS["beginner"][0] * (1.0 - liked))


def plain_rules(validation: Validation) -> dict[str, list[Floats]]:
    """Scores of the three rules one would use without a model. Unknown figures count as half fitting."""
    frame = validation.frame
    low, high = (pd.to_numeric(frame[name]).to_numpy(dtype=float) for name in ("zone_min", "zone_max"))
    chill = pd.to_numeric(frame["chill_hours"]).to_numpy(dtype=float)
    by_zone, by_both, popular = [], [], []
    for region in validation.regions:
        fits = (low <= region.zone) & ~(high + 0.5 < region.zone)
        zone = np.where(np.isfinite(low), fits.astype(float), 0.5)
        enough = np.where(np.isfinite(chill), (chill <= region.chill).astype(float), 0.5)
        by_zone.append(zone)
        by_both.append(np.minimum(zone, enough) + 0.01 * (zone + enough))
        popular.append(region.elsewhere)
    return dict(zip(RULES, (by_zone, by_both, popular), strict=True))


def measured(
    validation: Validation, cases: Sequence[tuple[int, Case]], scores: Sequence[Floats]
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Lists (region, crop, auc, ap10, named, of) and pairs (region, crop, kind, in_order 0, 0.5 or 1)."""
    lists: list[tuple[Any, ...]] = []
    pairs: list[tuple[Any, ...]] = []
    for index, case in cases:
        name, value = validation.regions[index].name, scores[index][case.of]
        count = int(case.named.sum())
        if LEAST_NAMED <= count < len(case.of):
            figures = auc(case.named, value), precision_at_ten(case.named, value)
            lists.append((name, case.crop, *figures, count, len(case.of)))
        for kind, better, worse in (
            ("recommended, not recommended", case.named, case.unfit),
            ("recommended, marginal", case.named, case.middling),
            ("marginal, not recommended", case.middling, case.unfit),
        ):
            apart = np.sign(value[better][:, None] - value[worse][None, :])
            pairs.extend((name, case.crop, kind, (sign + 1.0) / 2.0) for sign in apart.ravel())
    return (
        pd.DataFrame(lists, columns=["region", "crop", "auc", "ap10", "named", "of"]),
        pd.DataFrame(pairs, columns=["region", "crop", "kind", "in_order"]),
    )


__all__ = ["RULES", "Region", "Validation", "auc", "measured", "plain_rules", "precision_at_ten"]
