"""The score and verdict of every variety at many sites: the rules of `ranking.rank`, without words and
intervals.

In come climates; out go matrices (sites x varieties). The criteria asked are those of one site. What a
criterion reads is shared by many varieties, so each is worked out once for every different set of figures
(`Plan`) and handed to all that share it; criteria of yearly figures are one matrix product for all sites
(`shares`), and the track record is another.

`features_of` takes from a profile what scores need, `stacked` puts sites side by side with what days decide
(frost at bloom, ripeness in time), and `scored` makes scores of that. The atlas keeps what `stacked` gives.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from recommender.climate.places import country_at
from recommender.errors import BadInput
from recommender.suitability import care, criteria, disease, limits, track_record
from recommender.suitability.dates import Dates, Kinds, dates_of, kinds_of
from recommender.suitability.expectations import Varieties
from recommender.suitability.garden import Around, asked
from recommender.suitability.garden_partners import garden_partners
from recommender.suitability.goals import Goals
from recommender.suitability.ranking import (
    PRESETS,
    WITHOUT_LISTS,
    known_share,
    records_of,
    taken,
    varieties_of,
    wishes,
)
from recommender.suitability.site import Site, YesNo
from recommender.suitability.verdicts import (
    LIMITS,
    RULED_OUT,
    RULED_OUT_CEILING,
    evidence,
    is_ruled_out,
    verdicts,
)
from recommender.suitability.weights import Weights, living, standing

if TYPE_CHECKING:
    from recommender.catalog.catalog import Catalog
    from recommender.climate.profile import Profile
    from recommender.suitability.timing import Timing

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]
# Stands for the answers of a grower who answered nothing.
NOWHERE = Site(lat=0.0, lon=0.0)
READ = ("crop", "variety", "zone_min", "heat_need")
"""Columns of the catalog's wide table that a criterion still reads as a column."""
SITES_AT_ONCE, ROWS_AT_ONCE = 256, 16
"""Sites in one matrix product, and sites whose scores stay in the cache of one core."""


@dataclass(frozen=True, eq=False)
class SiteFeatures:
    """What is prepared of a climate once: the profile, the coldest night around each day (Y, D) [degC], the
    figures that the track record compares (F,), the country, when each kind of variety blooms and ripens, and
    how hard each disease presses (D,)."""

    profile: Profile
    coldest: Floats
    figures: Floats
    country: str
    dates: Dates
    pressure: Floats


@dataclass(frozen=True, eq=False)
class Climates:
    """S sites as scores need them, row for row; nothing of a day is left.

    zone (S,); error_K, error_hours, error_portions (S,): of the coldest night, of chill hours and portions;
    annual_min, chill_hours_below_7, chill_hours_0_7, chill_portions, gdd10 (S, Y): as in `Profile`; figures
    (S, F): of the track record; country (S,): its two letters; pressure (S, D): of diseases;
    bloom_frost (S, Kb) and season (S, Ks) with its ends: the criteria that days decide, for each kind of
    variety. An end is worked out where a verdict can hang on it, the low one where the season may be sound
    and the high one where it may be vetoed.
    """

    zone: Floats
    error_K: Floats
    error_hours: Floats
    error_portions: Floats
    annual_min: Floats
    chill_hours_below_7: Floats
    chill_hours_0_7: Floats
    chill_portions: Floats
    gdd10: Floats
    figures: Floats
    country: NDArray[np.str_]
    pressure: Floats
    bloom_frost: Floats
    season: Floats
    season_low: Floats
    season_high: Floats

    def __len__(self) -> int:
        return len(self.zone)

    def rows(self, some: slice) -> Climates:
        """The sites of a slice."""
        return Climates(**{part.name: getattr(self, part.name)[some] for part in fields(self)})


@dataclass(frozen=True, eq=False)
class Scores:
    """score (S, V) in [0, 1], verdict (S, V) as its place in `verdicts.VERDICTS`."""

    score: Floats
    verdict: NDArray[np.int8]


@dataclass(frozen=True, eq=False)
class Group:
    """Varieties that one criterion cannot tell apart: one of each kind, and which kind each variety (V,)
    is."""

    kinds: Varieties
    of: Indices


