"""The commands on partners and rootstocks, run as a user runs them but for the mounting in cli.py."""

from __future__ import annotations

import json

import typer
from typer.testing import CliRunner

from recommender.commands import biology
from recommender.errors import UnknownName

app = typer.Typer()
app.command("pollinators")(biology.pollinators)
app.command("rootstocks")(biology.rootstocks)


def run(*words: str) -> str:
    result = CliRunner().invoke(app, list(words))
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert result.exit_code == 0, result.output
    return result.stdout


def test_pollinators_as_json_have_the_promised_fields() -> None:
    found = json.loads(run("pollinators", "apple:Jonathan", "--json", "--top", "5"))
    assert found["need"] == "needed"
    assert len(found["pollinators"]) == 5
    assert set(found["pollinators"][0]) == {"donor", "crop", "result", "reason", "standing", "overlap_days"}
    assert found["pollinators"][0]["result"] == "compatible"


def test_one_donor_can_be_asked_about() -> None:
    found = json.loads(run("pollinators", "apple:Jonathan", "--among", "apple:Jonagold", "--json"))
    assert [row["result"] for row in found["pollinators"]] == ["no viable pollen"]


def test_partners_read_as_sentences() -> None:
    text = run("pollinators", "apple:Jonathan", "--top", "3")
    assert "Jonathan (apple) needs a pollen partner" in text
    assert "more; --all shows them" in text


def test_rootstocks_read_as_reasons_and_as_json() -> None:
    assert "tolerant of wet ground" in run("rootstocks", "apple", "--wetness", "wet")
    found = json.loads(run("rootstocks", "apple", "--soil", "clay", "--wetness", "wet", "--json"))
    assert {"rootstock", "verdict", "why", "watch"} <= set(found["rootstocks"][0])


def test_rootstocks_of_a_variety_look_at_the_graft() -> None:
    found = json.loads(run("rootstocks", "european-pear", "--variety", "Bartlett", "--json"))
    verdicts = {row["rootstock"]: row["verdict"] for row in found["rootstocks"]}
    assert verdicts["Quince A"] == "ruled out"


def test_unknown_names_are_one_clear_error() -> None:
    for words in (("pollinators", "apple:No Such Apple"), ("rootstocks", "no such crop")):
        result = CliRunner().invoke(app, list(words))
        assert isinstance(result.exception, UnknownName)
