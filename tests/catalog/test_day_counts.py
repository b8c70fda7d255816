"""Claims about days from bloom to harvest of sources that count on different levels; the apples are invented,
the last test is on the catalog."""

from __future__ import annotations

import pandas as pd
import pytest

from recommender.catalog import Catalog
from recommender.catalog.day_counts import MANY, MIN_SHARED
from tests.catalog.invented import fact, settled

TRAIT = "bloom_to_harvest"


def counts(shared: int, level: float = -30.0) -> list[dict[str, object]]:
    """One paper with many counts on a level of its own, and a book that counts some of the same apples."""
    paper = [fact(TRAIT, 140 + n + level, "paper-1", variety=f"V{n}") for n in range(MANY)]
    return paper + [fact(TRAIT, 140 + n, "extension-1", variety=f"V{n}") for n in range(shared)]


def by_variety(facts: list[dict[str, object]]) -> pd.DataFrame:
    return settled(*facts).set_index("variety")


def test_a_source_on_a_level_of_its_own_is_moved_to_that_of_the_others() -> None:
    result = by_variety(counts(MIN_SHARED))
    for n in range(MANY):
        assert result.loc[f"V{n}", "number"] == pytest.approx(140 + n), n
    assert "paper-1 moved by +30" in str(result.loc["V19", "disagreement"])


def test_a_count_that_only_another_source_made_stays_as_it_was_made() -> None:
    alone = fact(TRAIT, 145, "extension-1", variety="Alone")
    result = by_variety([*counts(MIN_SHARED), alone])
    assert result.loc["Alone", "number"] == 145
    assert result.loc["Alone", "disagreement"] == ""


def test_with_too_few_in_common_nothing_is_moved() -> None:
    result = by_variety(counts(MIN_SHARED - 1))
    assert result.loc["V19", "number"] == 129
    assert "moved" not in " ".join(result["disagreement"])


def test_one_wild_count_does_not_move_a_source() -> None:
    facts = counts(MIN_SHARED)
    facts[-1]["value"] = "250"
    assert by_variety(facts).loc["V19", "number"] == pytest.approx(159)


def test_evidence_without_such_counts_settles_as_ever() -> None:
    assert settled(fact("storage", 12, "paper-1")).loc[0, "number"] == 12


def test_an_apple_counted_by_another_source_keeps_its_place_in_the_season(catalog: Catalog) -> None:
    """Cox (130 to 160 days, our-apples-p68) ripens with the mid-season apples, days after McIntosh (mid)."""
    traits = catalog.traits()
    days = traits[traits["crop"].eq("apple")].set_index("variety")[TRAIT]
    assert 0 < days["Cox's Orange Pippin"] - days["McIntosh"] < 25
    assert days["Discovery"] < days["McIntosh"] < days["Golden Delicious"] < days["Granny Smith"]
