"""Hostile and damaged tables: refused with one clear error, or read as the plain text they hold."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import Workbook

from recommender import tables_in
from recommender.errors import BadInput, OrchardwrightError
from recommender.nursery.stock_files import table_from
from recommender.swap import reading
from recommender.tables_in import (
    LONGEST_CELL,
    MOST_BESIDE_CELLS,
    MOST_COLUMNS,
    MOST_UNPACKED,
    csv_rows,
    text_lines,
    workbook_rows,
)

SHEET = "xl/worksheets/sheet1.xml"
SPACE = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"


def _workbook(*rows: list[object]) -> bytes:
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    for row in rows or (["Variety", "Qty"], ["apple Katy", 4]):
        sheet.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _with(data: bytes, **parts: bytes) -> bytes:
    """The workbook with parts put in place of its own or added; `__` in a name is `/`, `_xml` `.xml`."""
    named = {name.replace("__", "/").replace("_xml", ".xml"): part for name, part in parts.items()}
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            if name not in named:
                new.writestr(name, old.read(name))
        for name, part in named.items():
            new.writestr(name, part)
    return out.getvalue()


def _sheet(rows: str, head: str = "", dimension: str = "") -> bytes:
    return f'{head}<worksheet xmlns="{SPACE}">{dimension}<sheetData>{rows}</sheetData></worksheet>'.encode()


def test_bomb_is_refused_before_it_unpacks() -> None:
    data = _with(_workbook(), xl__media__big=b"\0" * (MOST_UNPACKED + 1))
    assert len(data) < 1_000_000
    with pytest.raises(BadInput) as error:
        table_from(data, "list.xlsx")
    assert "unpacks to" in str(error.value)
    assert "list.xlsx" in str(error.value)


@pytest.mark.parametrize("part", ["xl/styles.xml", "xl/workbook.xml", "xl/worksheets/_rels/sheet1.xml.rels"])
def test_part_that_is_parsed_whole_is_refused_when_large(part: str) -> None:
    data = _with(_workbook(), **{part: b"<a/>" * (MOST_BESIDE_CELLS // 4 + 1)})
    with pytest.raises(BadInput, match=f"2 MB of styles.*{part}.*list.xlsx.*Save the list alone as CSV"):
        table_from(data, "list.xlsx")


def test_small_parts_read_again_and_again_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """Many sheets that lead to one part count it as often."""
    with zipfile.ZipFile(io.BytesIO(_workbook())) as packed:
        book = packed.read("xl/workbook.xml").decode()
    sheet = book[book.index("<sheet ") : book.index("</sheets>")]
    links = b'<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"/>'
    data = _with(
        _workbook(),
        xl__workbook_xml=book.replace(sheet, sheet * 20).encode(),
        **{"xl/worksheets/_rels/sheet1.xml.rels": links + b" " * 10_000},
    )
    monkeypatch.setattr(tables_in, "MOST_BESIDE_CELLS", 150_000)
    with pytest.raises(BadInput, match=r"sheet1\.xml\.rels"):
        table_from(data, "list.xlsx")


def test_a_chart_does_not_lead_to_a_large_part() -> None:
    with zipfile.ZipFile(io.BytesIO(_workbook())) as packed:
        links = packed.read("xl/_rels/workbook.xml.rels")
    assert b"relationships/worksheet" in links
    charts = links.replace(b"relationships/worksheet", b"relationships/chartsheet")
    data = _with(_workbook(), **{"xl/_rels/workbook.xml.rels": charts, SHEET: b"<a/>" * 1_000_000})
    with pytest.raises(BadInput, match="holds no lines"):
        table_from(data, "list.xlsx")


@pytest.mark.parametrize(
    "rows",
    [
        "<row/>" * 600,
        f"<row>{'<c/>' * 600}</row>",
        f'<e:row xmlns:e="else">{"<e:a/>" * 600}</e:row>',
        f"<si>{'<a/>' * 300}</si>" * 2,
        "<x>" * 600 + "</x>" * 600,
    ],
)
def test_parts_without_end_in_a_sheet_are_refused(monkeypatch: pytest.MonkeyPatch, rows: str) -> None:
    monkeypatch.setattr(tables_in, "MOST_HELD", 500)
    head = '<row><c t="inlineStr"><is><t>Variety</t></is></c></row>'
    data = _with(_workbook(), **{SHEET: _sheet(head + rows)})
    with pytest.raises(BadInput, match=r"more than 500 parts at once.*Save the list alone as CSV"):
        table_from(data, "list.xlsx")


def test_texts_without_end_are_refused_and_rows_that_end_are_not(monkeypatch: pytest.MonkeyPatch) -> None:
    many = _workbook(["Variety", "Qty"], *([f"apple Katy {number}", number] for number in range(200)))
    monkeypatch.setattr(tables_in, "MOST_HELD", 500)
    assert len(table_from(many, "list.xlsx").frame) == 200
    texts = f'<sst xmlns="{SPACE}"><si><t>Variety</t></si>{"<si/>" * 600}</sst>'.encode()
    with zipfile.ZipFile(io.BytesIO(many)) as packed:
        kinds = packed.read("[Content_Types].xml")
    kind = b"application/vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"
    named = b'<Override PartName="/xl/sharedStrings.xml" ContentType="' + kind + b'"/></Types>'
    kinds = kinds.replace(b"</Types>", named)
    with pytest.raises(BadInput, match="more than 500 parts at once"):
        table_from(_with(many, xl__sharedStrings_xml=texts, **{"[Content_Types].xml": kinds}), "list.xlsx")


def test_large_picture_is_no_matter() -> None:
    data = _with(_workbook(), xl__media__big=b"\0" * (MOST_BESIDE_CELLS + 1))
    assert list(table_from(data, "list.xlsx").frame["name"]) == ["apple Katy"]


@pytest.mark.parametrize(
    "formula",
    ['<f t="array" ref="B2">SUM(A1:A9)</f>', '<f t="dataTable" ref="B2:B3" r1="A1"/>', "<f>1+1</f>"],
)
def test_formula_of_any_kind_is_told_as_one(formula: str) -> None:
    cells = '<c r="A{0}" t="inlineStr"><is><t>{1}</t></is></c>'
    part = _sheet(
        f'<row r="1">{cells.format(1, "Variety")}<c r="B1" t="inlineStr"><is><t>Qty</t></is></c></row>'
        f'<row r="2">{cells.format(2, "apple Katy")}<c r="B2">{formula}<v>4</v></c></row>'
    )
    table = table_from(_with(_workbook(), xl__worksheets__sheet1_xml=part), "list.xlsx")
    assert table.faults == ("list.xlsx, row 2, column “Qty”: a formula is not read; write the value itself",)
    assert table.unread(0) == {"count"}


def test_part_that_is_larger_than_it_claims_is_damage() -> None:
    """The size in the archive's own list is made smaller than the part: nothing beyond it is unpacked."""
    data = bytearray(_with(_workbook(), **{"xl__worksheets__sheet1_xml": _sheet("<row/>" * 100_000)}))
    with zipfile.ZipFile(io.BytesIO(bytes(data))) as packed:
        true = packed.getinfo(SHEET).file_size
    places = [at for at in range(len(data) - 4) if data[at : at + 4] == true.to_bytes(4, "little")]
    assert places
    for at in places:
        data[at : at + 4] = (64).to_bytes(4, "little")
    with pytest.raises(BadInput):
        table_from(bytes(data), "list.xlsx")


