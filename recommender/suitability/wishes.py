"""Wishes about the fruit and the household: skin, flesh, size, native to the region, pets and children.

In come the varieties and the answers; out go desirabilities (V,). What nobody published gets what its crop
makes likely, never more.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from recommender.catalog.package import datasets_folder
from recommender.suitability.expectations import Varieties, text
from recommender.suitability.sourced import read_sourced

Floats = NDArray[np.float64]

# What fruit that is not as wished is still worth (chosen by us).
NOT_AS_WISHED = 0.2
NATIVE = "native_ranges.csv"
NATIVE_COLUMNS = ("crop", "country", "basis", "source_id", "note")
# What a variety bred in the country is worth to whoever wishes for natives, and any other (chosen by us).
BRED_NEAR, ELSEWHERE = 0.5, 0.2
# How safe a crop is by its gravest caution about poison, thorns or sap (chosen by us).
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


def native_in(folder: Path | None = None) -> dict[str, frozenset[str]]:
    """Crop -> countries (two letters) where its wild species, or the main one that enters it, is published to
    be native. Raises DataFaults, which names file, row and column."""
    return _native_in(folder or datasets_folder())


@lru_cache(maxsize=4)
def _native_in(folder: Path) -> dict[str, frozenset[str]]:
    def rule(row: Mapping[Any, Any]) -> list[tuple[str, str]]:
        code = str(row["country"])
        fits = len(code) == 2 and code.isascii() and code.isupper()
        return [] if fits else [("country", "is no country code of two capital letters")]

    rows = read_sourced(folder, NATIVE, NATIVE_COLUMNS, rule)
    return {str(crop): frozenset(each) for crop, each in rows.groupby("crop")["country"]}


def native(varieties: Varieties, country: str) -> Floats:
    """1 where the crop's species is published to be native to the country, 0.5 where the variety was bred
    there, else 0.2; 0.5 for all where the country is not known."""
    if not country:
        return np.full(len(varieties), 0.5)
    crop = varieties.frame["crop"].to_numpy(dtype=object)
    ranges = native_in()
    here = np.array([country in ranges.get(str(each), frozenset()) for each in crop])
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
