"""`orchardwright bloom`: when varieties bloom at a place or under a weather record, year by year."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from recommender.commands import console
from recommender.commands import options as opt
from recommender.errors import BadInput, StorageFault
from recommender.wording import as_units, crop_in_sentence, day_words, metres, plain, rows

if TYPE_CHECKING:
    import pandas as pd

    from recommender.climate.profile import Profile

WeatherFile = Annotated[
    Path | None,
    typer.Option(
        "--weather",
        help="Daily record (CSV: date, tmin_degC, tmax_degC) instead of a place; needs --lat.",
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
LONGEST_FILLED_D = 5
_COLUMNS = ("date", "tmin_degC", "tmax_degC")


def command(
    place: opt.Place = None,
    lat: opt.Lat = None,
    lon: opt.Lon = None,
    elevation: opt.Elevation = None,
    zone: opt.Zone = None,
    chill_hours: opt.ChillHours = None,
    site: opt.SiteFile = None,
    weather: WeatherFile = None,
    crop: OneCrop = None,
    variety: OneVariety = None,
    as_json: opt.AsJson = False,
    units: opt.UnitsOption = "metric",
) -> None:
    """Show when varieties bloom, year by year, and how sure that is.

    For example: orchardwright bloom --place "Hereford, England" --crop apple --variety Discovery
    """
    from recommender import open_catalog
    from recommender.biology.bloom_table import bloom_records, bloom_summary

    view = as_units(units)
    if weather is not None:
        profile, about = _from_weather(weather, lat, lon, elevation, place, zone, site)
    else:
        answers = opt.given(
            place=place,
            lat=lat,
            lon=lon,
            elevation_m=metres(elevation, view),
            zone=zone,
            chill_hours=chill_hours,
        )
        profile, about = _from_site(site, answers)
    with console.progress("Opening the catalog") as report:
        catalog = open_catalog(progress=report)
    traits = catalog.traits()
    wanted = catalog.resolve_crop(crop) if crop else None
    if variety:
        wanted, name = catalog.resolve(variety, wanted)
        traits = traits[traits["variety"] == name]
    if wanted:
        traits = traits[traits["crop"] == wanted]
    traits = traits.reset_index(drop=True)
    if as_json:
        from recommender.outputs import frame_records, json_text

        records = frame_records(bloom_records(traits, profile))
        console.write(json_text({"site": about, "records": records}).rstrip("\n"))
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
    for sentence in about["made_from"]:
        console.write(console.wrapped(sentence))


def _from_site(path: Path | None, answers: dict[str, Any]) -> tuple[Profile, dict[str, Any]]:
    from recommender.suitability.ranking import site_as_understood
    from recommender.suitability.site import climate_of

    where = opt.site_from(path, answers)
    with console.progress("Working out the climate"):
        profile, match = climate_of(where)
    return profile, dict(site_as_understood(where, profile, match))


def _from_weather(
    path: Path,
    lat: float | None,
    lon: float | None,
    elevation: float | None,
    place: str | None,
    zone: str | None,
    site: Path | None,
) -> tuple[Profile, dict[str, Any]]:
    from recommender.climate.profile import profile_from_daily

    if lat is None:
        raise BadInput("A weather record needs its latitude", where="--weather", remedy="Give --lat as well")
    if place or zone or site:
        raise BadInput(
            "A weather record stands in for the place", remedy="Leave out --place, --zone and --site"
        )
    profile = profile_from_daily(read_daily(path), lat, lon, elevation)
    return profile, {"weather": path.name, "made_from": list(profile.made_from), **profile.summary()}


def read_daily(path: Path) -> pd.DataFrame:
    """A daily record: columns date, tmin_degC, tmax_degC, one row a day.

    A minimum above its maximum (thermometers read at different hours) changes places with it; gaps of up to
    five days are filled along a straight line; longer ones stay gaps, and cost their season.
    Raises StorageFault if the file cannot be read, BadInput (with the line) if a cell cannot.
    """
    import pandas as pd

    try:
        frame = pd.read_csv(path, dtype=str, keep_default_na=False)
    except OSError as fault:
        raise StorageFault(
            f"The weather record cannot be read ({fault.strerror})", where=str(path), remedy="Name a CSV file"
        ) from fault
    except (UnicodeDecodeError, pd.errors.ParserError, pd.errors.EmptyDataError) as fault:
        raise BadInput("The weather record is no CSV table in UTF-8", where=str(path)) from fault
    frame.columns = [str(name).strip().removeprefix("\ufeff") for name in frame.columns]
    if missing := [name for name in _COLUMNS if name not in frame]:
        raise BadInput(
            f"The weather record has no column {', '.join(missing)}",
            where=str(path),
            remedy="Name the columns date, tmin_degC and tmax_degC",
        )
    text = frame[list(_COLUMNS)].apply(lambda column: column.str.strip())
    out = pd.DataFrame({"date": pd.to_datetime(text["date"], format="%Y-%m-%d", errors="coerce")})
    for name in _COLUMNS[1:]:
        out[name] = pd.to_numeric(text[name], errors="coerce").astype(float)
    absent = text.isin(["", "NA", "NaN", "nan"])
    wrong = (out.isna() & ~absent) | pd.DataFrame(
        {name: out[name].abs() > 70.0 for name in _COLUMNS[1:]}
    ).reindex(columns=out.columns, fill_value=False)
    wrong["date"] |= out["date"].isna()
    if wrong.any(axis=None):
        line = int(wrong.any(axis=1).to_numpy().argmax())
        column = str(wrong.columns[wrong.iloc[line]][0])
        raise BadInput(
            f"“{text.iloc[line][column]}” is no {'date' if column == 'date' else 'temperature in degC'}",
            where=f"{path}, line {line + 2}, column {column}",
            remedy="Write dates as 2003-04-27 and temperatures in degC, and leave a missing one empty",
        )
    low, high = out["tmin_degC"], out["tmax_degC"]
    return _short_gaps_filled(
        out.assign(tmin_degC=low.where(~(low > high), high), tmax_degC=high.where(~(low > high), low))
    )


def _short_gaps_filled(record: pd.DataFrame) -> pd.DataFrame:
    """The record by day, gaps of up to five days filled; rows of longer gaps left out."""
    import pandas as pd

    if record["date"].duplicated().any() or record.empty:
        return record  # the profile says what is wrong
    by_day = record.set_index("date").sort_index().asfreq("D")
    absent = by_day.isna().any(axis=1)
    lengths = absent.groupby((absent != absent.shift()).cumsum()).transform("sum")
    filled = by_day.interpolate(limit_area="inside").where(~absent | (lengths <= LONGEST_FILLED_D))
    return pd.DataFrame(filled.dropna().reset_index())