@dataclass(frozen=True, eq=False)
class Wished:
    """What wishes make of a score: the fixed part of their weighted sum (V,), what disease and care need."""

    varieties: Varieties
    fixed: Floats
    weights: dict[str, float]
    by_wishes: float
    judged: dict[str, Floats]
    diseases: list[str]
    constant: Floats
    loss: Floats
    ladder: Floats

    def factor(self, pressure: Floats, winter: Floats, bloom_frost: Floats) -> Floats:
        """The factor of wishes (S, V) from pressure (S, D) and two criteria (S, V)."""
        health = pressure @ -self.loss.T
        health += 1.0 - self.constant
        np.clip(health, 0.0, 1.0, out=health)
        total = self.fixed + self.weights["disease"] * health
        if "care" in self.weights:
            partner = self.judged["pollination"]
            effort = care.care(self.varieties, NOWHERE, winter, bloom_frost, partner, health, self.ladder)
            total += self.weights["care"] * effort
        total *= self.by_wishes / sum(self.weights.values())
        total += 1.0 - self.by_wishes
        return np.asarray(total)


@dataclass(frozen=True, eq=False)
class Plan:
    """A catalog made ready: the groups by criterion, what wishes need, and the records.

    names (V rows): crop and variety, in the catalog's order; rows (V,): which of the catalog they are.
    """

    names: pd.DataFrame
    rows: Indices
    winter: Group
    chill: Group
    warmth: Group
    rating: Group
    days: Kinds
    wished: Wished
    share: Floats
    trust: float
    records: track_record.Tables | None
    counted: Weights

    @property
    def size(self) -> int:
        """Number of varieties."""
        return len(self.rows)


def features_of(profile: Profile, ready: Plan) -> SiteFeatures:
    """Prepare one climate for a plan."""
    profile = profile.complete()
    weather = disease.weather_of(NOWHERE, profile.lat, profile.lon, profile.elevation_m)
    figures = track_record.climate_of(profile)
    coldest = criteria.coldest_fortnight(profile.tmin)
    pressure = np.array([disease.pressure(name, weather, "unknown") for name in ready.wished.diseases])
    country = country_at(profile.lat, profile.lon)
    return SiteFeatures(profile, coldest, figures, country, dates_of(profile, ready.days), pressure)


def _group(varieties: Varieties, *figures: NDArray[np.generic]) -> Group:
    read = np.column_stack([np.asarray(figure, dtype=float) for figure in figures])
    _, first, of = np.unique(np.nan_to_num(read, nan=-9e9), axis=0, return_index=True, return_inverse=True)
    kinds = taken(varieties, first)
    kinds = replace(kinds, frame=kinds.frame[[name for name in READ if name in kinds.frame]])
    return Group(kinds, np.ravel(of))


def _unrated(varieties: Varieties) -> tuple[Floats, Floats]:
    """Hardiness and its error where a variety has no rating, which stand in for it."""
    rated = np.isfinite(criteria.number(varieties.frame, "zone_min"))
    hardy = varieties.hardiness
    return np.where(rated, 0.0, hardy.value), np.where(rated, 0.0, hardy.error)


