"""Tables as people keep them: read whole, or refused with every fault named; nothing personal is kept."""

from __future__ import annotations

import contextlib
import io
import zipfile
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import Workbook

from recommender import tables_in
from recommender.errors import BadInput, DataFaults, OrchardwrightError
from recommender.swap import reading
from recommender.swap.offers import Offer, Request, stocks_at_hand
from recommender.swap.reading import read_offers, read_requests


def test_a_table_from_a_spreadsheet_with_semicolons_and_other_headings(tmp_path: Path) -> None:
    path = tmp_path / "offers.csv"
    path.write_bytes("\ufeffName;Fruit;Cultivar;Qty;Email\nWren;apple;Discovery;2;w@example.org\n".encode())
    table = read_offers(path)
    assert table.entries == [Offer(person="Wren", crop="apple", variety="Discovery", count=2)]
    assert "Email" in table.notes[0]


def test_a_workbook_is_read_like_a_csv_table(tmp_path: Path) -> None:
    import datetime

    book = Workbook()
    book.active.append(["person", "variety", "kind", "count", "cut on"])
    book.active.append(["Wren", "Discovery", "Scionwood", 3.0, datetime.datetime(2027, 1, 20)])
    held = io.BytesIO()
    book.save(held)
    offer = read_offers(tmp_path / "offers.xlsx", held.getvalue()).entries[0]
    assert (offer.kind, offer.count, str(offer.cut_on)) == ("scion wood", 3, "2027-01-20")


def test_every_fault_is_told_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "offers.csv"
    path.write_text("person,variety,count\nWren,Discovery,many\n,Bramley,1\nMoss,Victoria,0\nRowan,Czar,2\n")
    with pytest.raises(DataFaults) as caught:
        read_offers(path)
    assert [
        line in fault for line, fault in zip(("line 2", "line 3", "line 4"), caught.value.faults, strict=True)
    ]
    assert all(line in str(caught.value) for line in ("line 2", "line 3", "line 4"))
    assert "line 5" not in str(caught.value)


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"", "empty"),
        (b"person,count\nWren,1\n", "no column variety"),
        (b"person,name,variety\nWren,Wren,Discovery\n", "stands twice"),
        (b'person,variety\nWren,"Disc\n', "not closed"),
        (b"person,variety\nWren,=1+1\n", "line 2, column “variety”: a formula"),
        (b"person,variety\nWren,Disc\0very\n", "no list of text lines"),
        (b"person,variety\n" + b"Wren,Discovery\n" * 60 + b"Wren,Disc\0very\n", "(NUL)"),
        (b"%PDF-1.7", "not read"),
        (b"person,variety,qty\nWren,Discovery,many\n", "line 2, column “qty”"),
        (b"Who,variety\n,Discovery\n", "line 2, column “Who”: Nobody is named"),
        (b"person,variety,until\nWren,Discovery,soon\n", "line 2, column “until”"),
        (b"PK\x03\x04 this is no workbook", "cannot be read"),
        (b"person,variety\nWren\n", "cells"),
    ],
)
def test_bad_tables_are_refused_in_words(raw: bytes, said: str) -> None:
    with pytest.raises(OrchardwrightError) as caught:
        read_offers("offers.csv", raw)
    assert said in str(caught.value)


def test_a_table_in_windows_letters_is_read_and_told() -> None:
    table = read_offers("offers.csv", b"person,variety\nWren,D\xe9licieuse\n")
    assert table.entries[0].variety == "Délicieuse"
    assert "line 2 is not in UTF-8" in table.notes[0]


def test_a_workbook_that_unpacks_to_far_too_much_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """A zip bomb: a few kilobytes that would unpack to more than is allowed are refused before unpacking."""
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/worksheets/sheet1.xml", b" " * 3_000_000)
    assert len(held.getvalue()) < 10_000
    monkeypatch.setattr(tables_in, "MOST_UNPACKED", 2_000_000)
    with pytest.raises(BadInput, match="unpacks to 3 MB"):
        read_offers("offers.xlsx", held.getvalue())


def test_a_file_that_is_too_large_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading, "MOST_BYTES", 1_000_000)
    with pytest.raises(BadInput, match="larger than 1 MB"):
        read_offers("offers.csv", b"person,variety\n" + b"x" * 1_000_001)


def test_a_row_of_a_workbook_may_end_early() -> None:
    """Sheets do not store empty cells at the end of a row."""
    book = Workbook()
    book.active.append(["person", "variety", "health", "note"])
    book.active.append(["Wren", "Discovery"])
    held = io.BytesIO()
    book.save(held)
    assert read_offers("offers.xlsx", held.getvalue()).entries[0].variety == "Discovery"


def test_a_missing_file_is_told() -> None:
    with pytest.raises(BadInput, match="cannot be read"):
        read_requests("nowhere.csv")


def test_answers_of_a_request_are_checked_as_a_site_is() -> None:
    with pytest.raises(BadInput, match="needed together"):
        Request(person="Wren", zone="7b")
    with pytest.raises(DataFaults) as caught:
        read_requests("requests.csv", b"person,soil\nWren,mud\n")
    assert "not an answer to soil" in str(caught.value)


def test_a_guarding_apostrophe_is_taken_off_again() -> None:
    raw = b"person,variety,note\n'=Wren,Discovery,'-ask\n"
    offer = read_offers("offers.csv", raw).entries[0]
    assert (offer.person, offer.note) == ("=Wren", "-ask")


def test_rootstocks_are_counted() -> None:
    assert stocks_at_hand(("M26 x 3", "2 x Quince A", "M26")) == {"M26": 4, "Quince A": 2}


@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused_in_words(raw: bytes) -> None:
    with contextlib.suppress(OrchardwrightError):
        assert isinstance(read_offers("offers.csv", raw).entries, list)