def test_entities_that_multiply_are_refused() -> None:
    levels = "".join(f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 10))
    head = f'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a0 "ha">{levels}]>'
    cell = '<row r="1"><c r="A1" t="inlineStr"><is><t>&a9;</t></is></c></row>'
    with pytest.raises(BadInput) as error:
        table_from(_with(_workbook(), xl__worksheets__sheet1_xml=_sheet(cell, head)), "list.xlsx")
    assert "list.xlsx" in str(error.value)


def test_entity_of_a_file_is_never_read(tmp_path: Path) -> None:
    secret = tmp_path / "secret.txt"
    secret.write_text("apple Katy", encoding="utf-8")
    head = f'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a SYSTEM "{secret.as_uri()}">]>'
    cell = '<row r="1"><c r="A1" t="inlineStr"><is><t>x &a; y</t></is></c></row>'
    try:
        rows = workbook_rows(_with(_workbook(), xl__worksheets__sheet1_xml=_sheet(cell, head)), "list.xlsx")
    except BadInput:
        return
    assert "Katy" not in str(rows)


def test_sheet_that_claims_to_be_endless_costs_no_more_than_its_cells() -> None:
    rows = '<row r="1"><c r="A1" t="inlineStr"><is><t>apple Katy</t></is></c></row>'
    far = '<row r="1048576"><c r="XFD1048576" t="inlineStr"><is><t>far away</t></is></c></row>'
    beyond = '<row r="2000000000"><c r="A2000000000" t="inlineStr"><is><t>beyond</t></is></c></row>'
    part = _sheet(rows + far + beyond, dimension='<dimension ref="A1:XFD1048576"/>')
    found = workbook_rows(_with(_workbook(), xl__worksheets__sheet1_xml=part), "list.xlsx")
    assert found == [(1, ["apple Katy"])]


def test_member_with_a_climbing_name_is_not_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    data = _with(_workbook(), **{"..__..__evil.txt": b"x", "..__evil.txt": b"x"})
    assert list(table_from(data, "../../etc/list.xlsx").frame["name"]) == ["apple Katy"]
    assert list(tmp_path.rglob("*")) == []
    assert not (tmp_path.parent / "evil.txt").exists()


def test_nul_bytes_are_refused_wherever_they_stand() -> None:
    data = b"Variety,Qty\n" + b"apple Katy,4\n" * 500 + b"apple \0Discovery,2\n"
    with pytest.raises(BadInput) as error:
        table_from(data, "list.csv")
    assert "list.csv, line 502" in str(error.value)


