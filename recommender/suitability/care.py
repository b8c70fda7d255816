"""Years until the first crop, and how much care a variety asks for at this site.

In come the varieties, their criteria and the answers; out go years (V,) and a care criterion (V,), 1 for a
tree that asks for little. The weights are chosen by us; each part is a figure shown elsewhere in the
ranking, so a grower can see where the care goes.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import ndtr

from recommender.suitability.expectations import Trait, Varieties, number

if TYPE_CHECKING:
    from recommender.suitability.site import Site

Floats = NDArray[np.float64]

# What each burden takes off (chosen by us): disease at full loss, frost at bloom at full loss, winter cover,
# a partner to be planted, a pot to be watered, work from a ladder.
BURDENS = {"disease": 0.5, "frost": 0.25, "cover": 0.35, "partner": 0.1, "pot": 0.15, "ladder": 0.15}
LADDER_FROM_M = 3.5
# Bounds of the care levels (chosen by us).
LOW_FROM, MEDIUM_FROM = 0.70, 0.50
YEARS_IF_UNKNOWN = (4.0, 2.0)


def years_to_crop(frame: pd.DataFrame, crops: pd.DataFrame) -> Trait:
    """Years from planting to the first real crop (V,): published for the variety, else its crop's range.

    crops: crop, years_to_bear_low, years_to_bear_high. The crop's range covers stocks from dwarf to seedling.
    """
    own = number(frame, "bearing_years")
    low = high = np.full(len(frame), np.nan)
    if {"years_to_bear_low", "years_to_bear_high"} <= set(crops):
        table = crops.set_index("crop")
        low = frame["crop"].map(table["years_to_bear_low"]).to_numpy(dtype=float)
        high = frame["crop"].map(table["years_to_bear_high"]).to_numpy(dtype=float)
    middle, half = (low + high) / 2.0, (high - low) / 2.0
    known = np.isfinite(own)
    usual = np.where(np.isfinite(middle), middle, YEARS_IF_UNKNOWN[0])
    error = np.where(np.isfinite(half), np.maximum(half, 1.0), YEARS_IF_UNKNOWN[1])
    return Trait(np.where(known, own, usual), np.where(known, 1.0, error), known)


def bears_within(years: Trait, limit: float) -> Floats:
    """Chance that the first crop comes within so many years (V,)."""
    return ndtr((limit + 0.5 - years.value) / years.error)


def ladder(varieties: Varieties) -> Floats:
    """Chance that work needs a ladder even on the smallest stock (V,)."""
    return ndtr((varieties.height.value - LADDER_FROM_M) / 0.5)


def care(
    varieties: Varieties,
    site: Site,
    winter: Floats,
    bloom_frost: Floats,
    pollination: Floats,
    health: Floats,
    tall: Floats | None = None,
) -> Floats:
    """How little care a variety asks for at this site (V,), in [0, 1]. tall: `ladder`, if at hand."""
    burden = BURDENS["disease"] * (1.0 - health)
    burden = burden + BURDENS["frost"] * (1.0 - bloom_frost)
    burden = burden + BURDENS["cover"] * np.clip((0.9 - winter) / 0.4, 0.0, 1.0)
    burden = burden + BURDENS["partner"] * (pollination < 0.7)
    burden = burden + BURDENS["ladder"] * (ladder(varieties) if tall is None else tall)
    if site.container_L is not None:
        burden = burden + BURDENS["pot"]
    return np.clip(1.0 - burden, 0.0, 1.0)


def levels(value: Floats) -> NDArray[np.object_]:
    """The care level in words (V,): low, medium or high."""
    return np.select([value >= LOW_FROM, value >= MEDIUM_FROM], ["low", "medium"], default="high").astype(
        object
    )
