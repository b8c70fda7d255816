"""`orchardwright climate`: winters, chill, frosts and warmth of a place, with their doubt."""

from __future__ import annotations

from recommender.commands import console
from recommender.commands import options as opt
from recommender.wording import CLIMATE_FIGURES, as_units, metres, place_sentence, plain, span_words


def command(
    place: opt.Place = None,
    lat: opt.Lat = None,
    lon: opt.Lon = None,
    elevation: opt.Elevation = None,
    zone: opt.Zone = None,
    chill_hours: opt.ChillHours = None,
    site: opt.SiteFile = None,
    as_json: opt.AsJson = False,
    units: opt.UnitsOption = "metric",
) -> None:
    """Show the climate of a place as a tree meets it.

    For example: orchardwright climate --place "Bristol, England"
    """
    view = as_units(units)
    answers = opt.given(
        place=place, lat=lat, lon=lon, elevation_m=metres(elevation, view), zone=zone, chill_hours=chill_hours
    )
    _, understood = opt.climate_for(site, answers)
    if as_json:
        from recommender.outputs import json_text

        about = {name: part for name, part in understood.items() if name != "figures"}
        console.write(json_text({**understood["figures"], **about}).rstrip("\n"))
        return
    console.write(console.wrapped(place_sentence(understood, view)))
    console.write(f"Hardiness zone (USDA): {plain(understood['zone'])}\n")
    console.write(console.bold(f"{'':<39} {'usual':<13} 8 winters in 10"))
    for name, (label, unit) in CLIMATE_FIGURES.items():
        if name in understood["figures"]:
            usual, span = span_words(understood["figures"][name], unit, view)
            console.write(f"{label:<39} {usual:<13} {span}".rstrip())
    console.write()
    for sentence in understood["made_from"]:
        console.write(console.wrapped(sentence))
