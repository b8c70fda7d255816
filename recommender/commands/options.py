"""The options that more than one command has: what each is called, holds and says of itself.

Lengths are metres and volumes litres; with `--units imperial` they are feet and US gallons. Options that are
answered together stand as groups in `groups.py`.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from recommender.errors import BadInput

_WHERE = "Where"
_PLOT = "The spot"
_WISHES = "What you want"
_OUT = "Output"

Variety = Annotated[str, typer.Argument(help="Variety, or crop:variety.", show_default=False)]
CropOfVariety = Annotated[str | None, typer.Option("--crop", help="Its crop, where two share the name.")]
Place = Annotated[
    str | None,
    typer.Option("--place", help="Town or village, country after a comma.", rich_help_panel=_WHERE),
]
Lat = Annotated[float | None, typer.Option("--lat", help="Latitude, south negative.", rich_help_panel=_WHERE)]
Lon = Annotated[float | None, typer.Option("--lon", help="Longitude, west negative.", rich_help_panel=_WHERE)]
Elevation = Annotated[
    float | None,
    typer.Option("--elevation", help="Height above the sea, in metres (or feet).", rich_help_panel=_WHERE),
]
Zone = Annotated[
    str | None, typer.Option("--zone", help="USDA hardiness zone, such as 7b.", rich_help_panel=_WHERE)
]
ChillHours = Annotated[
    float | None,
    typer.Option(
        "--chill-hours", help="Usual winter chill, hours at or below 7.2 °C (45 °F).", rich_help_panel=_WHERE
    ),
]
SiteFile = Annotated[
    Path | None,
    typer.Option(
        "--site", help="Site file (TOML or JSON); options given beside it win.", rich_help_panel=_WHERE
    ),
]
Soil = Annotated[
    str | None,
    typer.Option("--soil", help="unknown, sand, loam, clay or chalk.", rich_help_panel=_PLOT),
]
Wetness = Annotated[
    str | None, typer.Option("--wetness", help="unknown, wet, normal or dry.", rich_help_panel=_PLOT)
]
Frost = Annotated[
    str | None,
    typer.Option("--frost", help="usual, hollow (cold air gathers) or sheltered.", rich_help_panel=_PLOT),
]
Space = Annotated[
    float | None,
    typer.Option("--space", help="Width for each tree, in metres (or feet).", rich_help_panel=_PLOT),
]
Container = Annotated[
    float | None,
    typer.Option(
        "--container", help="Grown in a pot of this many litres (or gallons).", rich_help_panel=_PLOT
    ),
]
Existing = Annotated[
    list[str] | None,
    typer.Option(
        "--existing",
        help="A tree already near by, such as apple:Discovery; repeatable.",
        rich_help_panel=_PLOT,
    ),
]
Neighbours = Annotated[
    str | None,
    typer.Option("--neighbours", help="Fruit trees next door: unknown, yes or no.", rich_help_panel=_PLOT),
]
Crops = Annotated[
    list[str] | None,
    typer.Option("--crop", help="Crop to look at, such as apple; repeatable.", rich_help_panel=_WISHES),
]
Uses = Annotated[
    list[str] | None,
    typer.Option(
        "--use",
        help="fresh, cooking, cider, juice, jam, canning, drying or oil; repeatable.",
        rich_help_panel=_WISHES,
    ),
]
Seasons = Annotated[
    list[str] | None,
    typer.Option("--season", help="early, mid or late fruit; repeatable.", rich_help_panel=_WISHES),
]
Storage = Annotated[
    float | None, typer.Option("--storage", help="Should keep this many weeks.", rich_help_panel=_WISHES)
]
MaxHeight = Annotated[
    float | None,
    typer.Option("--max-height", help="No taller than this, metres (or feet).", rich_help_panel=_WISHES),
]
Preset = Annotated[
    str | None, typer.Option("--preset", help="beginner, keen or nursery.", rich_help_panel=_WISHES)
]
Skin = Annotated[
    list[str] | None,
    typer.Option("--skin", help="Colour of skin, such as red; repeatable.", rich_help_panel=_WISHES),
]
Flesh = Annotated[
    list[str] | None,
    typer.Option("--flesh", help="Colour of flesh, such as white; repeatable.", rich_help_panel=_WISHES),
]
FruitSize = Annotated[
    list[str] | None,
    typer.Option(
        "--fruit-size", help="small, medium, large or very-large; repeatable.", rich_help_panel=_WISHES
    ),
]
MaxYears = Annotated[
    float | None,
    typer.Option("--max-years", help="Should bear within this many years.", rich_help_panel=_WISHES),
]
LowSpray = Annotated[
    bool, typer.Option("--low-spray", help="Resistance to disease counts more.", rich_help_panel=_WISHES)
]
Native = Annotated[
    bool, typer.Option("--native", help="Prefer what is native to the country.", rich_help_panel=_WISHES)
]
Household = Annotated[
    bool,
    typer.Option(
        "--pets-or-children", help="Prefer crops without cautions for them.", rich_help_panel=_WISHES
    ),
]
WillCover = Annotated[
    bool,
    typer.Option("--will-cover", help="I will wrap tender trees every winter.", rich_help_panel=_WISHES),
]
Top = Annotated[int, typer.Option("--top", min=1, help="How many to show.", rich_help_panel=_OUT)]
Everything = Annotated[
    bool, typer.Option("--all", help="Show every variety, sports too.", rich_help_panel=_OUT)
]
AsJson = Annotated[
    bool, typer.Option("--json", help="One JSON object, always in metric.", rich_help_panel=_OUT)
]
AsCsv = Annotated[bool, typer.Option("--csv", help="CSV, always in metric.", rich_help_panel=_OUT)]
UnitsOption = Annotated[str, typer.Option("--units", help="metric or imperial.", rich_help_panel=_OUT)]


def given(**answers: object) -> dict[str, Any]:
    """Only the answers that were given: no None, no switch left off, no empty list; lists as tuples."""
    return {
        name: tuple(answer) if isinstance(answer, list) else answer
        for name, answer in answers.items()
        if answer is not None and answer is not False and answer != []
    }


def one_format(as_json: bool, as_csv: bool) -> None:
    """BadInput if two output formats are asked for at once."""
    if as_json and as_csv:
        raise BadInput("Only one of --json and --csv can be printed", remedy="Leave one of the two out")
