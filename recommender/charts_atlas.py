"""Maps of an atlas: places as dots on the outline of the land.

In come the frames of `atlas.questions`; out goes a `Picture`. The map is plain: a degree of longitude is
drawn as wide as it is in the middle of the places shown. No map is fetched from anywhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import altair as alt
import numpy as np
import pandas as pd
from pandas.api.types import infer_dtype, is_numeric_dtype

from recommender.charts import COLOURS, Paper, Picture
from recommender.climate.land import land_rectangles
from recommender.errors import StorageFault
from recommender.wording import plain

MOST_DOTS = 4_000
_WIDTH, _HEIGHT = 640, 560
_LAND = {"light": "#e7e3d6", "dark": "#2a2e2f"}


@dataclass(frozen=True)
class _Shown:
    """What a question's map shows: the column that colours, its title, and whether it runs both ways."""

    column: str
    title: str
    both_ways: bool = False


_SHOWN = {
    "where": _Shown("score", "Score"),
    "sound": _Shown("sound", "Sound varieties"),
    "change": _Shown("change", "Sound varieties more or fewer", both_ways=True),
}


def atlas_map(found: pd.DataFrame, question: str, sentence: str, paper: Paper = "light") -> Picture | None:
    """The places of a frame of `where`, `sound_by_place` or `change` on a map; None without a place.

    Where there are more than 4,000, those with most people are drawn, and the text says so. Raises
    StorageFault for places that no run writes: an atlas may come from anyone.
    """
    if found.empty:
        return None
    shown = _SHOWN[question]
    _check(found, shown)
    places = found.nlargest(MOST_DOTS, "population") if len(found) > MOST_DOTS else found
    more = f" The {MOST_DOTS:,} largest of {len(found):,} places are drawn." if len(found) > MOST_DOTS else ""
    west, east = float(places["lon"].min()), float(places["lon"].max())
    south, north = float(places["lat"].min()), float(places["lat"].max())
    margin = max(0.05 * max(east - west, north - south), 0.5)
    bounds = (
        max(west - margin, -180.0), max(south - margin, -60.0), min(east + margin, 180.0),
        min(north + margin, 85.0),
    )  # fmt: skip
    narrow = float(np.cos(np.deg2rad((bounds[1] + bounds[3]) / 2.0)))
    wide, high = (bounds[2] - bounds[0]) * narrow, bounds[3] - bounds[1]
    scale = min(_WIDTH / wide, _HEIGHT / high)
    ink, rule, leaf = COLOURS[paper]
    ground = (
        alt.Chart(alt.Data(values=[_land(bounds, narrow)]))
        .mark_geoshape(fill=_LAND[paper], stroke=_LAND[paper], strokeWidth=0.4, aria=False)
        .project(type="identity", reflectY=True)
    )
    dots = (
        alt.Chart(alt.Data(values=_points(places, shown, narrow)))
        .mark_geoshape(stroke=ink, strokeWidth=0.3, opacity=0.9, aria=False)
        .encode(
            fill=alt.Fill(
                f"properties.{shown.column}:Q",
                title=shown.title,
                scale=_colours(places[shown.column], shown, rule, leaf),
                legend=alt.Legend(orient="bottom", titleLimit=300, gradientLength=240),
            ),
            tooltip=[
                alt.Tooltip("properties.name:N", title="Place"),
                alt.Tooltip(f"properties.{shown.column}:Q", title=shown.title),
            ],
        )
        .project(type="identity", reflectY=True, pointRadius=3 if len(places) > 300 else 4)
    )
    text = f"{plain(sentence)}.{more}"
    # As wide as the page; the projection fits the land into it, so that it keeps its shape on a phone.
    chart = (ground + dots).properties(
        width="container", height=int(high * scale), background="transparent", description=text
    )
    chart = chart.configure_view(stroke=None).configure_legend(labelColor=ink, titleColor=ink)
    return Picture(chart, plain(sentence), _in_words(places, shown, text), more.strip())


def _check(found: pd.DataFrame, shown: _Shown) -> None:
    """Raises StorageFault where a column holds something else than an atlas writes."""
    numbers = {"lat": 90.0, "lon": 180.0, shown.column: np.inf}
    for name, most in numbers.items():
        held = found[name]
        if not is_numeric_dtype(held) or not (np.isfinite(held) & (held.abs() <= most)).all():
            raise _strange(name)
    if not is_numeric_dtype(found["population"]):
        raise _strange("population")
    for name in ("name", "region", "country"):
        if infer_dtype(found[name], skipna=True) not in ("string", "empty"):
            raise _strange(name)


def _strange(column: str) -> StorageFault:
    return StorageFault(
        "The places of the atlas hold something that no run writes",
        where=f"column {column}",
        remedy="Take the folder from a backup, or make the atlas again",
    )


def _land(bounds: tuple[float, float, float, float], narrow: float) -> dict[str, Any]:
    rings = [
        [[[w * narrow, s], [w * narrow, n], [e * narrow, n], [e * narrow, s], [w * narrow, s]]]
        for w, s, e, n in np.round(land_rectangles(*bounds), 3).tolist()
    ]
    return {"type": "Feature", "properties": {}, "geometry": {"type": "MultiPolygon", "coordinates": rings}}


def _points(places: pd.DataFrame, shown: _Shown, narrow: float) -> list[dict[str, Any]]:
    # Highest last, so that it lies on top.
    rows = places.sort_values(shown.column)[["name", "lon", "lat", shown.column]]
    return [
        {
            "type": "Feature",
            "properties": {"name": plain(name), shown.column: round(float(value), 3)},
            "geometry": {"type": "Point", "coordinates": [round(lon * narrow, 4), round(lat, 4)]},
        }
        for name, lon, lat, value in rows.itertuples(index=False)
    ]


def _colours(values: pd.Series, shown: _Shown, rule: str, leaf: str) -> alt.Scale:
    if shown.both_ways:
        most = max(float(values.abs().max()), 1.0)
        return alt.Scale(domain=[-most, 0.0, most], range=["#a4511f", rule, leaf])
    return alt.Scale(domain=[float(values.min()), max(float(values.max()), 1e-6)], range=[rule, leaf])


def _in_words(places: pd.DataFrame, shown: _Shown, text: str) -> str:
    best = places.nlargest(3, shown.column)
    named = ", ".join(
        f"{plain(name)} {value:g}"
        for name, value in best[["name", shown.column]].round(2).itertuples(index=False)
    )
    return f"Map. {text} {shown.title}, highest first: {named}."
