"""`orchardwright bloom`: when varieties bloom at a place or under a weather record, year by year."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from recommender.commands import console, groups
from recommender.commands import options as opt
from recommender.errors import BadInput
from recommender.wording import as_units, crop_in_sentence, day_words, metres, plain, rows

if TYPE_CHECKING:
    from recommender.climate.profile import Profile

WeatherFile = Annotated[
    Path | None,
    typer.Option(
        "--weather",
        help="Weather file instead of a place (daily CSV, GHCN-Daily, EPW, TMY3); --lat where it has none.",
        rich_help_panel="Where",
    ),
]
OneCrop = Annotated[
    str | None,
    typer.Option("--crop", help="Crop to look at, such as apple.", rich_help_panel="What you want"),
]
OneVariety = Annotated[
    str | None, typer.Option("--variety", help="Only this variety.", rich_help_panel="What you want")
]


@groups.spread
def command(
    *,
    where: groups.Where,
    weather: WeatherFile = None,
    crop: OneCrop = None,
    variety: OneVariety = None,
    as_json: opt.AsJson = False,
    units: opt.UnitsOption = "metric",
) -> None:
    """Show when varieties bloom, year by year, and how sure that is.

    --json prints one list with a record for each variety and year. Years are those of the weather file; under
    made-up weather of a place the seasons are numbered on from 2001.

    For example: orchardwright bloom --place "Hereford, England" --crop apple --variety Discovery
    """
    from recommender.biology.bloom_table import (
        FIRST_MADE_UP_YEAR,
        bloom_records,
        bloom_summary,
        made_up_years,
    )

    view = as_units(units)
    if weather is not None:
        others = (where.place, where.zone, where.chill_hours, where.site)
        other = next((each for each in others if each is not None), None)
        profile, about = _from_weather(weather, where.lat, where.lon, metres(where.elevation, view), other)
    else:
        profile, about = groups.climate_for(where.site, where.answers(view))
    catalog = console.catalog()
    traits = catalog.traits()
    wanted = catalog.resolve_crop(crop) if crop else None
    if variety:
        wanted, name = catalog.resolve(variety, wanted)
        traits = traits[traits["variety"] == name]
    if wanted:
        traits = traits[traits["crop"] == wanted]
    traits = traits.reset_index(drop=True)
    if as_json:
        from recommender.outputs import frame_records

        console.write_json(frame_records(bloom_records(traits, profile)))
        return
    summary = bloom_summary(traits, profile)
    console.write(console.bold(f"{'Variety':<34}  {'full bloom':<14}  {'8 years in 10':<26}  give or take"))
    for row in rows(summary):
        name = (
            f"{plain(row.variety)} ({crop_in_sentence(row.crop)})" if wanted is None else plain(row.variety)
        )
        if row.middle is None:
            console.write(f"{name:<34}  no bloom in most years")
            continue
        middle, early, late = (day_words(date, view) for date in (row.middle, row.early, row.late))
        console.write(f"{name[:34]:<34}  {middle:<14}  {f'{early} to {late}':<26}  {row.error_days:.0f} days")
        if row.short_of_chill > 0:
            console.write(
                console.wrapped(
                    f"too little chill in {row.short_of_chill:.0%} of winters: bloom late, straggling, poor",
                    "    ",
                )
            )
    console.write()
    if made_up_years(profile):
        console.write(
            console.wrapped(
                f"The {len(profile.year)} seasons are made-up weather of this climate, no particular years; "
                f"in --json season 1 bears the year {FIRST_MADE_UP_YEAR}."
            )
        )
    for sentence in about["made_from"]:
        console.write(console.wrapped(sentence))


def _from_weather(
    path: Path,
    lat: float | None,
    lon: float | None,
    elevation: float | None,
    other: object,
) -> tuple[Profile, dict[str, Any]]:
    from recommender.climate.profile import profile_of_record
    from recommender.climate.weather import read_weather

    if other is not None:
        raise BadInput(
            "A weather record stands in for the place",
            remedy="Leave out --place, --zone, --chill-hours and --site",
        )
    profile = profile_of_record(read_weather(path, lat=lat), lat, lon, elevation)
    return profile, {"made_from": list(profile.made_from)}
