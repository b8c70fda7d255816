"""`orchardwright plan`: a planting that pollinates itself and ripens in sequence, on paper and in the
calendar.

In come answers, wishes and a plot, or a plan saved earlier; out go text or JSON, and on request the plan as a
file, the calendar (iCalendar) and the planting sheet (PDF, HTML).
"""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from recommender.commands import console, groups
from recommender.commands import options as opt
from recommender.errors import BadInput
from recommender.files import write_whole
from recommender.wording import (
    MARKS,
    Units,
    as_units,
    crop_in_sentence,
    day_words,
    length_words,
    metres,
    plain,
)

if TYPE_CHECKING:
    from recommender.catalog.store import Catalog
    from recommender.orchard.plan import Measured, Plan, PlannedTree

_SET = "The planting"
_FILES = "Files"


@groups.spread
def command(
    *,
    where: groups.Where,
    crop: opt.Crops = None,
    trees: Annotated[
        int | None, typer.Option("--trees", help="At most so many trees.", rich_help_panel=_SET)
    ] = None,
    fix: Annotated[
        list[str] | None, typer.Option("--fix", help="Must be in; repeatable.", rich_help_panel=_SET)
    ] = None,
    drop: Annotated[
        list[str] | None, typer.Option("--drop", help="Must not be in; repeatable.", rich_help_panel=_SET)
    ] = None,
    quota: Annotated[
        list[str] | None,
        typer.Option("--quota", help="Trees of a crop, such as apple=1-3; repeatable.", rich_help_panel=_SET),
    ] = None,
    fresh: Annotated[
        str | None,
        typer.Option("--fresh", help="Ripe fruit wanted, MM-DD..MM-DD.", rich_help_panel=_SET),
    ] = None,
    store_to: Annotated[
        str | None,
        typer.Option("--store-to", help="Then fruit from store until MM-DD.", rich_help_panel=_SET),
    ] = None,
    budget: Annotated[
        float | None, typer.Option("--budget", help="Money for trees.", rich_help_panel=_SET)
    ] = None,
    price: Annotated[
        list[str] | None,
        typer.Option("--price", help="Of a tree: any=25, apple=28; repeatable.", rich_help_panel=_SET),
    ] = None,
    plot: Annotated[
        str | None,
        typer.Option("--plot", help="Width x depth in metres (or feet): 14x12.", rich_help_panel=_SET),
    ] = None,
    style: Annotated[
        str | None,
        typer.Option("--style", help="open, hedge, espalier, cordon, fan, spindle.", rich_help_panel=_SET),
    ] = None,
    in_row: Annotated[
        float | None,
        typer.Option("--in-row", help="From tree to tree in a row, metres (or feet).", rich_help_panel=_SET),
    ] = None,
    use: opt.Uses = None,
    season: opt.Seasons = None,
    max_height: opt.MaxHeight = None,
    preset: opt.Preset = None,
    room: groups.Room,
    ground: groups.Ground,
    near: groups.NearBy,
    open_file: Annotated[
        Path | None, typer.Option("--open", help="Show a saved plan instead.", rich_help_panel=_FILES)
    ] = None,
    save: Annotated[
        Path | None, typer.Option("--save", help="Save the plan (JSON).", rich_help_panel=_FILES)
    ] = None,
    calendar: Annotated[
        Path | None, typer.Option("--calendar", help="Write the dates (iCalendar).", rich_help_panel=_FILES)
    ] = None,
    year: Annotated[
        int | None,
        typer.Option("--year", help="First growing season of the trees.", rich_help_panel=_FILES),
    ] = None,
    pdf: Annotated[
        Path | None, typer.Option("--pdf", help="Write the planting sheet.", rich_help_panel=_FILES)
    ] = None,
    html: Annotated[
        Path | None, typer.Option("--html", help="Write the planting sheet.", rich_help_panel=_FILES)
    ] = None,
    paper: Annotated[str, typer.Option("--paper", help="A4 or Letter.", rich_help_panel=_FILES)] = "A4",
    as_json: opt.AsJson = False,
    units: opt.UnitsOption = "metric",
) -> None:
    """Choose trees that pollinate each other and ripen in sequence, and say how to plant them.

    For example: orchardwright plan --place "Bristol, England" --crop apple --crop european-pear --trees 6
    """
    view = as_units(units)
    catalog = console.catalog()
    changes: tuple[str, ...] = ()
    if open_file is not None:
        from recommender.orchard.plan_file import open_plan

        found = open_plan(open_file, catalog)
        plan, changes = found.plan, found.changes
    else:
        answers = groups.answers_of(view, where, room, ground, near)
        wishes = opt.given(
            crops=crop,
            uses=use,
            seasons=season,
            max_height_m=metres(max_height, view),
            preset=preset,
        )
        asked = opt.given(
            trees=trees,
            fixed=fix,
            dropped=drop,
            quotas=_pairs(quota, "--quota") or None,
            store_to=store_to,
            budget=budget,
            prices=_prices(price) or None,
            style=style,
            in_row_m=metres(in_row, view),
            **_span(fresh),
        )
        plan = _composed(catalog, where.site, answers, wishes, asked, _sides(plot, view))
    _write_files(plan, catalog, save, calendar, pdf, html, paper, year, view)
    if as_json:
        console.write_json({**plan.record(), "changes": list(changes)})
    else:
        print_plan(plan, changes, view)


