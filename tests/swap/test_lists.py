"""What leaves the table: CSV, JSON and PDF show what is ticked and nothing else, and no cell is a formula."""

from __future__ import annotations

import io
import re
import zlib
from typing import Any

import pytest

from recommender.errors import UnknownName
from recommender.outputs import csv_text
from recommender.swap import exports
from recommender.swap.cards_pdf import pick_lists, table_cards
from recommender.swap.explanations import Unmatched
from recommender.swap.matching import Match, SwapResult


def _match(**other: Any) -> Match:
    held: dict[str, Any] = {
        "offer": "O1", "request": "R1", "count": 1, "benefit": 0.5, "reason": "Suits the site.",
        "minds": "The giver says: scab.", "giver": "Wren", "giver_area": "Mill Lane", "taker": "Moss",
        "taker_area": "Church End", "crop": "apple", "variety": "Discovery", "kind": "plant",
    }  # fmt: skip
    return Match(**{**held, **other})


def _result(*matches: Match) -> SwapResult:
    left = Unmatched("request", "R2", "Heron", "quinces", 1, "Nobody brought what was asked for", "A quince")
    return SwapResult(matches, (left,), 2, (1,), 0.5, "proved", {"served": 1, "rounds": [1], "benefit": 0.5})


_ESCAPED = {b"r": b"\r", b"n": b"\n", b"t": b"\t", b"b": b"\b", b"f": b"\f"}


def _object(pdf: bytes, number: int) -> tuple[bytes, bytes]:
    """(head, unpacked stream) of an object of a PDF."""
    start = pdf.index(b"\n%d 0 obj" % number)
    whole = pdf[start : pdf.index(b"endobj", start)]
    head, _, held = whole.partition(b"stream\n")
    return head, zlib.decompressobj().decompress(held) if b"FlateDecode" in head else held


def _words(pdf: bytes) -> str:
    """All text of a PDF of fpdf2: letters are numbered in each font, its ToUnicode map gives them back."""
    objects = [int(number) for number in re.findall(rb"\n(\d+) 0 obj", pdf)]
    maps: dict[bytes, dict[bytes, str]] = {}
    for name, number in re.findall(rb"/(F\d+) (\d+) 0 R", pdf):
        (told,) = re.findall(rb"/ToUnicode (\d+)", _object(pdf, int(number))[0])
        pairs = re.findall(rb"<([0-9A-Fa-f]{4})> <([0-9A-Fa-f]+)>", _object(pdf, int(told))[1])
        maps[name] = {
            bytes.fromhex(code.decode()): bytes.fromhex(letter.decode()).decode("utf-16-be")
            for code, letter in pairs
        }
    found = []
    for number in objects:
        head, stream = _object(pdf, number)
        if b"/Length1" in head or b" Tf" not in stream:
            continue
        font = b""
        for chosen, text in re.findall(rb"/(F\d+) [\d.]+ Tf|\(((?:\\.|[^\\)])*)\) ?Tj", stream, re.DOTALL):
            font = chosen or font
            raw = re.sub(rb"\\(.)", lambda found: _ESCAPED.get(found[1], found[1]), text, flags=re.DOTALL)
            found.append("".join(maps[font].get(raw[k : k + 2], "") for k in range(0, len(raw), 2)))
    return " ".join(found)


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
    match = _match(taker="Łukasz", variety="Čačanska lepotica", giver="Антон")
    words = _words(table_cards(_result(match), "Őszi swap", ("person",)))
    for said in ("Łukasz", "Čačanska lepotica", "Антон", "Őszi swap"):
        assert said in words
    assert "Łukasz" in _words(pick_lists(_result(match), "Swap", ("person",)))


def test_markup_in_nicknames_and_notes_prints_as_it_is_written() -> None:
    match = _match(taker="<b>Moss</b>", minds="**mind** <script>alert(1)</script>")
    words = _words(pick_lists(_result(match), "<i>Swap</i>", ("person", "minds")))
    for said in ("<b>Moss</b>", "<i>Swap</i>", "**mind** <script>alert(1)</script>"):
        assert said in words


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
