"""Table cards and pick lists to print, as PDF (A4 or US letter).

In: a `SwapResult` and what the organiser ticked. Out: the bytes of a PDF. A table card stands by each offer
and says where its plants go; a pick list goes with each person and says what to collect where.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection, Iterable
from itertools import groupby

from fpdf import FPDF
from fpdf.enums import XPos, YPos

from recommender.swap.exports import USUAL, checked
from recommender.swap.matching import Match, SwapResult
from recommender.wording import crop_in_sentence, plain

MARGIN_MM = 15
CARD_MM = (90, 62)
FOOT = "Plant-health law and propagation rights decide before this list does; ask the plant-health authority."
_LETTERS = str.maketrans({"ł": "l", "Ł": "L", "ı": "i", "đ": "d", "Đ": "D", "→": "to", "−": "-", "₂": "2"})


def printable(text: object) -> str:
    """Text in the letters that the built-in fonts of PDF have (Windows-1252): accents are dropped where they
    are missing, letters of other scripts become a question mark.

    >>> printable("Łukasz, Škoda, Žofie, Pillangó")
    'Lukasz, Škoda, Žofie, Pillangó'
    """
    out = []
    for letter in plain(text).translate(_LETTERS):
        if _fits(letter):
            out.append(letter)
            continue
        bare = "".join(c for c in unicodedata.normalize("NFKD", letter) if not unicodedata.combining(c))
        out.append(bare if bare and all(_fits(c) for c in bare) else "?")
    return "".join(out)


def _fits(letter: str) -> bool:
    try:
        letter.encode("cp1252")
    except UnicodeEncodeError:
        return False
    return True


class _Sheet(FPDF):
    def __init__(self, paper: str) -> None:
        super().__init__(format=paper)
        self.core_fonts_encoding = "cp1252"
        self.set_margin(MARGIN_MM)
        self.set_auto_page_break(auto=False)

    def put(
        self, text: object, size: float, *, bold: bool = False, family: str = "Helvetica", h: float = 0
    ) -> None:
        """A paragraph at the left edge, the next below it."""
        self.set_font(family, "B" if bold else "", size)
        self.multi_cell(0, h or size * 0.46, printable(text), align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)

    def footer(self) -> None:
        self.set_y(-12)
        self.set_font("Helvetica", "", 8)
        self.cell(0, 4, printable(FOOT), align="C")


def table_cards(result: SwapResult, title: str, ticked: Collection[str] = USUAL, paper: str = "A4") -> bytes:
    """A card for each offer that gives something: its number, the variety, and to whom each plant goes.

    paper: A4 or Letter. Raises UnknownName for a tick that is not known.
    """
    ticks = checked(ticked)
    sheet = _Sheet(paper)
    matches = sorted(result.matches, key=lambda match: _counted(match.offer))
    cards = [(offer, list(group)) for offer, group in groupby(matches, key=lambda match: match.offer)]
    width, height = CARD_MM
    per_row, per_page = 2, 8 if paper.casefold() == "a4" else 6
    for place, (offer, group) in enumerate(_in_parts(cards, 6)):
        at = place % per_page
        if at == 0:
            sheet.add_page()
        x, y = MARGIN_MM + (at % per_row) * width, MARGIN_MM + (at // per_row) * height
        sheet.rect(x, y, width, height)
        sheet.set_xy(x + 4, y + 4)
        sheet.set_font("Times", "B", 20)
        sheet.cell(width - 8, 8, _cut(sheet, f"{offer}  {group[0].variety}", width - 8))
        sheet.set_xy(x + 4, y + 13)
        sheet.set_font("Helvetica", "", 10)
        giver = f", from {group[0].giver}" if "person" in ticks else ""
        kind = f"{crop_in_sentence(group[0].crop)}, {group[0].kind}{giver}"
        sheet.cell(width - 8, 5, _cut(sheet, kind[:1].upper() + kind[1:], width - 8))
        for line, match in enumerate(group):
            sheet.set_xy(x + 4, y + 21 + 5 * line)
            sheet.cell(width - 8, 5, _cut(sheet, _to(match, ticks), width - 8))
        sheet.set_xy(x + 4, y + height - 8)
        sheet.set_font("Helvetica", "", 8)
        sheet.cell(width - 8, 4, _cut(sheet, title, width - 8))
    return _bytes(sheet, title)


def pick_lists(result: SwapResult, title: str, ticked: Collection[str] = USUAL, paper: str = "A4") -> bytes:
    """A page for each request that gets something: what to collect, and what to mind.

    Raises UnknownName for a tick that is not known.
    """
    ticks = checked(ticked)
    sheet = _Sheet(paper)
    sheet.set_auto_page_break(auto=True, margin=18)
    matches = sorted(result.matches, key=lambda match: _counted(match.request))
    for request, group in groupby(matches, key=lambda match: match.request):
        lines = list(group)
        sheet.add_page()
        who = f" for {lines[0].taker}" if "person" in ticks else ""
        where = f", {lines[0].taker_area}" if "area" in ticks and lines[0].taker_area else ""
        sheet.put(f"Pick list {request}{who}{where}", 20, bold=True, family="Times")
        sheet.put(title, 10)
        sheet.ln(4)
        for match in lines:
            giver = f", from {match.giver}" if "person" in ticks else ""
            at = f", {match.giver_area}" if "area" in ticks and match.giver_area else ""
            what = f"{match.variety} ({crop_in_sentence(match.crop)}, {match.kind}) x {match.count}"
            sheet.put(f"[  ]  {match.offer}: {what}{giver}{at}", 12, bold=True)
            if match.on:
                sheet.put(f"Graft it on {match.on}.", 10)
            if "reason" in ticks:
                sheet.put(match.reason, 10)
            if "minds" in ticks and match.minds:
                sheet.put(f"Mind: {match.minds}", 10)
            sheet.ln(3)
    return _bytes(sheet, title)


def _counted(name: str) -> list[tuple[int, str]]:
    """A key that puts O2 before O10."""
    return [(int(part) if part.isdigit() else -1, part) for part in re.split(r"(\d+)", name)]


def _to(match: Match, ticks: frozenset[str]) -> str:
    who = f" {match.taker}" if "person" in ticks else ""
    where = f", {match.taker_area}" if "area" in ticks and match.taker_area else ""
    return f"[  ] {match.count} to {match.request}{who}{where}"


def _in_parts(cards: Iterable[tuple[str, list[Match]]], most: int) -> Iterable[tuple[str, list[Match]]]:
    """A card with more lines than it has room for goes on as another card."""
    for offer, group in cards:
        for start in range(0, len(group), most):
            yield offer, group[start : start + most]


def _cut(sheet: FPDF, text: str, width: float) -> str:
    """Text cut to a width [mm] in the font that is set."""
    shown = printable(text)
    if sheet.get_string_width(shown) <= width - 2:
        return shown
    while shown and sheet.get_string_width(shown + "...") > width - 2:
        shown = shown[:-1]
    return shown + "..."


def _bytes(sheet: _Sheet, title: str) -> bytes:
    if not sheet.pages_count:
        sheet.add_page()
        sheet.put("Nothing has been matched yet.", 12)
    sheet.set_title(printable(title))
    return bytes(sheet.output())
