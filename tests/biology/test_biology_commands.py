"""The commands on partners and rootstocks, run as a user runs them."""

from __future__ import annotations

import json

from typer.testing import CliRunner

from recommender.cli import app
from recommender.errors import UnknownName


def run(*words: str) -> str:
    result = CliRunner().invoke(app, list(words))
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert result.exit_code == 0, result.output
    return result.stdout


def test_pollinators_as_json_have_the_promised_fields() -> None:
    found = json.loads(run("pollinators", "apple:Jonathan", "--json", "--top", "5"))
    assert len(found) == 5
    fields = {"donor", "donor_crop", "result", "reason", "standing", "overlap_days"}
    assert all(set(record) == fields for record in found)
    assert found[0]["result"] == "compatible"


def test_a_place_gives_shared_days_to_varieties_without_published_bloom() -> None:
    asked = ("pollinators", "quince:Vranja", "--json", "--all")
    without, there = json.loads(run(*asked)), json.loads(run(*asked, "--place", "Hereford, England"))
    assert any(record["overlap_days"] is None for record in without)
    assert all(record["overlap_days"] >= 0 for record in there)


def test_hazels_shed_and_receive_at_different_times_so_no_shared_days_are_given() -> None:
    there = json.loads(run("pollinators", "hazelnut:Barcelona", "--json", "--place", "Hereford, England"))
    assert {record["overlap_days"] for record in there} == {None}


def test_one_donor_can_be_asked_about() -> None:
    found = json.loads(run("pollinators", "apple:Jonathan", "--among", "apple:Jonagold", "--json"))
    assert [row["result"] for row in found] == ["no viable pollen"]


def test_partners_read_as_sentences() -> None:
    text = run("pollinators", "apple:Jonathan", "--top", "3")
    assert "Jonathan (apple) needs a pollen partner" in text
    assert "more; --all shows them" in text


def test_rootstocks_read_as_reasons_and_as_json() -> None:
    assert "tolerant of wet ground" in run("rootstocks", "apple", "--wetness", "wet")
    found = json.loads(run("rootstocks", "apple", "--soil", "clay", "--wetness", "wet", "--json"))
    assert {"rootstock", "verdict", "why", "watch"} <= set(found[0])


def test_rootstocks_of_a_variety_look_at_the_graft() -> None:
    found = json.loads(run("rootstocks", "european-pear", "--variety", "Bartlett", "--json"))
    verdicts = {row["rootstock"]: row["verdict"] for row in found}
    assert verdicts["Quince A"] == "ruled out"


def test_unknown_names_are_one_clear_error() -> None:
    for words in (("pollinators", "apple:No Such Apple"), ("rootstocks", "no such crop")):
        result = CliRunner().invoke(app, list(words))
        assert isinstance(result.exception, UnknownName)
