"""Tables as people keep them: read whole, or refused with every fault named; nothing personal is kept."""

from __future__ import annotations

import contextlib
import io
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import Workbook

from recommender.errors import BadInput, DataFaults, OrchardwrightError
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
        (b"person,variety\nWren,D\xe9licieuse\n", "not text in UTF-8"),
        (b"PK\x03\x04 this is no workbook", "cannot be read"),
        (b"person,variety\nWren\n", "cells"),
    ],
)
def test_bad_tables_are_refused_in_words(raw: bytes, said: str) -> None:
    with pytest.raises(OrchardwrightError) as caught:
        read_offers("offers.csv", raw)
    assert said in str(caught.value)


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