def _composed(
    catalog: Catalog,
    path: Path | None,
    answers: dict[str, Any],
    wishes: dict[str, Any],
    asked: dict[str, Any],
    sides: dict[str, float],
) -> Plan:
    from recommender import PlantingWishes, Plot, compose

    kept = {} if path is None else PlantingWishes.answers_in(path)
    held = {} if path is None else Plot.answers_in(path)
    return compose(
        groups.site_from(path, answers),
        groups.goals_from(path, wishes),
        PlantingWishes(**{**kept, **asked}),
        Plot(**(sides or held)) if sides or held else None,
        catalog,
    )


def _pairs(given: list[str] | None, option: str) -> dict[str, str]:
    out = {}
    for text in given or ():
        name, sign, value = text.rpartition("=")
        if not sign or not name.strip() or not value.strip():
            raise BadInput(f"“{text}” is no pair", where=option, remedy="Write a name, = and a number")
        out[name.strip()] = value.strip()
    return out


def _prices(given: list[str] | None) -> dict[str, float]:
    out = {}
    for name, value in _pairs(given, "--price").items():
        try:
            out[name] = float(value)
        except ValueError:
            raise BadInput(f"“{value}” is no price", where="--price", remedy="Write it in figures") from None
    return out


def _span(text: str | None) -> dict[str, str]:
    if text is None:
        return {}
    first, dots, last = text.partition("..")
    if not dots:
        raise BadInput(f"“{text}” is no span of dates", where="--fresh", remedy="Write 07-15..10-31")
    return {"fresh_from": first.strip(), "fresh_to": last.strip()}


def _sides(text: str | None, units: Units) -> dict[str, float]:
    if text is None:
        return {}
    try:
        width, depth = (float(part) for part in text.lower().replace("×", "x").split("x"))
    except ValueError:
        raise BadInput(f"“{text}” is no size of a plot", where="--plot", remedy="Write 14x12") from None
    return {"width_m": float(metres(width, units) or 0), "depth_m": float(metres(depth, units) or 0)}


def _write_files(
    plan: Plan,
    catalog: Catalog,
    save: Path | None,
    calendar: Path | None,
    pdf: Path | None,
    html: Path | None,
    paper: str,
    year: int | None,
    units: Units,
) -> None:
    from recommender.orchard import papers
    from recommender.orchard.plan_file import save_plan

    if save is not None:
        save_plan(plan, save)
    season = year if year is not None else date.today().year + 1
    if not 1900 <= season <= 2200:
        raise BadInput(f"{season} is no growing season", where="--year", remedy="Give a year, such as 2027")
    if calendar is not None:
        write_whole(calendar, papers.calendar_of(plan, catalog, season).encode())
    if pdf is not None:
        write_whole(pdf, papers.pdf_of(plan, catalog, paper, units))
    if html is not None:
        write_whole(html, papers.html_of(plan, catalog, units).encode())


def print_plan(plan: Plan, changes: tuple[str, ...], units: Units) -> None:
    """The plan as text: trees with donors and dates, cover, proof, alternatives."""
    from recommender.orchard.notes import notes_for

    console.write(console.wrapped(plan.place))
    for change in changes:
        console.write(console.wrapped(change, "  "))
    for number, tree in enumerate(plan.trees, start=1):
        _print_tree(number, tree, units)
    console.write()
    for sentence in plan.summary():
        console.write(console.wrapped(sentence))
    for note in notes_for(plan, units):
        console.write(console.wrapped(note))
    for title, offers in (("Or, nearly as good", plan.alternatives), ("For one tree also", plan.one_tree)):
        if offers:
            console.write(f"\n{console.bold(title)}")
            for offer in offers:
                console.write(console.wrapped(_set_words(offer), "  ", "    "))


def _set_words(offer: Measured) -> str:
    names = ", ".join(plain(name.partition(":")[2]) for name in offer.trees)
    return f"{names}: {offer.harvest_cover:.0%} of the weeks"


def _print_tree(number: int, tree: PlannedTree, units: Units) -> None:
    console.write()
    stock = f" on {plain(tree.rootstock)}" if tree.rootstock else ""
    name = f"{plain(tree.variety)} ({crop_in_sentence(tree.crop)}){stock}"
    lock = ", kept" if tree.locked else ""
    console.write(console.bold(f"{number:>3}  {MARKS[tree.verdict]} {name}{lock}"))
    lines = [("pollen", tree.pollination)]
    if tree.grafted_with:
        lines.append(
            ("grafted", f"with {', '.join(plain(other) for other in tree.grafted_with)} on one tree")
        )
    if tree.harvest is not None:
        span = f"{day_words(tree.harvest.first, units)} to {day_words(tree.harvest.last, units)}"
        doubt = "" if tree.harvest.error_d is None else f", give or take {round(tree.harvest.error_d)} days"
        lines.append(("picked", span + doubt))
    where = ""
    if tree.x is not None and tree.y is not None:
        where = f"{length_words(tree.x, units)} from the left, {length_words(tree.y, units)} up; "
    lines.append(("place", f"{where}{length_words(tree.spacing_m, units)} from the next tree"))
    for label, text in lines:
        console.write(console.wrapped(text, f"     {label:<8}"))
