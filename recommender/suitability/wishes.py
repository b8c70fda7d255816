"""Wishes about the fruit and the household: skin, flesh, size, native to the region, pets and children.

In come the varieties and the answers; out go desirabilities (V,). What nobody published gets what its crop
makes likely, never more.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from recommender.suitability.expectations import Varieties, text

Floats = NDArray[np.float64]

NOT_AS_WISHED = 0.2
# Where the wild species of a crop, or one that enters it, is native, by country (from memory of floras; the
# cultivated apple, pear and plum have no wild range of their own in the parish or anywhere near it).
NATIVE_IN: dict[str, frozenset[str]] = {
    "american-persimmon": frozenset({"US"}),
    "american-plum": frozenset({"US", "CA"}),
    "pawpaw": frozenset({"US", "CA"}),
    "hazelnut": frozenset(
        "GB IE FR DE BE NL LU CH AT IT ES PT PL CZ SK HU SI HR RS RO BG GR DK SE NO FI EE LV LT UA TR".split()  # noqa: SIM905
    ),
    "medlar": frozenset({"TR", "IR", "BG", "GE", "AZ"}),
    "quince": frozenset({"IR", "TR", "AM", "AZ", "GE"}),
    "walnut": frozenset({"IR", "KG", "UZ", "TJ", "TR"}),
    "fig": frozenset({"TR", "GR", "IR", "SY", "LB", "IL", "CY"}),
    "olive": frozenset({"GR", "TR", "ES", "IT", "SY", "LB", "IL", "CY", "MA", "TN", "DZ"}),
    "pomegranate": frozenset({"IR", "AF", "TM"}),
    "sweet-cherry": frozenset({"GB", "FR", "DE", "CH", "AT", "IT", "TR", "IR", "UA", "PL"}),
    "cherry-plum": frozenset({"TR", "GR", "BG", "RO", "UA", "GE", "IR"}),
    "feijoa": frozenset({"BR", "UY", "AR"}),
    "avocado": frozenset({"MX", "GT"}),
    "jujube": frozenset({"CN"}),
    "kiwifruit": frozenset({"CN"}),
    "hardy-kiwi": frozenset({"CN", "JP", "KR", "RU"}),
    "loquat": frozenset({"CN"}),
    "asian-pear": frozenset({"CN", "JP", "KR"}),
    "asian-persimmon": frozenset({"CN", "JP", "KR"}),
    "japanese-plum": frozenset({"CN"}),
    "peach": frozenset({"CN"}),
    "nectarine": frozenset({"CN"}),
    "apricot": frozenset({"CN", "KZ", "KG", "UZ"}),
    "mango": frozenset({"IN", "BD", "MM"}),
    "apple": frozenset({"KZ", "KG", "UZ", "TJ", "CN"}),
}
BRED_NEAR, ELSEWHERE = 0.5, 0.2
_SEVERITY = {"stop": 0.3, "warning": 0.6, "info": 0.9}
_HOUSEHOLD = ("pet-toxicity", "toxic-part", "thorns", "skin-irritant")


def matches(varieties: Varieties, trait: str, wanted: Sequence[str]) -> Floats:
    """1 where the published class holds a wanted word, 0.2 where it holds none, else the share of its crop
    (at most 0.7; 0.5 where nobody of the crop is described)."""
    values = text(varieties.frame, trait)
    known = values != ""
    words = [set(str(value).replace("-", "|").split("|")) | {str(value)} for value in values]
    good = np.array([bool(set(wanted) & each) for each in words], dtype=bool)
    answer = pd.Series(np.where(known, np.where(good, 1.0, NOT_AS_WISHED), np.nan))
    usual = answer.groupby(varieties.frame["crop"].to_numpy()).transform("mean").fillna(0.5)
    return np.where(known, answer, np.minimum(usual, 0.7))


def native(varieties: Varieties, country: str) -> Floats:
    """1 where the crop's species is native to the country (from memory), 0.5 where the variety was bred
    there, else 0.2; 0.5 for all where the country is not known."""
    if not country:
        return np.full(len(varieties), 0.5)
    crop = varieties.frame["crop"].to_numpy(dtype=object)
    here = np.array([country in NATIVE_IN.get(str(each), frozenset()) for each in crop])
    bred = text(varieties.frame, "origin") == country
    return np.where(here, 1.0, np.where(bred, BRED_NEAR, ELSEWHERE))


def household(cautions: pd.DataFrame, crop: pd.Series) -> Floats:
    """How safe the crop is around pets and children (V,): its gravest caution about poison, thorns or sap
    (stop 0.3, warning 0.6, note 0.9), 1 without one. No caution is no proof of safety."""
    told = cautions[cautions["topic"].isin(_HOUSEHOLD)]
    worst: dict[str, float] = {}
    for crops, severity in told[["crop", "severity"]].itertuples(index=False):
        for each in str(crops).split("|"):
            worst[each] = min(worst.get(each, 1.0), _SEVERITY.get(str(severity), 0.9))
    return crop.map(lambda name: worst.get(str(name), worst.get("all", 1.0))).to_numpy(dtype=float)
