"""Cautions reach the places they are about."""

from __future__ import annotations

from recommender.catalog.package import read_package
from recommender.suitability.cautions import sentences
from recommender.suitability.goals import Goals
from recommender.suitability.site import Site


def test_a_rule_for_several_states_is_told_in_each_of_them() -> None:
    table = read_package()["cautions"]
    rule = table[
        table["regions"].astype(str).str.contains("US-LA|", regex=False) & (table["topic"] == "quarantine")
    ]
    assert len(rule)
    crop = str(rule["crop"].iloc[0]).split("|")[0]
    only = rule.iloc[[0]]
    site = Site(lat=30.4, lon=-91.2)
    told = sentences(only, [crop], "United States", "Louisiana", site, Goals())
    assert crop in told
    assert not sentences(only, [crop], "United States", "Vermont", site, Goals())
