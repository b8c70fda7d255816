"""Bloom, frost at bloom and ripening of varieties at a site: the one door to the modules that compute them.

In come the catalog's wide traits and a climate profile; out go season days by variety and year, each with its
error. `season` does all of it at once; `iso_date` writes a season day as a date.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from recommender.biology.bloom import Bloom, bloom, bloom_error_days, bloom_length_days, full_bloom
from recommender.biology.bloom_overlap import overlap_days, shared_by_year
from recommender.biology.bloom_parameters import (
    BloomNeeds,
    BloomParameters,
    bloom_needs,
    load_bloom_parameters,
)
from recommender.biology.frost_damage import FrostDamage, frost_damage
from recommender.biology.ripening import (
    Harvest,
    RipeningNeeds,
    harvest_window,
    load_ripening_parameters,
    ripening_needs,
)
from recommender.climate.season import Hemisphere, season_date

if TYPE_CHECKING:
    from recommender.climate.profile import Profile


@dataclass(frozen=True, eq=False)
class Phenology:
    """One site's year of every variety: bloom, frost at bloom (None without a table), harvest."""

    bloom: Bloom
    harvest: Harvest
    frost: FrostDamage | None = None


def phenology(
    traits: pd.DataFrame,
    profile: Profile,
    critical_temps: pd.DataFrame | None = None,
    frost_shift: float = 0.0,
    parameters: BloomParameters | None = None,
    needs: BloomNeeds | None = None,
    ripe_needs: RipeningNeeds | None = None,
) -> Phenology:
    """Bloom, harvest and, with the catalog's bloom_critical_temps, frost loss of each row of the traits.

    `needs` and `ripe_needs`, the same at every site, save working them out again.
    """
    parameters = parameters or load_bloom_parameters()
    needs = needs or bloom_needs(traits, parameters)
    blooms = bloom(traits, profile, parameters, needs)
    ripe = harvest_window(traits, profile, blooms, needs.shift_d, frost_shift, needs=ripe_needs)
    frost = None
    if critical_temps is not None:
        frost = frost_damage(traits, profile, critical_temps, frost_shift, parameters, needs)
    return Phenology(blooms, ripe, frost)


def iso_date(day: float, harvest_year: int, hemisphere: Hemisphere) -> str | None:
    """ISO date of a season day; None for NaN (a year without). A season starts the year before its harvest.

    >>> iso_date(300.0, 2003, "north")
    '2003-04-27'
    """
    if pd.isna(day):
        return None
    whole = round(float(day))
    starts = 181 if hemisphere == "north" else 0
    year = harvest_year - 1 + (whole + starts) // 365
    return f"{year:04d}-{season_date(whole, hemisphere)}"


__all__ = [
    "Bloom",
    "BloomNeeds",
    "BloomParameters",
    "FrostDamage",
    "Harvest",
    "Phenology",
    "RipeningNeeds",
    "bloom",
    "bloom_error_days",
    "bloom_length_days",
    "bloom_needs",
    "frost_damage",
    "full_bloom",
    "harvest_window",
    "iso_date",
    "load_bloom_parameters",
    "load_ripening_parameters",
    "overlap_days",
    "phenology",
    "ripening_needs",
    "shared_by_year",
]