def plan(catalog: Catalog, goals: Goals | None = None, neighbours: YesNo = "unknown") -> Plan:
    """Make a catalog ready for sites about which nothing but the climate is known.

    goals: as for `rank`; only `goals.crops` are scored, all without. neighbours: whether fruit trees stand
    near by everywhere, as a site answers it. Raises BadInput for goals that need a garden.
    """
    somewhere = NOWHERE.model_copy(update={"neighbours_have_fruit_trees": neighbours})
    goals = goals if goals is not None else Goals()
    if goals.will_cover or goals.native:
        raise BadInput(
            "Many sites at once cannot be scored for winter cover or native plants",
            remedy="Leave will_cover and native out, or rank one site",
        )
    everyone = varieties_of(catalog)
    crops = [catalog.resolve_crop(name) for name in goals.crops]
    rows = np.arange(len(everyone))
    if crops:
        rows = np.flatnonzero(everyone.frame["crop"].isin(crops).to_numpy())
    varieties = taken(everyone, rows) if crops else everyone
    hardy, hours, portions = varieties.hardiness, varieties.chill_hours, varieties.chill_portions
    partners = garden_partners(catalog, [], rows, None)
    wished, weights = wishes(varieties, partners, somewhere, goals)
    around = Around(None, "", catalog.crops(), catalog.rootstocks(), catalog.cautions())
    years = care.years_to_crop(varieties.frame, around.crops)
    more, more_weights = asked(varieties, NOWHERE, goals, around, years)
    wished, weights = {**wished, **more}, {**weights, **more_weights}
    by_wishes, trust = PRESETS[goals.preset]
    fixed = np.zeros(len(varieties))
    for name, weight in weights.items():
        if name not in ("disease", "care"):
            fixed += wished[name] * weight
    warmth = criteria.mapped(
        criteria.text(varieties.frame, "heat_need"), {"low": 0.0, "medium": 1.0, "high": 2.0}
    )
    records, counted = records_of(catalog)
    return Plan(
        names=varieties.frame[["crop", "variety"]].reset_index(drop=True),
        rows=rows,
        winter=_group(varieties, hardy.value, hardy.error, hardy.known),
        chill=_group(
            varieties, hours.value, hours.error, hours.known, varieties.by_portions, portions.value,
            portions.error, criteria.may_wake_early(varieties), varieties.evergreen,
        ),
        warmth=_group(
            varieties, varieties.defaults["warmth_fails"].to_numpy(),
            varieties.defaults["warmth_good"].to_numpy(), varieties.ripe_class.value, warmth,
        ),
        rating=_group(varieties, criteria.number(varieties.frame, "zone_min"), *_unrated(varieties)),
        days=kinds_of(
            everyone, rows, criteria.kill_temperatures(catalog.bloom_critical_temps(), everyone.frame["crop"])
        ),
        wished=Wished(
            varieties, fixed, dict(weights), by_wishes, wished, *disease.losses(varieties),
            care.ladder(varieties),
        ),
        share=known_share(varieties),
        trust=trust if records is not None else trust * WITHOUT_LISTS,
        records=records,
        counted=counted,
    )  # fmt: skip


def _season(when: Timing, evergreen: NDArray[np.bool_], ends: Sequence[str]) -> dict[str, Floats]:
    """Ripe in time, with its ends where a verdict can hang on them."""
    found = criteria.ripens_in_time(when, evergreen)
    all_of = {"season": found, "season_low": found, "season_high": found}
    limit = LIMITS["season"]
    for end, some in (("_low", found >= limit.sound), ("_high", found < limit.veto)):
        rows = np.flatnonzero(some)
        if end in ends and rows.size:
            moved = found.copy()
            moved[rows] = limits.season(when.taken(rows), evergreen[rows], (end,))[f"season{end}"]
            all_of[f"season{end}"] = moved
    return all_of


def stacked(sites: Sequence[SiteFeatures], ready: Plan, ends: Sequence[str] = limits.BOTH) -> Climates:
    """Sites side by side; ends: of the season, "_low" for verdicts, "_high" for vetoes.

    Raises BadInput if their climates have different numbers of seasons.
    """
    if len({len(site.profile.annual_min) for site in sites}) > 1:
        raise BadInput(
            "The climates of one batch must have equally many seasons",
            remedy="Score them in separate batches",
        )
    profiles = [site.profile for site in sites]
    days = ready.days
    frost = [
        criteria.flowers_kept(
            site.coldest, site.dates.bloom, site.dates.bloom_error, days.kill10, days.kill90, days.evergreen
        )
        for site in sites
    ]
    season = [_season(site.dates.harvest, days.harvest_evergreen, ends) for site in sites]

    def by_year(name: str) -> Floats:
        return np.stack([getattr(profile, name) for profile in profiles])

    def error(name: str, otherwise: float) -> Floats:
        return np.array([criteria.site_error(profile, name, otherwise) for profile in profiles])

    return Climates(
        zone=np.array([profile.zone_number for profile in profiles]),
        error_K=error("annual_extreme_min_degC", 2.0),
        error_hours=error("chill_hours_below_7", 100.0),
        error_portions=error("chill_portions", 6.0),
        annual_min=by_year("annual_min"),
        chill_hours_below_7=by_year("chill_hours_below_7"),
        chill_hours_0_7=by_year("chill_hours_0_7"),
        chill_portions=by_year("chill_portions"),
        gdd10=by_year("gdd10"),
        figures=np.stack([site.figures for site in sites]),
        country=np.array([site.country for site in sites], dtype="U2"),
        pressure=np.stack([site.pressure for site in sites]),
        bloom_frost=np.stack(frost),
        **{name: np.stack([each[name] for each in season]) for name in season[0]},
    )


