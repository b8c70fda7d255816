"""The bloom ladder: when each tree of a list flowers, one above the other.

In comes the frame of `biology.bloom_table.bloom_summary`; out goes a `Picture` with its sentence and its text
for screen readers. Nothing is computed here but places on the paper.
"""

from __future__ import annotations

from typing import Any

import altair as alt
import numpy as np
import pandas as pd

from recommender.charts import (
    COLOURS,
    ROW_HEIGHT,
    Paper,
    Picture,
    dates_of,
    day_label,
    name_axis,
    name_lines,
    row_height,
)
from recommender.climate.season import Hemisphere, season_date
from recommender.wording import Units, crop_in_sentence, day_words, list_words, plain, rows

_MOST_NAMED = 3


def bloom_ladder(
    summary: pd.DataFrame, hemisphere: Hemisphere, units: Units = "metric", paper: Paper = "light"
) -> Picture | None:
    """First to last flowers of each variety in a usual year, full bloom marked, with its doubt.

    summary: rows of `bloom_summary`, in the order to show. None if none of them blooms.
    """
    known = summary[summary["middle_day"].notna()]
    if known.empty:
        return None
    several = len(set(known["crop"])) > 1
    names = [
        f"{plain(row.variety)} ({crop_in_sentence(row.crop)})" if several else plain(row.variety)
        for row in rows(known)
    ]
    lines = [name_lines(row.variety, row.crop if several else "") for row in rows(known)]
    middle, start, end, error = (
        known[name].to_numpy(float) for name in ("middle_day", "start_day", "end_day", "error_days")
    )
    said = [day_words(season_date(day, hemisphere), units) for day in middle]
    data = pd.DataFrame(
        {
            "name": names,
            "lines": lines,
            "from": dates_of(start, hemisphere),
            "to": dates_of(end, hemisphere),
            "full": dates_of(middle, hemisphere),
            "early": dates_of(middle - error, hemisphere),
            "late": dates_of(middle + error, hemisphere),
            "said": said,
            "doubt": [f"give or take {round(days)} days" for days in error],
            "resting": known["told_by"].to_numpy(),
        }
    )
    sentence = _sentence(names, start, end, middle, hemisphere, units)
    told = "; ".join(
        f"{name}: full bloom {when}, {doubt}"
        for name, when, doubt in zip(names, said, data["doubt"], strict=True)
    )
    words = f"{sentence} {told}."
    note = "The bar runs from first to last flowers, the stroke is full bloom, the thin line its doubt."
    return Picture(_ladder(data, units, paper).properties(description=words), sentence, words, note)


def _sentence(
    names: list[str],
    start: np.ndarray[tuple[int], np.dtype[np.float64]],
    end: np.ndarray[tuple[int], np.dtype[np.float64]],
    middle: np.ndarray[tuple[int], np.dtype[np.float64]],
    hemisphere: Hemisphere,
    units: Units,
) -> str:
    """What the ladder shows: from when to when something flowers, and who flowers with nobody."""
    first, last = (day_words(season_date(day, hemisphere), units) for day in (start.min(), end.max()))
    if len(names) == 1:
        return f"{names[0]} flowers from about {first} to {last} in a usual year."
    meets = (start[:, None] < end[None, :]) & (start[None, :] < end[:, None])
    alone = [names[row] for row in np.flatnonzero(meets.sum(axis=1) == 1)]
    text = f"Something flowers from about {first} to {last} in a usual year"
    if not alone:
        apart = int(middle.argmin()), int(middle.argmax())
        if meets.all():
            return f"{text}, and all {len(names)} flower together for a while."
        return f"{text}; {names[apart[0]]} opens the season and {names[apart[1]]} ends it."
    if len(alone) > _MOST_NAMED:
        return f"{text}; {len(alone)} of {len(names)} flower while no other does."
    verb = "flowers" if len(alone) == 1 else "each flower"
    return f"{text}; {list_words(alone)} {verb} while no other does."


def _ladder(data: pd.DataFrame, units: Units, paper: Paper) -> Any:
    ink, rule, leaf = COLOURS[paper]
    axis = alt.Axis(orient="top", labelExpr=day_label(units), tickCount=6, domain=False, labelFontSize=13)
    y = alt.Y("lines:N", sort=list(data["lines"]), title=None, axis=name_axis())
    scale = alt.Scale(type="utc", nice=False, padding=6)
    tooltip = [
        alt.Tooltip("name:N", title="Variety"),
        alt.Tooltip("said:N", title="Full bloom"),
        alt.Tooltip("doubt:N", title="Doubt"),
        alt.Tooltip("resting:N", title="Known from"),
    ]
    base = alt.Chart(data)

    def bar(first: str, last: str, height: Any, opacity: float) -> Any:
        return base.mark_bar(color=leaf, opacity=opacity, height=height).encode(
            x=alt.X(f"utcyearmonthdate({first}):T", scale=scale, axis=axis, title=None),
            x2=f"utcyearmonthdate({last}):T",
            y=y,
            tooltip=tooltip,
        )

    full = base.mark_tick(color=ink, thickness=3, size=ROW_HEIGHT * 0.6).encode(
        x=alt.X("utcyearmonthdate(full):T", scale=scale, axis=axis, title=None), y=y, tooltip=tooltip
    )
    layers = alt.layer(bar("from", "to", {"band": 0.5}, 0.45), bar("early", "late", 3, 1.0), full)
    height = row_height(list(data["lines"])) * len(data) + 10
    chart = layers.properties(height=height, width="container", background="transparent")
    return chart.configure_view(stroke=None).configure_axis(labelColor=ink, gridColor=rule, tickColor=rule)
