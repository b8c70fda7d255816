"""The track record: who names a variety, and how alike their climate is to the site's.

In come published regional verdicts, the places where sources described varieties, parentage, and climates;
out goes, for any number of sites at once, one matrix (sites x varieties) in [0, 1] for each kind of record.
Nothing here looks at the variety's own figures: those are the other criteria's business.

How alike two climates are is a Gaussian kernel over FIGURES, the widths of a `Kernel` being one standard
deviation each; what is said in another country counts less by its `abroad`. Records enter as logarithms of
kernel-weighted sums, so that the second list that names a variety says more than the tenth, and a variety no
list names stays a little above one that lists advise against.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse

from recommender.errors import UnknownName
from recommender.suitability.similarity import strains
from recommender.suitability.weights import FULL_RECORD, Weights

if TYPE_CHECKING:
    from recommender.catalog.catalog import Catalog
    from recommender.climate.profile import Profile

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]

# What is compared: USDA half-zone, chill [portions], mean and daily range of the warmest 92 days [degC, K],
# days of the year with a mean above 10 degC.
FIGURES = ("zone", "chill_portions", "summer_mean", "summer_range", "growing_days")
WIDTHS = np.array([0.9, 24.0, 3.6, 3.0, 48.0])
VERDICT_WORTH = {"recommended": 1.0, "marginal": 0.5, "not-recommended": -1.0}
# A list by those who try varieties out counts full; hearsay and shops less (estimated; see
# docs/validation.md).
LIST_WORTH = {
    "extension": 1.0,
    "government": 1.0,
    "paper": 0.8,
    "genebank": 0.8,
    "book": 0.7,
    "catalogue": 0.6,
}
FLAGGED_WORTH = 0.7
# A sport is its parent but for colour or season, so most of the parent's record is its own.
SPORT_SHARE = 0.8
# Lowest and highest value of each record before it is brought to [0, 1].
BOUNDS: dict[str, tuple[float, float]] = {
    "recommended": (-1.1, 3.0),
    "anywhere": (0.0, 3.0),
    "described": (0.0, 2.0),
    "sources": (0.0, 2.0),
    "named": (0.0, 3.0),
    "origin": (0.0, 0.6),
    "kin": (0.0, 3.0),
    "home": (0.0, 1.0),
}
RECORDS = tuple(BOUNDS)
# Described by somebody in the country, but neither bred nor recommended there, is this much of being at home;
# where the site's country is not known, all varieties are this much at home.
DESCRIBED_AT_HOME, NO_COUNTRY = 0.6, 0.5
_PARENT = r"\s+[x×]\s+|[|;,/()]"


def climate_of(profile: Profile) -> Floats:
    """The figures (F,) of a site, in the order of FIGURES."""
    mean = ((profile.tmin + profile.tmax) / 2.0).mean(axis=0)[-365:]
    spread = (profile.tmax - profile.tmin).mean(axis=0)[-365:]
    warmest = np.argsort(mean)[-92:]
    return np.array(
        [
            profile.zone_number,
            float(np.median(profile.chill_portions)),
            float(mean[warmest].mean()),
            float(spread[warmest].mean()),
            float((mean > 10.0).sum()),
        ]
    )


# From this likeness on, two climates are called alike in words (estimated).
ALIKE = 0.5


def likeness(sites: Floats, points: Floats, widths: Floats = WIDTHS) -> Floats:
    """How alike (S, P) in [0, 1] the climates of sites (S, F) and of points (P, F) are."""
    apart = (sites[:, None, :] - points[None, :, :]) / widths
    return np.exp(-0.5 * np.square(apart).sum(axis=2))


@dataclass(frozen=True)
class Kernel:
    """widths: one standard deviation of each of FIGURES; abroad: what a list or description from another
    country counts, of one from the site's own."""

    widths: tuple[float, ...] = tuple(WIDTHS.tolist())
    abroad: float = 0.5

    def by_name(self) -> dict[str, float]:
        """Its figures by the names in `score_weights.csv`."""
        return {**dict(zip(FIGURES, self.widths, strict=True)), "abroad": self.abroad}


BY_HAND = Kernel()


def kernel_of(weights: Weights) -> Kernel:
    """The kernel that ships with the weights; by hand what they leave out."""
    named = weights.kernel
    widths = [named.get(name, width) for name, width in zip(FIGURES, WIDTHS.tolist(), strict=True)]
    return Kernel(tuple(map(float, widths)), float(named.get("abroad", BY_HAND.abroad)))


