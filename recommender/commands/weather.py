"""`orchardwright weather check | fetch`: look at a weather file, or get one over the network.

In: a file, or a place. Out: what was found, by line number, and a plot in plain characters; or JSON.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from recommender.commands import console
from recommender.errors import BadInput
from recommender.wording import plain

if TYPE_CHECKING:
    import altair

    from recommender.climate.weather import WeatherRecord

app = typer.Typer(
    name="weather",
    help="Check a file of daily weather, or fetch the record of the nearest station.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
)

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_MARKS = {"fault": "!", "warning": "?", "note": "-"}

Units = Annotated[
    str | None,
    typer.Option(
        "--units",
        help="Unit of the temperatures, where the file is silent or wrong: degC, degF, K, tenths_degC.",
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print plain data (JSON).")]


@app.command("check")
def check(
    file: Annotated[Path, typer.Argument(help="Daily CSV, GHCN-Daily (.dly or CSV), EPW or TMY3; .gz too.")],
    units: Units = None,
    lat: Annotated[
        float | None, typer.Option("--lat", help="Latitude, where the file gives none; south negative.")
    ] = None,
    as_json: AsJson = False,
    plot: Annotated[
        Path | None, typer.Option("--plot", help="Also draw the record into this file (.html, .svg or .png).")
    ] = None,
) -> None:
    """Read a weather file and say all that is odd about it, by line number.

    For example: orchardwright weather check station.csv --units degF
    """
    from recommender.climate.weather import read_weather

    record = read_weather(file, units=units, lat=lat)
    if plot is not None:
        from recommender.drawing_files import save_chart

        save_chart(weather_chart(record), plot)
    if as_json:
        console.write_json(record.to_dict())
    else:
        console.write(report_text(record))


@app.command("fetch")
def fetch(
    place: Annotated[
        str | None, typer.Option("--place", help="Town or village, country after a comma.")
    ] = None,
    lat: Annotated[float | None, typer.Option("--lat", help="Latitude, south negative.")] = None,
    lon: Annotated[float | None, typer.Option("--lon", help="Longitude, west negative.")] = None,
    elevation: Annotated[
        float | None, typer.Option("--elevation", help="Height above the sea, in metres.")
    ] = None,
    within: Annotated[
        float, typer.Option("--within", help="How far a station may be, in kilometres.")
    ] = 150.0,
    server: Annotated[
        str | None, typer.Option("--server", help="Another copy of NOAA's GHCN-Daily folder (https).")
    ] = None,
    cache: Annotated[Path | None, typer.Option("--cache", help="Folder to keep fetched files in.")] = None,
    refresh: Annotated[
        bool, typer.Option("--refresh", help="Ask the server even if the cache has the file.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Get the daily record of the nearest suitable weather station from NOAA's GHCN-Daily. Uses the network.

    For example: orchardwright weather fetch --lat 51.45 --lon -2.6 --elevation 60
    """
    from recommender.climate.fetch import fetch_weather

    where = _point(place, lat, lon, elevation)
    with console.progress("Fetching weather") as say:
        fetched = fetch_weather(
            *where, server=server, cache=cache, refresh=refresh, max_km=within, progress=say
        )
    if as_json:
        about = {
            "station": str(fetched.station),
            "distance_km": round(fetched.station.distance_km, 1),
            "height_difference_m": fetched.station.height_difference_m,
            "kept_at": str(fetched.file.path),
            "sha256": fetched.file.sha256,
            "from_cache": fetched.file.from_cache,
            "candidates": [str(station) for station in fetched.candidates],
            "notes": list(fetched.notes),
        }
        console.write_json(fetched.record.to_dict() | about)
        return
    lines = [f"Station: {fetched.station}", *fetched.notes]
    others = [f"  {station}" for station in fetched.candidates if station.id != fetched.station.id]
    if others:
        lines += ["Others that would do:", *others]
    lines += [
        f"Kept at {fetched.file.path}",
        f"SHA-256 {fetched.file.sha256}",
        "",
        report_text(fetched.record),
    ]
    console.write(plain("\n".join(lines)))


def _point(
    place: str | None, lat: float | None, lon: float | None, elevation: float | None
) -> tuple[float, float, float | None]:
    if place is not None and (lat is not None or lon is not None):
        raise BadInput("Both --place and --lat/--lon were given", remedy="Give one of them")
    if place is not None:
        from recommender.climate.places import find_place

        found = find_place(place)
        return found.lat, found.lon, found.elevation_m if elevation is None else elevation
    if lat is None or lon is None:
        raise BadInput(
            "It is not said where", where="--place, or --lat and --lon", remedy="Give a place or both numbers"
        )
    return lat, lon, elevation


# --- the report in words and characters ---------------------------------------------------------------------


