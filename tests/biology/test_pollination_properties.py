"""Properties of the pollination rules over invented orchards."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from benchmarks.plain_pollination import plain_codes
from recommender.biology import pollination_inputs, sports
from recommender.biology.pollination import pair_codes, pollination_matrix
from tests.biology.invented import CROPS, matrix, tree, trees

_GENOTYPE = st.lists(st.sampled_from(["S1", "S2", "S3", "S4", "S5"]), min_size=2, max_size=3, unique=True)


@st.composite
def orchards(draw: st.DrawFn) -> pd.DataFrame:
    crops = ["apple", "sweet-cherry", "sour-cherry", "quince", "kiwifruit", "japanese-plum", "fig", "walnut"]
    rows = []
    for k in range(draw(st.integers(1, 14))):
        crop = draw(st.sampled_from(crops))
        genotype = draw(st.none() | _GENOTYPE)
        rows.append(
            tree(
                f"V{k:02d}",
                crop,
                None if genotype is None else " ".join(genotype),
                ploidy=draw(st.sampled_from([np.nan, 2.0, 3.0, 4.0])),
                pollen=draw(st.sampled_from([None, None, None, "fertile", "sterile", "poor"])),
                self_fertility=draw(
                    st.sampled_from(
                        [None, None, "self-fertile", "self-sterile", "partly-self-fertile", "male", "female"]
                    )
                ),
                bloom_group=draw(st.sampled_from([None, "1", "3", "5", "protandrous", "protogynous"])),
                sport_of=draw(st.none() | st.sampled_from([f"V{j:02d}" for j in range(k)])) if k else None,
            )
        )
    return trees(*rows)


@settings(max_examples=80, deadline=None)
@given(orchards())
def test_array_rules_equal_the_plain_double_loop(traits: pd.DataFrame) -> None:
    ordered = traits.sort_values(["crop", "variety"], ignore_index=True)
    prepared = pollination_inputs.prepare(pollination_inputs.needed(ordered), None, CROPS, None, None)
    codes, _ = pair_codes(prepared)
    for one, two in zip((codes.result, codes.reason, codes.standing), plain_codes(prepared), strict=True):
        assert np.array_equal(one, two)


@settings(max_examples=60, deadline=None)
@given(orchards(), st.randoms())
def test_order_of_the_varieties_does_not_matter(traits: pd.DataFrame, random: Any) -> None:
    order = list(range(len(traits)))
    random.shuffle(order)
    one = pollination_matrix(traits, None, CROPS)
    two = pollination_matrix(traits.iloc[order].reset_index(drop=True), None, CROPS)
    for name in ("result", "reason", "standing"):
        assert np.array_equal(getattr(one, name)[np.ix_(order, order)], getattr(two, name))
    assert np.array_equal(one.need[order], two.need)


@settings(max_examples=60, deadline=None)
@given(_GENOTYPE, _GENOTYPE)
def test_shared_alleles_read_the_same_both_ways_between_diploids(one: list[str], two: list[str]) -> None:
    found = matrix(tree("A", alleles=" ".join(one[:2])), tree("B", alleles=" ".join(two[:2])))
    assert found.result[0, 1] == found.result[1, 0]


@settings(max_examples=60, deadline=None)
@given(orchards())
def test_a_clone_pollinates_itself_only_if_self_fertile(traits: pd.DataFrame) -> None:
    found = pollination_matrix(traits, None, CROPS)
    self_set = found.sets_fruit().diagonal()
    fertile = found.own["self"].isin([0, 1]).to_numpy()
    assert not (self_set & ~fertile).any()


@settings(max_examples=60, deadline=None)
@given(orchards())
def test_odd_ploidy_never_donates(traits: pd.DataFrame) -> None:
    found = pollination_matrix(traits, None, CROPS)
    odd = np.flatnonzero(traits["ploidy"].to_numpy() == 3.0)
    fruit = found.sets_fruit()
    fruit[np.diag_indices(len(fruit))] = False
    root, _ = sports.roots(sports.parents(traits))
    other_clone = root[:, None] != root[None, :]
    assert not (fruit & other_clone)[:, odd].any()
