"""Altair charts for pages and sheets.

In come frames that already hold every figure; out goes a `Picture`: the chart, the sentence it shows (its
title) and the same in words for those who cannot see it. Nothing is computed here but places on the paper.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import altair as alt
import numpy as np
import pandas as pd

from recommender.climate.season import Hemisphere, season_date
from recommender.wording import Units, crop_in_sentence, day_words, number_words, plain, rows

Paper = Literal["light", "dark"]
ROW_HEIGHT = 28
NAME_LETTERS = 20
# Ink, rule and leaf of the face (.streamlit/config.toml), which a chart cannot read for itself.
COLOURS = {"light": ("#22261f", "#d9d5c8", "#2f6b3c"), "dark": ("#ece9e0", "#34383a", "#8fc79a")}
# So that a season lies in common years; the axis shows day and month only.
_FIRST_DAY = {
    "north": pd.Timestamp("2000-07-01"),
    "south": pd.Timestamp("2001-01-01"),
}


@dataclass(frozen=True)
class Picture:
    """A chart with the sentence it shows, its text for screen readers, and how to read its marks."""

    chart: Any
    sentence: str
    alt_text: str
    note: str = ""


def harvest_calendar(
    listed: pd.DataFrame,
    hemisphere: Hemisphere,
    weeks: float,
    units: Units = "metric",
    paper: Paper = "light",
) -> Picture | None:
    """When each variety of a list is picked at the site.

    listed: rows of `Ranking.frame`, in the order to show; `harvest_day` and `harvest_end` [first and last
    picking, day of the season, middle over the years] and `harvest_error_d` [d]. weeks: weeks in which
    something is ripe. paper: what it is drawn on.
    None if no day is known.
    """
    known = listed[listed["harvest_day"].notna()]
    if known.empty:
        return None
    several = len(set(listed["crop"])) > 1
    first = known["harvest_day"].to_numpy(float)
    last = known["harvest_end"].to_numpy(float)
    error = known["harvest_error_d"].fillna(0.0).to_numpy(float)
    names = [
        f"{plain(row.variety)} ({crop_in_sentence(row.crop)})" if several else plain(row.variety)
        for row in rows(known)
    ]
    lines = [name_lines(row.variety, row.crop if several else "") for row in rows(known)]
    said = [_window(a, b, hemisphere, units) for a, b in zip(first, last, strict=True)]
    data = pd.DataFrame(
        {
            "name": names,
            "lines": lines,
            "from": dates_of(first, hemisphere),
            "to": dates_of(last, hemisphere),
            "early": dates_of(first - error, hemisphere),
            "late": dates_of(last + error, hemisphere),
            "said": said,
            "doubt": [f"give or take {round(days)} days" for days in error],
        }
    )
    sentence = _sentence(first, last, len(listed), weeks, hemisphere, units)
    words = f"{sentence} {'; '.join(f'{name}: {when}' for name, when in zip(names, said, strict=True))}."
    note = "The bar is from first to last picking; the thin line is its doubt."
    return Picture(_calendar(data, units, paper).properties(description=words), sentence, words, note)


def styled(layers: list[Any], words: str, paper: Paper, height: float) -> Any:
    """Layers as one chart as wide as the page, in the paper's ink, with its text for screen readers."""
    ink, rule, _ = COLOURS[paper]
    chart = alt.layer(*layers).properties(
        height=height, width="container", background="transparent", description=words
    )
    return (
        chart.configure_view(stroke=None)
        .configure_axis(
            labelColor=ink, titleColor=ink, titleFontWeight="normal", gridColor=rule, tickColor=rule
        )
        .configure_legend(labelColor=ink, titleColor=ink)
    )


def day_label(units: Units) -> str:
    """What an axis of days writes, in the reader's order (a Vega expression)."""
    return "utcFormat(datum.value, '%b %-d')" if units == "imperial" else "utcFormat(datum.value, '%-d %b')"


def day_axis(units: Units, side: Literal["top", "bottom"], months: int = 1) -> Any:
    """An axis of days and months, in the reader's order."""
    return alt.Axis(
        orient=side,
        labelExpr=day_label(units),
        tickCount={"interval": "month", "step": months},
        domain=False,
        labelFontSize=13,
        labelOverlap=True,
    )


def name_lines(variety: str, crop: str = "") -> str:
    """A name for the side of a chart: in lines short enough for a phone, the crop on one of its own."""
    lines = textwrap.wrap(plain(variety), NAME_LETTERS, break_long_words=False) or [""]
    return "\n".join([*lines, *([f"({crop_in_sentence(crop)})"] if crop else [])])


def name_axis() -> Any:
    """An axis of names made by `name_lines`, none of them cut."""
    return alt.Axis(
        domain=False,
        ticks=False,
        labelExpr="split(datum.label, '\\n')",
        labelLimit=170,
        labelFontSize=13,
        labelLineHeight=15,
        labelPadding=8,
    )


def row_height(names: Sequence[str]) -> int:
    """Height of a row that holds the longest of the names [px]."""
    return max(ROW_HEIGHT, 10 + 15 * max(name.count("\n") + 1 for name in names))


def dates_of(days: np.ndarray | pd.Series, hemisphere: Hemisphere) -> pd.Series:
    """Days of the season as dates of common years, for an axis that shows day and month."""
    return pd.Series(_FIRST_DAY[hemisphere] + pd.to_timedelta(np.round(days), unit="D"))


def _window(first: float, last: float, hemisphere: Hemisphere, units: Units) -> str:
    start, end = (day_words(season_date(day, hemisphere), units) for day in (first, last))
    return f"{start} to {end}"


def _sentence(
    first: np.ndarray, last: np.ndarray, listed: int, weeks: float, hemisphere: Hemisphere, units: Units
) -> str:
    window = _window(float(first.min()), float(last.max()), hemisphere, units)
    silent = listed - len(first)
    gap = f" For {silent} of them no date can be given." if silent else ""
    what = "It is" if listed == 1 else f"These {listed} are"
    count = "" if listed == 1 else f", with fruit to pick in about {number_words(round(weeks))} weeks"
    return f"{what} likely to be picked between {window.replace(' to ', ' and ')}{count}.{gap}"


def _calendar(data: pd.DataFrame, units: Units, paper: Paper) -> Any:
    ink, rule, leaf = COLOURS[paper]
    axis = day_axis(units, "top")
    y = alt.Y("lines:N", sort=list(data["lines"]), title=None, axis=name_axis())
    scale = alt.Scale(type="utc", nice=False, padding=6)
    tooltip = [
        alt.Tooltip("name:N", title="Variety"),
        alt.Tooltip("said:N", title="Picked"),
        alt.Tooltip("doubt:N", title="Doubt"),
    ]
    base = alt.Chart(data)
    doubt = base.mark_bar(color=leaf, opacity=0.3, height=4).encode(
        x=alt.X("utcyearmonthdate(early):T", scale=scale, axis=axis, title=None),
        x2="utcyearmonthdate(late):T",
        y=y,
        tooltip=tooltip,
    )
    picked = base.mark_bar(color=leaf, height={"band": 0.5}).encode(
        x=alt.X("utcyearmonthdate(from):T", scale=scale, axis=axis, title=None),
        x2="utcyearmonthdate(to):T",
        y=y,
        tooltip=tooltip,
    )
    height = row_height(list(data["lines"])) * len(data) + 10
    chart = alt.layer(doubt, picked).properties(height=height, width="container", background="transparent")
    return chart.configure_view(stroke=None).configure_axis(labelColor=ink, gridColor=rule, tickColor=rule)
