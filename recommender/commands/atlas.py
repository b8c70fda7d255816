"""`orchardwright atlas run FOLDER` and `orchardwright atlas query FOLDER`: many sites at once."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from recommender.commands import console
from recommender.commands import options as opt
from recommender.errors import BadInput
from recommender.wording import plain

if TYPE_CHECKING:
    import pandas as pd

app = typer.Typer(help="Score every variety at very many sites, and ask the result.", no_args_is_help=True)
_SITES = "Which sites"
_HOW = "How"

Folder = Annotated[Path, typer.Argument(help="Folder of the atlas.", show_default=False)]


@app.command("run")
def run(
    folder: Folder,
    country: Annotated[
        str | None,
        typer.Option("--country", help="All places of a country, or `all`.", rich_help_panel=_SITES),
    ] = None,
    people: Annotated[
        int, typer.Option("--people", min=0, help="Places with so many people.", rich_help_panel=_SITES)
    ] = 0,
    listed: Annotated[
        Path | None,
        typer.Option(
            "--list", help="CSV or XLSX with place, or lat and lon, a line a site.", rich_help_panel=_SITES
        ),
    ] = None,
    grid: Annotated[
        float | None,
        typer.Option("--grid", help="Points on land every so many degrees.", rich_help_panel=_SITES),
    ] = None,
    bounds: Annotated[
        str | None,
        typer.Option("--bounds", help="West,south,east,north of the grid.", rich_help_panel=_SITES),
    ] = None,
    crops: opt.Crops = None,
    preset: opt.Preset = None,
    neighbours: Annotated[
        str,
        typer.Option(
            "--neighbours", help="Pollen partners near by: yes, no or unknown.", rich_help_panel=_HOW
        ),
    ] = "yes",
    warming: Annotated[
        list[float] | None,
        typer.Option("--warming", help="Degrees warmer; repeatable, 0 is today.", rich_help_panel=_HOW),
    ] = None,
    workers: Annotated[
        int | None,
        typer.Option(
            "--workers", min=0, help="Processes, one a core; 0 for none, without Dask.", rich_help_panel=_HOW
        ),
    ] = None,
    scheduler: Annotated[
        str | None,
        typer.Option("--scheduler", help="Address of a Dask scheduler that runs.", rich_help_panel=_HOW),
    ] = None,
    block: Annotated[
        int, typer.Option("--block", min=1, help="Sites in one part.", rich_help_panel=_HOW)
    ] = 256,
    as_json: opt.AsJson = False,
) -> None:
    """Score every variety at many sites. A run that was stopped goes on where it was.

    For example: orchardwright atlas run britain --country GB --warming 0 --warming 2
    """
    from recommender.atlas import run as running
    from recommender.atlas import sites
    from recommender.suitability.site import Site

    answers = {"lat": 0.0, "lon": 0.0, "neighbours_have_fruit_trees": neighbours}
    partners = Site.model_validate(answers).neighbours_have_fruit_trees
    asked = [country is not None, listed is not None, grid is not None]
    if sum(asked) != 1:
        raise BadInput(
            "The sites are not given once",
            remedy="Give one of --country NAME, --list FILE, or --grid STEP with --bounds",
        )
    if country is not None:
        found = sites.country_sites(None if country.casefold() == "all" else country, people)
    elif listed is not None:
        found = sites.listed_sites(listed)
    else:
        found = sites.grid_sites(float(grid or 0.0), _bounds(bounds))
    try:
        with console.progress("Scoring") as report:
            done = running.run(
                folder,
                found,
                crops=crops or (),
                neighbours=partners,
                warming=warming or (0.0,),
                workers=workers,
                scheduler=scheduler,
                block=block,
                progress=report,
                **opt.given(preset=preset),
            )
    except KeyboardInterrupt:
        sys.stderr.write("Stopped. The same command goes on where this ended.\n")
        raise typer.Exit(130) from None
    if as_json:
        console.write_json(done)
        return
    where = plain(done.folder)
    console.write(console.bold(f"{done.pairs:,} scores at {done.sites:,} sites in {where}"))
    if done.kept:
        console.write(f"{done.kept} of {done.kept + done.parts} parts were done before.")
    if done.without_climate:
        first = done.without_climate[0]
        console.write(
            console.wrapped(
                f"{len(done.without_climate)} sites have no climate and no scores, such as {first['name']}: "
                f"{first['why']}"
            )
        )
    held = done.about.crops
    crop = held[0] if held and "apple" not in held else "apple"
    # Not broken into lines, so that it can be copied.
    console.write(f"Ask it: orchardwright atlas query {shlex.quote(where)} sound --crop {crop}")


def _bounds(text: str | None) -> tuple[float, float, float, float]:
    try:
        west, south, east, north = (float(part) for part in (text or "").split(","))
    except ValueError:
        raise BadInput(
            "A grid needs its bounds", where="--bounds", remedy="Write west,south,east,north: -6,50,2,59"
        ) from None
    return west, south, east, north


@app.command("query")
def query(
    folder: Folder,
    question: Annotated[str, typer.Argument(help="where, sound, change or varieties.", show_default=False)],
    crop: Annotated[str, typer.Option("--crop", help="Crop, such as apple.")],
    variety: Annotated[str | None, typer.Option("--variety", help="Variety, for `where`.")] = None,
    warming: Annotated[
        float | None, typer.Option("--warming", help="Degrees warmer; 2 for `change` if left out.")
    ] = None,
    top: opt.Top = 15,
    picture: Annotated[
        Path | None, typer.Option("--map", help="Draw the map to this .html, .svg or .png.")
    ] = None,
    as_json: opt.AsJson = False,
    as_csv: opt.AsCsv = False,
) -> None:
    """Ask an atlas: where is a variety sound, how many sound varieties has each place, what changes warmer.

    For example: orchardwright atlas query britain where --crop apple --variety Discovery
    """
    from recommender.atlas.questions import Atlas

    opt.one_format(as_json, as_csv)
    atlas = Atlas(folder)
    if question == "where":
        if variety is None:
            raise BadInput("Which variety?", remedy="Give --variety NAME")
        found = atlas.where(crop, variety, warming or 0.0)
        said = f"{variety} ({crop}) is sound at {len(found):,} of {atlas.about.sites:,} places"
    elif question == "sound":
        found = atlas.sound_by_place(crop, warming or 0.0)
        said = f"Sound varieties of {crop} at {len(found):,} places"
    elif question in ("change", "varieties"):
        by = "place" if question == "change" else "variety"
        degrees = 2.0 if warming is None else warming
        found = atlas.change(crop, degrees, by=by)
        said = f"What is sound of {crop} now and {degrees:g} degrees warmer, by {by}"
    else:
        raise BadInput(f"“{question}” is not a question", remedy="Ask where, sound, change or varieties")
    if picture is not None:
        _draw(found, question, picture, said)
    if as_json:
        console.write_json(found.to_dict("records"))
    elif as_csv:
        console.write_csv(found)
    else:
        _print(found, said, top, atlas.share_done)


def _draw(found: pd.DataFrame, question: str, picture: Path, said: str) -> None:
    from recommender.charts_atlas import atlas_map
    from recommender.drawing_files import save_chart

    if question == "varieties":
        raise BadInput("There is no map of varieties", remedy="Draw where, sound or change")
    drawn = atlas_map(found, question, said)
    if drawn is None:
        raise BadInput("There is no place to draw", remedy="Ask for another variety or crop")
    save_chart(drawn.chart, picture)


def _print(found: pd.DataFrame, said: str, top: int, share: float) -> None:
    console.write(console.bold(plain(said)))
    if share < 1.0:
        console.write(f"Only {share:.0%} of the atlas is done.")
    shown = found.head(top).copy()
    for name in ("score", "best_score", "score_change"):
        if name in shown:
            shown[name] = shown[name].round(3)
    texts = shown.select_dtypes(exclude="number").columns
    shown[texts] = shown[texts].map(plain)
    keep = [name for name in shown if name not in ("site", "lat", "lon", "elevation_m", "population")]
    if len(shown):
        console.write(shown[keep].to_string(index=False))
