"""Full bloom of every variety at a site, year by year, with its length and its doubt.

In come the catalog's wide traits and a climate profile; out go season days by variety and year. Where winter
chill falls short, bloom is late, straggling and poor: `Bloom.short_of_chill` says by how much. Method page:
docs/bloom.md.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from recommender.biology.bloom_model import bud_day_of, bud_weather, day_reached, heat_sum, warmth
from recommender.biology.bloom_parameters import (
    BloomNeeds,
    BloomParameters,
    bloom_needs,
    load_bloom_parameters,
)
from recommender.climate.figures import filled
from recommender.climate.season import CHILL_START

if TYPE_CHECKING:
    from collections.abc import Iterator

    from recommender.climate.profile import Profile

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]

LENGTH_AT_degC = 12.0
SHORTEST_BLOOM_D, LONGEST_BLOOM_D = 4.0, 45.0
# A winter that lacks this share of the chill a variety needs is said to fall short; bloom then drags on, by
# as much again for each half of the need that is lacking (estimated).
SHORT_OF_CHILL = 0.15
STRAGGLING = 2.0


@dataclass(frozen=True, eq=False)
class Bloom:
    """Bloom of V varieties in Y years.

    day (V, Y): season day of full bloom, NaN in a year without; start, end (V, Y): first and last flowers;
    short_of_chill (V, Y): share of the chill need that the winter lacked by bloom, 0 where it was met;
    error_d (V,): error of a single year's date; variety_error_d (V,): the part of it that is the variety's
    own; told_by, standing (V,): see `BloomNeeds`.
    """

    day: Floats
    start: Floats
    end: Floats
    short_of_chill: Floats
    error_d: Floats
    variety_error_d: Floats
    told_by: NDArray[np.object_]
    standing: NDArray[np.object_]

    @property
    def length_d(self) -> Floats:
        """Days from first to last flowers (V, Y)."""
        return self.end - self.start

    @property
    def chill_failure(self) -> NDArray[np.bool_]:
        """Years (V, Y) in which too little chill makes bloom late, straggling and poor."""
        return self.short_of_chill > SHORT_OF_CHILL

    def taken(self, rows: Rows) -> Bloom:
        """The same of some varieties."""
        return Bloom(**{name: getattr(self, name)[rows] for name in self.__dataclass_fields__})


@dataclass(frozen=True, eq=False)
class Group:
    """Varieties that share one curve: rows of the traits, and the running heat sum of their buds (Y, N)."""

    rows: Rows
    sums: Floats


def groups(needs: BloomNeeds, profile: Profile, parameters: BloomParameters) -> Iterator[Group]:
    """The varieties by curve, each curve's heat sums worked out once."""
    weather = bud_weather(profile)
    warm: dict[tuple[float, float], Floats] = {}
    keys = pd.MultiIndex.from_arrays([needs.crop, needs.need_factor])
    codes, curves = pd.factorize(keys)
    order = np.argsort(codes, kind="stable")
    bounds = np.searchsorted(codes[order], np.arange(len(curves) + 1))
    for index, (crop, factor) in enumerate(curves):
        curve = parameters.curve(crop, factor)
        kind = (curve.warmth_degC, curve.steepness)
        if kind not in warm:
            warm[kind] = warmth(weather.hourly, *kind)
        sums = heat_sum(warm[kind], weather.chill, curve, weather.light, bud_day_of(curve.heat_from, profile))
        yield Group(order[bounds[index] : bounds[index + 1]], sums)


def full_bloom(
    traits: pd.DataFrame,
    profile: Profile,
    parameters: BloomParameters | None = None,
    needs: BloomNeeds | None = None,
) -> Floats:
    """Season day of full bloom (V, Y) of each row of the traits (V) in each year of the profile (Y).

    NaN where the heat does not suffice before the next autumn. `needs` saves working them out again.
    Raises BadInput if the traits lack crop or variety.
    """
    parameters = parameters or load_bloom_parameters()
    needs = needs or bloom_needs(traits, parameters)
    first = bud_weather(profile).first_day
    day = np.empty((len(needs), len(profile.year)))
    for group in groups(needs, profile, parameters):
        day[group.rows] = day_reached(group.sums, np.exp(needs.log_requirement[group.rows]))
    return day + first


