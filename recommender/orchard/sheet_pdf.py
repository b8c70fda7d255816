"""The planting sheet as a one-page PDF, A4 or Letter, with the plot drawn to scale.

In comes a `Sheet`; out go PDF bytes.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal, cast, get_args

from recommender.errors import BadInput
from recommender.orchard.drawing import HEAVY, LOOKS, Drawing, drawn
from recommender.orchard.planting import Sheet
from recommender.print_fonts import SANS, SERIF, put_fonts, settable

if TYPE_CHECKING:
    from fpdf import FPDF

PaperSize = Literal["A4", "Letter"]
_SIZES = (9.4, 9.0, 8.6, 8.2, 7.8, 7.4, 7.0, 6.6)
_MARGIN_mm = 13.0
_GUTTER_mm = 6.0
_DRAWING_HIGH_mm = 74.0
HEAVY_mm = 0.8
_LINE = 0.45
"""Height of a line [mm] for each point of type."""
_COLUMNS = (
    ("", 6.0),
    ("Tree", 36.0),
    ("Rootstock", 22.0),
    ("Apart", 13.0),
    ("Height", 19.0),
    ("Union above soil", 17.0),
    ("Stake", 17.0),
    ("Pollen from", 37.0),
    ("Picked", 27.0),
    ("First crop", 19.0),
)
_INK, _RULE, _QUIET = "#22261f", "#d9d5c8", "#565b50"
_MARK = {"stop": "Stop", "warning": "Mind", "info": "Note"}


def pdf_bytes(sheet: Sheet, paper: str = "A4") -> bytes:
    """The sheet on one page, A4 or Letter; type is set smaller until it fits, and only then runs on to a
    second page.

    Raises BadInput for an unknown paper size.
    """
    if paper not in get_args(PaperSize):
        raise BadInput(f"“{paper}” is no paper size here", remedy="Choose A4 or Letter")
    chosen = cast("PaperSize", paper)
    best: FPDF | None = None
    sizes = list(_SIZES)
    while sizes:
        middle = len(sizes) // 2
        pdf = _page(sheet, chosen, sizes[middle], one_page=True)
        fits = pdf.page_no() == 1 and pdf.get_y() <= pdf.h - _MARGIN_mm + 1
        best = pdf if fits else best
        sizes = sizes[:middle] if fits else sizes[middle + 1 :]
    if best is None:
        best = _page(sheet, chosen, _SIZES[-1], one_page=False)
    return bytes(best.output())


def _page(sheet: Sheet, paper: PaperSize, size: float, one_page: bool) -> FPDF:
    from fpdf import FPDF

    pdf = FPDF(format=paper, unit="mm")
    put_fonts(pdf)
    pdf.set_title(settable(sheet.title))
    pdf.set_creator("Orchardwright")
    pdf.set_lang("en-GB")
    pdf.set_margin(_MARGIN_mm)
    pdf.set_auto_page_break(not one_page, _MARGIN_mm)
    pdf.add_page()
    pdf.set_text_color(*_colour(_INK))
    pdf.set_font(SERIF, "B", 18)
    pdf.multi_cell(0, 8.5, settable(sheet.title), align="L", new_x="LMARGIN", new_y="NEXT")
    line = size * _LINE
    _paragraph(pdf, sheet.place, size, _QUIET)
    pdf.ln(2)
    picture = drawn(sheet.plan, sheet.units)
    if picture is not None:
        _drawing(pdf, picture, sheet, size)
    else:
        for note in sheet.notes:
            _paragraph(pdf, note, size)
    _trees(pdf, sheet, size, line)
    _heading(pdf, "In the pot" if "container_L" in sheet.plan.site else "How to plant", size)
    told = [
        (step.topic, f"{step.words} ({sheet.told_by(step.standing, step.source_id)})") for step in sheet.steps
    ]
    _two_columns(pdf, told, size)
    if sheet.cautions:
        _heading(pdf, "Take care", size)
        minded = [
            (
                _MARK.get(one.severity, "Note"),
                f"{one.words} ({sheet.told_by(one.standing, one.source_id)})",
            )
            for one in sheet.cautions
        ]
        _two_columns(pdf, minded, size)
    pdf.ln(line * 0.6)
    if sheet.source_line:
        _paragraph(pdf, f"Sources: {sheet.source_line}.", size * 0.86, _QUIET)
    _paragraph(
        pdf,
        "Dates and sizes are estimates for this site. Local codes, the extension service and the "
        "plant-health authority decide where they differ from this sheet.",
        size * 0.86,
        _QUIET,
    )
    return pdf


def _paragraph(pdf: FPDF, text: object, size: float, colour: str = _INK) -> None:
    pdf.set_font(SANS, "", size)
    pdf.set_text_color(*_colour(colour))
    pdf.multi_cell(0, size * _LINE, settable(text), align="L", new_x="LMARGIN", new_y="NEXT")
    pdf.set_text_color(*_colour(_INK))


def _heading(pdf: FPDF, text: str, size: float) -> None:
    pdf.ln(2.2)
    pdf.set_font(SERIF, "B", size + 3)
    pdf.cell(0, (size + 3) * _LINE, settable(text), new_x="LMARGIN", new_y="NEXT")
    pdf.ln(0.6)
    pdf.set_font(SANS, "", size)


def _trees(pdf: FPDF, sheet: Sheet, size: float, line: float) -> None:
    _heading(pdf, "The trees", size)
    pdf.set_draw_color(*_colour(_RULE))
    pdf.set_fill_color(255, 255, 255)
    pdf.set_line_width(0.2)
    share = pdf.epw / sum(width for _, width in _COLUMNS)
    with pdf.table(
        col_widths=tuple(width * share for _, width in _COLUMNS),
        line_height=line,
        text_align="LEFT",
        v_align="TOP",
        borders_layout="HORIZONTAL_LINES",
        padding=(0.7, 1.2, 0.7, 0),
        first_row_as_headings=True,
    ) as table:
        head = table.row()
        for name, _ in _COLUMNS:
            head.cell(name)
        for number, one in enumerate(sheet.lines, start=1):
            row = table.row()
            for text in (
                number,
                f"{one.name}, {one.crop}",
                one.rootstock,
                one.spacing,
                one.height,
                one.union.value,
                one.stake.value,
                one.partners,
                one.picked,
                one.bears_from,
            ):
                row.cell(settable(text))


def _two_columns(pdf: FPDF, items: Sequence[tuple[str, str]], size: float) -> None:
    """Short paragraphs with a bold word in front, in two columns of about the same height."""
    width = (pdf.epw - _GUTTER_mm) / 2
    line, gap = size * _LINE, size * 0.1
    pdf.set_font(SANS, "", size)
    heights = [_height(pdf, width - 1, line, f"{head}.  {text}") + gap for head, text in items]
    total, split = sum(heights), 0
    while split < len(items) and sum(heights[: split + 1]) <= total / 2 + heights[split] / 2:
        split += 1
    tallest = max(sum(heights[:split]), total - sum(heights[:split]))
    if pdf.auto_page_break and pdf.get_y() + tallest > pdf.h - pdf.b_margin:
        pdf.add_page()
    top, bottom = pdf.get_y(), pdf.get_y()
    left, right = pdf.l_margin, pdf.r_margin
    for column, part in enumerate((items[:split], items[split:])):
        start = left + column * (width + _GUTTER_mm)
        pdf.set_left_margin(start)
        pdf.set_right_margin(pdf.w - start - width)
        pdf.set_xy(start, top)
        for head, text in part:
            pdf.set_font(SANS, "B", size)
            pdf.write(line, settable(f"{head}.  "))
            pdf.set_font(SANS, "", size)
            pdf.write(line, settable(text))
            pdf.ln(line + gap)
        bottom = max(bottom, pdf.get_y())
        pdf.set_left_margin(left)
        pdf.set_right_margin(right)
    pdf.set_xy(left, bottom)


def _height(pdf: FPDF, width: float, line: float, text: str) -> float:
    """How high a paragraph will be [mm]."""
    lines = pdf.multi_cell(width, line, settable(text), align="L", dry_run=True, output="LINES")
    return line * len(cast("list[str]", lines))


def _colour(text: str) -> tuple[int, int, int]:
    return int(text[1:3], 16), int(text[3:5], 16), int(text[5:7], 16)


def _drawing(pdf: FPDF, picture: Drawing, sheet: Sheet, size: float) -> None:
    (x0, y0), (x1, y1) = picture.low, picture.high
    scale = min(pdf.epw * 0.6 / (x1 - x0), _DRAWING_HIGH_mm / (y1 - y0))
    left, top = pdf.l_margin, pdf.get_y()

    def at(point: tuple[float, float]) -> tuple[float, float]:
        return left + (point[0] - x0) * scale, top + (y1 - point[1]) * scale

    for shape in picture.shapes:
        stroke, fill, dash = LOOKS[shape.kind]
        pdf.set_draw_color(*_colour(stroke))
        pdf.set_line_width(HEAVY_mm if shape.kind in HEAVY else 0.25)
        if dash:
            pdf.set_dash_pattern(dash=1.2, gap=0.9)
        places = [at(point) for point in shape.points]
        pale = tuple(255 - (255 - part) // 5 for part in _colour(fill)) if fill != "none" else None
        if pale is not None:
            pdf.set_fill_color(*pale)
        style = "DF" if pale is not None else "D"
        if shape.form == "circle":
            pdf.circle(*places[0], shape.radius * scale, style=style)
        elif shape.form == "area":
            pdf.polygon(places, style=style)
        elif shape.form == "line":
            pdf.polyline(places)
        pdf.set_dash_pattern()
    # Words last and on a pale ground, so that no crown or line hides them.
    for shape in picture.shapes:
        if not shape.words:
            continue
        digit = shape.form == "text" and shape.kind == "trunk"
        pdf.set_font(SANS, "B" if digit else "", 9 if digit else 7.5)
        places = [at(point) for point in shape.points]
        x, y = (sum(part) / len(places) for part in zip(*places, strict=True))
        words = settable(shape.words)
        width = pdf.get_string_width(words)
        across = max(place[0] for place in places) - min(place[0] for place in places)
        if shape.form == "area" and width > across:
            y = max(place[1] for place in places) + 2.4
        x = min(max(x, left + width / 2 + 0.5), left + (x1 - x0) * scale - width / 2)
        if shape.form != "text":
            pdf.set_fill_color(255, 255, 255)
            pdf.rect(x - width / 2 - 0.5, y - 1.6, width + 1.0, 3.2, style="F")
        pdf.text(x - width / 2, y + 1.0, words)
    bottom = top + (y1 - y0) * scale
    beside = left + (x1 - x0) * scale + 6
    pdf.set_xy(beside, top)
    pdf.set_left_margin(beside)
    if any(one.place for one in sheet.lines):
        _paragraph(pdf, "Measured from the lower left corner:", size, _QUIET)
    for number, one in enumerate(sheet.lines, start=1):
        pdf.set_font(SANS, "B", size)
        pdf.write(size * _LINE, f"{number}  ")
        pdf.set_font(SANS, "", size)
        pdf.write(size * _LINE, settable(f"{one.name}{': ' if one.place else ''}{one.place}"))
        pdf.ln(size * _LINE)
    for note in sheet.notes:
        pdf.ln(0.8)
        _paragraph(pdf, note, size)
    pdf.set_left_margin(_MARGIN_mm)
    pdf.set_xy(_MARGIN_mm, max(bottom, pdf.get_y()) + 1)