@dataclass(frozen=True, eq=False)
class Records:
    """Every record as read: frames with the variety's row in `at`, besides `place` and `source_id`.

    lists: at, place (row in `regions`), worth; facts: at, place (row in `places`, -1 unknown), worth: a
    source that describes a variety; mentions: at: named as parent, sport's origin or pollen partner of
    another; sports, kin: pairs of rows (variety, parent); origin (V,): row in `places`, -1 unknown; bred_in
    (V,):
    two-letter country, "" unknown; regions: place, covers, lat, lon; region_figures (R, F); place_names;
    place_figures (N, F) with place_of (N,).
    """

    size: int
    lists: pd.DataFrame
    facts: pd.DataFrame
    mentions: pd.DataFrame
    sports: Indices
    kin: Indices
    origin: Indices
    bred_in: NDArray[np.object_]
    regions: pd.DataFrame
    region_figures: Floats
    place_names: tuple[str, ...]
    place_figures: Floats
    place_of: Indices

    @cached_property
    def region_country(self) -> NDArray[np.object_]:
        """Two-letter country of each region (R,)."""
        return np.array([str(covers)[:2] for covers in self.regions["covers"]], dtype=object)

    @cached_property
    def only_listed(self) -> Bools:
        """Varieties (V,) that a regional list names and no source describes: the catalog would not hold them
        without the lists. Where a variety arose, and who says so, has no part in it."""
        listed = np.bincount(self.lists["at"], minlength=self.size) > 0
        described = np.bincount(self.facts["at"], minlength=self.size) > 0
        return listed & ~described

    @cached_property
    def place_country(self) -> NDArray[np.object_]:
        """Two-letter country of each place (P,)."""
        return np.array([name[:2] for name in self.place_names], dtype=object)


@dataclass(frozen=True, eq=False)
class Tables:
    """Records summed up for matrix products: lists (R, V), facts (P, V), and the rest (V,)."""

    records: Records
    kernel: Kernel
    lists: Floats
    anywhere: Floats
    facts: Floats
    sources: Floats
    named: Floats

    # Few of the cells hold anything, so sums over them go by what is there.
    @cached_property
    def lists_held(self) -> Any:
        """`lists` by variety, sparse (V, R)."""
        return sparse.csr_matrix(self.lists.T)

    @cached_property
    def facts_held(self) -> Any:
        """`facts` by variety, sparse (V, P)."""
        return sparse.csr_matrix(self.facts.T)

    def at_home(self, country: str) -> Floats:
        """How much at home each variety is in a country (V,): 1 if bred or recommended there, less if only
        described there."""
        if not country:
            return np.full(self.records.size, NO_COUNTRY)
        if country not in self._at_home:
            here = self.records.region_country == country
            listed = np.maximum(self.lists[here], 0.0).sum(axis=0)
            told = self.facts[self.records.place_country == country].sum(axis=0)
            listed, told = (np.minimum(np.log2(1.0 + each), 1.0) for each in (listed, told))
            named = _shared(np.maximum(listed, DESCRIBED_AT_HOME * told), self.records.sports)
            self._at_home[country] = np.where(self.records.bred_in == country, 1.0, named)
        return self._at_home[country]

    @cached_property
    def _at_home(self) -> dict[str, Floats]:
        return {}

    @cached_property
    def parents_mean(self) -> Any:
        """Sparse (V, V): a variety's row times any figures (V,) is their mean over its parents."""
        child, parent = self.records.kin.T
        parents = np.bincount(child, minlength=self.records.size)
        share = 1.0 / parents[child]
        return sparse.csr_matrix((share, (child, parent)), shape=(self.records.size,) * 2)


