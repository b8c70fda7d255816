"""`orchardwright stock`: what it prints, writes and remembers."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from openpyxl import load_workbook

from recommender.catalog.package import datasets_folder
from recommender.cli import main
from recommender.errors import BadInput

STOCK = datasets_folder() / "demo" / "nursery-stock.csv"
ORDERS = datasets_folder() / "demo" / "back-orders.csv"


@pytest.fixture(autouse=True)
def own_decisions(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = tmp_path / "decisions.csv"
    monkeypatch.setenv("ORCHARDWRIGHT_DECISIONS", str(path))
    return path


def _run(*arguments: str) -> int:
    with pytest.raises(SystemExit) as ended:
        main(list(arguments))
    return int(ended.value.code or 0)


def test_check_prints_every_line_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    assert _run("stock", "check", str(STOCK), "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert {"line", "crop", "variety", "rootstock", "count", "confidence", "decision"} <= told["lines"][
        0
    ].keys()
    assert {line["decision"] for line in told["lines"]} <= {"decided", "review", "unknown"}
    assert told["columns"]["Description"] == "name"
    assert any("formula" in fault for fault in told["faults"])


def test_decision_given_once_holds_for_the_next_import(
    capsys: pytest.CaptureFixture[str], own_decisions: Path
) -> None:
    assert _run("stock", "check", str(STOCK), "--decide", "18=apple:Bramley's Seedling", "--json") == 0
    capsys.readouterr()
    assert own_decisions.exists()
    assert _run("stock", "check", str(STOCK), "--json") == 0
    line = next(line for line in json.loads(capsys.readouterr().out)["lines"] if line["line"] == 18)
    assert (line["variety"], line["decision"]) == ("Bramley's Seedling", "decided")


@pytest.mark.parametrize("said", ["²=apple:Discovery", "9" * 5000 + "=none", "=none", "12=", "12"])
def test_decision_that_names_no_line_is_told(
    said: str, capsys: pytest.CaptureFixture[str], own_decisions: Path
) -> None:
    assert _run("stock", "check", str(STOCK), "--decide", said) == 2
    told = capsys.readouterr().err
    assert "is not LINE=VARIETY (--decide)" in told
    assert len(told) < 200
    assert not own_decisions.exists()


def test_names_of_files_cannot_steer_the_terminal(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    stock, orders = tmp_path / "list\x1b[31m.csv", tmp_path / "orders.csv"
    lines = "variety,count\nDiscovery \x1b]0;owned\x07,3\nNo\u202eSuch\x9b31m Thing,2\n"
    stock.write_text(lines, encoding="utf-8")
    orders.write_text("order,variety,count\nA\x1b[31m,Discovery,1\n", encoding="utf-8")
    assert _run("stock", "check", str(stock)) == 0
    assert _run("stock", "backorders", str(orders), "--stock", str(stock), "--output", f"{stock}.csv") == 0
    told = capsys.readouterr()
    assert "list[31m.csv: 2 lines" in told.out
    assert f"Written to {tmp_path}/list[31m.csv.csv" in told.out
    assert not set("\x1b\x07\x9b\u202e") & set(told.out + told.err)


def test_standin_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    assert (
        _run(
            "stock",
            "standin",
            "apple:Cox's Orange Pippin",
            "--stock",
            str(STOCK),
            "--zone",
            "8b",
            "--chill-hours",
            "1200",
            "--json",
        )
        == 0
    )
    told = json.loads(capsys.readouterr().out)
    assert {"variety", "score", "reason", "differs"} <= told["standins"][0].keys()
    assert told["standins"][0]["variety"] == "Queen Cox"


def test_backorders_written_as_a_workbook(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = tmp_path / "filled.xlsx"
    assert (
        _run("stock", "backorders", str(ORDERS), "--stock", str(STOCK), "--output", str(path), "--json") == 0
    )
    told = json.loads(capsys.readouterr().out)
    assert told["summary"]["proven"] is True
    book = load_workbook(path)
    assert book.sheetnames == ["every tree", "sent", "unfilled", "buy in", "faults"]
    assert (
        sum(row[9] for row in book["every tree"].iter_rows(min_row=2, values_only=True))
        == told["summary"]["trees_ordered"]
    )


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (("stock", "check", "no-such-list.csv"), 3, "no-such-list.csv"),
        (("stock", "check", str(STOCK), "--column", "name=Nonsense"), 2, "Nonsense"),
        (("stock", "check", str(STOCK), "--column", "Nonsense"), 2, "WHAT=HEADING"),
        (("stock", "check", str(STOCK), "--decide", "apple"), 2, "LINE=VARIETY"),
        (("stock", "standin", "Atlantis Glory"), 2, "Atlantis Glory"),
        (("stock", "check", str(STOCK), "--output", "list.doc"), 2, "CSV nor XLSX"),
    ],
)
def test_what_cannot_be_done_is_said_plainly(
    capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], code: int, words: str
) -> None:
    assert _run(*arguments) == code
    told = capsys.readouterr().err
    assert words in told
    assert "Traceback" not in told


def test_a_pot_is_given_in_gallons_where_lengths_are_feet(monkeypatch: pytest.MonkeyPatch) -> None:
    from recommender.nursery import substitutes as desk

    seen: dict[str, object] = {}

    def look(variety: str, offered: object, where: object, *rest: object, **named: object) -> object:
        seen["site"] = where
        raise BadInput("far enough")

    monkeypatch.setattr(desk, "substitutes", look)
    said = ("--place", "Bristol, England", "--container", "10", "--units", "imperial")
    assert _run("stock", "standin", "Discovery", *said) != 0
    assert getattr(seen["site"], "container_L", None) == pytest.approx(37.85, abs=0.01)
