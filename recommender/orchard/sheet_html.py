"""The planting sheet as one HTML page that prints on A4 or Letter, with the drawing inside.

In comes a `Sheet`; out goes HTML text that needs nothing from elsewhere. Every name is escaped.
"""

from __future__ import annotations

from html import escape

from recommender.orchard.drawing import drawn, svg
from recommender.orchard.planting import Sheet
from recommender.wording import plain

_STYLE = """
body{font:15px/1.5 system-ui,sans-serif;color:#22261f;background:#fbfaf6;max-width:60rem;margin:1.5rem auto;
padding:0 1rem}h1,h2{font-family:Georgia,serif}table{border-collapse:collapse;width:100%;font-size:14px}
th,td{text-align:left;padding:.35rem .5rem;border-bottom:1px solid #d9d5c8;vertical-align:top}
.wide{overflow-x:auto}small{color:#565b50}dt{font-weight:600}dd{margin:0 0 .4rem}
dl{columns:22rem 2}dl div{break-inside:avoid}@page{margin:12mm}
@media print{body{background:#fff;margin:0;font-size:10px;max-width:none}table{font-size:9px}
h1{font-size:18px}}
"""
_HEADS = (
    "",
    "Tree",
    "Rootstock",
    "Apart",
    "Height",
    "Union above soil",
    "Stake",
    "Pollen from",
    "Picked",
    "First crop",
    "Place",
)


def html_text(sheet: Sheet) -> str:
    """The whole page."""
    picture = drawn(sheet.plan, sheet.units)
    drawing = "" if picture is None else f"<figure>{svg(picture)}</figure>"
    heads = "".join(f'<th scope="col">{_text(head)}</th>' for head in _HEADS)
    rows = "".join(
        "<tr>"
        + "".join(
            f"<td>{_text(cell)}</td>"
            for cell in (
                number,
                f"{line.name} ({line.crop})",
                line.rootstock,
                line.spacing,
                line.height,
                line.union.value,
                line.stake.value,
                line.partners,
                line.picked,
                line.bears_from,
                line.place,
            )
        )
        + "</tr>"
        for number, line in enumerate(sheet.lines, start=1)
    )
    steps = "".join(
        f"<div><dt>{_text(step.topic)}</dt><dd>{_text(step.words)} "
        f"<small>({_text(sheet.told_by(step.standing, step.source_id))})</small></dd></div>"
        for step in sheet.steps
    )
    cautions = "".join(
        f"<li>{_text(caution.words)} "
        f"<small>({_text(sheet.told_by(caution.standing, caution.source_id))})</small></li>"
        for caution in sheet.cautions
    )
    notes = "".join(f"<p>{_text(note)}</p>" for note in sheet.notes)
    care = f"<h2>Take care</h2><ul>{cautions}</ul>" if cautions else ""
    sources = f"<p><small>Sources: {_text(sheet.source_line)}.</small></p>" if sheet.source_line else ""
    heading = "In the pot" if "container_L" in sheet.plan.site else "How to plant"
    return (
        f'<!doctype html><html lang="en-GB"><head><meta charset="utf-8">'
        f'<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{_text(sheet.title)}</title>"
        f"<style>{_STYLE}</style></head><body><h1>{_text(sheet.title)}</h1><p>{_text(sheet.place)}</p>{drawing}"
        f'{notes}<h2>The trees</h2><div class="wide"><table><thead><tr>{heads}</tr></thead>'
        f"<tbody>{rows}</tbody>"
        f"</table></div><h2>{heading}</h2><dl>{steps}</dl>{care}"
        f"{sources}<p><small>Dates and sizes are estimates for this site. Local codes, the extension service "
        "and the plant-health authority decide where they differ from this sheet.</small></p></body></html>\n"
    )


def _text(value: object) -> str:
    return escape(plain(value))