def test_huge_cell_is_told_and_the_other_lines_served() -> None:
    data = f"Variety,Qty\napple Katy,4\n{'apple ' * 100_000},2\napple Sunset,3\n".encode()
    table = table_from(data, "list.csv")
    assert list(table.frame["name"]) == ["apple Katy", "", "apple Sunset"]
    assert table.faults == (
        f"list.csv, row 3, column “Variety”: 599,999 letters; at most {LONGEST_CELL:,} are read. Shorten it",
    )


def test_field_longer_than_any_cell_names_its_row() -> None:
    with pytest.raises(BadInput) as error:
        table_from(b"Variety,Qty\napple Katy,4\n" + b"a" * 2_000_000 + b",2\n", "list.csv")
    assert "list.csv, row 3" in str(error.value)


def test_quote_left_open_names_where_it_opened() -> None:
    rows = b'Variety,Qty\napple Katy,4\n"apple Sunset,3\n' + b"apple Discovery,2\n" * 100_000
    with pytest.raises(BadInput) as error:
        table_from(rows, "list.csv")
    assert "list.csv, row 3" in str(error.value)


@pytest.mark.parametrize("rest", ["", "\napple Discovery,2", "\napple Discovery,2\n"])
def test_quote_open_to_the_end_swallows_no_rows(rest: str) -> None:
    with pytest.raises(BadInput, match=r"not closed.*\(list\.csv, row 3\)\. Close the quote"):
        table_from(f'Variety,Qty\napple Katy,4\n"apple Sunset,3{rest}'.encode(), "list.csv")


def test_quotes_that_are_closed_or_stand_in_a_cell_are_read() -> None:
    data = b'Variety,Size\n"apple Katy",12" pot\n"apple ""Sunset""","one\ntwo"'
    table = table_from(data, "list.csv")
    assert table.frame.to_numpy().tolist() == [["apple Katy", '12" pot'], ['apple "Sunset"', "one\ntwo"]]
    assert table.rows == (2, 3)


@pytest.mark.parametrize("mark", ["\u2028", "\u2029", "\x85", "\x0b", "\x0c", "\x1c", "\x1e"])
@pytest.mark.parametrize("code", ["utf-8", "utf-16"])
def test_only_line_ends_part_rows(mark: str, code: str) -> None:
    data = f"Variety,Qty\napple{mark}Katy,4\r\napple Sunset,3\rapple Discovery,2".encode(code)
    table = table_from(data, "list.csv")
    assert table.rows == (2, 3, 4)
    assert list(table.frame["count"]) == ["4", "3", "2"]


@pytest.mark.parametrize(
    ("rows", "row"),
    [
        (b"Variety" + b",Qty" * MOST_COLUMNS + b"\napple Katy,4\n", 1),
        (b"Variety,Qty\napple Katy,4\n" + b"," * MOST_COLUMNS + b"x\n", 3),
        (b"Variety,Qty\n" + b"," * 2_000_000 + b"\n", 2),
        (b"Variety,Qty\n" + (b"x," * 3_000 + b'"\n",') * 400 + b"\n", 2),
    ],
)
def test_too_many_columns_are_refused_at_their_row(rows: bytes, row: int) -> None:
    for read in (table_from, lambda data, name: reading.read_offers(name, data)):
        with pytest.raises(BadInput, match=rf"{MOST_COLUMNS} columns \(list\.csv, row {row}\)"):
            read(rows, "list.csv")


def test_empty_columns_beyond_the_limit_are_no_matter() -> None:
    data = b"Variety,Qty" + b"," * 16_000 + b"\napple Katy,4" + b"," * 16_000 + b"\n"
    assert table_from(data, "list.csv").frame.to_numpy().tolist() == [["apple Katy", "4"]]


def test_huge_headings_do_not_flood_the_message() -> None:
    data = (",".join(f"{'x' * 5000}{number}" for number in range(100)) + "\n1,2\n").encode()
    with pytest.raises(BadInput) as error:
        table_from(data, "list.csv", columns={"count": "Menge"})
    assert len(str(error.value)) < 1500


@pytest.mark.parametrize("name", ["../../etc/passwd", "<script>.csv", "a\nb.csv", "x" * 400])
def test_name_of_the_file_is_only_ever_told(name: str) -> None:
    with pytest.raises(BadInput):
        table_from(b"", name)
    assert list(table_from(b"Variety,Qty\napple Katy,4\n", name).frame["name"]) == ["apple Katy"]


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_damaged_workbook_is_read_or_refused(data: st.DataObject) -> None:
    raw = bytearray(_GOOD)
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(4, len(raw) - 1))
        raw[at] = data.draw(st.integers(0, 255))
    cut = data.draw(st.integers(4, len(raw)))
    told = _error_of(lambda: workbook_rows(bytes(raw[:cut]), "list.xlsx"))
    assert told is None or "list.xlsx" in told


@settings(max_examples=150, deadline=None)
@given(st.text(max_size=200))
def test_any_text_is_read_or_refused(text: str) -> None:
    data = text.encode("utf-8", "surrogatepass")
    told = _error_of(lambda: csv_rows(text_lines(data, "list.csv")[0], "list.csv"))
    assert told is None or "list.csv" in told


def _error_of(act: Callable[[], object]) -> str | None:
    try:
        act()
    except OrchardwrightError as error:
        return str(error)
    return None


_GOOD = _workbook()
