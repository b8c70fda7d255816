"""The score of every variety at many sites: the rules of `ranking.rank`, without words, dates and intervals.

In come climates; out goes one matrix of scores (sites x varieties). What a criterion reads is shared by many
varieties, so each is worked out once for every different set of figures (`Plan`) and handed to all that share
it; the track record of all sites is one matrix product.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from recommender.suitability import care, criteria, disease, track_record
from recommender.suitability.expectations import Trait, Varieties
from recommender.suitability.garden import Around, asked
from recommender.suitability.garden_partners import garden_partners
from recommender.suitability.goals import Goals
from recommender.suitability.ranking import (
    LIMITS,
    PRESETS,
    RULED_OUT_CEILING,
    WITHOUT_LISTS,
    is_ruled_out,
    known_share,
    records_of,
    taken,
    varieties_of,
    wishes,
)
from recommender.suitability.site import Site
from recommender.suitability.timing import alike, timing
from recommender.suitability.weights import LEAST, standing

if TYPE_CHECKING:
    from recommender.catalog.catalog import Catalog
    from recommender.climate.profile import Profile

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]
# Stands for the answers of a grower who answered nothing.
NOWHERE = Site(lat=0.0, lon=0.0)
READ = ("crop", "variety", "zone_min", "heat_need")
"""Columns of the catalog's wide table that a criterion still reads as a column."""


@dataclass(frozen=True, eq=False)
class SiteFeatures:
    """What is prepared of a climate once: the profile, the coldest night around each day (Y, D) [degC], the
    figures that the track record compares (F,), and monthly rain and warmth (None if not known)."""

    profile: Profile
    coldest: Floats
    figures: Floats
    weather: disease.Weather | None = None


@dataclass(frozen=True, eq=False)
class Group:
    """Varieties that one criterion cannot tell apart: one of each kind (its row is in `first`), and which
    kind each variety (V,) is."""

    kinds: Varieties
    first: Indices
    of: Indices
    kill10: Floats
    kill90: Floats


@dataclass(frozen=True, eq=False)
class Wished:
    """What wishes make of a score: the fixed part of their weighted sum (V,), what disease and care need."""

    varieties: Varieties
    fixed: Floats
    weights: dict[str, float]
    by_wishes: float
    pollination: Floats
    diseases: list[str]
    constant: Floats
    loss: Floats
    ladder: Floats

    def factor(self, site: SiteFeatures, winter: Floats, bloom_frost: Floats) -> Floats:
        """The factor of wishes (V,) at one site."""
        pressure = np.array([disease.pressure(name, site.weather, "unknown") for name in self.diseases])
        health = np.clip(1.0 - self.constant - self.loss @ pressure, 0.0, 1.0)
        total = self.fixed + self.weights["disease"] * health
        if "care" in self.weights:
            effort = care.care(
                self.varieties, NOWHERE, winter, bloom_frost, self.pollination, health, self.ladder
            )
            total = total + self.weights["care"] * effort
        return 1.0 - self.by_wishes * (1.0 - total / sum(self.weights.values()))


@dataclass(frozen=True, eq=False)
class Plan:
    """A catalog made ready: the groups by criterion, what wishes need, and the records."""

    size: int
    winter: Group
    chill: Group
    bloom: Group
    season: Group
    warmth: Group
    rating: Group
    wished: Wished
    share: Floats
    trust: float


def features_of(profile: Profile) -> SiteFeatures:
    """Prepare one climate."""
    profile = profile.complete()
    weather = disease.weather_of(NOWHERE, profile.lat, profile.lon, profile.elevation_m)
    figures = track_record.climate_of(profile)
    return SiteFeatures(profile, criteria.coldest_fortnight(profile.tmin), figures, weather)


def _group(varieties: Varieties, kills: tuple[Floats, Floats], *figures: NDArray[np.generic]) -> Group:
    read = np.column_stack([np.asarray(figure, dtype=float) for figure in figures])
    _, first, of = np.unique(np.nan_to_num(read, nan=-9e9), axis=0, return_index=True, return_inverse=True)
    kinds = taken(varieties, first)
    kinds = replace(kinds, frame=kinds.frame[[name for name in READ if name in kinds.frame]])
    return Group(kinds, first, np.ravel(of), kills[0][first], kills[1][first])


def plan(catalog: Catalog, goals: Goals | None = None) -> Plan:
    """Make a catalog ready for a site about which nothing but the climate is known."""
    goals = goals if goals is not None else Goals()
    varieties = varieties_of(catalog)
    kills = criteria.kill_temperatures(catalog.bloom_critical_temps(), varieties.frame["crop"])
    hardy, hours, portions = varieties.hardiness, varieties.chill_hours, varieties.chill_portions
    bloom, season = alike(varieties)
    bloom = (*bloom, varieties.evergreen.astype(np.float64))
    partners = garden_partners(catalog, [], np.arange(len(varieties)), None)
    wished, weights = wishes(varieties, partners, NOWHERE, goals)
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
    return Plan(
        size=len(varieties),
        winter=_group(varieties, kills, hardy.value, hardy.error, hardy.known),
        chill=_group(
            varieties, kills, hours.value, hours.error, hours.known, varieties.by_portions, portions.value,
            portions.error, criteria.may_wake_early(varieties), varieties.evergreen,
        ),
        bloom=_group(varieties, kills, *bloom, *kills),
        season=_group(varieties, kills, *bloom, *season),
        warmth=_group(
            varieties, kills, varieties.defaults["warmth_fails"].to_numpy(),
            varieties.defaults["warmth_good"].to_numpy(), varieties.ripe_class.value, warmth,
        ),
        rating=_group(varieties, kills, criteria.number(varieties.frame, "zone_min")),
        wished=Wished(
            varieties, fixed, dict(weights), by_wishes, wished["pollination"], *disease.losses(varieties),
            care.ladder(varieties),
        ),
        share=known_share(varieties),
        trust=trust if records_of(catalog)[0] is not None else trust * WITHOUT_LISTS,
    )  # fmt: skip


