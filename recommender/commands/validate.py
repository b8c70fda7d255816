"""`orchardwright validate`: how well the ranking agrees with published regional recommendations."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from recommender.commands import console
from recommender.commands import options as opt

if TYPE_CHECKING:
    from recommender.suitability.agreement import Report

Strict = Annotated[
    bool,
    typer.Option(
        "--strict",
        help="Show only lists of extension services, authorities, papers and genebanks, unflagged.",
    ),
]
SourceOnly = Annotated[
    bool,
    typer.Option(
        "--source-only", help="Leave out the region's own sources only, not all of its state or country."
    ),
]
Everyone = Annotated[
    bool, typer.Option("--everyone", help="Also ask about varieties known only from what is left out.")
]
Plot = Annotated[
    Path | None, typer.Option("--plot", help="Draw the figures to this .html, .svg or .png file.")
]
Page = Annotated[
    Path | None, typer.Option("--page", help="Write the report as a Markdown page.", hidden=True)
]


def command(
    strict: Strict = False,
    source_only: SourceOnly = False,
    everyone: Everyone = False,
    plot: Plot = None,
    page: Page = None,
    as_json: opt.AsJson = False,
) -> None:
    """Judge the ranking by published regional recommendations, each region's own left out.

    Takes two to three minutes. For example: orchardwright validate --plot agreement.html
    """
    from recommender import open_catalog
    from recommender.suitability.agreement import fitted, report
    from recommender.suitability.agreement_page import draw, write_page
    from recommender.suitability.validation import Validation

    with console.progress("Opening the catalog") as told:
        catalog = open_catalog(progress=told)
        validation = Validation(catalog, same_state=not source_only, progress=told)
    fits = fitted(validation)
    found = report(validation, everyone=everyone, fits=fits)
    if plot is not None:
        draw(found, plot)
    if page is not None:
        write_page(validation, found, fits, page)
    if as_json:
        console.write_json(found.as_dict())
    else:
        _print(found, ("strict",) if strict else ("all", "strict"))


def _print(found: Report, subsets: tuple[str, ...]) -> None:
    for subset in subsets:
        rows = found.summary[found.summary["subset"] == subset]
        console.write(
            console.bold(f"{subset.capitalize()} lists ({int(rows['lists'].iloc[0])} of a region and crop)")
        )
        console.write(f"  {'way of ranking':<52}{'AUC':>7}{'AP@10':>7}{'pairs':>8}")
        for row in rows.itertuples():
            pairs = f"{row.pairs_in_order:.2f}" if row.pairs else "-"
            console.write(f"  {row.way:<52}{row.auc:>7.3f}{row.ap10:>7.3f}{pairs:>8}")
        console.write()
    console.write(console.bold("How listed varieties were judged here"))
    console.write(
        f"  {'our verdict':<14}{'recommended':>13}{'marginal':>10}{'not recommended':>17}{'asked':>8}"
        f"{'of these recommended':>22}"
    )
    for judged in found.verdicts.to_dict("records"):
        cells = [
            f"{judged[name]} ({judged[f'share {name}']:.0%})"
            for name in ("recommended", "marginal", "not recommended")
        ]
        console.write(
            f"  {judged['verdict']:<14}{cells[0]:>13}{cells[1]:>10}{cells[2]:>17}{judged['asked']:>8}"
            f"{judged['share of asked recommended']:>22.2%}"
        )
    console.write()
    console.write(console.bold("What each criterion is worth: the change when it is dropped"))
    console.write(f"  {'criterion':<20}{'AUC':>8}{'places moved':>15}")
    for row in found.sensitivity.itertuples():
        console.write(f"  {row.criterion:<20}{row.auc_change:>+8.4f}{row.places_moved:>15.1f}")
    console.write()
    console.write(
        console.wrapped(
            "AUC: chance that a recommended variety stands above another of its crop. AP@10: average "
            "precision of "
            "the first ten. Pairs: share of recommended and not recommended varieties of one list in "
            "the right order."
        )
    )
