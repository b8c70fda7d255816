"""Tender trees under cover: how many degrees it buys, how many nights of work it costs, and for which trees.

In come the varieties, the site's winters and the frost-cover table's gain; out go the winter criterion under
cover (V,) and a line of words. Two covers: fleece or burlap wrapped over the whole top, and deep mulch or
earth round the base, which saves the stem's foot only (common practice with figs, pomegranates and young
citrus).
A cover is work every winter and fails in the coldest one, so a tree that needs it is never better than `with
care` and stands below an otherwise equal hardy one.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from recommender.suitability import criteria
from recommender.suitability.expectations import Trait, Varieties

if TYPE_CHECKING:
    from recommender.climate.profile import Profile

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# Taken where the planting table has no gain: two to four degrees (common practice).
GAIN_K = 3.0
# A taller tree cannot be wrapped from the ground; ladders in winter are no answer (chosen by us).
TALLEST_WRAPPED_M = 3.0
# Crops that grow back from the foot on their own roots: fig (W. Reeves, "Is my fig tree dead?",
# https://www.walterreeves.com/food-gardening/is-my-fig-tree-dead/), pomegranate (N. Sperry,
# https://neilsperry.com/faq/, "My pomegranate looks like it's dying"), hazelnut (grown as coppice, Wikipedia,
# "Corylus avellana"), jujube (suckers from the roots, tamu-jujube-docslib). Grafted trees would grow back as
# the stock.
REGROWS = frozenset({"fig", "pomegranate", "hazelnut", "jujube"})
# What covering every winter takes off the score of an otherwise equal hardy tree (chosen by us).
LABOUR = 0.8
# A night counts as one to cover from so many degrees above what the tree stands (chosen by us).
WATCH_FROM_K = 2.0


def gain_of(planting: pd.DataFrame) -> tuple[float, str]:
    """Degrees that a cover buys [K] and the standing: the lowest gain published for fabric or light covers,
    since cold winds, gaps and late wrapping take their share."""
    rows = planting[planting["quantity"].eq("frost_cover_gain") & planting["basis"].eq("published")]
    rows = rows[rows["crop_group"].astype(str).str.contains("fabric|cover")]
    low = pd.to_numeric(rows["low"], errors="coerce").dropna()
    return (float(low.min()), "published") if len(low) else (GAIN_K, "common practice")


def can_be_wrapped(varieties: Varieties, container: bool) -> Bools:
    """Trees (V,) that can be kept low enough to wrap, regrow when cut low, or stand in a pot."""
    low = varieties.frame["crop"].isin(REGROWS).to_numpy(dtype=bool)
    return (varieties.height.value <= TALLEST_WRAPPED_M) | low | container


def winter_under_cover(coldest: Floats, hardiness: Trait, gain_K: float, site_error_K: float) -> Floats:
    """Expected share of winters (V,) in which the top lives under cover: the coldest night is milder by the
    gain."""
    return criteria.winter_survival(coldest + gain_K, hardiness, site_error_K)


def nights_to_cover(profile: Profile, hardiness: Floats) -> Floats:
    """Mean nights a winter (V,) that come within two degrees of what each variety stands, or below."""
    half = profile.tmin.shape[1] * 2 // 3
    nights = np.sort(profile.tmin[:, :half].ravel())
    return np.searchsorted(nights, hardiness + WATCH_FROM_K) / len(profile.tmin)


def sentence(gain: str, standing: str, nights: float, share: float, crop: str, verdict: str) -> str:
    """What cover would do for one variety."""
    count = round(share * 20)
    work = "one night" if nights < 1.5 else f"about {nights:.0f} nights"
    base = (
        " Deep mulch round the foot lets it grow back from below if the top is lost."
        if crop in REGROWS
        else ""
    )
    return (
        f"Fleece over the top on {work} a winter buys at least {gain} ({standing}): safe in "
        f"{count} winters in 20, so {verdict}, at the price of that work every winter.{base}"
    )
