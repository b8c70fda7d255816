"""`orchardwright show VARIETY`: every value of a variety with its standing, its sources and what was
published.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from recommender.commands import console
from recommender.commands import options as opt
from recommender.wording import (
    Units,
    as_units,
    crop_in_sentence,
    missing,
    plain,
    rows,
    settled_words,
    trait_label,
)

if TYPE_CHECKING:
    import pandas as pd

    from recommender.dossier import Dossier


def command(
    variety: opt.Variety,
    crop: opt.CropOfVariety = None,
    as_json: opt.AsJson = False,
    as_csv: opt.AsCsv = False,
    units: opt.UnitsOption = "metric",
) -> None:
    """Show what is known of a variety: values, standing, sources, and where they disagree.

    For example: orchardwright show "Bramley's Seedling"
    """
    from recommender.dossier import dossier

    opt.one_format(as_json, as_csv)
    view = as_units(units)
    catalog = console.catalog()
    found = dossier(catalog, variety, crop)
    if as_json:
        console.write_json(found.as_dict())
    elif as_csv:
        console.write_csv(found.evidence)
    else:
        _print(found, view)


def _print(found: Dossier, units: Units) -> None:
    title = f"{plain(found.variety)} ({crop_in_sentence(found.crop)})"
    console.write(console.bold(title) + (f", {plain(found.born)}" if found.born else ""))
    if found.also:
        console.write(console.wrapped(f"Also called {', '.join(found.also)}.", "", "  "))
    _print_values(found, units)
    _print_disagreements(found)
    _print_evidence(found, units)
    _print_sources(found.sources)
    if not found.cautions.empty:
        console.write(
            f"\n{console.bold('Cautions')} (your own authority decides; check the rule that holds now)"
        )
        for caution in rows(found.cautions):
            where = "" if caution.regions == "all" else f" ({caution.regions.replace('|', ', ')})"
            console.write(console.wrapped(f"{caution.fact}{where}", f"  {caution.severity}: ", "    "))


def _print_values(found: Dossier, units: Units) -> None:
    console.write(f"\n{console.bold('Values')} (standing; numbers point to the sources below)")
    known = found.settled[found.settled["standing"] != "unknown"]
    if known.empty:
        console.write("  Nobody has published anything about it that could be used.")
    for row in rows(known):
        text = settled_words(row, units)
        refs = "".join(f" [{ref}]" for ref in found.references(row.source_ids))
        console.write(console.wrapped(f"{trait_label(row.trait)}: {text}", "  ", "    "))
        console.write(console.wrapped(f"{row.standing}{refs}", "    "))


def _print_disagreements(found: Dossier) -> None:
    if found.disagreements.empty:
        return
    console.write(f"\n{console.bold('Where sources disagree')}")
    for row in rows(found.disagreements):
        console.write(console.wrapped(f"{trait_label(row.trait)}: {row.disagreement}", "  ", "    "))


def _print_evidence(found: Dossier, units: Units) -> None:
    from recommender.dossier import statement_words

    console.write(f"\n{console.bold('Evidence as it was found')}")
    for row in rows(found.evidence):
        source = "from memory, no source" if missing(row.ref) else f"[{row.ref}]"
        note = "" if missing(row.note) else f"; {row.note}"
        console.write(
            console.wrapped(f"{row.trait} = {statement_words(row)} {source} {row.basis}{note}", "  ", "    ")
        )


def _print_sources(sources: pd.DataFrame) -> None:
    console.write(f"\n{console.bold('Sources')}")
    for row in rows(sources):
        parts = [row.title, row.author, row.year, row.url]
        told = ", ".join(plain(part) for part in parts if not missing(part))
        console.write(console.wrapped(told or str(row.source_id), f"  [{row.ref}] "))
