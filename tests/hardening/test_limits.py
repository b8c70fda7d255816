"""A million rows are refused by a limit that the message and the documentation state."""

from __future__ import annotations

import functools
import io
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from recommender import tables_in
from recommender.atlas import folder
from recommender.atlas.sites import listed_sites
from recommender.climate.weather import read_weather
from recommender.climate.weather_files import text as weather_text
from recommender.errors import BadInput
from recommender.nursery import stock_files
from recommender.orchard import plan_file
from recommender.suitability import site_file
from recommender.swap import event_file, reading
from tests.hardening.readers import workbook

ROWS = 1_000_000
DOCS = Path(__file__).parents[2] / "docs" / "hardening.md"


@functools.cache
def million_rows_in_a_workbook() -> bytes:
    """A workbook with a heading and 10^6 rows; made by hand, as a spreadsheet would take half a minute."""
    space = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    texts = "".join(f'<c t="inlineStr"><is><t>{cell}</t></is></c>' for cell in ("person", "variety"))
    row = "<row><c><v>1</v></c></row>"
    head = f'<worksheet xmlns="{space}"><sheetData><row>{texts}</row>'
    held = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(workbook())) as old,
        zipfile.ZipFile(held, "w", 8, compresslevel=1) as new,
    ):
        for name in old.namelist():
            if name != "xl/worksheets/sheet1.xml":
                new.writestr(name, old.read(name))
        new.writestr("xl/worksheets/sheet1.xml", f"{head}{row * ROWS}</sheetData></worksheet>")
    return held.getvalue()


CASES: dict[str, tuple[str, Callable[[Path], object], bytes | None, tuple[str, ...], int]] = {
    "stock list, CSV": ("a.csv", stock_files.read_table, b"a,1\n", ("variety", "qty"), stock_files.MAX_LINES),
    "stock list, XLSX": ("a.xlsx", stock_files.read_table, None, (), stock_files.MAX_LINES),
    "offers, XLSX": ("a.xlsx", reading.read_offers, None, (), reading.MOST_ROWS),
    "requests, CSV": ("a.csv", reading.read_requests, b"w,a\n", ("person", "varieties"), reading.MOST_ROWS),
    "sites of an atlas": ("a.csv", listed_sites, b"1,2\n", ("lat", "lon"), stock_files.MAX_LINES),
    "weather": (
        "a.csv", read_weather, b"2001-01-01,1,9\n", ("date", "tmin", "tmax"), weather_text.MAX_LINES
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_a_million_rows_are_refused_by_the_limit_that_is_stated(case: str, tmp_path: Path) -> None:
    name, read, row, heading, limit = CASES[case]
    path = tmp_path / name
    path.write_bytes(
        million_rows_in_a_workbook() if row is None else ",".join(heading).encode() + b"\n" + row * ROWS
    )
    with pytest.raises(BadInput) as told:
        read(path)
    assert f"{limit:,} lines" in str(told.value)
    assert name in str(told.value)


@pytest.mark.parametrize("end", [b"\n", b"\r"])
def test_a_file_of_line_ends_alone_is_refused_before_it_fills_the_memory(end: bytes) -> None:
    with pytest.raises(BadInput, match="2,000,000 lines"):
        stock_files.table_from(b"variety\n" + end * 5_000_000, "a.csv")


def test_one_row_less_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    """The limit is where it says it is."""
    monkeypatch.setattr(stock_files, "MAX_LINES", 3)
    assert len(stock_files.table_from(b"variety,qty\n" + b"Katy,1\n" * 3, "a.csv").frame) == 3
    with pytest.raises(BadInput, match="3 lines"):
        stock_files.table_from(b"variety,qty\n" + b"Katy,1\n" * 4, "a.csv")


def test_every_limit_stands_in_the_documentation() -> None:
    said = DOCS.read_text(encoding="utf-8")
    for stated in (
        f"{stock_files.MAX_LINES:,} lines, {stock_files.MAX_BYTES // 1_000_000} MB",
        f"{reading.MOST_ROWS:,} lines, {reading.MOST_BYTES // 1_000_000} MB",
        f"{weather_text.MAX_LINES:,} lines, {weather_text.MAX_BYTES // 2**20} MB",
        f"{tables_in.MOST_UNPACKED // 1_000_000} MB unpacked",
        f"{tables_in.MOST_BESIDE_CELLS // 1_000_000} MB unpacked | the styles",
        f"{tables_in.LONGEST_CELL:,} letters",
        f"{tables_in.MOST_COLUMNS} columns",
        f"{event_file.MOST_BYTES // 1_000_000} MB | swap event",
        f"{plan_file.LARGEST_BYTES // 1_000_000} MB | plan",
        f"{site_file.LARGEST_BYTES // 1_000} kB | site file",
        f"{folder.MOST_SITES:,} sites",
    ):
        assert stated in said, stated
