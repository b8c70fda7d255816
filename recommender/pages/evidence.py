"""What is known of varieties as HTML tables: side by side, and every statement behind the values.

In come a `Comparison` or frames of it; out goes HTML in which every name, note and address stands as text.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import TYPE_CHECKING, Any

from recommender.dossier import statement_words
from recommender.pages.cards import link, text
from recommender.wording import (
    STANDING_MEANINGS,
    Units,
    crop_in_sentence,
    list_words,
    missing,
    rows,
    settled_words,
    trait_label,
)

if TYPE_CHECKING:
    import pandas as pd

    from recommender.comparison import Comparison
    from recommender.dossier import Dossier

_LONGEST_TITLE = 60


def introduction(found: Dossier, named: bool = False) -> str:
    """Where a variety comes from, its other names, and how much is known of it, as a paragraph."""
    verb = "arose in" if found.origin else "known since"
    came = f"{verb} {found.born}" if found.born else "origin not known"
    crop = crop_in_sentence(found.crop)
    whose = f"{found.variety}: {crop}" if named else f"{crop[:1].upper()}{crop[1:]}"
    parts = [f"{whose}, {came}."]
    if found.also:
        parts.append(f"Also called {list_words(found.also)}.")
    count, sources = len(found.evidence), len(found.sources)
    parts.append(
        f"{count} statement{'s' * (count != 1)} from {sources} source{'s' * (sources != 1)}."
        if count
        else "Nobody has published anything about it that could be used."
    )
    return f'<p class="ow-site">{text(" ".join(parts))}</p>'


def comparison_table(compared: Comparison, traits: Sequence[str], units: Units) -> str:
    """One row a trait, one column a variety; each cell the value, its standing and its sources."""
    names = [
        f"{text(found.variety)} <small>{text(crop_in_sentence(found.crop))}</small>"
        for found in compared.dossiers
    ]
    cells = [_by_trait(found) for found in compared.dossiers]
    lines = []
    for trait in traits:
        said = "".join(
            f'<td role="cell"><span class="ow-whose">{name}</span>{_cell(held.get(trait), found, units)}</td>'
            for name, held, found in zip(names, cells, compared.dossiers, strict=True)
        )
        differs = ' class="ow-differs"' if trait in compared.differing else ""
        lines.append(
            f'<tr role="row"{differs}><th scope="row" role="rowheader">{text(trait_label(trait))}</th>'
            f"{said}</tr>"
        )
    heads = "".join(f'<th scope="col" role="columnheader">{name}</th>' for name in names)
    return _table(
        "Side by side",
        "Each value with its standing and sources; rows that differ have a mark",
        f'<th scope="col" role="columnheader">What</th>{heads}',
        lines,
        "ow-evidence ow-beside",
    )


def statement_table(evidence: pd.DataFrame, several: bool) -> str:
    """Every statement as it was found: of which variety, what, as written, on what basis, where."""
    lines = []
    for row in rows(evidence):
        which = f'<td role="cell">{text(row.variety)}</td>' if several else ""
        note = "" if missing(row.note) else f'<br><span class="ow-quiet">{text(row.note)}</span>'
        title = row.source_id if missing(row.source_title) else row.source_title
        source = (
            "no source" if missing(title) or title == "memory" else link(shortened(title), row.source_url)
        )
        lines.append(
            f'<tr role="row"><th scope="row" role="rowheader">{text(trait_label(row.trait))}</th>{which}'
            f'<td role="cell">{text(statement_words(row))}{note}</td>'
            f'<td role="cell">{text(row.basis)}</td><td role="cell">{source}</td></tr>'
        )
    columns = ("What", *(("Variety",) if several else ()), "As written", "Basis", "Source")
    heads = "".join(f'<th scope="col" role="columnheader">{column}</th>' for column in columns)
    return _table("Statements", "Every statement as it was found", heads, lines, "ow-evidence")


def shortened(title: object) -> str:
    """A title that does not fill the page."""
    whole = str(title)
    return whole if len(whole) <= _LONGEST_TITLE else f"{whole[: _LONGEST_TITLE - 3].rstrip()}..."


def _by_trait(found: Dossier) -> dict[str, Any]:
    return {row.trait: row for row in rows(found.settled[found.settled["standing"] != "unknown"])}


def _cell(row: Any, found: Dossier, units: Units) -> str:
    if row is None:
        return '<span class="ow-quiet">not known</span>'
    sources = found.sources.set_index("source_id")
    ids = [] if missing(row.source_ids) else str(row.source_ids).split("|")
    cited = "; ".join(
        link(shortened(name if missing(sources.loc[name, "title"]) else sources.loc[name, "title"]),
             sources.loc[name, "url"])
        for name in ids
        if name in sources.index
    )  # fmt: skip
    doubt = "" if missing(row.disagreement) else f"<br>others say: {text(row.disagreement)}"
    meaning = escape(STANDING_MEANINGS.get(row.standing, ""))
    return (
        f'{text(settled_words(row, units))}<br><span class="ow-quiet"><span title="{meaning}">'
        f"{text(row.standing)}</span>{f': {cited}' if cited else ''}{doubt}</span>"
    )


def _table(label: str, caption: str, heads: str, lines: Sequence[str], kind: str) -> str:
    # The roles say again what the tags say, because a phone shows the rows as blocks (face.css).
    return (
        f'<div class="ow-scroll" tabindex="0" role="region" aria-label="{escape(label)}">'
        f'<table class="{kind}" role="table"><caption>{escape(caption)}</caption>'
        f'<thead role="rowgroup"><tr role="row">{heads}</tr></thead>'
        f'<tbody role="rowgroup">{"".join(lines)}</tbody></table></div>'
    )
