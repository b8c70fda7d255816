"""Altair charts of a site's climate: chill as it builds up, the risk of frost, the span of temperature.

In come the frames of `climate.course` and the summary of a profile, which hold every figure; out go
`Picture`s. Nothing is computed here but places on the paper.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import altair as alt
import pandas as pd

from recommender import units as convert
from recommender.charts import COLOURS, Paper, Picture, dates_of
from recommender.climate.season import Hemisphere
from recommender.wording import Units, day_words, number_words, span_words, temperature_words

_HEIGHT = 260
_MOST_ROWS = 4000
_NIGHT, _DAY = "#0072B2", "#D55E00"  # Okabe and Ito's blue and vermilion, told apart by everyone
_NIGHT_DARK, _DAY_DARK = "#56B4E9", "#E69F00"


def chill_build_up(
    winters: pd.DataFrame,
    summary: Mapping[str, Any],
    hemisphere: Hemisphere,
    units: Units = "metric",
    paper: Paper = "light",
) -> Picture:
    """Chill portions of each winter as they add up. winters: `course.chill_by_winter`."""
    ink, _, leaf = COLOURS[paper]
    figure = summary["chill_portions"]
    usual, span = span_words(figure, "CP", units)
    hours = span_words(summary["chill_hours_below_7"], "h", units)[0]
    sentence = (
        f"Your winters bring {span or number_words(figure['p50'])} chill portions, usually"
        f" {usual.partition(' ')[0]} (about {hours} below {'45 °F' if units == 'imperial' else '7 °C'})."
    )
    if figure["p90"] < 1.0:
        sentence = "These winters bring no chill to speak of."
    days_apart = -(-len(winters) // _MOST_ROWS)  # so that long records stay drawable
    shown = winters[(winters["day"].max() - winters["day"]) % days_apart == 0]
    data = shown.assign(date=dates_of(winters["day"], hemisphere))
    last = data["day"] == data["day"].max()
    middle = data.groupby("date", as_index=False)["chill"].median().assign(said="the middle of the winters")
    most = max(20.0, 1.05 * float(data["chill"].max()))
    lines = (
        alt.Chart(data)
        .mark_line(color=leaf, opacity=0.28, strokeWidth=1)
        .encode(
            x=_dates(units),
            y=_upright("chill", "Chill portions so far", [0.0, most]),
            detail="year:N",
        )
    )
    main = alt.Chart(middle).mark_line(color=ink, strokeWidth=2.5).encode(x=_dates(units), y="chill:Q")
    words = f"{sentence} A thin line is one winter, {int(last.sum())} in all; the thick line is their middle."
    return _picture([lines, main], sentence, words, paper)


def frost_curve(
    risk: pd.DataFrame,
    summary: Mapping[str, Any],
    hemisphere: Hemisphere,
    units: Units = "metric",
    paper: Paper = "light",
) -> Picture:
    """Chance that frost is still to come in spring and has come in autumn. risk: `course.frost_risk`."""
    ink, _, leaf = COLOURS[paper]
    spring, autumn = summary["last_spring_frost"], summary["first_autumn_frost"]
    late, early = spring["p90"], autumn["p10"]
    if late is None and early is None:
        sentence = "In most years no frost comes here at all."
    elif late is None or early is None:
        sentence = "Frost is rare here; in some years it does not come at all."
    else:
        sentence = (
            f"After {day_words(late, units)} frost still comes in one spring of ten, and before"
            f" {day_words(early, units)} in one autumn of ten."
        )
    data = risk.assign(date=dates_of(risk["day"], hemisphere), percent=risk["risk"] * 100.0)
    area = (
        alt.Chart(data)
        .mark_area(color=leaf, opacity=0.25, line={"color": leaf, "strokeWidth": 2})
        .encode(
            x=_dates(units),
            y=_upright("percent", "Years in a hundred", [0.0, 100.0]),
            detail="season:N",
        )
    )
    labels = pd.DataFrame(
        {
            "date": dates_of(pd.Series([risk["day"].min() + 8, risk["day"].max() - 8]), hemisphere),
            "percent": [3.0, 3.0],
            "said": ["still to come", "has come"],
            "side": ["left", "right"],
        }
    )
    texts = [
        alt.Chart(labels[labels["side"] == side])
        .mark_text(align=side, baseline="bottom", color=ink, fontSize=13, dy=-4)
        .encode(x=_dates(units), y="percent:Q", text="said:N")
        for side in ("left", "right")
    ]
    words = (
        f"{sentence} The left slope is the chance that a frost is still to come in spring, the right one the"
        " chance that one has come in autumn."
    )
    return _picture([area, *texts], sentence, words, paper)


def temperature_course(
    bands: pd.DataFrame, hemisphere: Hemisphere, units: Units = "metric", paper: Paper = "light"
) -> Picture:
    """Nights and days through the year. bands: `course.temperature_bands` [degC]."""
    ink, _, _ = COLOURS[paper]
    night, day = (_NIGHT_DARK, _DAY_DARK) if paper == "dark" else (_NIGHT, _DAY)
    columns = ["night_low", "night", "high", "day_high"]
    data = bands.assign(date=dates_of(bands["day"], hemisphere))
    coldest, warmest = bands["night"].min(), bands["high"].max()
    if units == "imperial":
        for column in columns:
            data[column] = data[column].map(convert.fahrenheit)
    sentence = (
        f"The coldest weeks have nights of {temperature_words(coldest, units)} on the mean, the warmest have"
        f" days of {temperature_words(warmest, units)}."
    )
    unit = "°F" if units == "imperial" else "°C"
    layers = []
    for outer, inner, colour in (("night_low", "night", night), ("day_high", "high", day)):
        base = alt.Chart(data)
        layers.append(
            base.mark_area(color=colour, opacity=0.2).encode(
                x=_dates(units), y=_upright(inner, f"Temperature ({unit})"), y2=f"{outer}:Q"
            )
        )
        layers.append(base.mark_line(color=colour, strokeWidth=2).encode(x=_dates(units), y=f"{inner}:Q"))
    freezing = pd.DataFrame({"freezing": [32.0 if units == "imperial" else 0.0]})
    layers.append(alt.Chart(freezing).mark_rule(color=ink, strokeDash=[4, 4]).encode(y="freezing:Q"))
    top = data.loc[[data["high"].idxmax()]].assign(said="days")
    low = data.loc[[data["high"].idxmax()]].assign(said="nights")
    for marks, column, colour in ((top, "high", day), (low, "night", night)):
        layers.append(
            alt.Chart(marks)
            .mark_text(color=colour, fontSize=13, dy=14, fontWeight="bold")
            .encode(x=_dates(units), y=f"{column}:Q", text="said:N")
        )
    words = (
        f"{sentence} The bands reach down to the night that one in ten is colder than, and up to the day that"
        " one in ten is warmer than; the broken line is freezing."
    )
    return _picture(layers, sentence, words, paper)


def _dates(units: Units) -> Any:
    day = "utcFormat(datum.value, '%b %-d')" if units == "imperial" else "utcFormat(datum.value, '%-d %b')"
    axis = alt.Axis(
        labelExpr=day,
        tickCount={"interval": "month", "step": 2},
        domain=False,
        grid=False,
        labelFontSize=13,
        title=None,
    )
    return alt.X("utcyearmonthdate(date):T", scale=alt.Scale(type="utc", nice=False), axis=axis)


def _upright(column: str, title: str, domain: list[float] | None = None) -> Any:
    scale = alt.Scale(domain=domain) if domain else alt.Scale(nice=True)
    axis = alt.Axis(domain=False, ticks=False, labelFontSize=13, titleFontSize=13, titleFontWeight="normal")
    return alt.Y(f"{column}:Q", title=title, scale=scale, axis=axis)


def _picture(layers: list[Any], sentence: str, words: str, paper: Paper) -> Picture:
    ink, rule, _ = COLOURS[paper]
    chart = alt.layer(*layers).properties(
        height=_HEIGHT, width="container", background="transparent", description=words
    )
    styled = chart.configure_view(stroke=None).configure_axis(
        labelColor=ink, titleColor=ink, gridColor=rule, tickColor=rule
    )
    return Picture(styled, sentence, words)
