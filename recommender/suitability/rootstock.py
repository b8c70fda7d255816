"""Which rootstock suits the ground, the room and the cold, and what it cannot do.

In come the rootstocks table, the answers and the site's coldest nights; out go stocks with their fit and the
criterion `ground` (V,). A rootstock carries the tree and sets its size; it does not make the top hardier:
what kills the top in winter is judged from the variety alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

if TYPE_CHECKING:
    from recommender.suitability.goals import Goals
    from recommender.suitability.site import Site

Floats = NDArray[np.float64]

# What a published class is worth where the ground asks for it; what nobody published lies between.
WORTH = {"resistant": 1.0, "tolerant": 1.0, "yes": 1.0, "moderate": 0.7, "susceptible": 0.25, "no": 0.25}
UNPUBLISHED = 0.6
# A crop without any listed stock stands on its own roots or a seedling's.
NO_STOCK = 0.6


@dataclass(frozen=True)
class Stock:
    """One rootstock for one crop: fit in [0, 1], and in words what speaks for and against it."""

    rootstock: str
    fit: float
    speaks_for: tuple[str, ...]
    against: tuple[str, ...]
    height_m: float


def asked_of(site: Site, goals: Goals) -> dict[str, str]:
    """Columns of the rootstocks table that the answers make matter, with the words for each."""
    asked: dict[str, str] = {}
    if site.wetness == "wet" or site.soil == "clay":
        asked["wet_soil"] = "wet ground"
        asked["crown_rot_phytophthora"] = "crown rot"
    if site.soil == "chalk":
        asked["calcareous"] = "lime"
    if site.wetness == "dry" or site.soil == "sand":
        asked["drought"] = "drought"
    if site.container_L is not None:
        asked["container_suitable"] = "a pot"
    return asked


def stocks_for(
    table: pd.DataFrame, crop: str, site: Site, goals: Goals, coldest_degC: float | None = None
) -> list[Stock]:
    """Stocks for a crop, best first. coldest_degC: the site's usual coldest night, for the stock's own
    hardiness."""
    if not len(table):
        return []
    asked = asked_of(site, goals)
    read = ["rootstock", "mature_height_low_m", "cold_hardy_min_degC", *asked]
    serves = [crop in str(crops).split("|") for crops in table["for_crops"]]
    own = table.loc[serves, [name for name in read if name in table]]
    limits = [limit for limit in (goals.max_height_m, _room(site)) if limit is not None]
    found = []
    for row in own.to_dict("records"):
        good: list[str] = []
        bad: list[str] = []
        fit = 1.0
        for column, words in asked.items():
            kind = row.get(column)
            known = isinstance(kind, str) and kind in WORTH
            value = WORTH[str(kind)] if known else UNPUBLISHED
            fit *= value
            if known:
                (good if value >= 0.7 else bad).append(words)
        height = float(row.get("mature_height_low_m") or np.nan)
        if limits and np.isfinite(height):
            fits = height <= min(limits) + 0.5
            fit *= 1.0 if fits else 0.4
            (good if fits else bad).append("the room")
        hardy = row.get("cold_hardy_min_degC")
        if (
            coldest_degC is not None
            and isinstance(hardy, float)
            and np.isfinite(hardy)
            and hardy > coldest_degC
        ):
            fit *= 0.5
            bad.append("the winter cold at its roots")
        found.append(Stock(str(row["rootstock"]), round(fit, 4), tuple(good), tuple(bad), height))
    return sorted(found, key=lambda stock: (-stock.fit, stock.rootstock))


def _room(site: Site) -> float | None:
    return site.space_m / 0.8 if site.space_m is not None else None


def ground(table: pd.DataFrame, crop: pd.Series, site: Site, goals: Goals) -> Floats:
    """How well the best stock of each variety's crop answers the ground (V,); 1 where nothing was asked."""
    asked = asked_of(site, goals)
    if not asked or not set(asked) <= set(table):
        return np.ones(len(crop))
    best = {}
    for each in crop.unique():
        stocks = stocks_for(table, str(each), site, goals)
        best[each] = max((stock.fit for stock in stocks), default=NO_STOCK ** len(asked))
    return crop.map(best).to_numpy(dtype=float)


def sentence(stocks: list[Stock], answers: str) -> str:
    """The stock to ask for, in words; "" where none is listed or nothing published speaks for one."""
    named = [stock for stock in stocks if stock.speaks_for and not stock.against][:2]
    if not named:
        return ""
    names = " or ".join(stock.rootstock for stock in named)
    return f"For {answers} ask for it on {names} (published: stands {', '.join(named[0].speaks_for)})"
