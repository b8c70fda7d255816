"""Invented orchards for the tests of pollination: crops with their published systems, trees, matrices."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from recommender.biology.pollination import pollination_matrix
from recommender.biology.pollination_result import PollinationMatrix
from recommender.biology.reasons_pollination import RESULTS

CROPS = pd.DataFrame(
    [
        ("apple", "gametophytic", "self-sterile", "apple"),
        ("european-pear", "gametophytic", "partly-self-fertile", "european-pear|asian-pear"),
        ("asian-pear", "gametophytic", "self-sterile", "asian-pear|european-pear"),
        ("sweet-cherry", "gametophytic", "self-sterile", "sweet-cherry"),
        ("sour-cherry", "gametophytic", "self-fertile", "sour-cherry|duke-cherry"),
        ("duke-cherry", "gametophytic", "partly-self-fertile", "sweet-cherry|sour-cherry|duke-cherry"),
        ("european-plum", "gametophytic", "partly-self-fertile", "european-plum|japanese-plum"),
        ("japanese-plum", "gametophytic", "self-sterile", "japanese-plum|american-plum|cherry-plum"),
        ("american-plum", "gametophytic", "self-sterile", "american-plum"),
        ("cherry-plum", "gametophytic", "partly-self-fertile", "cherry-plum|japanese-plum"),
        ("apricot", "gametophytic", "self-fertile", "apricot"),
        ("almond", "gametophytic", "self-sterile", "almond|peach"),
        ("peach", "none", "self-fertile", "peach"),
        ("quince", "none", "self-fertile", "quince"),
        ("hazelnut", "sporophytic", "self-sterile", "hazelnut"),
        ("kiwifruit", "dioecious", "female", "kiwifruit"),
        ("walnut", "dichogamous", "partly-self-fertile", "walnut"),
        ("avocado", "dichogamous", "partly-self-fertile", "avocado"),
        ("fig", "none", "parthenocarpic", "fig"),
        ("asian-persimmon", "none", "self-fertile", "asian-persimmon"),
        ("pawpaw", "protogynous", "self-sterile", "pawpaw"),
    ],
    columns=["crop", "incompatibility", "typical_self_fertility", "crosses_with"],
)


def trees(*rows: dict[str, Any]) -> pd.DataFrame:
    """A traits frame of invented varieties."""
    frame = pd.DataFrame(list(rows))
    for name in ("s_alleles", "self_fertility", "pollen", "sport_of", "flowering_type", "bloom_group"):
        if name not in frame:
            frame[name] = None
    if "ploidy" not in frame:
        frame["ploidy"] = np.nan
    return frame


def tree(variety: str, crop: str = "apple", alleles: str | None = None, **traits: Any) -> dict[str, Any]:
    return {"crop": crop, "variety": variety, "s_alleles": alleles, **traits}


def matrix(*rows: dict[str, Any], pairs: pd.DataFrame | None = None, **options: Any) -> PollinationMatrix:
    return pollination_matrix(trees(*rows), pairs, CROPS, **options)


def said(found: PollinationMatrix, i: int, j: int) -> str:
    return RESULTS[found.result[i, j]]


def pair(female: str, male: str, result: str, crop: str = "apple") -> pd.DataFrame:
    columns = ["female_crop", "female", "male_crop", "male", "result", "source_id"]
    return pd.DataFrame([(crop, female, crop, male, result, "invented")], columns=columns)
