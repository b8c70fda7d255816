"""Files that mean harm or come from a broken program, for every reader.

In: a valid file of a kind. Out: damaged and hostile versions of it; and a data package whose varieties bear
names that mean harm. All content is invented.
"""

from __future__ import annotations

import csv
import functools
import io
import shutil
import zipfile
from pathlib import Path

from hypothesis import strategies as st

from recommender.catalog.package import datasets_folder

DEEP_JSON = b'{"site": ' + b"[" * 100_000 + b"]" * 100_000 + b"}"
HUGE_NUMBER = b'{"site": {"lat": ' + b"9" * 5_000 + b', "lon": 0}}'
NOT_FINITE = b'{"site": {"lat": NaN, "lon": Infinity}}'
LONE_SURROGATE = b'{"site": {"place": "\\ud800"}}'

ODD_BYTES: dict[str, bytes] = {
    "empty": b"",
    "blank lines": b"\n\r\n  \n",
    "NUL bytes": b"\0" * 64,
    "NUL in a cell": b"variety,count\nDisco\0very,3\n",
    "UTF-16": "variety,count\nDiscovery,3\n".encode("utf-16"),
    "UTF-16 mark alone": b"\xff\xfe",
    "UTF-8 cut in a letter": "variety\nReine des Reinettes é".encode()[:-1],
    "Latin-1": "variety,count\nBelle de Boskoop é,3\n".encode("latin-1"),
    "an open quote": b'variety,count\n"Discovery,3\nCox,4\n',
    "one huge cell": b"variety,count\n" + b"x" * 2_000_000 + b",3\n",
    "very many columns": b",".join(b"c%d" % k for k in range(20_000)) + b"\n1\n",
    "deep JSON": DEEP_JSON,
    "a number of 5,000 digits": HUGE_NUMBER,
    "not a number": NOT_FINITE,
    "half a surrogate pair": LONE_SURROGATE,
    "a list": b"[1, 2, 3]",
    "a lone value": b"3",
    "control characters": bytes(range(32)) * 8,
    "a PDF": b"%PDF-1.7\n1 0 obj\n<<>>\n",
    "an old Excel file": b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600,
    "a zip head alone": b"PK\x03\x04",
}


@functools.cache
def zip_bomb(name: str = "xl/worksheets/sheet1.xml", size: int = 600_000_000) -> bytes:
    """A small workbook-like archive that unpacks to `size` bytes."""
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
        archive.writestr("[Content_Types].xml", "<Types/>")
        with archive.open(name, "w", force_zip64=True) as file:
            block = b" " * 1_000_000
            for _ in range(size // len(block)):
                file.write(block)
    return held.getvalue()


def climbing_zip() -> bytes:
    """An archive whose member wants to be written outside its folder."""
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as archive:
        archive.writestr("../../escaped.txt", "out")
        archive.writestr("xl/workbook.xml", "<workbook/>")
    return held.getvalue()


@st.composite
def damaged(draw: st.DrawFn, whole: bytes) -> bytes:
    """A valid file with some bytes changed, cut out, repeated or put in."""
    data = bytearray(whole)
    for _ in range(draw(st.integers(1, 5))):
        at = draw(st.integers(0, max(0, len(data) - 1)))
        until = min(len(data), at + draw(st.integers(1, 40)))
        match draw(st.sampled_from(("change", "cut", "repeat", "insert"))):
            case "change":
                data[at:until] = draw(st.binary(min_size=until - at, max_size=until - at))
            case "cut":
                del data[at:until]
            case "repeat":
                data[at:at] = data[at:until] * draw(st.integers(1, 3))
            case _:
                data[at:at] = draw(
                    st.sampled_from(
                        [
                            b'"',
                            b",",
                            b"\n",
                            b"\0",
                            b"\xff",
                            b"=cmd()",
                            b"[",
                            b"{",
                            b"-1",
                            b"1e999",
                            b"nan",
                            b"\r",
                        ]
                    )
                )
    return bytes(data)


# Names that would be markup, Markdown, a formula, SQL, a path, or lines of their own, if they were not text.
NAMES: tuple[str, ...] = (
    '<img src="http://names.invalid/a.png" onerror="window.owned=1">',
    "</script><script>window.owned=1</script>",
    "![picture](http://names.invalid/b.png) [link](http://names.invalid/)",
    ":red[Red] *bold* $x^2$ `code` http://names.invalid/c www.names.invalid",
    '=HYPERLINK("http://names.invalid/","Quince")',
    "../../escaped/Quince",
    "Quince'; DROP TABLE varieties; --",
    "Quince\r\nEND:VEVENT\r\nBEGIN:VALARM",
    "Quince \x1b[31mred\x1b]0;owned\x07 \u202etxet",
)
_LIKE = "Champion"


def hostile_data(folder: Path) -> Path:
    """A copy of the open data in which quinces bear `NAMES`, each with what is known of one real variety.

    The other crops have three facts each, so that it builds fast.
    """
    real = datasets_folder()
    shutil.copytree(real, folder, ignore=shutil.ignore_patterns("*.parquet", "build"))
    for path in real.glob("*.parquet"):
        (folder / path.name).symlink_to(path)
    for path in (folder / "traits").glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as file:
            head, *rows = csv.reader(file)
        kept = rows[:3] if path.stem != "quince" else rows
        _write(path, [head, *kept, *_named(kept, head, "variety")])
    path = folder / "varieties.csv"
    with path.open(encoding="utf-8", newline="") as file:
        head, *rows = csv.reader(file)
    _write(path, [head, *rows, *_named(rows, head, "variety")])
    return folder


def _named(rows: list[list[str]], head: list[str], column: str) -> list[list[str]]:
    """Each row of the one quince again, under each of the names."""
    at, crop = head.index(column), head.index("crop")
    like = [row for row in rows if row[crop] == "quince" and row[at] == _LIKE]
    return [[*row[:at], name, *row[at + 1 :]] for name in NAMES for row in like]


def _write(path: Path, rows: list[list[str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows(rows)
