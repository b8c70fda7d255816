"""Files as people send them: encodings, headings, formulas, sizes, damage."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import Workbook, load_workbook

from recommender.catalog.catalog import Catalog
from recommender.errors import BadInput, OrchardwrightError, StorageFault
from recommender.nursery.names import read_stock
from recommender.nursery.result_files import write_tables
from recommender.nursery.stock_files import MAX_BYTES, ORDERS, read_table, table_from


def test_headings_of_any_name_are_guessed_and_shown() -> None:
    table = table_from(b"Artikel;Bestand;VK;Unterlage\nKaty;4;12,50;M9\n", "liste.csv")
    assert dict(table.mapping) == {
        "Artikel": "name",
        "Bestand": "count",
        "VK": "price",
        "Unterlage": "rootstock",
    }
    assert table.rows == (2,)


def test_mapping_can_be_corrected() -> None:
    data = b"Code,What,Left\nK1,Katy,4\n"
    with pytest.raises(BadInput) as error:
        table_from(data, "list.csv", columns={"count": "Left"})
    assert "names of the varieties" in str(error.value)
    assert "Code, What, Left" in str(error.value)
    table = table_from(data, "list.csv", columns={"name": "what", "count": "Left"})
    assert table.frame.iloc[0].to_dict() == {"name": "Katy", "count": "4"}


def test_column_that_is_not_there_is_named() -> None:
    with pytest.raises(BadInput) as error:
        table_from(b"Variety,Qty\nKaty,4\n", "list.csv", columns={"count": "Menge"})
    assert "Menge" in str(error.value)
    assert "Variety, Qty" in str(error.value)


def test_list_without_headings_is_read_from_its_first_line() -> None:
    table = table_from(b"apple Katy x4\napple Discovery x2\n", "list.txt")
    assert table.rows == (1, 2)
    assert list(table.frame["name"]) == ["apple Katy x4", "apple Discovery x2"]


def test_lines_of_two_encodings_are_both_read() -> None:
    data = b"Variety,Qty\n" + "Doyenné du Comice,4\n".encode() + "Beurré Hardy,2\n".encode("cp1252")
    table = table_from(data, "list.csv")
    assert list(table.frame["name"]) == ["Doyenné du Comice", "Beurré Hardy"]
    assert table.notes == {1: ("read as Windows-1252",)}


@pytest.mark.parametrize("code", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_encodings(code: str) -> None:
    table = table_from("Variety\tQty\nBeurré Hardy\t2\n".encode(code), "list.tsv")
    assert table.frame["name"].iloc[0] == "Beurré Hardy"


def test_formula_cell_is_told_and_the_other_lines_served(catalog: Catalog, tmp_path: Path) -> None:
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    for row in (
        ["Variety", "Qty"],
        ["apple Katy", 4],
        ["apple Discovery", "=2+3"],
        ["=HYPERLINK(A1)", 1],
        ["apple Sunset", 3],
    ):
        sheet.append(row)
    book.save(tmp_path / "list.xlsx")
    stock = read_stock(read_table(tmp_path / "list.xlsx"), catalog)
    assert [fault.split(": ")[0] for fault in stock.faults] == [
        "list.xlsx, row 3, column “Qty”",
        "list.xlsx, row 4, column “Variety”",
    ]
    assert list(stock.usable()["variety"]) == ["Katy", "Sunset"]
    assert len(stock.lines) == 4


@pytest.mark.parametrize("heading", ["name,qty,qty", "name,Qty,qty "])
def test_columns_of_one_heading_that_differ_are_told(heading: str) -> None:
    table = table_from(f"{heading}\napple Katy,4,4\napple Sunset,3,30\n".encode(), "list.csv")
    assert list(table.frame["count"]) == ["4", "3"]
    assert [fault.split(":")[0] for fault in table.faults] == [
        f"list.csv, row 3, column “{heading.split(',')[1]}”"
    ]
    assert "the first is taken" in table.faults[0]


def test_columns_of_one_heading_that_agree_or_are_not_read_are_no_fault() -> None:
    table = table_from(b"name,qty,qty,shelf,shelf\napple Katy,4,4,1,2\n", "list.csv")
    assert table.faults == ()


@pytest.mark.parametrize("count", ["99999999", "9,999,999,999,999,999,999,999", "12345678901234567890"])
def test_count_above_the_most_is_told_as_such(catalog: Catalog, count: str) -> None:
    data = f'Variety,Qty\napple Katy,"{count}"\napple Discovery,3\n'.encode()
    stock = read_stock(table_from(data, "list.csv"), catalog)
    assert stock.faults == (
        f"list.csv, row 2, column “Qty”: the count “{count}” is above 9,999,999, the most that is read; the"
        " line is kept without a count. Write a number",
    )
    assert list(stock.usable()["variety"]) == ["Discovery"]


def test_file_of_200_megabytes_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "huge.csv"
    with path.open("wb") as file:
        file.truncate(200_000_000)
    with pytest.raises(BadInput) as error:
        read_table(path)
    assert "200 MB" in str(error.value)
    assert f"{MAX_BYTES // 1_000_000} MB" in str(error.value)


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\n\n",
        b"Variety,Qty\n",
        b"%PDF-1.7 x",
        b"PK\x03\x04 not a zip",
        b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1old",
    ],
)
def test_useless_files_get_one_clear_error(data: bytes) -> None:
    with pytest.raises(BadInput) as error:
        table_from(data, "list.x")
    assert "list.x" in str(error.value)


def test_missing_file_and_folder(tmp_path: Path) -> None:
    with pytest.raises(StorageFault):
        read_table(tmp_path / "none.csv")
    with pytest.raises(OrchardwrightError):
        read_table(tmp_path)


def test_row_numbers_are_those_of_the_file() -> None:
    table = table_from(b'Variety,Note\n\nKaty,"two\nlines"\nDiscovery,\n', "list.csv")
    assert table.rows == (3, 5)


def test_order_headings_are_guessed() -> None:
    table = table_from(b"Order no,Customer,Variety,Qty,Priority\n1,A,Katy,2,1\n", "o.csv", ORDERS)
    assert set(table.mapping.values()) == {"order", "customer", "name", "count", "priority"}


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=300))
def test_any_bytes_give_a_table_or_one_of_our_errors(data: bytes) -> None:
    try:
        table = table_from(data, "list.csv")
    except OrchardwrightError:
        return
    assert len(table.frame) == len(table.rows) > 0


def test_exported_text_is_never_a_formula(tmp_path: Path) -> None:
    import pandas as pd

    frame = pd.DataFrame({"text": ["=cmd|' /C calc'!A0", "+1", "@SUM(A1)", "Katy"], "n": [1, 2, 3, 4]})
    write_tables({"one": frame, "two": frame}, tmp_path / "out.xlsx")
    sheet = load_workbook(tmp_path / "out.xlsx")["one"]
    cells = [sheet.cell(row, 1) for row in range(2, 6)]
    assert all(cell.data_type == "s" for cell in cells)
    assert [str(cell.value)[0] for cell in cells] == ["'", "'", "'", "K"]
    write_tables({"one": frame}, tmp_path / "out.csv")
    assert "\n'=cmd" in (tmp_path / "out.csv").read_text(encoding="utf-8")
    with pytest.raises(BadInput):
        write_tables({"one": frame}, tmp_path / "out.doc")
    with pytest.raises(StorageFault):
        write_tables({"one": frame}, tmp_path / "no" / "out.csv")