def _limits(site: SiteFeatures, ready: Plan) -> dict[str, tuple[Floats, Indices]]:
    """The limiting criteria of each kind, and the hopeful ends that vetoes ask for, with the kind of each
    variety."""
    profile = site.profile
    error_K = criteria.site_error(profile, "annual_extreme_min_degC", 2.0)
    error_hours = criteria.site_error(profile, "chill_hours_below_7", 100.0)
    error_portions = criteria.site_error(profile, "chill_portions", 6.0)
    winter, chill = ready.winter.kinds, ready.chill.kinds
    hardy = winter.hardiness
    known = chill.chill_hours.known | chill.by_portions
    found = {"winter": criteria.winter_survival(profile.annual_min, hardy, error_K)}
    # The hopeful end is never below what is expected, so it is asked for only where that falls below the
    # veto.
    found["winter_high"] = found["winter"].copy()
    low = np.flatnonzero(found["winter"] < LIMITS["winter"].veto)
    reach = hardy.value[low] - np.where(hardy.known[low], 1.0, 2.0) * hardy.error[low]
    hopeful = Trait(reach, np.zeros(len(low)), hardy.known[low])
    found["winter_high"][low] = np.maximum(
        criteria.winter_survival(profile.annual_min, hopeful, error_K), found["winter"][low]
    )
    years = profile.chill_hours_below_7, profile.chill_portions, chill, error_hours, error_portions
    found["chill"] = criteria.enough_chill(*years)
    found["chill_high"] = found["chill"]
    if (found["chill"] < LIMITS["chill"].veto).any():
        reached = criteria.enough_chill(*years, -np.where(known, 1.0, 2.0))
        found["chill_high"] = np.maximum(reached, found["chill"])
    found["dormancy"] = criteria.stays_asleep(profile.chill_hours_0_7, chill)
    bloom, season, warmth = ready.bloom, ready.season, ready.warmth
    # Worked out once for a catalog and a climate, and kept.
    when = timing(profile, ready.wished.varieties)
    ripe = replace(when, harvest=when.harvest[season.first], harvest_error=when.harvest_error[season.first])
    found["season"] = criteria.ripens_in_time(ripe, season.kinds.evergreen)
    when = replace(when, bloom=when.bloom[bloom.first], bloom_error=when.bloom_error[bloom.first])
    found["bloom_frost"] = criteria.flowers_kept(
        site.coldest, when, bloom.kill10, bloom.kill90, bloom.kinds.evergreen
    )
    found["warmth"] = criteria.warm_enough(profile.gdd10, warmth.kinds)
    groups = {
        "winter": ready.winter, "winter_high": ready.winter, "chill": ready.chill, "chill_high": ready.chill,
        "dormancy": ready.chill, "bloom_frost": bloom, "season": season, "warmth": warmth,
    }  # fmt: skip
    return {name: (value, groups[name].of) for name, value in found.items()}


def wishes_at(site: SiteFeatures, ready: Plan) -> Floats:
    """The factor of wishes (V,) at one site."""
    limits = _limits(site, ready)
    winter, frost = (value[of] for value, of in (limits["winter"], limits["bloom_frost"]))
    return ready.wished.factor(site, winter, frost)


def score_batch(sites: Sequence[SiteFeatures], catalog: Catalog, ready: Plan | None = None) -> Floats:
    """Scores (S, V) of every variety, in the catalog's order, at every site.

    ready: the catalog made ready by `plan`, to be used again. The same as `rank` says of each site alone.
    """
    ready = ready if ready is not None else plan(catalog)
    tables, weights = records_of(catalog)
    if tables is None:
        tracks = np.broadcast_to(ready.share, (len(sites), ready.size))
    else:
        figures = np.stack([site.figures for site in sites])
        tracks = track_record.combined(track_record.track_records(tables, figures), dict(weights.record))
    scores = np.empty((len(sites), ready.size))
    for row, site in enumerate(sites):
        limits = _limits(site, ready)
        logs = np.zeros(ready.size)
        for name, power in weights.powers.items():
            value, of = limits[name]
            logs += (power * np.log(np.clip(value, LEAST, 1.0)))[of]
        winter, frost = (value[of] for value, of in (limits["winter"], limits["bloom_frost"]))
        liked = ready.wished.factor(site, winter, frost)
        rating = criteria.rated_for_zone(ready.rating.kinds, site.profile.zone_number)[ready.rating.of]
        score = np.exp(logs) * liked * standing(rating, tracks[row], weights, ready.trust)
        fallen = is_ruled_out({name: value[of] for name, (value, of) in limits.items()})
        scores[row] = np.where(fallen, score * RULED_OUT_CEILING, score)
    return scores
