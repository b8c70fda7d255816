"""The pieces of a page as HTML text: a variety's card, the climate figures, the evidence table.

In come records and frames; out goes HTML in which every name, note and address stands as text, never as
markup. No widget and no computation stands here.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from html import escape
from typing import TYPE_CHECKING, Any

from recommender.climate.season import Hemisphere, season_date
from recommender.wording import (
    MARKS,
    STANDING_MEANINGS,
    VERDICTS,
    Units,
    certainty,
    crop_in_sentence,
    day_words,
    list_words,
    missing,
    plain,
    rows,
    score_words,
    settled_words,
    trait_label,
    trait_words,
)

if TYPE_CHECKING:
    import pandas as pd

    from recommender.dossier import Dossier


_EVIDENCE_HEADS = ("What", "Value", "Standing", "Source")
_PARTNER = {
    "not needed": "not needed",
    "gains": "helps",
    "needed": "needed",
    "needed, a male one": "a male plant",
    "bears no fruit": "is one; bears no fruit",
    "unknown": "not known",
}


def text(value: object) -> str:
    """Anything as HTML-safe text, without control characters."""
    return escape(plain(value))


def label(value: object) -> str:
    """Anything as text for a heading or the label of a control, which Streamlit reads as Markdown.

    A mark of Markdown is written with a stroke before it. What Streamlit looks for after that (addresses,
    `:names:` of pictures, arrows) is parted by a letter that cannot be seen, U+2060 (word joiner).

    >>> label("Cox's Orange *Pippin*"), label("![x](http://a.b)")
    ("Cox's Orange \\\\*Pippin\\\\*", '\\\\!\\\\[x\\\\](http:\\u2060//a.b)')
    """
    said = " ".join(plain(value).split())
    said = re.sub(r"([\\`*_\[\]<>~$&|#!])", r"\\\1", said)
    said = re.sub(r"^(\d+)([.)])", r"\1\\\2", re.sub(r"^([-+=])", r"\\\1", said))
    said = re.sub(r"(?<=:)(?=\S)|(?<=@)|(?<=\bwww)(?=\.)", "\u2060", said, flags=re.IGNORECASE)
    return re.sub(r"(?<=[-<>=~])(?=\\?[-<>=])", "\u2060", said)


def link(label: str, url: object) -> str:
    """A link where the address is one for the web; the bare label otherwise."""
    address = "" if missing(url) else plain(url)
    if not address.startswith(("https://", "http://")):
        return text(label)
    return f'<a href="{escape(address)}" target="_blank" rel="noopener noreferrer">{text(label)}</a>'


def verdict(word: str) -> str:
    """A verdict as its mark and its word."""
    return f'<span class="ow-mark" aria-hidden="true">{MARKS[word]}</span> {text(word)}'


def tally(verdicts: pd.Series) -> str:
    """How many varieties got which verdict; also the key to the marks."""
    counts = verdicts.value_counts()
    items = "".join(f"<li>{verdict(word)}: {counts.get(word, 0)}</li>" for word in VERDICTS)
    return f'<ul class="ow-key" aria-label="Verdicts in the whole list">{items}</ul>'


def variety_card(
    row: Any, facts: Sequence[tuple[str, str, str]], changes: Sequence[str] = (), count: int = 0
) -> str:
    """One variety of the shortlist: rank, name, verdict and score, why, watch, and small facts.

    row: a row of `Ranking.shortlist` or `Ranking.frame`. facts: what a fact is called, the fact, its doubt;
    changes: what would lift the verdict and what would not; count: of all ranked, to say how sure its place
    is.
    """
    alike = str(getattr(row, "also", "") or "").split("|")
    also = list_words([name for name in alike if name])
    lines = "".join(
        f"<dt>{label}</dt><dd>{text(said)}</dd>"
        for label, said in (
            ("why", row.why),
            ("watch", row.watch),
            ("what if", " ".join(changes)),
            ("like it", also),
            ("sure", "" if row.verdict == "ruled out" else certainty(row, count, with_score=False)),
        )
        if said
    )
    small = "".join(
        f"<div><dt>{text(name)}</dt><dd>{text(fact)}<span>{text(doubt)}</span></dd></div>"
        for name, fact, doubt in facts
    )
    return (
        '<article class="ow-card"><header>'
        f'<h3><span class="ow-rank">{row.rank}</span>{text(row.variety)} '
        f"<small>{text(crop_in_sentence(row.crop))}</small></h3>"
        f'<span class="ow-verdict">{verdict(row.verdict)}, score {score_words(row)}</span></header>'
        f'<dl class="ow-lines">{lines}</dl><dl class="ow-facts">{small}</dl></article>'
    )


def small_facts(
    row: Any, traits: Mapping[str, Any], need: str, hemisphere: Hemisphere, units: Units
) -> list[tuple[str, str, str]]:
    """The four facts of a card, each with its doubt: bloom and picking at the site, height, pollen partner.

    row: a row of `Ranking.frame`; traits: the row of `Catalog.traits()` of the same variety; need: of
    a pollen partner, as `partner_need` tells it.
    """
    height = trait_words("mature_height", traits.get("mature_height"), units=units)
    return [
        ("Full bloom", *_day(row.bloom_day, row.bloom_error_d, hemisphere, units)),
        ("Picked from", *_day(row.harvest_day, row.harvest_error_d, hemisphere, units)),
        ("Full-grown height", height, ""),
        ("Pollen partner", _PARTNER[need], ""),
    ]


def _day(day: float, error_d: float, hemisphere: Hemisphere, units: Units) -> tuple[str, str]:
    if missing(day):
        return "not known", ""
    doubt = "" if missing(error_d) else f"give or take {round(error_d)} days"
    return day_words(season_date(day, hemisphere), units), doubt


def figures(items: Sequence[tuple[str, str, str]]) -> str:
    """Figures as a list: what it is called, the figure, its doubt."""
    parts = "".join(
        f"<div><dt>{text(label)}</dt><dd><strong>{text(figure)}</strong><span>{text(doubt)}</span></dd></div>"
        for label, figure, doubt in items
    )
    return f'<dl class="ow-figures">{parts}</dl>'


def paragraphs(sentences: Sequence[str], kind: str = "ow-prose") -> str:
    """Sentences as paragraphs."""
    return f'<div class="{kind}">' + "".join(f"<p>{text(sentence)}</p>" for sentence in sentences) + "</div>"


def evidence_table(found: Dossier, units: Units) -> str:
    """Every settled value of a variety with its standing and sources, disagreements beneath the value."""
    sources = found.sources.set_index("source_id")
    lines = []
    for row in rows(found.settled[found.settled["standing"] != "unknown"]):
        said = text(settled_words(row, units))
        if not missing(row.disagreement):
            said += f'<br><span class="ow-quiet">others say: {text(row.disagreement)}</span>'
        ids = (
            []
            if missing(row.source_ids)
            else [name for name in str(row.source_ids).split("|") if name in sources.index]
        )
        cited = "<br>".join(link(_title(sources.loc[name], name), sources.loc[name, "url"]) for name in ids)
        meaning = escape(STANDING_MEANINGS.get(row.standing, ""))
        standing = f'<td role="cell" title="{meaning}">{text(row.standing)}</td>'
        lines.append(
            f'<tr role="row"><th scope="row" role="rowheader">{text(trait_label(row.trait))}</th>'
            f'<td role="cell">{said}</td>{standing}<td role="cell">{cited or "no source"}</td></tr>'
        )
    if not lines:
        return '<p class="ow-quiet">Nobody has published anything about it that could be used.</p>'
    heads = "".join(f'<th scope="col" role="columnheader">{head}</th>' for head in _EVIDENCE_HEADS)
    # The roles say again what the tags say, because a phone shows the rows as blocks (face.css).
    return (
        '<div class="ow-scroll" tabindex="0" role="region" aria-label="Evidence">'
        '<table class="ow-evidence" role="table">'
        f"<caption>What is known of {text(found.variety)}, how sure it is, and who says so</caption>"
        f'<thead role="rowgroup"><tr role="row">{heads}</tr></thead>'
        f'<tbody role="rowgroup">{"".join(lines)}</tbody></table></div>'
    )


def _title(source: Any, name: str) -> str:
    title = name if missing(source["title"]) else str(source["title"])
    return title if len(title) <= 60 else f"{title[:57].rstrip()}..."


def caution_list(cautions: pd.DataFrame) -> str:
    """Cautions as a list, with where they hold."""
    items = []
    for row in rows(cautions):
        where = "" if row.regions == "all" else f" ({text(str(row.regions).replace('|', ', '))})"
        items.append(f"<li>{text(row.fact)}{where}</li>")
    return f'<ul class="ow-prose">{"".join(items)}</ul>'


def meanings(terms: Mapping[str, str]) -> str:
    """Terms and what they mean."""
    parts = "".join(
        f"<div><dt>{text(term)}</dt><dd>{text(meaning)}</dd></div>" for term, meaning in terms.items()
    )
    return f'<dl class="ow-meanings">{parts}</dl>'


def build_table(info: Mapping[str, Any]) -> str:
    """What the catalog was built from, how much was kept and what was not. info: `Catalog.info`."""
    counts = info["counts"]
    rejected = counts.get("rejected", 0)
    return meanings(
        {
            "Built": f"{day_words(str(info['built_at'])[5:10])} {str(info['built_at'])[:4]}",
            "Varieties": f"{counts['varieties']:,} of {counts['crops']} fruits and nuts",
            "Evidence": f"{counts['evidence']:,} statements from {counts['sources']:,} sources",
            "Settled values": "; ".join(
                f"{number:,} {standing}" for standing, number in info["settled_by_standing"].items()
            ),
            "Not used": f"{rejected:,} rows rejected, {counts.get('set_aside', 0):,} values set aside;"
            " orchardwright build lists each with its reason",
            "Files": f"{len(info['files'])} tables, all read and counted",
            "Key of the data": str(info["data_key"])[:16],
        }
    )
