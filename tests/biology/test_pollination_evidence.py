"""What cannot be right in the evidence on pollination is reported with its row. All of it is invented."""

from __future__ import annotations

from typing import Any

import pandas as pd

from recommender.biology import crosses, sports
from recommender.biology.pollination import pollination_matrix
from recommender.biology.pollination_checks import check_pollination_evidence
from tests.biology.invented import CROPS, pair, said, tree, trees

EVIDENCE = ["crop", "variety", "trait", "value", "basis", "source_id", "note", "file", "row"]


def findings(
    traits: pd.DataFrame, rows: list[tuple[Any, ...]], pairs: pd.DataFrame | None = None
) -> pd.DataFrame:
    evidence = pd.DataFrame(rows, columns=EVIDENCE)
    return check_pollination_evidence(traits, pairs, CROPS, evidence)


def test_unknown_allele_is_reported_with_its_row_and_left_out() -> None:
    rows = [("apple", "A", "s_alleles", "S1 Sx9", "published", "s", "", "traits/apple.csv", 7)]
    found = findings(trees(tree("A")), rows)
    assert found[["file", "row", "severity"]].to_numpy().tolist() == [["traits/apple.csv", 7, "fault"]]
    assert "Sx9" in found["what"].iloc[0]


def test_letters_are_not_apple_alleles() -> None:
    rows = [("apple", "A", "s_alleles", "Sa Sb", "published", "s", "", "traits/apple.csv", 3)]
    assert list(findings(trees(tree("A")), rows)["severity"]) == ["fault"]


def test_three_alleles_on_a_diploid_are_reported_and_not_used() -> None:
    rows = [
        ("apple", "A", "s_alleles", "S1 S2 S3", "published", "s", "", "traits/apple.csv", 9),
        ("apple", "B", "s_alleles", "S4 S5", "published", "s", "", "traits/apple.csv", 10),
    ]
    traits = trees(tree("A", ploidy=2.0), tree("B"))
    found = findings(traits, rows)
    assert found["row"].tolist() == [9]
    assert "diploid" in found["what"].iloc[0]
    built = pollination_matrix(traits, None, CROPS, evidence=pd.DataFrame(rows, columns=EVIDENCE))
    assert said(built, 0, 1) == "unknown"
    triploid = trees(tree("A", ploidy=3.0), tree("B"))
    assert findings(triploid, rows).empty


def test_circular_sports_are_reported_and_believed_neither_way() -> None:
    rows = [
        ("apple", "A", "sport_of", "B", "published", "s", "", "traits/apple.csv", 4),
        ("apple", "B", "sport_of", "A", "published", "s", "", "traits/apple.csv", 5),
    ]
    traits = trees(
        tree("A", alleles="S1 S2", sport_of="B"),
        tree("B", alleles="S3 S4", sport_of="A"),
        tree("C", sport_of="A"),
    )
    found = findings(traits, rows)
    assert found.loc[found["severity"].eq("fault"), "row"].tolist() == [4, 5]
    root, circular = sports.roots(sports.parents(traits))
    assert circular.tolist() == [True, True, False]
    assert root.tolist() == [0, 1, 0]
    assert said(pollination_matrix(traits, None, CROPS), 0, 1) == "compatible"


def test_contradicting_pairs_are_reported_and_settled_with_care() -> None:
    pairs = pd.concat([pair("A", "B", "compatible"), pair("A", "B", "incompatible")], ignore_index=True)
    traits = trees(tree("A"), tree("B"))
    found = findings(traits, [], pairs)
    assert found["file"].tolist() == ["pollination_pairs.csv"]
    assert found["row"].tolist() == [2]
    assert "incompatible by invented" in found["what"].iloc[0]
    assert said(pollination_matrix(traits, pairs, CROPS), 0, 1) == "incompatible"


def test_partner_outside_the_catalog_is_noted() -> None:
    rows = [("apple", "A", "pollinated_by", "Nobody", "published", "s", "", "traits/apple.csv", 2)]
    found = findings(trees(tree("A")), rows)
    assert found["severity"].tolist() == ["note"]
    assert "Nobody" in found["what"].iloc[0]


def test_note_that_turns_the_pair_round_is_read() -> None:
    rows = [
        ("apple", "A", "incompatible_with", "B", "published", "s", "source: will not pollinate these", "f", 1)
    ]
    names = crosses.VarietyNames([("apple", "A"), ("apple", "B")], {})
    statements, _ = crosses.published_pairs(None, pd.DataFrame(rows, columns=EVIDENCE), names)
    assert statements[["female", "male"]].to_numpy().tolist() == [["B", "A"]]
