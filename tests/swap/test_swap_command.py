"""`orchardwright swap match` as an organiser runs it."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest

from recommender.catalog.package import datasets_folder
from recommender.cli import main

DEMO = datasets_folder() / "demo"
USUAL = [
    "swap", "match", str(DEMO / "swap-offers.csv"), str(DEMO / "swap-requests.csv"), "--on", "2027-02-13",
    "--region", "GB", "--site", str(DEMO / "withy-hollow.toml"),
]  # fmt: skip


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    code = 0
    try:
        main(list(arguments))
    except SystemExit as left:
        code = int(left.code or 0)
    out, err = capsys.readouterr()
    return code, out, err


def test_json_names_offer_request_count_benefit_and_reason(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, *USUAL, "--json")
    told = json.loads(out)
    assert code == 0
    assert told["matches"]
    for match in told["matches"]:
        assert {"offer", "request", "count", "benefit", "reason"} <= match.keys()
        assert "taker_area" not in match
    assert all(one["stopped"] and one["frees"] for one in told["unmatched"])


def test_csv_is_one_row_a_match(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, *USUAL, "--csv", "--show", "area")
    rows = list(csv.DictReader(io.StringIO(out)))
    assert code == 0
    assert rows
    assert "taker" not in rows[0]
    assert rows[0]["taker_area"]


def test_words_and_sheets(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    cards, lists = tmp_path / "cards.pdf", tmp_path / "lists.pdf"
    code, out, _ = run(capsys, *USUAL, "--cards", str(cards), "--pick-lists", str(lists))
    assert code == 0
    assert "people get a plant" in out
    assert "Left over" in out
    assert cards.read_bytes()[:4] == lists.read_bytes()[:4] == b"%PDF"


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--region", "Somerset"], "no country or state that is known"),
        (["--on", "13.2.2027"], "not a date"),
        (["--permit", "O99"], "No offer is called"),
        (["--show", "address"], "No column to show"),
        (["--cards", "cards.txt"], "ending .pdf"),
        (["--json", "--csv"], "Only one"),
    ],
)
def test_bad_options_are_told_in_words(
    capsys: pytest.CaptureFixture[str], more: list[str], said: str
) -> None:
    code, out, err = run(capsys, *USUAL, *more)
    assert code == 2
    assert said in err
    assert out == ""


def test_a_missing_table_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = run(capsys, "swap", "match", "nowhere.csv", "nowhere.csv")
    assert code == 2
    assert "cannot be read" in err
