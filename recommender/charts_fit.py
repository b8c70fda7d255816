"""Altair charts of one variety at one site: chill winter by winter against its need, frost against its bloom,
the parts of its score.

In comes a `Fit`, which holds every figure; out go `Picture`s. Nothing is computed here but places on the
paper.
"""

from __future__ import annotations

import altair as alt
import numpy as np
import pandas as pd

from recommender.charts import (
    COLOURS,
    Paper,
    Picture,
    dates_of,
    day_axis,
    name_axis,
    name_lines,
    row_height,
    styled,
)
from recommender.climate.season import Hemisphere, season_date
from recommender.suitability.fit import Fit
from recommender.wording import Units, criterion_label, day_words, list_words, number_words, plain

_HEIGHT = 220
_BEFORE_BLOOM_DAYS, _AFTER_BLOOM_DAYS = 45, 30


def chill_by_winter(fit: Fit, paper: Paper = "light") -> Picture | None:
    """A bar a winter against the line of the variety's need. None for a variety that needs no chill."""
    if not np.isfinite(fit.need):
        return None
    ink, _, leaf = COLOURS[paper]
    unit = "chill hours" if fit.chill_unit == "h" else "chill portions"
    low, high = (number_words(float(np.quantile(fit.chill, share))) for share in (0.1, 0.9))
    enough = int((fit.chill >= fit.need).sum())
    name = plain(fit.variety)
    spread = f"{number_words(max(fit.need - fit.need_error, 0))} to {number_words(fit.need + fit.need_error)}"
    needs = (
        f"{name} needs about {number_words(fit.need)} ({spread})"
        if fit.need_known
        else f"what {name} needs is not published; from its kin about {number_words(fit.need)} ({spread})"
    )
    sentence = (
        f"Your winters bring {low} to {high} {unit}; {needs}: enough in {enough} of {len(fit.chill)} winters."
    )
    data = pd.DataFrame({"winter": np.sort(fit.chill)[::-1], "place": np.arange(1, len(fit.chill) + 1)})
    data["said"] = np.where(data["winter"] >= fit.need, "enough", "too little")
    y = alt.Y(
        "winter:Q",
        title=f"{unit.capitalize()} of a winter",
        axis=alt.Axis(domain=False, ticks=False, tickCount=5, labelFontSize=13, titleFontSize=13),
    )
    bars = (
        alt.Chart(data)
        .mark_bar(color=leaf, aria=False)
        .encode(
            x=alt.X(
                "place:O",
                title="Winters, the coldest first",
                axis=alt.Axis(labels=False, ticks=False, domain=False, titleFontSize=13),
            ),
            y=y,
            opacity=alt.Opacity(
                "said:N",
                sort=["enough", "too little"],
                scale=alt.Scale(domain=["enough", "too little"], range=[0.85, 0.35]),
                legend=alt.Legend(title=None, orient="bottom", labelFontSize=13)
                if 0 < enough < len(data)
                else None,
            ),
            tooltip=[
                alt.Tooltip("winter:Q", title=unit, format=",.0f"),
                alt.Tooltip("said:N", title="Which is"),
            ],
        )
    )
    need = pd.DataFrame(
        {
            "need": [fit.need],
            "low": [max(fit.need - fit.need_error, 0.0)],
            "high": [fit.need + fit.need_error],
        }
    )
    band = alt.Chart(need).mark_rect(color=ink, opacity=0.12, aria=False).encode(y="low:Q", y2="high:Q")
    line = alt.Chart(need).mark_rule(color=ink, strokeWidth=2, aria=False).encode(y="need:Q")
    note = "A bar is one winter; the line is the need, the band around it its doubt."
    return Picture(
        styled([bars, band, line], f"{sentence} {note}", paper, _HEIGHT), sentence, f"{sentence} {note}", note
    )


