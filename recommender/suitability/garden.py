"""The garden round the tree: disease, ground and stock, care, cover, household, wishes about the fruit.

In come the varieties, answers and what the catalog says of crops, stocks, covers and cautions; out go the
averaged criteria (V,) with their weights, beside those of `ranking.wishes`, and what a cover would do.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from recommender.climate.places import country_at
from recommender.suitability import care, cover, disease, rootstock
from recommender.suitability import wishes as fruit
from recommender.suitability.criteria import site_error
from recommender.suitability.expectations import Trait, Varieties

if TYPE_CHECKING:
    from recommender.catalog.store import Catalog
    from recommender.climate.places import PlaceMatch
    from recommender.climate.profile import Profile
    from recommender.suitability.goals import Goals
    from recommender.suitability.site import Site

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# Weights of what is averaged beside `ranking.WISHES`; each counts only where it was asked for. Care counts
# for a beginner without being asked.
WEIGHTS: dict[str, float] = {
    "ground": 0.8,
    "skin": 1.0,
    "flesh": 1.0,
    "fruit_size": 1.0,
    "native": 0.8,
    "household": 1.5,
    "years_to_crop": 1.0,
    "care": 0.3,
}


@dataclass(frozen=True, eq=False)
class Around:
    """What surrounds the trees: monthly weather (None if unknown), country as its two-letter code, tables."""

    weather: disease.Weather | None
    country: str
    crops: pd.DataFrame
    rootstocks: pd.DataFrame
    cautions: pd.DataFrame
    cover_gain_K: float = cover.GAIN_K
    cover_standing: str = "common practice"


@dataclass(frozen=True, eq=False)
class Garden:
    """Criteria and weights to average; health (V,) with its error; years to the first crop; care (V,); under
    cover: the winter criterion (V,), whether it can be wrapped (V,), nights of work a winter (V,)."""

    criteria: dict[str, Floats]
    weights: dict[str, float]
    health: Trait
    years_to_crop: Trait
    care: Floats
    winter_covered: Floats
    can_be_wrapped: Bools
    nights: Floats
    around: Around = field(repr=False)

    def stock_sentence(self, crop: str, site: Site, goals: Goals) -> str:
        """The stock to ask for on this ground, in words; "" where nothing published speaks for one."""
        asked = rootstock.asked_of(site, goals)
        stocks = rootstock.stocks_for(self.around.rootstocks, crop, site, goals)
        return rootstock.sentence(stocks, " and ".join(dict.fromkeys(asked.values())))


def surroundings(catalog: Catalog, profile: Profile, match: PlaceMatch | None, site: Site) -> Around:
    """What surrounds a site. Weather comes from the normals at the profile's place; none for an invented
    profile or a site given by zone and chill."""
    from recommender.climate.profile import Profile as RealProfile

    weather = None
    if isinstance(profile, RealProfile):
        weather = disease.weather_of(site, profile.lat, profile.lon, profile.elevation_m)
    gain, standing = cover.gain_of(catalog.planting())
    return Around(
        weather=weather,
        country=country_of(site, match),
        crops=catalog.crops(),
        rootstocks=catalog.rootstocks(),
        cautions=catalog.cautions(),
        cover_gain_K=gain,
        cover_standing=standing,
    )


def country_of(site: Site, match: PlaceMatch | None) -> str:
    """Two-letter country of a site that is a place or a point, "" otherwise."""
    if match is not None:
        return match.country_code
    if site.lat is None or site.lon is None:
        return ""
    return country_at(site.lat, site.lon)


def asked(
    varieties: Varieties, site: Site, goals: Goals, around: Around, years: Trait
) -> tuple[dict[str, Floats], dict[str, float]]:
    """The criteria (V,) that answers and wishes ask for and no climate moves, and all weights, that of care
    included."""
    values: dict[str, Floats] = {}
    weights: dict[str, float] = {}
    if goals.preset == "beginner":
        weights["care"] = WEIGHTS["care"]
    if rootstock.asked_of(site, goals):
        values["ground"] = rootstock.ground(around.rootstocks, varieties.frame["crop"], site, goals)
        weights["ground"] = WEIGHTS["ground"]
    wanted = (("skin", "skin_colour", goals.skin), ("flesh", "flesh_colour", goals.flesh))
    for name, trait, words in (*wanted, ("fruit_size", "fruit_size", goals.fruit_size)):
        if words:
            values[name], weights[name] = fruit.matches(varieties, trait, words), WEIGHTS[name]
    if goals.native:
        values["native"], weights["native"] = fruit.native(varieties, around.country), WEIGHTS["native"]
    if goals.pets_or_children:
        values["household"] = fruit.household(around.cautions, varieties.frame["crop"])
        weights["household"] = WEIGHTS["household"]
    if goals.max_years_to_crop is not None:
        values["years_to_crop"] = care.bears_within(years, goals.max_years_to_crop)
        weights["years_to_crop"] = WEIGHTS["years_to_crop"]
    return values, weights


def garden(
    varieties: Varieties,
    site: Site,
    goals: Goals,
    around: Around,
    profile: Profile,
    winter: Floats,
    bloom_frost: Floats,
    pollination: Floats,
) -> Garden:
    """All of it for one site. winter, bloom_frost, pollination (V,): criteria as they stand without cover."""
    health = disease.health(varieties, around.weather, site.wetness)
    years = care.years_to_crop(varieties.frame, around.crops)
    effort = care.care(varieties, site, winter, bloom_frost, pollination, health.value)
    values, weights = asked(varieties, site, goals, around, years)
    values = {"disease": health.value, "care": effort, **values}
    error_K = site_error(profile, "annual_extreme_min_degC", 2.0)
    coldest = profile.annual_min + 0.5 * site.frost_shift
    covered = cover.winter_under_cover(coldest, varieties.hardiness, around.cover_gain_K, error_K)
    wrapped = cover.can_be_wrapped(varieties, site.container_L is not None)
    return Garden(
        criteria=values,
        weights=weights,
        health=health,
        years_to_crop=years,
        care=effort,
        winter_covered=np.where(wrapped, np.maximum(covered, winter), winter),
        can_be_wrapped=wrapped,
        nights=cover.nights_to_cover(profile, varieties.hardiness.value),
        around=around,
    )


def under_cover(
    found: dict[str, Floats], varieties: Varieties, plot: Garden, sound_from: float
) -> tuple[dict[str, Floats], Bools]:
    """The limiting criteria with every tree covered that needs it and can be wrapped, and which those are."""
    rows = plot.can_be_wrapped & (found["winter"] < sound_from) & (plot.winter_covered > found["winter"])
    gain = np.where(rows, plot.winter_covered - found["winter"], 0.0)
    changed = dict(found)
    for name in ("winter", "winter_low", "winter_high"):
        changed[name] = np.clip(found[name] + gain, 0.0, 1.0)
    return changed, rows