def read_records(catalog: Catalog, frame: pd.DataFrame) -> Records | None:
    """The records of a catalog for the varieties of `frame` (V rows: crop, variety, origin); None if it
    holds none."""
    try:
        climates, described = catalog.table("region_climates"), catalog.table("variety_regions")
        lists, evidence = catalog.regional_lists(), catalog.evidence()
        names = catalog.names()
    except (AttributeError, UnknownName):
        return None
    rows = pd.MultiIndex.from_frame(frame[["crop", "variety"]])

    def at(table: pd.DataFrame) -> pd.DataFrame:
        keyed = table.assign(at=rows.get_indexer(pd.MultiIndex.from_frame(table[["crop", "variety"]])))
        return keyed[keyed["at"] >= 0].reset_index(drop=True)

    points = pd.MultiIndex.from_frame(lists[["region", "lat", "lon"]])
    own = climates["place"].isin(lists["region"])
    regions = climates[own].reset_index(drop=True)
    lists = lists.assign(
        place=pd.MultiIndex.from_frame(regions[["place", "lat", "lon"]]).get_indexer(points),
        worth=lists["verdict"].map(VERDICT_WORTH)
        * lists["source_kind"].map(LIST_WORTH).fillna(0.6)
        * np.where(lists["flags"].fillna("").astype(str) == "", 1.0, FLAGGED_WORTH),
    )
    towns = climates[~own].reset_index(drop=True)
    places = tuple(sorted(towns["place"].unique()))
    everything = at(evidence)
    told = everything[everything["source_id"] != "memory"]
    facts = told[["at", "crop", "source_id"]].drop_duplicates(["at", "source_id"])
    # A page that lists hundreds says little of each.
    breadth = facts.groupby(["crop", "source_id"])["at"].transform("size")
    facts = facts.assign(worth=breadth.astype(float) ** -0.5)
    seen = at(described)[["at", "source_id", "place"]]
    facts = facts.merge(seen, on=["at", "source_id"], how="left")
    facts["place"] = pd.Index(places).get_indexer(pd.Index(facts["place"].fillna("")))
    sports, kin, mentions = _relations(everything, names, frame)
    country = frame["origin"].fillna("").astype(str).tolist() if "origin" in frame else [""] * len(frame)
    return Records(
        size=len(frame),
        lists=at(lists[lists["place"] >= 0]),
        facts=facts.reset_index(drop=True),
        mentions=mentions,
        sports=np.unique(np.concatenate([sports, strains(frame)]), axis=0),
        kin=kin,
        origin=pd.Index(places).get_indexer(pd.Index(country)),
        bred_in=np.array(country, dtype=object),
        regions=regions,
        region_figures=regions[list(FIGURES)].to_numpy(dtype=float),
        place_names=places,
        place_figures=towns[list(FIGURES)].to_numpy(dtype=float),
        place_of=pd.Index(places).get_indexer(pd.Index(towns["place"])),
    )


def _relations(
    told: pd.DataFrame, names: pd.DataFrame, frame: pd.DataFrame
) -> tuple[Indices, Indices, pd.DataFrame]:
    """Sports (N, 2), parents (N, 2) and mentions (at, source_id) among the varieties of each crop. Who a
    sport's parent is may come from memory; a mention has a source."""
    known = {
        (crop, variety.casefold()): row
        for row, (crop, variety) in enumerate(frame[["crop", "variety"]].itertuples(index=False))
    }
    for crop, name, variety in names[["crop", "name", "variety"]].itertuples(index=False):
        row = known.get((crop, variety.casefold()))
        if row is not None:
            known.setdefault((crop, name.casefold()), row)
    chosen = told[told["trait"].isin(["parentage", "sport_of", "pollinated_by", "incompatible_with"])]
    parts = chosen[["at", "crop", "trait", "source_id"]].assign(
        name=chosen["value"].str.split(_PARENT, regex=True)
    )
    parts = parts.explode("name").dropna(subset="name")
    parts["other"] = [
        known.get((crop, name.strip().casefold()), -1)
        for crop, name in parts[["crop", "name"]].itertuples(index=False)
    ]
    parts = parts[(parts["other"] >= 0) & (parts["other"] != parts["at"])]

    def pairs(trait: str) -> Indices:
        found = parts.loc[parts["trait"] == trait, ["at", "other"]].drop_duplicates()
        return found.to_numpy(dtype=np.intp).reshape(-1, 2)

    grown = parts[parts["trait"].isin(["parentage", "sport_of"])].drop_duplicates(["at", "other"])
    partners = parts[~parts["trait"].isin(["parentage", "sport_of"])].drop_duplicates(["source_id", "other"])
    mentions = pd.concat([grown, partners])[["other", "source_id"]].rename(columns={"other": "at"})
    mentions = mentions[mentions["source_id"] != "memory"]
    return pairs("sport_of"), pairs("parentage"), mentions.reset_index(drop=True)


def sum_up(
    records: Records,
    lists: Bools | None = None,
    facts: Bools | None = None,
    mentions: Bools | None = None,
    kernel: Kernel = BY_HAND,
) -> Tables:
    """The records that are kept (masks over `lists`, `facts` and `mentions`; None keeps all), summed up."""
    size = records.size
    kept = records.lists if lists is None else records.lists[lists]
    by_region = np.zeros((len(records.regions), size))
    np.add.at(
        by_region, (kept["place"].to_numpy(), kept["at"].to_numpy()), kept["worth"].to_numpy(dtype=float)
    )
    told = records.facts if facts is None else records.facts[facts]
    by_place = np.zeros((len(records.place_names), size))
    placed = told[told["place"] >= 0]
    np.add.at(
        by_place, (placed["place"].to_numpy(), placed["at"].to_numpy()), placed["worth"].to_numpy(dtype=float)
    )
    once = told.drop_duplicates(["at", "source_id"])
    named = records.mentions if mentions is None else records.mentions[mentions]
    return Tables(
        records=records,
        kernel=kernel,
        lists=by_region,
        anywhere=np.maximum(by_region.sum(axis=0), 0.0),
        facts=by_place,
        sources=np.bincount(once["at"], once["worth"].to_numpy(dtype=float), size).astype(float),
        named=np.bincount(named["at"], minlength=size).astype(float),
    )