def frost_and_bloom(
    fit: Fit, risk: pd.DataFrame, hemisphere: Hemisphere, units: Units = "metric", paper: Paper = "light"
) -> Picture | None:
    """The chance that a frost is still to come, and when the variety flowers. risk: `course.frost_risk`.

    None where it does not flower.
    """
    if not np.isfinite(fit.bloom_middle):
        return None
    ink, _, leaf = COLOURS[paper]
    first, last = fit.bloom_start - _BEFORE_BLOOM_DAYS, fit.bloom_end + _AFTER_BLOOM_DAYS
    spring = risk[(risk["season"] == "spring") & risk["day"].between(first, last)]
    chance = float(np.interp(fit.bloom_middle, risk["day"], risk["risk"])) if len(spring) else 0.0
    start, middle, end = (
        day_words(season_date(day, hemisphere), units)
        for day in (fit.bloom_start, fit.bloom_middle, fit.bloom_end)
    )
    name = plain(fit.variety)
    sentence = (
        f"{name} flowers from about {start} to {end}; at full bloom on {middle}, give or take"
        f" {round(fit.bloom_error)} days, a frost is still to come in {_in_ten(chance)}."
    )
    data = spring.assign(date=dates_of(spring["day"], hemisphere), percent=spring["risk"] * 100.0)
    x = alt.X(
        "utcyearmonthdate(date):T",
        title=None,
        scale=alt.Scale(type="utc", nice=False),
        axis=day_axis(units, "bottom"),
    )
    y = alt.Y(
        "percent:Q",
        title="Springs in a hundred",
        scale=alt.Scale(domain=[0, 100]),
        axis=alt.Axis(domain=False, ticks=False, tickCount=5, labelFontSize=13, titleFontSize=13),
    )
    area = (
        alt.Chart(data)
        .mark_area(color=leaf, opacity=0.25, line={"color": leaf, "strokeWidth": 2}, aria=False)
        .encode(x=x, y=y)
    )
    bloom = pd.DataFrame(
        {
            "from": dates_of(np.array([fit.bloom_start]), hemisphere),
            "to": dates_of(np.array([fit.bloom_end]), hemisphere),
            "full": dates_of(np.array([fit.bloom_middle]), hemisphere),
            "said": ["in flower"],
            "height": [96.0],
        }
    )
    span = (
        alt.Chart(bloom)
        .mark_rect(color=ink, opacity=0.14, aria=False)
        .encode(x="utcyearmonthdate(from):T", x2="utcyearmonthdate(to):T")
    )
    full = (
        alt.Chart(bloom).mark_rule(color=ink, strokeWidth=2, aria=False).encode(x="utcyearmonthdate(full):T")
    )
    label = (
        alt.Chart(bloom)
        .mark_text(color=ink, fontSize=13, align="left", dx=6, aria=False)
        .encode(x="utcyearmonthdate(full):T", y="height:Q", text="said:N")
    )
    note = "The curve is the chance that a frost is still to come; the grey band is the time in flower."
    words = f"{sentence} {note}"
    return Picture(styled([area, span, full, label], words, paper, _HEIGHT), sentence, words, note)


def score_breakdown(fit: Fit, paper: Paper = "light") -> Picture:
    """How well each thing that counts is met, from 0 to 1; what the tree lives by above what is wished."""
    ink, rule, leaf = COLOURS[paper]
    parts = fit.parts.assign(
        name=[criterion_label(name) for name in fit.parts["criterion"]],
        lines=[name_lines(criterion_label(name)) for name in fit.parts["criterion"]],
        said=fit.parts["value"].map(lambda value: f"{value * 100:.0f}"),
        met=fit.parts["value"] * 100.0,
        limit=fit.parts["sound"] * 100.0,
    )
    short = parts[parts["value"] < parts["sound"]]
    name = plain(fit.variety)
    sentence = (
        f"{name} falls short of what makes a sound choice in {list_words(list(short['name']))}."
        if len(short)
        else f"{name} has all a tree lives by here; what is left is wishes and company."
    )
    order = list(parts["lines"])
    y = alt.Y("lines:N", sort=order, title=None, axis=name_axis())
    x = alt.X(
        "met:Q",
        title="How far it is met, in a hundred",
        scale=alt.Scale(domain=[0, 112]),
        axis=alt.Axis(values=[0, 50, 100], domain=False, ticks=False, labelFontSize=13, titleFontSize=13),
    )
    bars = (
        alt.Chart(parts)
        .mark_bar(height={"band": 0.55}, aria=False)
        .encode(
            x=x,
            y=y,
            color=alt.Color(
                "kind:N",
                scale=alt.Scale(domain=["limit", "wish"], range=[leaf, rule]),
                legend=None,
            ),
            tooltip=[alt.Tooltip("name:N", title="What"), alt.Tooltip("said:N", title="Met")],
        )
    )
    ticks = (
        alt.Chart(parts.dropna(subset="limit"))
        .mark_tick(color=ink, thickness=2, size=20, aria=False)
        .encode(x="limit:Q", y=y)
    )
    values = (
        alt.Chart(parts)
        .mark_text(color=ink, align="left", dx=5, fontSize=12, aria=False)
        .encode(x="met:Q", y=y, text="said:N")
    )
    told = "; ".join(
        f"{row.name_}: {row.said}" for row in parts.rename(columns={"name": "name_"}).itertuples()
    )
    words = f"{sentence} In a hundred: {told}."
    note = (
        "Bars with a stroke are what a tree lives by, and the stroke is what a sound choice asks for; the"
        " others count besides."
    )
    height = row_height(order) * len(parts) + 50
    return Picture(styled([bars, ticks, values], words, paper, height), sentence, words, note)


def _in_ten(chance: float) -> str:
    tenths = round(chance * 10)
    if tenths == 0:
        return "hardly any spring" if chance > 0.005 else "no spring on record"
    return "nearly every spring" if tenths == 10 else f"{tenths} of 10 springs"