def _limits(sites: Climates, ready: Plan, ends: Sequence[str]) -> dict[str, tuple[Floats, Indices]]:
    """The limiting criteria (S, K) of each kind with the ends asked for, and the kind of each variety."""
    winter = limits.winter(sites.annual_min, ready.winter.kinds.hardiness, sites.error_K, ends)
    chill = limits.chill(
        sites.chill_hours_below_7,
        sites.chill_portions,
        ready.chill.kinds,
        sites.error_hours,
        sites.error_portions,
        ends,
    )
    chill["dormancy"] = criteria.stays_asleep(sites.chill_hours_0_7, ready.chill.kinds)
    warmth = criteria.warm_enough(sites.gdd10, ready.warmth.kinds)
    return {
        **{name: (value, ready.winter.of) for name, value in winter.items()},
        **{name: (value, ready.chill.of) for name, value in chill.items()},
        "bloom_frost": (sites.bloom_frost, ready.days.bloom_of),
        **{
            name: (getattr(sites, name), ready.days.harvest_of)
            for name in ("season", "season_low", "season_high")
        },
        "warmth": (warmth, ready.warmth.of),
    }


def _tracks(sites: Climates, ready: Plan) -> Floats:
    if ready.records is None:
        return np.broadcast_to(ready.share, (len(sites), ready.size))
    parts = track_record.track_records(ready.records, sites.figures, sites.country.tolist())
    found = track_record.combined(parts, dict(ready.counted.record))
    return found if len(ready.rows) == found.shape[1] else found[:, ready.rows]


def wishes_at(sites: Climates, ready: Plan) -> Floats:
    """The factor of wishes (S, V)."""
    found = _limits(sites, ready, ())
    winter, frost = (value.take(of, axis=1) for value, of in (found["winter"], found["bloom_frost"]))
    return ready.wished.factor(sites.pressure, winter, frost)


def scored(sites: Climates, ready: Plan, with_verdicts: bool = True) -> Scores:
    """Scores and verdicts of S sites; without verdicts only who is ruled out is told apart from the rest."""
    score, verdict = np.empty((len(sites), ready.size)), np.zeros((len(sites), ready.size), dtype=np.int8)
    for first in range(0, len(sites), SITES_AT_ONCE):
        block = sites.rows(slice(first, first + SITES_AT_ONCE))
        found = _limits(block, ready, limits.BOTH if with_verdicts else ("_high",))
        for row in range(0, len(block), ROWS_AT_ONCE):
            some = slice(row, row + ROWS_AT_ONCE)
            of_variety = {name: value[some].take(of, axis=1) for name, (value, of) in found.items()}
            here = slice(first + row, first + row + ROWS_AT_ONCE)
            score[here], verdict[here] = _scored(block.rows(some), of_variety, ready, with_verdicts)
    return Scores(score, verdict)


def _scored(
    sites: Climates, found: dict[str, Floats], ready: Plan, with_verdicts: bool
) -> tuple[Floats, NDArray[np.int8]]:
    rating = criteria.rated_for_zone(ready.rating.kinds, sites.zone[:, None]).take(ready.rating.of, axis=1)
    value = living(found, ready.counted.powers)
    value *= ready.wished.factor(sites.pressure, found["winter"], found["bloom_frost"])
    record = _tracks(sites, ready)
    value *= standing(rating, record, ready.counted, ready.trust)
    if with_verdicts:
        found["evidence"] = evidence(ready.share, record)
        verdict = verdicts(found, ready.wished.judged).astype(np.int8)
    else:
        verdict = np.where(is_ruled_out(found), RULED_OUT, 0).astype(np.int8)
    np.multiply(value, RULED_OUT_CEILING, out=value, where=verdict == RULED_OUT)
    return value, verdict


def score_batch(sites: Sequence[SiteFeatures], catalog: Catalog, ready: Plan | None = None) -> Floats:
    """Scores (S, V) of every variety, in the order of the plan, at every site.

    ready: the catalog made ready by `plan`, to be used again. The same as `rank` says of each site alone.
    """
    ready = ready if ready is not None else plan(catalog)
    score = np.empty((len(sites), ready.size))
    seasons = np.array([len(site.profile.annual_min) for site in sites])
    for count in np.unique(seasons):
        rows = np.flatnonzero(seasons == count)
        score[rows] = scored(
            stacked([sites[row] for row in rows.tolist()], ready, ("_high",)), ready, False
        ).score
    return score


__all__ = [
    "LIMITS", "Climates", "Plan", "Scores", "SiteFeatures", "features_of", "plan", "score_batch", "scored",
    "stacked", "wishes_at",
]  # fmt: skip
