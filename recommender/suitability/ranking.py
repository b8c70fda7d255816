"""Criteria combined to a score, a verdict and a place in the list.

In come a `Site`, `Goals`, the catalog and the site's climate; out goes a `Ranking`: one row for each variety
of the wanted crops, best first, with every criterion beside its score. The rule, in short: the criteria on
which a tree lives or dies are multiplied (one failing is not made up by others), wishes are averaged, and the
track record scales the whole.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, fields, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from recommender.suitability import care, cover, criteria, limits, reasons, track_record
from recommender.suitability.expectations import Trait, Varieties, expect, published
from recommender.suitability.garden import garden, surroundings, under_cover
from recommender.suitability.garden_partners import Garden, garden_partners
from recommender.suitability.goals import Goals
from recommender.suitability.kept import kept
from recommender.suitability.similarity import Groups, groups_of, one_each
from recommender.suitability.site import Site, climate_of, existing_trees
from recommender.suitability.timing import Timing, timing, weeks_of_fruit
from recommender.suitability.verdicts import (
    LIMITS,
    RULED_OUT,
    RULED_OUT_CEILING,
    VERDICTS,
    WITH_CARE,
    best_possible,
    evidence,
    in_order,
    verdicts,
)
from recommender.suitability.weights import Weights, living, standing, weights_of

if TYPE_CHECKING:
    from recommender.catalog.store import Catalog
    from recommender.climate.places import PlaceMatch
    from recommender.climate.profile import Profile

Floats = NDArray[np.float64]
# Weights of what is averaged. Pollination and disease always count; a wish counts only where it was made.
WISHES: dict[str, float] = {
    "pollination": 1.0,
    "disease": 0.4,
    "size": 1.5,
    "use": 1.5,
    "harvest": 1.0,
    "storage": 1.0,
}
# How much of the score hangs on wishes, and how much of its weight the track record keeps, by who asks.
PRESETS: dict[str, tuple[float, float]] = {
    "beginner": (0.30, 1.0),
    "keen": (0.30, 0.8),
    "nursery": (0.40, 0.5),
}
# A catalog without regional lists counts what is published of a variety instead, and that much less.
WITHOUT_LISTS = 0.08
# What has to be published before a variety counts as proven, and how much each fact says.
PROOF: dict[str, float] = {
    "hardiness": 2.0,
    "chill": 2.0,
    "ripening": 1.5,
    "bloom": 1.0,
    "pollination": 1.0,
    "use": 1.0,
}


# Choices of crops whose varieties are held ready.
CROPS_KEPT = 16
_OPTIONAL = ("rank_low", "rank_high", "level_with", "chance_", "also")


@dataclass(frozen=True, eq=False)
class Ranking:
    """The result. `frame` has one row a variety: crop, variety, rank, score, score_low, score_high [0..1],
    verdict, why, watch, known_share, then c_<criterion> in [0, 1]. `site` is the site as understood."""

    frame: pd.DataFrame
    site: dict[str, Any]
    context: reasons.Context = field(repr=False)

    def frame_in(self, units: str) -> pd.DataFrame:
        """`frame`, with why and watch told in "metric" or "imperial" units."""
        if units == "metric":
            return self.frame
        why, watch = reasons.why_and_watch(self.context, units)
        rows = self.frame.index.to_numpy()
        return self.frame.assign(why=why[rows], watch=watch[rows])

    def shortlist(self, top: int | None = None, units: str = "metric") -> pd.DataFrame:
        """The first `top` rows of the frame, one for each group of sports and near-identical varieties; the
        others of a group are named in the column `also` (joined by |). units: as `frame_in`."""
        keep, others = one_each(self.frame["group"].to_numpy(dtype=np.intp))
        names = self.frame["variety"].tolist()
        also = ["|".join(names[place] for place in others.get(at, [])) for at in range(len(names))]
        shown = self.frame_in(units).assign(also=also)[keep]
        return shown if top is None else shown.head(max(top, 0))

    def records(
        self, top: int | None = None, units: str = "metric", one_each_group: bool = False
    ) -> list[dict[str, Any]]:
        """The first `top` (all if None) as plain dicts: crop, variety, rank, score, verdict, reasons,
        criteria; also the rank range and chances where the ranking has intervals, and `also` for a shortlist.

        units: "metric" or "imperial", for the temperatures in the reasons; one_each_group: as `shortlist`.
        """
        if one_each_group:
            shown = self.shortlist(top)
        else:
            shown = self.frame if top is None else self.frame.head(max(top, 0))
        told = reasons.reasons(self.context, shown.index.to_numpy(), units)
        lifted = self.what_if(shown.index.to_numpy(), units)
        names = [str(name) for name in shown if str(name).startswith("c_")]
        keep = [
            "crop",
            "variety",
            "rank",
            "score",
            "score_low",
            "score_high",
            "verdict",
            "why",
            "watch",
            "known_share",
            "years_to_crop",
            "care",
        ]
        keep += [str(name) for name in shown if str(name).startswith(_OPTIONAL)]
        plain = shown[keep].to_dict("records")
        values = shown[names].to_numpy(dtype=float).round(4).tolist()
        short = [name.removeprefix("c_") for name in names]
        for record, sentences, change, row in zip(plain, told, lifted, values, strict=True):
            record["reasons"] = sentences
            record["what_if"] = change
            record["criteria"] = dict(zip(short, row, strict=True))
        return [{str(key): value for key, value in record.items()} for record in plain]

    def bloom_summary(self, top: int, one_each_group: bool = False) -> pd.DataFrame:
        """Bloom of the first `top` varieties at the site, earliest first (`bloom_table.bloom_summary`).

        one_each_group: of those of the `shortlist`.
        """
        from recommender.biology.bloom_table import bloom_summary

        rows = (self.shortlist(top) if one_each_group else self.frame.head(top)).index.to_numpy()
        traits = self.context.varieties.frame.iloc[rows].reset_index(drop=True)
        return bloom_summary(traits, self.context.profile, self.context.when.blooms.taken(rows))

    def what_if(self, rows: NDArray[np.intp], units: str = "metric") -> list[list[str]]:
        """For index values of `frame`: what would lift the verdict, and what would not."""
        from recommender.suitability import whatif

        if self.context.plot is None:
            return [[] for _ in rows]
        return whatif.sentences(self.context, self.context.plot, rows, units)

    def weeks_of_fruit(self, top: int, one_each_group: bool = False) -> float:
        """Weeks in which one of the first `top` varieties (of the `shortlist`: one_each_group) can be
        picked at the site."""
        listed = self.shortlist(top) if one_each_group else self.frame.head(top)
        picked = listed[["harvest_day", "harvest_end"]].dropna().to_numpy(dtype=float)
        return weeks_of_fruit(picked[:, 0], picked[:, 1])


@kept
def varieties_of(catalog: Catalog) -> Varieties:
    """What to expect of every variety of a catalog; worked out once for each open catalog."""
    return expect(
        catalog.traits(),
        catalog.crops(),
        catalog.rootstocks(),
        catalog.settled_all(),
        catalog.estimates(),
    )


@kept
def groups_for(everyone: Varieties) -> Groups:
    """Sports and near-identical varieties among all of a catalog; worked out once."""
    return groups_of(everyone.frame)


def taken(varieties: Varieties, rows: NDArray[np.intp]) -> Varieties:
    """The same for some rows only."""
    parts: dict[str, Any] = {}
    for part in fields(varieties):
        value = getattr(varieties, part.name)
        if isinstance(value, Trait):
            parts[part.name] = value.taken(rows)
        elif isinstance(value, pd.DataFrame):
            parts[part.name] = value.iloc[rows].reset_index(drop=True)
        elif isinstance(value, np.ndarray):
            parts[part.name] = value[rows]
    parts["n_sources"] = {name: value[rows] for name, value in varieties.n_sources.items()}
    parts["resists"] = {name: trait.taken(rows) for name, trait in varieties.resists.items()}
    parts["guess"] = varieties.guess.taken(rows)
    parts["estimated"] = {name: value[rows] for name, value in varieties.estimated.items()}
    return replace(varieties, **parts)


@kept
def _by_crops(everyone: Varieties) -> dict[tuple[str, ...], tuple[NDArray[np.intp], Varieties]]:
    return {}


def of_crops(everyone: Varieties, crops: tuple[str, ...]) -> tuple[NDArray[np.intp], Varieties]:
    """Which rows are of some crops, and the varieties there; the last few answers are kept."""
    held = _by_crops(everyone)
    if crops not in held:
        rows = np.flatnonzero(everyone.frame["crop"].isin(crops).to_numpy())
        while len(held) >= CROPS_KEPT:
            held.pop(next(iter(held)), None)
        held[crops] = rows, taken(everyone, rows)
    return held[crops]


@kept
def kills_of(catalog: Catalog) -> tuple[Floats, Floats]:
    """Temperatures that kill open flowers of every variety (V,) [degC]; worked out once for each catalog."""
    return criteria.kill_temperatures(catalog.bloom_critical_temps(), varieties_of(catalog).frame["crop"])


def limiting(
    varieties: Varieties, profile: Profile, when: Timing, kills: tuple[Floats, Floats], frost_shift: float
) -> dict[str, Floats]:
    """The six limiting criteria (V,) and, for winter and chill, their cautious and hopeful ends (`_low`,
    `_high`)."""
    error_K = criteria.site_error(profile, "annual_extreme_min_degC", 2.0)
    error_hours = criteria.site_error(profile, "chill_hours_below_7", 100.0)
    error_portions = criteria.site_error(profile, "chill_portions", 6.0)
    coldest = profile.annual_min + 0.5 * frost_shift
    return {
        **limits.winter(coldest, varieties.hardiness, error_K),
        **limits.chill(
            profile.chill_hours_below_7, profile.chill_portions, varieties, error_hours, error_portions
        ),
        "dormancy": criteria.stays_asleep(profile.chill_hours_0_7, varieties),
        "bloom_frost": criteria.bloom_without_frost(
            profile.tmin + frost_shift, when, kills[0], kills[1], varieties.evergreen
        ),
        **limits.season(when, varieties.evergreen),
        "warmth": criteria.warm_enough(profile.gdd10, varieties),
    }


def wishes(
    varieties: Varieties, partners: Garden, site: Site, goals: Goals
) -> tuple[dict[str, Floats], dict[str, float]]:
    """The averaged criteria (V,) that apply to this site and these goals, and the weight of each."""
    values = {
        "pollination": criteria.pollination(partners, site.neighbours_have_fruit_trees),
        "disease": varieties.disease.value,
    }
    weights = {"pollination": WISHES["pollination"], "disease": WISHES["disease"]}
    weights["disease"] *= {"wet": 2.0, "dry": 0.5}.get(site.wetness, 1.0) * (2.0 if goals.low_spray else 1.0)
    values["size"] = criteria.fits_the_room(varieties, site, goals)
    roomy = (
        goals.max_height_m is None
        and site.space_m is None
        and site.plot_m2 is None
        and site.container_L is None
    )
    if not roomy:
        weights["size"] = WISHES["size"]
    if goals.uses:
        values["use"], weights["use"] = criteria.wanted_use(varieties, goals.uses), WISHES["use"]
    if goals.seasons:
        values["harvest"], weights["harvest"] = (
            criteria.wanted_season(varieties, goals.seasons),
            WISHES["harvest"],
        )
    if goals.storage_weeks is not None:
        values["storage"], weights["storage"] = (
            criteria.keeps(varieties, goals.storage_weeks),
            WISHES["storage"],
        )
    return values, weights


@kept
def known_share(varieties: Varieties) -> Floats:
    """Share of what decides a ranking (weighted as in PROOF) that is published for the variety itself (V,);
    worked out once."""
    frame = varieties.frame
    known = {
        "hardiness": published(frame, "zone_min", "min_survival_temp"),
        "chill": published(frame, "chill_hours", "chill_portions", "chill_units") | varieties.evergreen,
        "ripening": published(
            frame, "bloom_to_harvest", "ripening_offset", "ripening_season", "harvest_start"
        ),
        "bloom": published(frame, "bloom_offset", "bloom_season") | varieties.evergreen,
        "pollination": published(frame, "self_fertility"),
        "use": published(frame, "use"),
    }
    total = sum(PROOF.values())
    share = sum((known[name] * weight for name, weight in PROOF.items()), np.zeros(len(varieties)))
    return np.asarray(share / total, dtype=float)


@kept
def records_of(catalog: Catalog) -> tuple[track_record.Tables | None, Weights]:
    """The track records and the weights of a catalog; read once for each open catalog."""
    records = track_record.read_records(catalog, varieties_of(catalog).frame)
    weights = weights_of(catalog)
    kernel = track_record.kernel_of(weights)
    return (None if records is None else track_record.sum_up(records, kernel=kernel)), weights


def track(catalog: Catalog, profile: Profile, country: str, share: Floats, rows: NDArray[np.intp]) -> Floats:
    """The track record (V,) of some varieties; where a catalog holds no lists, what is published of them."""
    tables, weights = records_of(catalog)
    if tables is None:
        return share
    parts = track_record.track_records(tables, track_record.climate_of(profile)[None, :], (country,))
    return track_record.combined(parts, dict(weights.record))[0, rows]


def recommended_by(
    catalog: Catalog, profile: Profile, rows: NDArray[np.intp]
) -> Callable[[int], list[str]] | None:
    """Names of the regions with a climate like the site's whose lists recommend the variety at a place of
    `rows`, most alike first; None where a catalog holds no lists."""
    tables = records_of(catalog)[0]
    if tables is None:
        return None
    here = track_record.climate_of(profile)

    def named(place: int) -> list[str]:
        found = track_record.alike_regions(tables, here, int(rows[place]), len(tables.lists))
        return [name for name, alike in found if alike >= track_record.ALIKE]

    return named


def rank(
    site: Site,
    goals: Goals | None = None,
    catalog: Catalog | None = None,
    profile: Profile | None = None,
    intervals: bool = False,
    words: bool = True,
) -> Ranking:
    """Rank every variety of the wanted crops for a site, best first.

    goals: wishes (default: none); catalog: an open catalog (default: the one that ships); profile: the site's
    climate (default: worked out from where the site is); intervals: draw traits and climate, which replaces
    score_low and score_high and adds rank_low, rank_high, level_with and chance_<verdict>; words: write why
    and watch, which are "" without. Raises UnknownName for a place, crop or tree that is not known, BadInput
    for a site at sea.
    """
    goals = goals if goals is not None else Goals()
    if catalog is None:
        from recommender.catalog.store import open_catalog

        catalog = open_catalog()
    match: PlaceMatch | None = None
    if profile is None:
        profile, match = climate_of(site)
    profile = profile.complete()
    everyone = varieties_of(catalog)
    trees = existing_trees(site, catalog)
    crops = [catalog.resolve_crop(name) for name in goals.crops]
    varieties, rows, leader = everyone, np.arange(len(everyone)), groups_for(everyone).leader
    if crops:
        rows, varieties = of_crops(everyone, tuple(sorted(set(crops))))
        leader = leader[rows]
    when = timing(profile, everyone, site.frost_shift)
    partners = garden_partners(catalog, trees, rows, when.blooms)
    if crops:
        when = when.taken(rows)
    kills = kills_of(catalog)[0][rows], kills_of(catalog)[1][rows]
    found = limiting(varieties, profile, when, kills, site.frost_shift)
    wished, weights = wishes(varieties, partners, site, goals)
    around = surroundings(catalog, profile, match, site)
    plot = garden(
        varieties, site, goals, around, profile, found["winter"], found["bloom_frost"], wished["pollination"]
    )
    wished, weights = {**wished, **plot.criteria}, {**weights, **plot.weights}
    covered = np.zeros(len(varieties), dtype=bool)
    if goals.will_cover:
        found, covered = under_cover(found, varieties, plot, LIMITS["winter"].sound)
    share = known_share(everyone)[rows]

    recorded = track(catalog, profile, around.country, share, rows)
    found["evidence"] = evidence(share, recorded)
    rating = criteria.rated_for_zone(varieties, profile.zone_number)
    tables, counted = records_of(catalog)
    by_wishes, trust = PRESETS[goals.preset]
    if tables is None:
        trust *= WITHOUT_LISTS
    liked = np.zeros(len(varieties))
    for name, weight in weights.items():
        liked += wished[name] * weight / sum(weights.values())
    factor = (1.0 - by_wishes * (1.0 - liked)) * standing(rating, recorded, counted, trust)
    factor = np.where(covered, factor * cover.LABOUR, factor)
    verdict = verdicts(found, wished)
    verdict = np.where(covered, np.maximum(verdict, WITH_CARE), verdict)
    ends: dict[str, Floats] = {}
    for name, end in (("score", ""), ("score_low", "_low"), ("score_high", "_high")):
        value = living(found, counted.powers, end) * factor
        ends[name] = np.where(verdict == RULED_OUT, value * RULED_OUT_CEILING, value)

    drawn: dict[str, Any] = {}
    if intervals:
        from recommender.suitability import uncertainty

        warmer = np.where(covered, around.cover_gain_K, 0.0)
        wrapped = replace(varieties, hardiness=varieties.hardiness.moved(-warmer))
        sampled = uncertainty.drawn_limits(wrapped, profile, when, kills, site.frost_shift)
        swing = by_wishes * weights["disease"] / sum(weights.values()) / (1.0 - by_wishes * (1.0 - liked))
        other = uncertainty.with_disease(varieties, plot.health, factor, swing)
        best = best_possible(wished, found["evidence"])
        best = np.where(covered, np.maximum(best, WITH_CARE), best)
        # Rounded as in the frame, so that equal scores stand in the same order in both.
        score = ends["score"].round(6)
        order = in_order(score, verdict)
        powers = dict(counted.powers)
        sure = uncertainty.spread(sampled, powers, score, other, best, order)
        drawn = uncertainty.columns(sure, order, VERDICTS)

    context = reasons.Context(
        varieties=varieties,
        profile=profile,
        when=when,
        garden=partners,
        found=found,
        wished=wished,
        verdict=verdict,
        site=site,
        goals=goals,
        trees=tuple(trees),
        cautions=catalog.cautions(),
        country=match.country if match else "",
        region=match.region if match else "",
        kills=kills,
        plot=plot,
        recommended=recommended_by(catalog, profile, rows),
    )
    why, watch = reasons.why_and_watch(context) if words else ("", "")
    values = {
        "crop": varieties.frame["crop"].to_numpy(dtype=object),
        "variety": varieties.frame["variety"].to_numpy(dtype=object),
        "rank": np.zeros(len(varieties), dtype=np.int64),
        **{name: value.round(6) for name, value in ends.items()},
        "verdict": np.array(VERDICTS, dtype=object)[verdict],
        "why": why,
        "watch": watch,
        "known_share": share.round(4),
        **{f"c_{name}": found[name] for name in LIMITS},
        **{f"c_{name}": value for name, value in wished.items()},
        "c_evidence": found["evidence"],
        "c_rating": rating,
        "c_track": recorded,
        **reasons.dates(context),
        "group": leader,
        "years_to_crop": plot.years_to_crop.value.round(1),
        "care": care.levels(plot.care),
        "winter_covered": plot.winter_covered.round(4),
        **drawn,
    }
    frame = pd.DataFrame(values)
    frame = frame.iloc[in_order(values["score"], verdict)]
    frame["rank"] = np.arange(1, len(frame) + 1)
    return Ranking(frame=frame, site=site_as_understood(site, profile, match), context=context)


def site_as_understood(site: Site, profile: Profile, match: PlaceMatch | None) -> dict[str, Any]:
    """The site in plain values: place, coordinates, zone, figures with p10, p50 and p90, errors, what it was
    made of."""
    return {
        "place": match.name if match else None,
        "region": match.region if match else None,
        "country": match.country if match else None,
        "others": list(match.others) if match else [],
        "lat": profile.lat,
        "lon": profile.lon,
        "elevation_m": profile.elevation_m,
        "hemisphere": profile.hemisphere,
        "zone": profile.zone,
        "zone_number": profile.zone_number,
        "safe_zone": criteria.safe_zone(profile.zone_number),
        "figures": profile.summary(),
        "errors": dict(profile.errors),
        "made_from": list(profile.made_from),
        "answers": site.model_dump(exclude_none=True),
    }