def bloom_error_days(traits: pd.DataFrame, parameters: BloomParameters | None = None) -> Floats:
    """Error (V,) of the date in one year at a place never seen, one standard deviation [d]."""
    return bloom_needs(traits, parameters).error_d


def bloom_length_days(
    needs: BloomNeeds, profile: Profile, day: Floats, short: Floats, parameters: BloomParameters
) -> tuple[Floats, Floats]:
    """Days (V, Y) from first to last flowers, and the share (V, 1) of them before full bloom.

    Bloom is short in warm weather and long in cool; a tree short of chill straggles.
    """
    at_12, before, per_kelvin = (
        column[:, None]
        for column in parameters.columns(needs.crop, ("length_d", "length_before", "length_per_K"))
    )
    mean = (profile.tmin + profile.tmax) / 2.0
    summed = np.pad(mean.cumsum(axis=1), ((0, 0), (1, 0)))
    last = mean.shape[1] - 10
    at = np.clip(np.nan_to_num(day, nan=0.0).astype(np.intp), 4, last)
    year = np.arange(len(mean))[None, :]
    warm = (summed[year, at + 10] - summed[year, at - 4]) / 14.0
    length = at_12 * np.exp(per_kelvin * (warm - LENGTH_AT_degC)) * (1.0 + STRAGGLING * short)
    return np.where(np.isnan(day), np.nan, np.clip(length, SHORTEST_BLOOM_D, LONGEST_BLOOM_D)), before


def short_of_chill(needs: BloomNeeds, profile: Profile, day: Floats) -> Floats:
    """Share (V, Y) of each variety's chill need that was lacking on the day of bloom; 0 where it was met.

    A need nobody published is the crop's usual one, so that the share is an estimate.
    """
    weather = bud_weather(profile)
    at = np.clip(np.nan_to_num(day - weather.first_day, nan=1e9), 0, weather.chill.shape[1] - 1)
    had = weather.chill[np.arange(len(weather.chill))[None, :], at.astype(np.intp)]
    need = needs.need_portions[:, None]
    return np.clip(1.0 - np.divide(had, need, out=np.ones_like(had), where=need > 0), 0.0, 1.0)


def _believable(day: Floats, gaps: NDArray[np.bool_], chill_start: int) -> Floats:
    """Days (V, Y), NaN where a day of gaps (Y, D) lies between the start of chill and bloom."""
    lacking = gaps[:, chill_start:].cumsum(axis=1)
    at = np.clip(np.nan_to_num(day, nan=0.0).astype(np.intp) - chill_start, 0, lacking.shape[1] - 1)
    return np.where(lacking[np.arange(len(gaps))[None, :], at] > 0, np.nan, day)


def bloom(
    traits: pd.DataFrame,
    profile: Profile,
    parameters: BloomParameters | None = None,
    needs: BloomNeeds | None = None,
) -> Bloom:
    """Everything about the bloom of each row of the traits (V) in each year of the profile (Y).

    Where a weather record lacks days between the start of chill and bloom, that year has no date.
    `needs` saves working them out again.
    """
    parameters = parameters or load_bloom_parameters()
    needs = needs or bloom_needs(traits, parameters)
    gaps = np.isnan(profile.tmin) | np.isnan(profile.tmax)
    if gaps.any():
        profile = replace(profile, tmin=filled(profile.tmin), tmax=filled(profile.tmax))
    day = full_bloom(traits, profile, parameters, needs)
    if gaps.any():
        day = _believable(day, gaps, CHILL_START[profile.hemisphere])
    short = short_of_chill(needs, profile, day)
    length, before = bloom_length_days(needs, profile, day, short, parameters)
    start = day - before * length
    return Bloom(
        day, start, start + length, short, needs.error_d, needs.variety_error_d, needs.told_by, needs.standing
    )
