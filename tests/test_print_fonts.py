"""Names print in their own letters."""

from __future__ import annotations

import pytest
from fpdf import FPDF

from recommender.catalog.store import open_catalog
from recommender.print_fonts import SANS, SERIF, put_fonts, settable

NAMES = "Čačanska lepotica, Debreceni Bőtermő, Łódź, Žofie, Ābele, Антоновка, 2½ m², –10 °C"


@pytest.mark.parametrize(
    ("family", "style"), [(SANS, ""), (SANS, "B"), (SANS, "I"), (SERIF, ""), (SERIF, "B")]
)
def test_every_face_sets_latin_and_cyrillic(
    family: str, style: str, caplog: pytest.LogCaptureFixture
) -> None:
    pdf = FPDF()
    put_fonts(pdf)
    pdf.add_page()
    pdf.set_font(family, style, 12)
    pdf.multi_cell(0, 6, settable(NAMES))
    assert bytes(pdf.output()).startswith(b"%PDF")
    assert settable(NAMES) == NAMES
    assert "missing" not in caplog.text


def test_every_name_of_the_catalog_can_be_printed() -> None:
    catalog = open_catalog()
    names = [*catalog.varieties()["variety"], *catalog.names()["name"]]
    assert [name for name in names if "?" in settable(name) and "?" not in name] == []


def test_what_cannot_be_set_is_marked_or_set_bare() -> None:
    assert settable("国光") == "??"
    assert settable("ṩ①\nḃ") == "s1\nb"