def report_text(record: WeatherRecord) -> str:
    """The whole report: what the file is, what was found, what it is long enough for, and two plots."""
    about = record.to_dict()
    place = ", ".join(
        part
        for part in (
            record.station_name or record.station_id or "",
            f"{abs(record.lat):.2f}° {'N' if record.lat >= 0 else 'S'}" if record.lat is not None else "",
            f"{abs(record.lon):.2f}° {'E' if record.lon >= 0 else 'W'}" if record.lon is not None else "",
            f"{record.elevation_m:.0f} m" if record.elevation_m is not None else "",
        )
        if part
    )
    lines = [
        f"{record.path.name}: {record.format}, temperatures in {record.unit}",
        place or "The file does not say where its station stands.",
        f"{about['first_day']} to {about['last_day']}: {about['days']:,} days,"
        f" {about['days_with_both']:,} with minimum and maximum, {about['filled_days']:,} of them filled.",
        "",
    ]
    if not record.report:
        lines.append("Nothing odd was found.")
    for finding in record.report:
        mark = _MARKS[finding.severity]
        lines.append(console.wrapped(str(finding), f"{mark} "))
    if record.report:
        lines.append(
            f"  ({_MARKS['fault']} fault, {_MARKS['warning']} mind this, {_MARKS['note']} for information)"
        )
    lines += ["", "Long enough for", *_figure_lines(record), "", *month_plot(record), "", *year_plot(record)]
    return plain("\n".join(lines))


def _figure_lines(record: WeatherRecord) -> list[str]:
    part = {"winter": "winters", "summer": "summers", "year": "years"}
    return [
        f"  {'yes' if row['enough'] else 'no ':<4}{row['figure']}: needs {row['needs']} whole"
        f" {part[row['part']]},"
        f" has {row['has']} ({row['basis']})"
        for row in record.figures().to_dict("records")
    ]


def month_plot(record: WeatherRecord, width: int = 60) -> list[str]:
    """A bar a month: `.` lowest to highest, `-` nine nights and days in ten, `=` mean night to mean day."""
    import numpy as np

    months = record.monthly()
    low = np.floor(np.nanmin(months["lowest"]) / 5.0) * 5.0
    high = max(np.ceil(np.nanmax(months["highest"]) / 5.0) * 5.0, low + 5.0)

    def at(value: float) -> int:
        return round((value - low) / (high - low) * (width - 1))

    lines = ["Month by month (degC): . ever  - nine in ten  = mean night to mean day  | freezing"]
    for month in months.to_dict("records"):
        bar = [" "] * width
        if not math.isnan(month["tmin_mean"]) and not math.isnan(month["tmax_mean"]):
            for first, last, mark in (
                ("lowest", "highest", "."), ("tmin_p10", "tmax_p90", "-"), ("tmin_mean", "tmax_mean", "=")
            ):  # fmt: skip
                bar[at(month[first]) : at(month[last]) + 1] = mark * (at(month[last]) - at(month[first]) + 1)
        if low <= 0.0 <= high and bar[at(0.0)] in " .":
            bar[at(0.0)] = "|"
        lines.append(
            f"  {_MONTHS[int(month['month']) - 1]} {_whole(month['lowest'])} {''.join(bar)}"
            f" {_whole(month['highest'])}"
        )
    return [
        line.rstrip()
        for line in [*lines, f"           {low:<{width // 2}.0f}{high:>{width - width // 2}.0f}"]
    ]


def _whole(value: float) -> str:
    return "   ." if math.isnan(value) else f"{value:4.0f}"


def year_plot(record: WeatherRecord) -> list[str]:
    """A line for each ten years: a digit a year for the tenths of days it has ('#' all of them)."""
    years = record.yearly().set_index("year")
    decades = sorted({int(year) // 10 * 10 for year in years.index})
    lines = ["Days per year (# all, 9 nine tenths, . none) and each year's coldest (degC)"]
    for decade in decades:
        marks, colds = "", []
        for year in range(decade, decade + 10):
            if year not in years.index:
                marks += " "
                colds.append("   ")
                continue
            days = int(years["days"].loc[year])
            marks += "#" if days >= 365 else "." if days == 0 else str(days * 10 // 366)
            cold = float(years["coldest"].loc[year])
            colds.append("  ." if math.isnan(cold) else f"{cold:3.0f}")
        lines.append(f"  {decade}s  {marks}  {' '.join(colds)}".rstrip())
    return lines


# --- the drawing --------------------------------------------------------------------------------------------


def weather_chart(record: WeatherRecord) -> altair.LayerChart | altair.FacetChart:
    """Months with their usual span of temperature, as an Altair chart."""
    import altair as alt

    months = record.monthly().assign(name=list(_MONTHS))
    base = alt.Chart(months).encode(x=alt.X("name:N", sort=list(_MONTHS), title=None))
    span = base.mark_bar(color="#d9d5c8", width=18).encode(
        y=alt.Y("lowest:Q", title="Temperature (°C)"), y2="highest:Q"
    )
    usual = base.mark_bar(color="#2f6b3c", opacity=0.45, width=18).encode(y="tmin_p10:Q", y2="tmax_p90:Q")
    mean = base.mark_bar(color="#2f6b3c", width=18).encode(y="tmin_mean:Q", y2="tmax_mean:Q")
    first, last = record.frame["date"].iloc[0], record.frame["date"].iloc[-1]
    what = f"{record.station_name or record.path.name}, {first:%Y} to {last:%Y}"
    title = f"{what}: ever, nine in ten, mean night to mean day"
    return alt.layer(span, usual, mean).properties(title=title, width=560, height=320)
