"""A dossier holds every value of a variety, and every value leads to its source."""

from __future__ import annotations

import csv

import pytest

from recommender import open_catalog
from recommender.catalog.package import datasets_folder
from recommender.dossier import cautions_for, dossier
from recommender.errors import UnknownName


def test_no_evidence_row_is_left_out() -> None:
    found = dossier(open_catalog(), "quince:Champion")
    with (datasets_folder() / "traits" / "quince.csv").open(encoding="utf-8") as file:
        written = [row for row in csv.DictReader(file) if row["variety"] == "Champion"]
    assert len(found.evidence) == len(written) > 5


def test_every_published_value_leads_to_a_numbered_source() -> None:
    found = dossier(open_catalog(), "european-pear:Conference")
    published = found.settled[found.settled["standing"] == "published"]
    assert len(published) > 5
    for ids in published["source_ids"]:
        assert found.references(ids)
    assert list(found.sources["ref"]) == list(range(1, len(found.sources) + 1))


def test_what_decides_life_and_death_stands_first() -> None:
    traits = list(dossier(open_catalog(), "european-pear:Bartlett").settled["trait"])
    assert traits.index("zone_min") < traits.index("self_fertility") < traits.index("use")


def test_the_gravest_caution_stands_first() -> None:
    severities = list(cautions_for(open_catalog(), "apple")["severity"])
    assert severities == sorted(severities, key=["stop", "warning", "info"].index)
    assert severities


def test_an_unknown_variety_is_refused_with_the_nearest_three() -> None:
    with pytest.raises(UnknownName) as caught:
        dossier(open_catalog(), "apple:Bramly")
    assert len(caught.value.suggestions) == 3


def test_where_it_arose_says_so_if_only_from_memory() -> None:
    stated = dossier(open_catalog(), "apple:Discovery")
    assert stated.born == f"{stated.origin}, {stated.year}"
    varieties = open_catalog().varieties()
    remembered = varieties[varieties["basis"].eq("from memory") & varieties["origin"].notna()].iloc[0]
    assert dossier(open_catalog(), remembered["variety"], remembered["crop"]).born.endswith("(from memory)")
