"""What each variety does at the site in the course of a year: when it is picked, until when it keeps, and how
long it blooms together with the others.

In come the catalog, the crops and the site's climate; out goes a `SiteYear` and, for the pollination matrix,
the days of bloom shared by pairs. All of it is the phenology's (`biology.phenology`); nothing is guessed
here.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from recommender.biology import crosses
from recommender.biology.partners import shared_days_at
from recommender.biology.phenology import phenology
from recommender.biology.pollination import catalog_matrix
from recommender.biology.pollination_result import PollinationMatrix

if TYPE_CHECKING:
    from recommender.catalog.catalog import Catalog
    from recommender.climate.profile import Profile

Floats = NDArray[np.float64]
EARLY, LATE = 0.1, 0.9
"""Quantiles over the years that are called an early and a late year."""


@dataclass(frozen=True, eq=False)
class SiteYear:
    """Season days of n varieties in Y years. start, end, until (n, Y): first and last picking, and the end of
    keeping; NaN in a year without bloom. error_d (n,): error of one year's start [d]."""

    start: Floats
    end: Floats
    until: Floats
    error_d: Floats

    def taken(self, rows: NDArray[np.intp]) -> SiteYear:
        """The same of some varieties."""
        return SiteYear(self.start[rows], self.end[rows], self.until[rows], self.error_d[rows])

    def usual(self) -> tuple[Floats, Floats, Floats]:
        """First and last picking and end of keeping in the usual year (n,), NaN where most years have no
        crop."""
        first, last, until = (_middle(days) for days in (self.start, self.end, self.until))
        return first, last, until

    def spread(self) -> tuple[Floats, Floats]:
        """First picking of an early year and last picking of a late one (n,)."""
        return _quantile(self.start, EARLY), _quantile(self.end, LATE)

    def covered(self, rows: NDArray[np.intp], middle: Floats, fresh: NDArray[np.bool_]) -> Floats:
        """Share of the wanted weeks (by their middle days (W,)) that the varieties at `rows` cover, by year
        (Y,)."""
        if not len(middle) or not len(rows):
            return np.full(self.start.shape[1], float(not len(middle)))
        day = middle[None, None, :]
        start, end, until = (part[rows, :, None] for part in (self.start, self.end, self.until))
        there = (start <= day) & (day < np.where(fresh[None, None, :], end, until))
        return np.asarray(there.any(axis=0).mean(axis=1))


def _middle(days: Floats) -> Floats:
    middle = np.median(np.where(np.isfinite(days), days, np.inf), axis=1)
    return np.where(np.isfinite(middle), middle, np.nan)


def _quantile(days: Floats, share: float) -> Floats:
    out = np.full(len(days), np.nan)
    known = np.isfinite(days)
    # The same figure much sooner where no year is missing.
    whole = known.all(axis=1)
    some = known.any(axis=1) & ~whole
    out[whole] = np.quantile(days[whole], share, axis=1)
    out[some] = np.nanquantile(days[some], share, axis=1)
    return out


def at_the_site(
    catalog: Catalog, keys: pd.DataFrame, profile: Profile, frost_shift: float = 0.0
) -> tuple[SiteYear, PollinationMatrix]:
    """The year of varieties, and who pollinates whom when in bloom together at the site.

    keys: columns crop, variety (n rows); both results are in its order. frost_shift [K]: of still nights at
    the spot. Raises UnknownName.
    """
    crops = set(keys["crop"])
    traits = catalog.traits()
    looked_at = crops | _serving(catalog, crops)
    traits = traits.loc[traits["crop"].isin(looked_at)].reset_index(drop=True)
    index = pd.MultiIndex.from_frame(traits[["crop", "variety"]])
    rows = index.get_indexer(pd.MultiIndex.from_frame(keys[["crop", "variety"]]))
    found = phenology(traits, profile, frost_shift=frost_shift)
    shared = np.full((len(traits), len(traits)), np.nan)
    crop = traits["crop"].to_numpy(dtype=object)
    of_crop = {name: rows[(crop[rows] == name)] for name in crops}
    for bears, gives in {*((one, one) for one in crops), *_crossing(catalog, crops)}:
        pairs = np.ix_(of_crop[bears], of_crop[gives])
        shared[pairs] = shared_days_at(crop, found.bloom, of_crop[bears], of_crop[gives])
    matrix = catalog_matrix(catalog, crops, overlap_days=shared)
    matrix = matrix.take([matrix.position(*key) for key in keys[["crop", "variety"]].itertuples(index=False)])
    ripe = found.harvest
    year = SiteYear(ripe.start[rows], ripe.end[rows], ripe.eaten_until[rows], ripe.error_d[rows])
    return year, matrix


def _serving(catalog: Catalog, crops: Collection[str]) -> set[str]:
    return {gives for bears, gives in crosses.crop_crosses(catalog.crops()) if bears in crops}


def _crossing(catalog: Catalog, crops: Collection[str]) -> set[tuple[str, str]]:
    pairs = crosses.crop_crosses(catalog.crops())
    return {(bears, gives) for bears, gives in pairs if bears in crops and gives in crops}
