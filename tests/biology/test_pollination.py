"""Claims about who pollinates whom. Varieties named A, B and so on, and their alleles, are invented."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from recommender.biology import alleles
from recommender.biology.fertility import NEEDS
from recommender.biology.pollination import pollination_matrix
from recommender.biology.reasons_pollination import CODE, REASONS, RESULTS, SENTENCES
from recommender.errors import BadInput, UnknownName
from tests.biology.invented import CROPS, matrix, pair, said, tree, trees


@pytest.mark.parametrize(
    ("one", "two", "result"),
    [
        ("S1 S2", "S3 S4", "compatible"),
        ("S1 S2", "S2 S3", "semi-compatible"),
        ("S1 S2", "S2 S1", "incompatible"),
    ],
)
def test_shared_alleles_decide_between_two_diploids(one: str, two: str, result: str) -> None:
    assert said(matrix(tree("A", alleles=one), tree("B", alleles=two)), 0, 1) == result


def test_triploid_cannot_pollinate_its_partner() -> None:
    found = matrix(tree("A", alleles="S1 S2"), tree("B", alleles="S3 S4 S5", ploidy=3.0))
    assert said(found, 0, 1) == "no viable pollen"
    assert said(found, 1, 0) == "compatible"
    assert not found.sets_fruit()[0].any(), "a variety whose only neighbour is triploid is unpollinated"


def test_triploid_style_rejects_by_three_alleles() -> None:
    # Jonagold (S2 S3 S9) rejects Golden Delicious (S2 S3) and half of Fuji (S1 S9).
    found = matrix(
        tree("A", alleles="S2 S3 S9", ploidy=3.0), tree("B", alleles="S2 S3"), tree("C", alleles="S1 S9")
    )
    assert [said(found, 0, 1), said(found, 0, 2)] == ["incompatible", "semi-compatible"]


def test_sterile_and_poor_pollen_donate_nothing() -> None:
    found = matrix(
        tree("A", alleles="S1 S2"),
        tree("B", alleles="S3 S4", pollen="sterile"),
        tree("C", alleles="S3 S4", pollen="poor"),
    )
    assert [said(found, 0, 1), said(found, 0, 2)] == ["no viable pollen", "no viable pollen"]


def test_self_compatible_cherry_needs_no_partner_and_serves_its_group() -> None:
    found = matrix(tree("A", "sweet-cherry", "S3 S4'"), tree("B", "sweet-cherry", "S3 S4"))
    assert said(found, 0, 0) == "compatible"
    assert NEEDS[found.need[0]] == "not needed"
    assert said(found, 1, 0) == "semi-compatible", "S4' pollen passes an S4 style"
    assert said(found, 0, 1) == "incompatible", "the style of S4' still rejects S4"
    assert said(found, 1, 1) == "incompatible"


def test_style_mutant_accepts_its_allele_but_its_pollen_is_rejected() -> None:
    # Kikusui (S2 S4) rejects Osa-Nijisseiki (S2 S4sm); the other way round part of the pollen passes.
    found = matrix(tree("A", "asian-pear", "S2 S4"), tree("B", "asian-pear", "S2 S4sm"))
    assert [said(found, 0, 1), said(found, 1, 0)] == ["incompatible", "semi-compatible"]


def test_almond_sf_is_self_fertile_unless_published_self_sterile() -> None:
    found = matrix(tree("A", "almond", "S1 Sf"), tree("B", "almond", "S36 Sf", self_fertility="self-sterile"))
    assert [said(found, 0, 0), said(found, 1, 1)] == ["compatible", "incompatible"]


def test_published_self_fertility_overrules_the_alleles() -> None:
    found = matrix(tree("A", "apricot", "S1 S2", self_fertility="self-fertile"))
    assert said(found, 0, 0) == "compatible"


def test_tetraploid_cherry_grain_is_rejected_by_one_matching_allele() -> None:
    # Hauck 2006: Gold (S3 S6) accepts part of the pollen of Montmorency (S6 S13' Sa Snull).
    found = matrix(
        tree("A", "sweet-cherry", "S3 S6"),
        tree("B", "sour-cherry", "S6 S13' Sa Snull", ploidy=4.0),
        tree("C", "sweet-cherry", "S6 Sa"),
    )
    assert said(found, 0, 1) == "semi-compatible"
    assert said(found, 2, 1) == "semi-compatible", "one grain in six holds S13' and the null allele only"


@pytest.mark.parametrize(
    ("crop", "one", "two"),
    [
        ("european-pear", "S101 S102", "Sa Sb"),
        ("european-pear", "S1 S5", "S101 S105"),
        ("asian-pear", "S3 S4", "Sc Sd"),
    ],
)
def test_nomenclatures_are_never_compared(crop: str, one: str, two: str) -> None:
    found = matrix(tree("A", crop, one), tree("B", crop, two))
    assert said(found, 0, 1) == "unknown"


def test_asian_and_european_pear_alleles_of_one_name_are_not_one_allele() -> None:
    found = matrix(tree("A", "asian-pear", "S1 S5"), tree("B", "european-pear", "S1 S5"))
    assert said(found, 0, 1) == "compatible"
    assert REASONS[found.reason[0, 1]] == "other-species"


def test_almond_letters_of_1994_are_translated_by_their_key() -> None:
    evidence = pd.DataFrame(
        [
            ("almond", "A", "s_alleles", "Sa Sd", "published", "one", "old California lettering"),
            ("almond", "B", "s_alleles", "S5 S8", "published", "two", ""),
        ],
        columns=["crop", "variety", "trait", "value", "basis", "source_id", "note"],
    )
    found = matrix(tree("A", "almond"), tree("B", "almond"), evidence=evidence)
    assert said(found, 0, 1) == "incompatible"


def test_published_genotype_overrules_one_from_memory() -> None:
    columns = ["crop", "variety", "trait", "value", "basis", "source_id", "note"]
    rows = [
        ("apple", "A", "s_alleles", "S1 S2", "from memory", "memory", ""),
        ("apple", "A", "s_alleles", "S3 S4", "published", "one", ""),
        ("apple", "B", "s_alleles", "S3 S4", "published", "one", ""),
    ]
    found = matrix(tree("A"), tree("B"), evidence=pd.DataFrame(rows, columns=columns))
    assert said(found, 0, 1) == "incompatible"
    assert alleles.STANDINGS[found.standing[0, 1]] == "published"


def test_alleles_from_memory_make_an_answer_from_memory() -> None:
    rows = (
        tree("A", alleles="S1 S2", s_alleles_standing="from memory"),
        tree("B", alleles="S3 S4", s_alleles_standing="published"),
    )
    assert alleles.STANDINGS[matrix(*rows).standing[0, 1]] == "from memory"


def test_hazel_pollen_shows_only_its_dominant_allele() -> None:
    # Barcelona (S1 S2) sheds S1 pollen: a style with S2 alone takes it, a style with S1 does not.
    found = matrix(
        tree("A", "hazelnut", "S2 S10"), tree("B", "hazelnut", "S1 S2"), tree("C", "hazelnut", "S1 S9")
    )
    assert [said(found, 0, 1), said(found, 2, 1)] == ["compatible", "incompatible"]
    assert said(found, 1, 0) == "unknown", "whether S2 or S10 shows is not published"
    assert said(found, 1, 1) == "incompatible"


def test_female_kiwifruit_needs_a_male() -> None:
    found = matrix(
        tree("A", "kiwifruit", self_fertility="female"),
        tree("B", "kiwifruit", self_fertility="male"),
        tree("C", "kiwifruit", self_fertility="female"),
    )
    assert [said(found, 0, 1), said(found, 0, 2)] == ["compatible", "no viable pollen"]
    assert NEEDS[found.need[1]] == "bears no fruit"
    assert not found.sets_fruit()[1].any()


def test_avocado_types_serve_each_other_and_not_their_own() -> None:
    found = matrix(
        tree("A", "avocado", flowering_type="A"),
        tree("B", "avocado", flowering_type="B"),
        tree("C", "avocado", flowering_type="A"),
    )
    assert [said(found, 0, 1), said(found, 0, 2)] == ["compatible", "not in bloom together"]


def test_walnuts_of_opposite_dichogamy_serve_each_other() -> None:
    found = matrix(
        tree("A", "walnut", bloom_group="protandrous"), tree("B", "walnut", bloom_group="protogynous")
    )
    assert said(found, 0, 1) == said(found, 1, 0) == "compatible"


def test_smyrna_fig_needs_a_caprifig_and_common_fig_nothing() -> None:
    found = matrix(
        tree("A", "fig", flowering_type="smyrna"),
        tree("B", "fig", flowering_type="common"),
        tree("C", "fig", flowering_type="caprifig"),
    )
    assert [said(found, 0, 1), said(found, 0, 2)] == ["no viable pollen", "compatible"]
    assert [NEEDS[k] for k in found.need] == ["needed", "not needed", "bears no fruit"]


def test_seedless_persimmon_needs_no_pollen() -> None:
    found = matrix(tree("A", "asian-persimmon", self_fertility="parthenocarpic"))
    assert NEEDS[found.need[0]] == "not needed"


def test_quince_takes_any_quince_and_needs_none() -> None:
    found = matrix(tree("A", "quince"), tree("B", "quince"))
    assert [said(found, 0, 1), said(found, 0, 0)] == ["compatible", "compatible"]
    assert NEEDS[found.need[0]] == "not needed"


@pytest.mark.parametrize(
    ("bears", "gives", "result"),
    [
        ("sour-cherry", "sweet-cherry", "compatible"),
        ("japanese-plum", "american-plum", "compatible"),
        ("american-plum", "japanese-plum", "compatible"),
        ("japanese-plum", "cherry-plum", "compatible"),
        ("european-plum", "japanese-plum", "wrong crop"),
        ("japanese-plum", "european-plum", "wrong crop"),
        ("apple", "european-pear", "wrong crop"),
    ],
)
def test_crops_cross_as_published(bears: str, gives: str, result: str) -> None:
    assert said(matrix(tree("A", bears), tree("B", gives)), 0, 1) == result


def test_sport_has_its_parents_alleles_and_does_not_pollinate_it() -> None:
    found = matrix(
        tree("A", alleles="S2 S5"),
        tree("Red A", sport_of="A"),
        tree("C", alleles="S2 S5"),
        tree("D", alleles="S1 S9"),
    )
    assert said(found, 0, 1) == said(found, 1, 0) == "incompatible"
    assert said(found, 1, 2) == "incompatible"
    assert said(found, 1, 3) == "compatible"


def test_sport_of_a_triploid_is_triploid() -> None:
    found = matrix(tree("A", ploidy=3.0), tree("Red A", sport_of="A"), tree("C"))
    assert said(found, 2, 1) == "no viable pollen"


def test_published_pair_overrules_the_rule_and_says_so() -> None:
    rows = (tree("A", alleles="S1 S2"), tree("B", alleles="S3 S4"))
    found = matrix(*rows, pairs=pair("A", "B", "incompatible"))
    assert said(found, 0, 1) == "incompatible"
    assert "overruled" in found.explain(0, 1)
    assert "invented" in found.explain(0, 1), "the source is named"
    alone = matrix(*rows, pairs=pair("A", "B", "incompatible"), published=False)
    assert said(alone, 0, 1) == "compatible"


def test_published_incompatible_pair_holds_both_ways_between_diploids() -> None:
    found = matrix(tree("A"), tree("B"), pairs=pair("A", "B", "incompatible"))
    assert said(found, 1, 0) == "incompatible"
    assert REASONS[found.reason[1, 0]] == "published-reverse"


def test_listed_partner_that_shares_an_allele_stays_half_compatible() -> None:
    rows = (tree("A", alleles="S1 S2"), tree("B", alleles="S2 S3"))
    assert said(matrix(*rows, pairs=pair("A", "B", "compatible")), 0, 1) == "semi-compatible"


def test_self_fertile_tree_gains_from_a_published_partner() -> None:
    rows = (tree("A", "peach"), tree("B", "peach"))
    assert NEEDS[matrix(*rows).need[0]] == "not needed"
    assert NEEDS[matrix(*rows, pairs=pair("A", "B", "compatible", "peach")).need[0]] == "gains"


def test_groups_far_apart_do_not_bloom_together() -> None:
    rows = [tree(f"G{g}", alleles=f"S{2 * g} S{2 * g + 1}", bloom_group=str(g)) for g in (2, 3, 4)]
    found = matrix(*rows)
    assert said(found, 0, 1) == "compatible", "neighbouring groups"
    assert said(found, 0, 2) == "not in bloom together", "group 2 is over when group 4 needs pollen"


def test_shared_days_at_the_site_overrule_but_not_for_one_clone() -> None:
    rows = (tree("A", alleles="S1 S2"), tree("B", alleles="S3 S4"), tree("Q", "quince"))
    days = np.array([[9.0, 0.5, 0.0], [6.0, 9.0, 0.0], [0.0, 0.0, 0.0]])
    found = matrix(*rows, overlap_days=days)
    assert said(found, 0, 1) == "not in bloom together"
    assert said(found, 1, 0) == "compatible"
    assert said(found, 2, 2) == "compatible"
    assert found.shared_days(0, 1) == 0.5


def test_partners_come_best_first_with_reasons() -> None:
    found = matrix(
        tree("A", alleles="S1 S2"),
        tree("half", alleles="S2 S3"),
        tree("full", alleles="S3 S4"),
        tree("none", alleles="S1 S2"),
    )
    partners = found.partners(0)
    assert list(partners["variety"]) == ["full", "half", "none"]
    assert partners["reason"].str.len().min() > 20


def test_unknown_pair_has_the_chance_of_its_crops_typed_pairs() -> None:
    rows = [tree(f"T{k}", alleles=f"S{k} S{k + 1}") for k in range(1, 12)]
    found = matrix(*rows, tree("?"), tree("!"))
    i, j = len(rows), len(rows) + 1
    typed = found.result[:11, :11][~np.eye(11, dtype=bool)]
    assert said(found, i, j) == "unknown"
    assert found.chance()[i, j] == pytest.approx(np.isin(typed, (0, 1)).mean())
    assert found.chance()[0, 5] == 1.0


def test_pair_frame_holds_every_crossing_pair_once() -> None:
    found = matrix(tree("A", alleles="S1 S2"), tree("B", alleles="S3 S4"), tree("Q", "quince"))
    frame = found.pair_frame()
    assert len(frame) == 5
    assert not frame.duplicated(["female_crop", "female", "male_crop", "male"]).any()
    assert set(frame["result"].astype(str)) <= set(RESULTS)


def test_every_reason_makes_a_sentence() -> None:
    found = matrix(tree("A", alleles="S1 S2"), tree("B", alleles="S2 S3"))
    for name in REASONS:
        found.reason[0, 1] = CODE[name]
        text = found.explain(0, 1)
        assert "{" not in text
        assert text.rstrip("]").endswith((".", "invented"))
    assert len(SENTENCES) <= 127, "reason codes are stored in eight bits"


def test_bad_frames_get_one_clear_error() -> None:
    with pytest.raises(BadInput, match="A twice"):
        matrix(tree("A"), tree("A"))
    with pytest.raises(UnknownName, match="durian"):
        matrix(tree("A", "durian"))
    with pytest.raises(BadInput, match="shape"):
        matrix(tree("A"), overlap_days=np.zeros((2, 2)))
    with pytest.raises(UnknownName):
        matrix(tree("A")).position("apple", "B")


def test_nothing_in_gives_nothing_out() -> None:
    assert len(pollination_matrix(trees(tree("A")).iloc[:0], None, CROPS)) == 0
