"""The map of a site: the land around it and the weather stations its climate was corrected by.

In come strips of land and stations (`climate.land`), which hold every figure; out goes a `Picture`. Nothing
is fetched: the land is the climate grid's own.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import altair as alt
import pandas as pd

from recommender.charts import COLOURS, Paper, Picture
from recommender.units import METRES_PER_FOOT
from recommender.wording import Units, list_words, number_words, plain, rows

_HEIGHT = 380
_WIDEST = 2.2  # widest page of the face, in heights of the map
_LEAST_KM, _MOST_KM, _MARGIN = 90.0, 330.0, 1.9
_KM_PER_DEGREE = 111.195
_LAND = {"light": "#e4dfcf", "dark": "#2c3033"}
_FEET_PER_MILE = 5280.0


def reach(lat: float, stations: pd.DataFrame) -> tuple[float, float]:
    """How far the map reaches up and across [degrees] to hold the named stations, true to scale."""
    far = float(stations.loc[stations["named"], "km"].max()) if stations["named"].any() else _MOST_KM
    up = min(max(_MARGIN * far, _LEAST_KM), _MOST_KM) / _KM_PER_DEGREE
    return up, min(up * _WIDEST / max(math.cos(math.radians(lat)), 0.2), 60.0)


def site_map(
    site: Mapping[str, Any],
    land: pd.DataFrame,
    stations: pd.DataFrame,
    units: Units = "metric",
    paper: Paper = "light",
) -> Picture:
    """The site amid land and stations.

    site: `Ranking.site`; land: of `land_strips`; stations: of `stations_around`.
    """
    ink, rule, leaf = COLOURS[paper]
    lat, lon = float(site["lat"]), float(site["lon"])
    up, across = reach(lat, stations)
    name = plain(site.get("place") or "Your site")
    used = stations[stations["named"]]
    near = stations[
        (stations["lat"] - lat).abs().lt(up) & ((stations["lon"] - lon + 180) % 360 - 180).abs().lt(across)
    ]
    near = near.assign(lon=lon + (near["lon"] - lon + 180) % 360 - 180)
    told = [
        f"{plain(row.name_)} ({_far(row.km, units)})" for row in rows(used.rename(columns={"name": "name_"}))
    ]
    sentence = (
        f"The climate of {name} was corrected by what was measured at {list_words(told)}."
        if told
        else f"No station with measured normals lies near {name}; its climate comes from the grid alone."
    )
    # The page's width decides how far east and west one sees, so that the land keeps its shape on a phone.
    half = f"{across / _WIDEST:.5f} * width / height"
    wide = alt.Scale(
        domainMin=alt.ExprRef(f"{lon} - {half}"), domainMax=alt.ExprRef(f"{lon} + {half}"), nice=False,
        zero=False,
    )  # fmt: skip
    high = alt.Scale(domain=[lat - up, lat + up], nice=False)
    x, y = alt.X("lon:Q", axis=None, scale=wide), alt.Y("lat:Q", axis=None, scale=high)
    ground = (
        alt.Chart(land)
        .mark_rect(color=_LAND[paper], strokeWidth=0.6, stroke=_LAND[paper], clip=True, aria=False)
        .encode(
            x=alt.X("west:Q", axis=None, scale=wide),
            x2="east:Q",
            y=alt.Y("south:Q", axis=None, scale=high),
            y2="north:Q",
        )
    )
    marked = near.assign(kind=["corrected by" if one else "other station" for one in near["named"]])
    points = (
        alt.Chart(marked)
        .mark_point(filled=True, size=90, color=ink, clip=True, aria=False)
        .encode(
            x=x,
            y=y,
            shape=alt.Shape(
                "kind:N",
                scale=alt.Scale(domain=["corrected by", "other station"], range=["square", "circle"]),
                legend=None,
            ),
            opacity=alt.Opacity(
                "kind:N",
                sort=["corrected by", "other station"],
                scale=alt.Scale(domain=["corrected by", "other station"], range=[1, 0.35]),
                legend=None,
            ),
            tooltip=[alt.Tooltip("name:N", title="Station"), alt.Tooltip("km:Q", title="km", format=".0f")],
        )
    )
    here = pd.DataFrame({"lat": [lat], "lon": [lon], "said": [name]})
    labels = marked[marked["named"]].assign(said=marked["name"])
    layers: list[Any] = [ground, points]
    for frame, colour, below in ((labels, ink, -13), (here, leaf, 20)):
        layers.append(
            alt.Chart(frame)
            .mark_text(color=colour, fontSize=13, dy=below, aria=False)
            .encode(x=x, y=y, text="said:N")
        )
    layers.append(
        alt.Chart(here)
        .mark_point(shape="triangle", filled=True, size=220, color=leaf, stroke=ink, opacity=1, aria=False)
        .encode(x=x, y=y)
    )
    note = "The triangle is the site, squares are those stations, faint circles other stations."
    words = f"{sentence} {note}"
    chart = alt.layer(*layers).properties(
        height=_HEIGHT, width="container", background="transparent", description=words
    )
    return Picture(chart.configure_view(stroke=rule), sentence, words, note)


def _far(kilometres: float, units: Units) -> str:
    if units == "imperial":
        return f"{number_words(round(kilometres * 1000 / METRES_PER_FOOT / _FEET_PER_MILE))} miles"
    return f"{number_words(round(kilometres))} km"
