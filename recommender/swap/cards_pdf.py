"""Table cards and pick lists to print, as PDF (A4 or US letter).

In: a `SwapResult` and what the organiser ticked. Out: the bytes of a PDF. A table card stands by each offer
and says where its plants go; a pick list goes with each person and says what to collect where.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable
from itertools import groupby

from fpdf import FPDF
from fpdf.enums import XPos, YPos

from recommender.print_fonts import SANS, SERIF, put_fonts, settable
from recommender.swap.exports import USUAL, checked
from recommender.swap.matching import Match, SwapResult
from recommender.wording import crop_in_sentence

MARGIN_MM = 15
CARD_MM = (90, 62)
FOOT = "Plant-health law and propagation rights decide before this list does; ask the plant-health authority."
BOX_MM = 3.2


class _Sheet(FPDF):
    def __init__(self, paper: str) -> None:
        super().__init__(format=paper)
        put_fonts(self)
        self.set_creator("Orchardwright")
        self.set_lang("en-GB")
        self.set_margin(MARGIN_MM)
        self.set_auto_page_break(auto=False)

    def put(
        self, text: object, size: float, *, bold: bool = False, family: str = SANS, indent: float = 0
    ) -> None:
        """A paragraph, the next below it. indent [mm]: from the left edge."""
        self.set_font(family, "B" if bold else "", size)
        self.set_x(self.l_margin + indent)
        self.multi_cell(0, size * 0.46, settable(text), align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)

    def one_line(self, text: str, x: float, y: float, width: float, size: float, style: str = "") -> None:
        """One line at a place [mm], made smaller and at last cut where it is too wide."""
        shown = settable(text)
        self.set_font(SERIF if style == "serif" else SANS, "B" if style in ("B", "serif") else "", size)
        while self.font_size_pt > size * 0.7 and self.get_string_width(shown) > width - 2:
            self.set_font_size(self.font_size_pt - 0.5)
        if self.get_string_width(shown) > width - 2:
            while shown and self.get_string_width(f"{shown}…") > width - 2:
                shown = shown[:-1]
            shown = f"{shown.rstrip()}…"
        self.set_xy(x, y)
        self.cell(width, size * 0.5, shown)

    def box(self, x: float, y: float) -> None:
        """A box to tick by hand [mm]."""
        self.set_line_width(0.25)
        self.rect(x, y, BOX_MM, BOX_MM)

    def footer(self) -> None:
        self.set_y(-12)
        self.set_font(SANS, "", 8)
        self.cell(0, 4, settable(FOOT), align="C")


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
        sheet.set_line_width(0.2)
        sheet.set_draw_color(150)
        sheet.rect(x, y, width, height)
        sheet.set_draw_color(0)
        inner = width - 8
        sheet.one_line(f"{offer}  {group[0].variety}", x + 4, y + 4, inner, 19, "serif")
        giver = f", from {group[0].giver}" if "person" in ticks else ""
        kind = f"{crop_in_sentence(group[0].crop)}, {group[0].kind}{giver}"
        sheet.one_line(kind[:1].upper() + kind[1:], x + 4, y + 13.5, inner, 10)
        for row, match in enumerate(group):
            sheet.box(x + 5, y + 21.6 + 5.4 * row)
            sheet.one_line(_to(match, ticks), x + 10, y + 21 + 5.4 * row, inner - 6, 10)
        sheet.one_line(title, x + 4, y + height - 7, inner, 8)
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
        sheet.put(f"Pick list {request}{who}{where}", 20, bold=True, family=SERIF)
        sheet.put(title, 10)
        sheet.ln(5)
        for match in lines:
            giver = f", from {match.giver}" if "person" in ticks else ""
            at = f", {match.giver_area}" if "area" in ticks and match.giver_area else ""
            times = f" × {match.count}" if match.count > 1 else ""
            what = f"{match.variety} ({crop_in_sentence(match.crop)}, {match.kind}){times}"
            if sheet.will_page_break(14):
                sheet.add_page()
            sheet.box(sheet.l_margin, sheet.get_y() + 1.1)
            sheet.put(f"{match.offer}  {what}{giver}{at}", 12, bold=True, indent=6)
            if match.on:
                sheet.put(f"Graft it on {match.on}.", 10, indent=6)
            if "reason" in ticks:
                sheet.put(match.reason, 10, indent=6)
            if "minds" in ticks and match.minds:
                sheet.put(f"Mind: {match.minds}", 10, indent=6)
            sheet.ln(3)
    return _bytes(sheet, title)


def _counted(name: str) -> list[tuple[int, str]]:
    """A key that puts O2 before O10."""
    return [(int(part) if part.isdigit() else -1, part) for part in re.split(r"(\d+)", name)]


def _to(match: Match, ticks: frozenset[str]) -> str:
    who = f" {match.taker}" if "person" in ticks else ""
    where = f", {match.taker_area}" if "area" in ticks and match.taker_area else ""
    return f"{match.count} to {match.request}{who}{where}"


def _in_parts(cards: Iterable[tuple[str, list[Match]]], most: int) -> Iterable[tuple[str, list[Match]]]:
    """A card with more lines than it has room for goes on as another card."""
    for offer, group in cards:
        for start in range(0, len(group), most):
            yield offer, group[start : start + most]


def _bytes(sheet: _Sheet, title: str) -> bytes:
    if not sheet.pages_count:
        sheet.add_page()
        sheet.put("Nothing has been matched yet.", 12)
    sheet.set_title(settable(title))
    return bytes(sheet.output())
