"""Estimates in the ranking: they move the crop's usual value, widen the result and never count as known."""

from __future__ import annotations

from typing import Any, cast

import numpy as np
import pandas as pd

from recommender import open_catalog
from recommender.suitability.expectations import expect
from recommender.suitability.goals import Goals
from recommender.suitability.ranking import known_share, rank, varieties_of
from recommender.suitability.site import Site
from tests.suitability.invented import InventedCatalog, climate


class GuessingCatalog(InventedCatalog):
    """The invented orchard, with estimates for the variety nobody described."""

    def estimates(self) -> pd.DataFrame:
        rows = [
            (
                "apple",
                "Withy Unwritten",
                "zone_min",
                "3a",
                3.0,
                2.0,
                4.0,
                0.8,
                4.0,
                "estimated from its crop",
            ),
            (
                "apple",
                "Withy Unwritten",
                "chill_hours",
                "500",
                500.0,
                350.0,
                650.0,
                117.0,
                700.0,
                "estimated",
            ),
            ("apple", "Withy Early", "zone_min", "9a", 9.0, 8.0, 9.5, 0.8, 4.0, "an estimate overtaken"),
        ]
        return pd.DataFrame(rows, columns=super().estimates().columns)


def expected(catalog: InventedCatalog) -> Any:
    return expect(catalog.traits(), catalog.crops(), catalog.rootstocks(), None, catalog.estimates())


def test_an_estimate_moves_the_usual_value_by_its_departure() -> None:
    plain, guessed = expected(InventedCatalog()), expected(GuessingCatalog())
    row = int(np.flatnonzero(plain.frame["variety"] == "Withy Unwritten")[0])
    # One zone hardier than usual is 10 degF, 5.56 K.
    assert np.isclose(guessed.hardiness.value[row], plain.hardiness.value[row] - 10.0 / 1.8)
    assert guessed.chill_hours.value[row] < plain.chill_hours.value[row] - 100.0


def test_what_is_published_meanwhile_beats_the_estimate() -> None:
    plain, guessed = expected(InventedCatalog()), expected(GuessingCatalog())
    row = int(np.flatnonzero(plain.frame["variety"] == "Withy Early")[0])
    assert guessed.hardiness.value[row] == plain.hardiness.value[row]
    assert guessed.hardiness.known[row]
    assert not guessed.estimated["hardiness"][row]


def test_an_estimate_is_wider_than_a_published_value_and_never_known() -> None:
    varieties = varieties_of(open_catalog())
    for trait, group in ((varieties.hardiness, "hardiness"), (varieties.chill_hours, "chill")):
        guessed = varieties.estimated[group] & ~trait.known
        assert guessed.sum() > 500
        assert np.median(trait.error[guessed]) > np.median(trait.error[trait.known])


def test_estimates_add_nothing_to_the_proof() -> None:
    catalog = open_catalog()
    without = expect(catalog.traits(), catalog.crops(), catalog.rootstocks(), catalog.settled_all())
    assert np.array_equal(known_share(without), known_share(varieties_of(catalog)))


def test_the_reason_says_estimated_and_how_surely() -> None:
    ranking = rank(
        Site(place="Withy Hollow"),
        Goals(crops=("apple",)),
        cast(Any, GuessingCatalog()),
        cast(Any, climate()),
    )
    told = " ".join(next(r for r in ranking.records() if r["variety"] == "Withy Unwritten")["reasons"])
    assert "it is estimated to stand about" in told
    assert "its own is estimated at about" in told
    assert "Nobody has published" in told
