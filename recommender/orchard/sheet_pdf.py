"""The planting sheet as a one-page PDF, A4 or Letter, with the plot drawn to scale.

In comes a `Sheet`; out go PDF bytes.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, cast, get_args

from recommender.errors import BadInput
from recommender.orchard.drawing import LOOKS, Drawing, drawn
from recommender.orchard.planting import Sheet
from recommender.print_fonts import SANS, SERIF, put_fonts, settable

if TYPE_CHECKING:
    from fpdf import FPDF

PaperSize = Literal["A4", "Letter"]
_SIZES = (8.6, 8.2, 7.8, 7.4, 7.0, 6.6, 6.2)
_MARGIN_mm = 12.0
_DRAWING_HIGH_mm = 78.0
_COLUMNS = (
    ("", 5.0),
    ("Tree", 40.0),
    ("Rootstock", 27.0),
    ("Apart", 13.0),
    ("Height", 21.0),
    ("Union", 20.0),
    ("Stake", 18.0),
    ("Pollen from", 42.0),
)


def pdf_bytes(sheet: Sheet, paper: str = "A4") -> bytes:
    """The sheet on one page, A4 or Letter; type is set smaller until it fits, and only then runs on to a
    second page.

    Raises BadInput for an unknown paper size.
    """
    if paper not in get_args(PaperSize):
        raise BadInput(f"“{paper}” is no paper size here", remedy="Choose A4 or Letter")
    chosen = cast("PaperSize", paper)
    for size in _SIZES:
        pdf = _page(sheet, chosen, size, one_page=size != _SIZES[-1])
        if pdf is not None:
            return bytes(pdf.output())
    raise AssertionError("the smallest type may run on")


def _page(sheet: Sheet, paper: PaperSize, size: float, one_page: bool) -> FPDF | None:
    from fpdf import FPDF

    pdf = FPDF(format=paper, unit="mm")
    put_fonts(pdf)
    pdf.set_title(settable(sheet.title))
    pdf.set_creator("Orchardwright")
    pdf.set_lang("en-GB")
    pdf.set_margin(_MARGIN_mm)
    pdf.set_auto_page_break(not one_page, _MARGIN_mm)
    pdf.add_page()
    pdf.set_font(SERIF, "B", 17)
    pdf.cell(0, 8, settable(sheet.title), new_x="LMARGIN", new_y="NEXT")
    pdf.set_font(SANS, "", size)
    line = size * 0.46
    pdf.multi_cell(0, line, settable(sheet.place), new_x="LMARGIN", new_y="NEXT")
    pdf.ln(1.5)
    picture = drawn(sheet.plan)
    if picture is not None:
        _drawing(pdf, picture, sheet, size)
    _trees(pdf, sheet, size, line)
    _steps(pdf, sheet, size, line)
    _cautions(pdf, sheet, size, line)
    _foot(pdf, size * 0.9, line)
    fits = pdf.get_y() <= pdf.h - _MARGIN_mm + 1
    return pdf if fits or not one_page else None


def _heading(pdf: FPDF, text: str, size: float) -> None:
    pdf.ln(1.2)
    pdf.set_font(SERIF, "B", size + 2.5)
    pdf.cell(0, size * 0.62, settable(text), new_x="LMARGIN", new_y="NEXT")
    pdf.set_font(SANS, "", size)


def _trees(pdf: FPDF, sheet: Sheet, size: float, line: float) -> None:

    _heading(pdf, "The trees", size)
    pdf.set_fill_color(255, 255, 255)
    pdf.set_draw_color(*_colour("#d9d5c8"))
    share = pdf.epw / sum(width for _, width in _COLUMNS)
    widths = [width * share for _, width in _COLUMNS]
    with pdf.table(
        col_widths=tuple(widths),
        line_height=line,
        text_align="LEFT",
        borders_layout="HORIZONTAL_LINES",
        padding=0.5,
        first_row_as_headings=True,
    ) as table:
        head = table.row()
        for name, _ in _COLUMNS:
            head.cell(name)
        for number, one in enumerate(sheet.lines, start=1):
            row = table.row()
            for text in (
                number,
                f"{one.name}, {one.crop}; picked {one.picked}",
                one.rootstock,
                one.spacing,
                one.height,
                one.union.value,
                one.stake.value,
                one.partners,
            ):
                row.cell(settable(text))


def _steps(pdf: FPDF, sheet: Sheet, size: float, line: float) -> None:
    _heading(pdf, "How to plant" if "container_L" not in sheet.plan.site else "In the pot", size)
    with pdf.text_columns(ncols=2, gutter=5, balance=True, line_height=1.18, text_align="LEFT") as columns:
        for step in sheet.steps:
            source = f", {step.source_id}" if step.source_id and step.source_id != "memory" else ""
            columns.write(settable(f"{step.topic}: {step.words} ({step.standing}{source})\n"))
    pdf.ln(line * 0.3)


def _cautions(pdf: FPDF, sheet: Sheet, size: float, line: float) -> None:
    if not sheet.cautions:
        return
    _heading(pdf, "Take care", size)
    with pdf.text_columns(ncols=2, gutter=5, balance=True, line_height=1.18, text_align="LEFT") as columns:
        for caution in sheet.cautions:
            columns.write(
                settable(f"{_MARK.get(caution.severity, '')}{caution.words} ({caution.standing})\n")
            )
    pdf.ln(line * 0.3)


_MARK = {"stop": "Stop: ", "warning": "Mind: ", "info": "Note: "}


def _foot(pdf: FPDF, size: float, line: float) -> None:
    pdf.set_font(SANS, "I", size)
    pdf.multi_cell(
        0,
        line,
        "Dates and sizes are estimates for this site. Local codes, the extension service and the "
        "plant-health authority decide where they differ from this sheet.",
        new_x="LMARGIN",
        new_y="NEXT",
    )


def _colour(text: str) -> tuple[int, int, int]:
    return int(text[1:3], 16), int(text[3:5], 16), int(text[5:7], 16)


def _drawing(pdf: FPDF, picture: Drawing, sheet: Sheet, size: float) -> None:
    (x0, y0), (x1, y1) = picture.low, picture.high
    scale = min(pdf.epw * 0.62 / (x1 - x0), _DRAWING_HIGH_mm / (y1 - y0))
    left, top = pdf.l_margin, pdf.get_y()

    def at(point: tuple[float, float]) -> tuple[float, float]:
        return left + (point[0] - x0) * scale, top + (y1 - point[1]) * scale

    for shape in picture.shapes:
        stroke, fill, dash = LOOKS[shape.kind]
        pdf.set_draw_color(*_colour(stroke))
        pdf.set_line_width(0.25)
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
        if shape.words:
            bold = shape.form == "text" and shape.kind == "trunk"
            pdf.set_font(SANS, "B" if bold else "", 8 if shape.form == "text" else 6.5)
            x, y = (sum(part) / len(places) for part in zip(*places, strict=True))
            words = settable(shape.words)
            pdf.text(x - pdf.get_string_width(words) / 2, y + 1.0, words)
    bottom = top + (y1 - y0) * scale
    beside = left + (x1 - x0) * scale + 5
    pdf.set_xy(beside, top)
    pdf.set_font(SANS, "", size)
    pdf.set_left_margin(beside)
    for number, tree in enumerate(sheet.plan.trees, start=1):
        where = (
            "" if tree.x is None or tree.y is None else (f": {tree.x:.1f} m from the left, {tree.y:.1f} m up")
        )
        pdf.multi_cell(
            0, size * 0.46, settable(f"{number}  {tree.variety}{where}"), new_x="LMARGIN", new_y="NEXT"
        )
    for note in sheet.notes:
        pdf.multi_cell(0, size * 0.46, settable(note), new_x="LMARGIN", new_y="NEXT")
    pdf.set_left_margin(_MARGIN_mm)
    pdf.set_xy(_MARGIN_mm, max(bottom, pdf.get_y()) + 1)