def _place_likeness(records: Records, sites: Floats, widths: Floats) -> Floats:
    """Mean likeness (S, P) of each site to the towns of each place."""
    by_town = likeness(sites, records.place_figures, widths)
    towns = np.bincount(records.place_of, minlength=len(records.place_names))
    groups = np.zeros((len(records.place_of), len(records.place_names)))
    groups[np.arange(len(records.place_of)), records.place_of] = 1.0 / towns[records.place_of]
    return by_town @ groups


def _shared(values: Floats, sports: Indices) -> Floats:
    """Values (..., V) where a sport and its parent each have at least SPORT_SHARE of the other's."""
    shared = values.copy()
    for one, other in ((0, 1), (1, 0)):
        for at, by in zip(sports[:, one], sports[:, other], strict=True):
            shared[..., at] = np.maximum(shared[..., at], SPORT_SHARE * values[..., by])
    return shared


def _own_country(kernel: Kernel, sites: NDArray[np.object_], others: NDArray[np.object_]) -> Floats:
    """What records of each place (P,) count at each site (S, P) by their countries."""
    own = (sites[:, None] == others[None, :]) | (sites == "")[:, None]
    return np.where(own, 1.0, kernel.abroad)


def track_records(tables: Tables, sites: Floats, countries: Sequence[str] = ()) -> dict[str, Floats]:
    """Each kind of record (S, V) in [0, 1] for sites (S, F).

    countries (S,): two-letter country of each site, "" where it is not known (none given: all).

    recommended: lists from like climates, for and against; anywhere: lists from everywhere; described:
    sources at work in like climates that describe it; sources: how many describe it at all; named: how often
    others are compared with it or bred from it; origin: bred in a country of like climates; kin: its parents'
    record; home: bred, recommended or described in the site's country.
    """
    records, kernel = tables.records, tables.kernel
    shape, widths = (len(sites), records.size), np.array(kernel.widths)
    where = np.array(list(countries) or [""] * len(sites), dtype=object)
    alike = likeness(sites, records.region_figures, widths)
    alike *= _own_country(kernel, where, records.region_country)
    sums = _dense(tables.lists_held @ alike.T)
    recommended = np.sign(sums) * np.log1p(2.0 * np.abs(sums))
    recommended = _shared(recommended, records.sports)
    there = _place_likeness(records, sites, widths) * _own_country(kernel, where, records.place_country)
    described = np.log1p(3.0 * _dense(tables.facts_held @ there.T))
    described = _shared(described, records.sports)
    country = _place_likeness(records, sites, 1.67 * widths)
    origin = np.where(records.origin >= 0, country[:, records.origin], 0.0)
    found = {
        "recommended": recommended,
        "anywhere": _shared(np.log1p(tables.anywhere), records.sports),
        "described": described,
        "sources": np.log1p(tables.sources),
        "named": np.log1p(tables.named),
        "origin": origin,
        "kin": _dense(tables.parents_mean @ (recommended + described).T),
        "home": np.stack([tables.at_home(name) for name in where]),
    }
    return {
        name: np.broadcast_to(
            np.clip((value - BOUNDS[name][0]) / (BOUNDS[name][1] - BOUNDS[name][0]), 0.0, 1.0), shape
        )
        for name, value in found.items()
    }


def _dense(by_variety: Floats) -> Floats:
    """(V, S) as (S, V), sites on end."""
    return np.ascontiguousarray(by_variety.T)


def combined(parts: dict[str, Floats], weights: dict[str, float]) -> Floats:
    """The record as one criterion in [0, 1]: the parts' mean by weight, FULL_RECORD and more being 1."""
    total = FULL_RECORD * sum(weights.get(name, 0.0) for name in parts)
    full = sum((parts[name] * (weights.get(name, 0.0) / total) for name in parts), np.zeros(1))
    return np.minimum(full, 1.0)


def alike_regions(tables: Tables, site: Floats, row: int, count: int = 3) -> Sequence[tuple[str, float]]:
    """The regions most like the site (F,) whose lists recommend the variety of `row`: (name, likeness)."""
    alike = likeness(site[None, :], tables.records.region_figures, np.array(tables.kernel.widths))[0]
    naming = np.flatnonzero(tables.lists[:, row] > 0.0)
    best = naming[np.argsort(-alike[naming])][:count]
    return [(str(tables.records.regions["place"].iloc[at]), float(alike[at])) for at in best]
