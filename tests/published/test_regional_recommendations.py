"""Agreement with published regional lists (datasets/regional_lists.csv, source_id beside each row) on a
spread of regions, each with its own state and sources left out. Bounds lie below what is measured;
docs/validation.md has all."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from recommender import open_catalog
from recommender.suitability.agreement import EXPLICIT, verdict_table
from recommender.suitability.validation import Validation, measured, plain_rules
from recommender.suitability.weights import HAND

REGIONS = [
    "alaska-interior", "colorado-front-range", "georgia-mountain", "georgia-south", "iowa-north",
    "iowa-south", "louisiana-south", "massachusetts-central", "nevada-las-vegas", "new-hampshire",
    "ontario-niagara", "south-carolina-coastal-plain", "south-dakota", "germany-schwaebisch-gmuend",
    "virginia-new-river-valley",
]  # fmt: skip


@pytest.fixture(scope="module")
def validation() -> Validation:
    return Validation(open_catalog(), regions=REGIONS)


def by_hand(validation: Validation, record: bool = True) -> list[NDArray[np.float64]]:
    return validation.scores([HAND] * len(validation.regions), record)


def test_recommended_varieties_stand_above_the_others_of_their_crop(validation: Validation) -> None:
    lists, _ = measured(validation, validation.cases(), by_hand(validation))
    assert len(lists) >= 25
    assert lists["auc"].mean() > 0.80
    assert lists["ap10"].mean() > 0.20


def test_the_model_is_ahead_of_every_plain_rule(validation: Validation) -> None:
    ours = measured(validation, validation.cases(), by_hand(validation))[0]["auc"].mean()
    for name, scores in plain_rules(validation).items():
        assert ours > measured(validation, validation.cases(), scores)[0]["auc"].mean() + 0.05, name


def test_the_record_adds_to_what_lives_and_does_not_replace_it(validation: Validation) -> None:
    cases = validation.cases()
    both = measured(validation, cases, by_hand(validation))[0]["auc"].mean()
    without = measured(validation, cases, by_hand(validation, record=False))[0]["auc"].mean()
    assert both > without > 0.60


def test_most_varieties_judged_differently_by_one_list_stand_in_its_order(validation: Validation) -> None:
    _, pairs = measured(validation, validation.cases(), by_hand(validation))
    explicit = pairs.loc[pairs["kind"] == EXPLICIT, "in_order"]
    assert len(explicit) > 15
    assert explicit.mean() > 0.6


def test_few_recommended_varieties_are_ruled_out(validation: Validation) -> None:
    ruled_out = total = 0
    for index, case in validation.cases():
        verdict = validation.judged(validation.regions[index], HAND)[1][case.of[case.named]]
        ruled_out, total = ruled_out + int((verdict == 3).sum()), total + len(verdict)
    assert ruled_out < 0.05 * total


def test_the_better_the_verdict_the_more_of_it_is_recommended(validation: Validation) -> None:
    """Of all varieties asked about, lists name more of the sound than of those with care, and of these more
    than of the doubtful. What is ruled out is too little on these few regions to say (docs/validation.md)."""
    table = verdict_table(validation, validation.cases(), [HAND] * len(validation.regions))
    share = table.set_index("verdict")["share of asked recommended"]
    assert share["sound"] > 2.0 * share["with care"]
    assert share["with care"] > 1.3 * share["doubtful"]
