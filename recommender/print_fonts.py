"""The letters that printed sheets are set in: one sans and one serif, embedded, so that names from Čačak to
Kecskemét print as they are written.

In comes an `FPDF`; it goes out with the families `SANS` and `SERIF`. Also in comes any text; out goes what
those fonts can set.

Fonts: Source Sans Pro and Source Serif Pro (Adobe; SIL Open Font License 1.1), from the packages
font-source-sans-pro and font-source-serif-pro. fpdf2 embeds only the letters a sheet uses.
"""

from __future__ import annotations

import unicodedata
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

from recommender.wording import plain

if TYPE_CHECKING:
    from fpdf import FPDF

SANS, SERIF = "source-sans", "source-serif"
_FACES = (
    (SANS, "", "font_source_sans_pro", "SourceSansPro-Regular.ttf"),
    (SANS, "B", "font_source_sans_pro", "SourceSansPro-Bold.ttf"),
    (SANS, "I", "font_source_sans_pro", "SourceSansPro-It.ttf"),
    (SERIF, "", "font_source_serif_pro", "SourceSerifPro-Regular.ttf"),
    (SERIF, "B", "font_source_serif_pro", "SourceSerifPro-Bold.ttf"),
)


def put_fonts(pdf: FPDF) -> None:
    """Make the families SANS (regular, bold, italic) and SERIF (regular, bold) known to a document; a letter
    that one of them lacks is set in the sans."""
    for family, style, package, name in _FACES:
        pdf.add_font(family, style, _path(package, name))
    pdf.set_fallback_fonts([SANS], exact_match=False)


def settable(text: object) -> str:
    """Text in the letters there are (Latin, Greek, Cyrillic): where an accent is missing its bare letter,
    where a script is missing a question mark. Line ends stay.

    >>> settable("Čačanska lepotica, Bőtermő, Łódź, Антоновка, 国光")
    'Čačanska lepotica, Bőtermő, Łódź, Антоновка, ??'
    """
    out = []
    for letter in unicodedata.normalize("NFC", plain(text)):
        if letter == "\n" or ord(letter) in _letters():
            out.append(letter)
            continue
        bare = [c for c in unicodedata.normalize("NFKD", letter) if not unicodedata.combining(c)]
        known = bool(bare) and all(ord(c) in _letters() for c in bare)
        out.append("".join(bare) if known else "?" if not unicodedata.combining(letter) else "")
    return "".join(out)


@cache
def _letters() -> frozenset[int]:
    from fpdf import FPDF
    from fpdf.fonts import TTFFont

    pdf = FPDF()
    put_fonts(pdf)
    faces = (pdf.fonts[key] for key in (SANS, f"{SANS}B"))
    return frozenset.intersection(*(frozenset(face.cmap) for face in faces if isinstance(face, TTFFont)))


@cache
def _path(package: str, name: str) -> str:
    return str(files(package) / "files" / name)
