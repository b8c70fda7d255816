"""docs/data-quality.md and its chart, from a `Quality`.

Comes in: what `quality` measured. Goes out: the text of the page, the chart as SVG, and both as files; run as
a module it writes them: `python -m recommender.catalog.quality_page docs/data-quality.md`.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Sequence
from html import escape
from pathlib import Path
from typing import Any

import pandas as pd

from recommender.catalog.quality import CRITERIA, ENOUGH, STANDINGS, UNKNOWN, Quality, quality
from recommender.files import write_whole

NOT_EXPLAINED = "not explained"
COMMAND = "orchardwright quality --page docs/data-quality.md"
SHADES = {
    "published": "#3d6b35",
    "common practice": "#8fae7d",
    "from memory": "#8c3b2e",
    "estimated": "#c9a227",
    UNKNOWN: "#e4ddcf",
}
"""Colours of the standings, as in the charts of the validation page."""

HEAD = f"""# How good the data are

Measured from the catalog by `{COMMAND}`; run it after a change of the data.
A variety counts under a criterion if one trait that serves it has a value. Of several values the best
standing counts. `estimated` is what the catalog works out for a variety of which nobody published the trait;
it enters a score with its error.
"""


def page(found: Quality, chart: str) -> str:
    """The report as Markdown; `chart` is the address of the picture beside the page."""
    traits = {name: ", ".join(f"`{trait}`" for trait in names) for name, names in CRITERIA.items()}
    serve = _table(["criterion", "traits that serve it"], list(traits.items()))
    parts = [HEAD, *serve, *_main_crops(found, chart), *_memory(found), *_weakest(found)]
    parts += [*_all_crops(found), *_traits(found), *_sources(found)]
    return "\n".join(parts).rstrip("\n") + "\n"


_WORDS = ("why", "criterion", "kind", "trait", "value", "published of the crop", "traits that serve it")


def _table(header: Sequence[str], rows: Iterable[Sequence[object]]) -> list[str]:
    right = ["---"] + ["---:" if name not in _WORDS else "---" for name in header[1:]]
    lines = ["| " + " | ".join(header) + " |", "|" + "|".join(right) + "|"]
    return [*lines, *("| " + " | ".join(str(cell) for cell in row) + " |" for row in rows), ""]


def _percent(share: Any) -> str:
    if pd.isna(share):
        return "–"
    return f"{share:.0%}" if share >= 0.1 or share == 0 else f"{share:.1%}"


def _sizes(found: Quality) -> dict[str, int]:
    first = found.coverage.drop_duplicates("crop")
    return dict(zip(first["crop"], first["varieties"], strict=True))


def _shares(found: Quality, standing: str) -> dict[tuple[str, str], float]:
    rows = found.coverage
    return dict(zip(zip(rows["crop"], rows["criterion"], strict=True), rows[standing], strict=True))


def _wide(found: Quality, crops: Sequence[str]) -> list[list[object]]:
    shares, sizes = _shares(found, "published"), _sizes(found)
    habits = dict(zip(found.habits["crop"], found.habits["habit"], strict=True))
    return [
        [crop, sizes[crop], *(_percent(shares[crop, name]) for name in CRITERIA), habits.get(crop, "")]
        for crop in crops
    ]


def _main_crops(found: Quality, chart: str) -> list[str]:
    crops = found.main_crops()
    gaps = found.gaps.set_index(["crop", "criterion"])["why"]
    short = found.short()
    lines = [
        f"## The {len(crops)} crops with most varieties",
        "",
        f"Share of the varieties with a published value. The aim is {ENOUGH:.0%}; where it is missed, the",
        "second table says why and what stands in (`datasets/coverage_gaps.csv`; the reasons are what the",
        "compilers make of their search). The last column is what is published of the self-fertility of the",
        "crop as a whole: it decides for every variety without a statement of its own.",
        "",
        *_table(["crop", "varieties", *CRITERIA, "published of the crop"], _wide(found, crops)),
        f"![How each criterion is known for the {len(crops)} crops with most varieties]({chart})",
        "",
        f"{len(crops) * len(CRITERIA) - len(short)} of {len(crops) * len(CRITERIA)} reach the aim.",
        "",
    ]
    order = {crop: place for place, crop in enumerate(crops)}
    listed = sorted(
        short.itertuples(index=False),
        key=lambda row: (order[str(row.crop)], list(CRITERIA).index(str(row.criterion))),
    )
    told = [
        [
            row.crop,
            row.criterion,
            _percent(row.published),
            gaps.get((row.crop, row.criterion), "not explained"),
        ]
        for row in listed
    ]
    return [*lines, *_table(["crop", "criterion", "published", "why"], told)]


def _memory(found: Quality) -> list[str]:
    lines = [
        "## From memory",
        "",
        *_table(
            ["share of", "from memory", "all", "share"],
            [[row.of, row.from_memory, row.all, _percent(row.share)] for row in found.memory.itertuples()],
        ),
    ]
    lines += [
        "Facts of no single variety (of whole crops, rootstocks, planting), in rows of their tables:",
        "",
        *_table(
            ["table", "read for", "a limit reads it", "rows", "from memory", "common practice", "share"],
            [
                [
                    row.table,
                    row.read_for,
                    "yes" if row.limits else "no",
                    row.rows,
                    row.from_memory,
                    row.common_practice,
                    _percent(row.share),
                ]
                for row in found.whole_crops.itertuples()
            ],
        ),
        "Of `crop_facts`, a habit or way of crossing that nobody was read to publish is left out of the need",
        "for a partner, which crops cross counts as common practice, and a height, of a crop or",
        "a rootstock, counts as unknown. The rest is years to the first crop, chromosomes and pollen",
        "carriers. Common practice is, in",
        "`bloom_parameters`, the usual bloom against apple or apricot, with errors of 8 to 26 days, and in",
        "`ripening_parameters` the usual days to harvest, with an error of 28.",
        "",
    ]
    if len(found.deciding_memory):
        named = [
            [f"{row.crop}: {str(row.variety) or 'all'}", row.trait, row.value]
            for row in found.deciding_memory.itertuples()
        ]
        lines += ["Values from memory that can decide a verdict:", ""]
        lines += _table(["variety", "trait", "value"], named)
    else:
        lines += [
            "No value from memory can decide a verdict, of a variety or its crop.",
            "",
        ]
    if len(found.unsourced):
        waiting = "; ".join(f"{row.trait} {row.rows}" for row in found.unsourced.itertuples())
        lines += [
            f"{found.unsourced['rows'].sum()} statements of such traits wait in `datasets/unsourced.csv` for",
            f"somebody to find their source; nothing is worked out from them. By trait: {waiting}.",
            "",
        ]
    return lines


def _weakest(found: Quality, count: int = 12) -> list[str]:
    rows = found.short().head(count)
    several = found.traits[found.traits["two_or_more"].ge(30)]
    quarrel = several.sort_values(["disagree", "trait"], ascending=[False, True]).head(count)
    return [
        "## Weakest spots",
        "",
        "Least published among the main crops:",
        "",
        *_table(
            ["crop", "criterion", "varieties", "published"],
            [[row.crop, row.criterion, row.varieties, _percent(row.published)] for row in rows.itertuples()],
        ),
        "Traits on which sources differ most, among those with at least 30 values from two or more sources.",
        "To differ is to be named in `disagreement` beside the settled value, if by one class only:",
        "",
        *_table(
            ["trait", "values", "from two or more sources", "of these they differ on"],
            [
                [row.trait, row.settled, row.two_or_more, _percent(row.disagree)]
                for row in quarrel.itertuples(index=False)
            ],
        ),
    ]


def _all_crops(found: Quality) -> list[str]:
    crops = sorted(set(found.coverage["crop"]))
    lines = [
        "## Every crop, by standing",
        "",
        "Published / common practice / from memory / estimated, in % of the varieties; the rest is unknown.",
        "",
    ]
    shares = found.coverage.set_index(["crop", "criterion"])[list(STANDINGS)].mul(100).round().astype("int64")
    sizes = found.coverage.drop_duplicates("crop").set_index("crop")["varieties"]
    rows = [
        [
            crop,
            sizes[crop],
            *(" / ".join(str(part) for part in shares.loc[(crop, name)]) for name in CRITERIA),
        ]
        for crop in crops
    ]
    return [*lines, *_table(["crop", "varieties", *CRITERIA], rows)]


def _traits(found: Quality) -> list[str]:
    rows = [
        [
            row.trait,
            row.settled,
            _percent(row.published),
            row.memory,
            f"{row.sources:.1f}",
            _percent(row.disagree),
        ]
        for row in found.traits.itertuples()
    ]
    return [
        "## Every trait",
        "",
        "`differ` is the share of the values from two or more sources on which they differ.",
        "",
        *_table(["trait", "values", "published", "from memory", "sources a value", "differ"], rows),
    ]


def _sources(found: Quality) -> list[str]:
    ages = [[row.decade, row.rows, _percent(row.share)] for row in found.age.itertuples()]
    kinds = [[row.kind, row.sources, row.rows, _percent(row.share)] for row in found.kinds.itertuples()]
    return [
        "## Age and kind of the sources",
        "",
        "Evidence rows by the year of their source, where the source gives one:",
        "",
        *_table(["year", "rows", "share"], ages),
        "By kind of source; the weights are those of `settling-evidence.md`:",
        "",
        *_table(["kind", "sources", "rows", "share"], kinds),
    ]


def chart_svg(found: Quality) -> str:
    """A bar for each main crop and criterion, cut by standing, as SVG."""
    left, top, cell, gap, row_height = 112, 44, 118, 10, 22
    crops = found.main_crops()
    width, height = left + len(CRITERIA) * (cell + gap), top + len(crops) * row_height + 34
    shares = {standing: _shares(found, standing) for standing in SHADES}
    parts = [f'<rect width="{width}" height="{height}" fill="#fffdf8"/>']
    for column, name in enumerate(CRITERIA):
        parts.append(_text(left + column * (cell + gap), top - 12, name, "font-weight='bold'"))
    for place, crop in enumerate(crops):
        y = top + place * row_height
        parts.append(_text(left - 8, y + 12, crop, "text-anchor='end'"))
        for column, name in enumerate(CRITERIA):
            x = float(left + column * (cell + gap))
            for standing, shade in SHADES.items():
                wide = cell * shares[standing][crop, name]
                if wide >= 0.05:
                    parts.append(f'<rect x="{x:.1f}" y="{y}" width="{wide:.1f}" height="15" fill="{shade}"/>')
                x += wide
    legend, y = left, height - 12
    for standing, shade in SHADES.items():
        parts.append(f'<rect x="{legend}" y="{y - 10}" width="12" height="12" fill="{shade}"/>')
        parts.append(_text(legend + 17, y, standing))
        legend += 40 + 7 * len(standing)
    title = "How hardiness, chill, pollination, bloom and ripening are known, by crop"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" '
        f'font-family="sans-serif" font-size="12" fill="#2b2b26"><title>{title}</title>'
        + "\n".join(parts)
        + "</svg>\n"
    )


def _text(x: float, y: float, words: str, more: str = "") -> str:
    return f'<text x="{x:g}" y="{y:g}" {more}>{escape(words)}</text>'


def write(found: Quality, path: Path) -> Path:
    """Write the page to `path` and the chart beside it with the ending .svg. Raises StorageFault."""
    chart = path.with_suffix(".svg")
    write_whole(chart, chart_svg(found))
    write_whole(path, page(found, chart.name))
    return chart


def main() -> None:
    """Write the page and its chart to the file named on the command line."""
    from recommender.catalog.store import open_catalog

    parser = argparse.ArgumentParser(description="Write the data quality report as Markdown.")
    parser.add_argument("file", type=Path)
    write(quality(open_catalog()), parser.parse_args().file)


if __name__ == "__main__":
    main()
