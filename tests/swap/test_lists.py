"""What leaves the table: CSV, JSON and PDF show what is ticked and nothing else, and no cell is a formula."""

from __future__ import annotations

import io
import re
import zlib

import pytest

from recommender.errors import UnknownName
from recommender.outputs import csv_text
from recommender.swap import exports
from recommender.swap.cards_pdf import pick_lists, printable, table_cards
from recommender.swap.explanations import Unmatched
from recommender.swap.matching import Match, SwapResult


def _match(**other: object) -> Match:
    held: dict[str, object] = {
        "offer": "O1", "request": "R1", "count": 1, "benefit": 0.5, "reason": "Suits the site.",
        "minds": "The giver says: scab.", "giver": "Wren", "giver_area": "Mill Lane", "taker": "Moss",
        "taker_area": "Church End", "crop": "apple", "variety": "Discovery", "kind": "plant",
    }  # fmt: skip
    return Match(**{**held, **other})  # type: ignore[arg-type]


def _result(*matches: Match) -> SwapResult:
    left = Unmatched("request", "R2", "Heron", "quinces", 1, "Nobody brought what was asked for", "A quince")
    return SwapResult(matches, (left,), 2, (1,), 0.5, "proved", {"served": 1, "rounds": [1], "benefit": 0.5})


def _words(pdf: bytes) -> str:
    """All text of an uncompressed or Flate-compressed PDF with the built-in fonts."""
    found = []
    for stream in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", pdf, re.DOTALL):
        try:
            page = zlib.decompress(stream)
        except zlib.error:
            page = stream
        found += re.findall(rb"\((.*?)(?<!\\)\) Tj", page, re.DOTALL)
    return " ".join(part.decode("cp1252").replace("\\", "") for part in found)


PRIVATE = {
    "person": ("Wren", "Moss", "Heron"),
    "area": ("Mill Lane", "Church End"),
    "reason": ("Suits the site",),
    "minds": ("scab",),
}


@pytest.mark.parametrize("ticked", [(), ("person",), ("area",), ("reason", "minds"), tuple(PRIVATE)])
def test_exports_show_no_more_than_is_ticked(ticked: tuple[str, ...]) -> None:
    result = _result(_match())
    told = [
        csv_text(exports.matches_frame(result, ticked)) + csv_text(exports.unmatched_frame(result, ticked)),
        _words(table_cards(result, "Swap", ticked)) + _words(pick_lists(result, "Swap", ticked)),
    ]
    for name, words in PRIVATE.items():
        for text in told:
            assert name in ticked or not any(word in text for word in words)
    assert all("Discovery" in text for text in told)


def test_ticked_things_are_shown() -> None:
    result = _result(_match())
    text = _words(pick_lists(result, "Swap", tuple(PRIVATE))) + csv_text(
        exports.matches_frame(result, PRIVATE)
    )
    for words in (("Moss", "Wren"), PRIVATE["area"], PRIVATE["reason"], PRIVATE["minds"]):
        assert all(word in text for word in words)


def test_json_leaves_out_people_unless_ticked() -> None:
    told = str(exports.record(_result(_match()), ()))
    assert "Wren" not in told
    assert "Heron" not in told
    assert "Suits the site" in told


def test_a_tick_that_is_not_known_is_refused() -> None:
    with pytest.raises(UnknownName):
        exports.matches_frame(_result(), ("address",))


def test_names_that_are_formulas_stay_text_in_csv() -> None:
    text = csv_text(exports.matches_frame(_result(_match(taker="=HYPERLINK(1)", giver="+44")), ("person",)))
    assert "'=HYPERLINK(1)" in text
    assert "'+44" in text
    assert ",=HYPERLINK" not in text


def test_every_letter_of_a_name_prints() -> None:
    assert printable("Łukasz from Vác ☂ Žofie") == "Lukasz from Vác ? Žofie"
    assert "Lukasz" in _words(table_cards(_result(_match(taker="Łukasz")), "Swap", ("person",)))


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_many_cards_fill_many_pages(paper: str) -> None:
    result = _result(*(_match(offer=f"O{k:02d}", request=f"R{n}") for k in range(20) for n in range(7)))
    pdf = table_cards(result, "Swap", ("person",), paper)
    assert pdf.startswith(b"%PDF")
    words = _words(pdf)
    # Seven plants do not fit one card: each offer has two, eight (or six) cards a page.
    assert len(re.findall(r"O\d\d  Discovery", words)) == 40
    assert len(re.findall(rb"/Type /Page\b", pdf)) == (5 if paper == "A4" else 7)


def test_nothing_matched_still_prints() -> None:
    assert "Nothing has been matched yet" in _words(table_cards(_result(), "Swap"))
    assert io.BytesIO(pick_lists(_result(), "Swap")).read(4) == b"%PDF"
