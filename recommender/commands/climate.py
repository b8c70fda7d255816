"""`orchardwright climate`: winters, chill, frosts and warmth of a place, today and warmer, with doubt."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from recommender.commands import console, groups
from recommender.commands import options as opt
from recommender.errors import BadInput
from recommender.wording import (
    CLIMATE_FIGURES,
    Units,
    as_units,
    metres,
    place_sentence,
    plain,
    span_words,
    zone_span_words,
)

if TYPE_CHECKING:
    from recommender.climate.adjustments import Adjustments
    from recommender.climate.places import PlaceMatch
    from recommender.climate.profile import Profile

_SPOT = "The spot itself (common practice; see docs/site-adjustments.md)"
_LATER = "Later years"

Weather = Annotated[
    Path | None,
    typer.Option(
        "--weather",
        help="A weather file instead of the built-in climate; --lat where it gives none.",
        rich_help_panel="Where",
    ),
]
Warming = Annotated[
    str | None,
    typer.Option(
        "--warming",
        help="Every figure today and so many °C warmer: 2, or by season 2,1.5,2.5,2 (Dec-Feb, Mar-May, ...).",
        rich_help_panel=_LATER,
    ),
]
Hollow = Annotated[bool, typer.Option("--frost-hollow", help="Cold air gathers here.", rich_help_panel=_SPOT)]
Slope = Annotated[
    float, typer.Option("--slope", help="How steep it is, in degrees; with --aspect.", rich_help_panel=_SPOT)
]
Aspect = Annotated[
    str | None, typer.Option("--aspect", help="Where the slope faces: N, NE ... NW.", rich_help_panel=_SPOT)
]
Wall = Annotated[
    str | None,
    typer.Option("--wall", help="Where the wall behind the tree faces: N, NE ... NW.", rich_help_panel=_SPOT),
]
Coast = Annotated[bool, typer.Option("--coast", help="Within sight of the sea.", rich_help_panel=_SPOT)]
City = Annotated[bool, typer.Option("--city", help="Among many buildings.", rich_help_panel=_SPOT)]
Higher = Annotated[
    float,
    typer.Option(
        "--higher",
        help="Metres (or feet) above the place or station, or below.",
        rich_help_panel=_SPOT,
    ),
]
Fleece = Annotated[
    bool, typer.Option("--fleece", help="Covered with fleece on cold nights.", rich_help_panel=_SPOT)
]
Save = Annotated[
    Path | None,
    typer.Option("--save", help="Write every season to this .json or .parquet.", rich_help_panel="Output"),
]


@groups.spread
def command(
    *,
    where: groups.Where,
    weather: Weather = None,
    warming: Warming = None,
    frost_hollow: Hollow = False,
    slope: Slope = 0.0,
    aspect: Aspect = None,
    wall: Wall = None,
    coast: Coast = False,
    city: City = False,
    higher: Higher = 0.0,
    fleece: Fleece = False,
    save: Save = None,
    as_json: opt.AsJson = False,
    units: opt.UnitsOption = "metric",
) -> None:
    """Show the climate of a place as a tree meets it.

    For example: orchardwright climate --place "Bristol, England" --warming 2
    """
    from recommender.climate.adjustments import Adjustments
    from recommender.climate.warming import typed_offsets

    view = as_units(units)
    spot = Adjustments(
        frost_hollow=frost_hollow,
        slope_deg=slope,
        aspect=aspect,
        wall=wall,
        coast=coast,
        city=city,
        higher_m=metres(higher, view) or 0.0,
        fleece=fleece,
    )
    later = typed_offsets(warming) if warming else None
    _check_ending(save)
    if weather is not None:
        if where.place or where.zone or where.chill_hours is not None or where.site:
            raise BadInput(
                "The climate is asked for twice, from a weather file and from somewhere else",
                where="--weather",
                remedy="Keep --weather (with --lat, --lon and --elevation) or the other, not both",
            )
        point = (where.lat, where.lon, metres(where.elevation, view))
        today, then, about = _of_file(weather, point, spot, later)
        sentence = f"Took the weather of {weather.name}."
    else:
        today, then, about = _of_site(where, view, spot, later)
        sentence = place_sentence(about, view)
    if save is not None:
        (today.to_json if save.suffix.lower() == ".json" else today.to_parquet)(save)
    if as_json:
        told: dict[str, Any] = {**about, **today.summary()}
        if then is not None:
            told["warmer"] = then.summary()
        console.write_json(told)
        return
    console.write(console.wrapped(sentence))
    if then is None:
        _write_one(today.summary(), view)
    else:
        _write_both(today.summary(), then.summary(), view)
    console.write()
    for sentence in (then or today).made_from:
        console.write(console.wrapped(sentence))


def _check_ending(save: Path | None) -> None:
    if save is not None and save.suffix.lower() not in (".json", ".parquet"):
        raise BadInput(
            f"“{save.name}” is no kind of file known here",
            where="--save",
            remedy="End it in .json or .parquet",
        )


def _of_file(
    path: Path,
    point: tuple[float | None, float | None, float | None],
    spot: Adjustments,
    later: tuple[float, ...] | None,
) -> tuple[Profile, Profile | None, dict[str, Any]]:
    from recommender.climate.profile import profile_of_record
    from recommender.climate.weather import read_weather

    with console.progress("Reading the weather"):
        record = read_weather(path, lat=point[0])
        today = profile_of_record(record, *point, adjustments=spot)
        then = profile_of_record(record, *point, warming_degC=later, adjustments=spot) if later else None
    return today, then, {"weather_file": str(path), "station": record.station_name or record.station_id}


def _of_site(
    where: groups.Where, view: Units, spot: Adjustments, later: tuple[float, ...] | None
) -> tuple[Profile, Profile | None, dict[str, Any]]:
    site = groups.site_from(where.site, where.answers(view))
    from recommender.suitability.ranking import site_as_understood
    from recommender.suitability.site import climate_of

    match: PlaceMatch | None
    with console.progress("Working out the climate"):
        today, match = climate_of(site, spot)
        then = climate_of(site, spot, later)[0] if later else None
    understood = site_as_understood(site, today, match)
    return today, then, {name: part for name, part in understood.items() if name != "figures"}


def _write_one(figures: Mapping[str, Any], view: Units) -> None:
    console.write(f"Hardiness zone (USDA): {zone_span_words(figures)}\n")
    console.write(console.bold(f"{'':<39} {'usual':<13} 8 winters in 10"))
    for name, (label, unit) in CLIMATE_FIGURES.items():
        usual, span = span_words(figures[name], unit, view)
        console.write(f"{label:<39} {usual:<13} {span}".rstrip())


def _write_both(today: Mapping[str, Any], then: Mapping[str, Any], view: Units) -> None:
    """Each figure today and, below it, in the warmer years; in brackets what 8 winters in 10 lie between."""
    console.write()
    console.write(console.bold("Hardiness zone (USDA)"))
    for when, figures in (("today", today), ("warmer", then)):
        console.write(f"  {when:<8}{zone_span_words(figures)}")
    for name, (label, unit) in CLIMATE_FIGURES.items():
        console.write(console.bold(label))
        for when, figures in (("today", today), ("warmer", then)):
            usual, span = span_words(figures[name], unit, view)
            console.write(f"  {when:<8}{usual}{f' ({plain(span)})' if span else ''}")
