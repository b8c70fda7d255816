"""Charts of a planting: when each tree is picked and what the wanted weeks have, and the plot to scale.

In comes a `Plan`; out go `Picture`s (chart, the sentence it shows, the same in words). Nothing is computed
here but places on the paper.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import altair as alt
import numpy as np
import pandas as pd

from recommender.charts import COLOURS, Paper, Picture, dates_of
from recommender.climate.season import MIDWINTER, season_day
from recommender.errors import UnknownName
from recommender.orchard.drawing import LOOKS, Drawing, drawn
from recommender.orchard.plan import Plan
from recommender.wording import Units, crop_in_sentence, day_words, plain

if TYPE_CHECKING:
    from recommender.catalog.catalog import Catalog
    from recommender.climate.profile import Profile

_ROW = 28


def harvest_chart(plan: Plan, units: Units = "metric", paper: Paper = "light") -> Picture | None:
    """Picking windows of the planted trees and, below them, which wanted weeks are covered.

    None where no tree has a date.
    """
    rows: list[tuple[str, float, float, str, str]] = []
    for tree in plan.trees:
        if tree.harvest is None:
            continue
        first = season_day(tree.harvest.first, plan.hemisphere, after=MIDWINTER[plan.hemisphere])
        last = season_day(tree.harvest.last, plan.hemisphere, after=first)
        name = f"{plain(tree.variety)} ({crop_in_sentence(tree.crop)})"
        rows.append(
            (
                name,
                first,
                last,
                f"{day_words(tree.harvest.first, units)} to {day_words(tree.harvest.last, units)}",
                "picking",
            )
        )
        if tree.harvest.store_weeks:
            rows.append(
                (
                    name,
                    last,
                    last + 7 * tree.harvest.store_weeks,
                    f"keeps about {round(tree.harvest.store_weeks)} weeks",
                    "in store",
                )
            )
    if not rows:
        return None
    data = pd.DataFrame(rows, columns=["name", "first", "last", "said", "state"])
    data["from"] = dates_of(data["first"].to_numpy(float), plan.hemisphere)
    data["to"] = dates_of(data["last"].to_numpy(float), plan.hemisphere)
    sentence = cover_sentence(plan)
    picked = data[data["state"].eq("picking")]
    words = f"{sentence} " + "; ".join(
        f"{name}: {said}" for name, said in zip(picked["name"], picked["said"], strict=True)
    )
    order = list(picked.sort_values("first", kind="stable")["name"])
    return Picture(_bars(data, order, units, paper).properties(description=words), sentence, words)


def cover_sentence(plan: Plan) -> str:
    """What the planting covers of the wanted weeks."""
    wanted = len(plan.weeks)
    covered = sum(week.covered for week in plan.weeks)
    if not wanted:
        return "For none of these trees can a date be given."
    return f"Something is to be had in {covered} of the {wanted} weeks you want fruit."


def _bars(data: pd.DataFrame, order: list[str], units: Units, paper: Paper) -> Any:
    ink, rule, leaf = COLOURS[paper]
    day = "utcFormat(datum.value, '%b %-d')" if units == "imperial" else "utcFormat(datum.value, '%-d %b')"
    chart = (
        alt.Chart(data)
        .mark_bar()
        .encode(
            x=alt.X(
                "utcyearmonthdate(from):T",
                scale=alt.Scale(type="utc", nice=False, padding=6),
                axis=alt.Axis(
                    orient="top",
                    labelExpr=day,
                    domain=False,
                    labelFontSize=13,
                    tickCount={"interval": "month", "step": 1},
                ),
                title=None,
            ),
            x2="utcyearmonthdate(to):T",
            y=alt.Y(
                "name:N",
                sort=order,
                title=None,
                axis=alt.Axis(domain=False, ticks=False, labelLimit=190, labelFontSize=13),
            ),
            opacity=alt.Opacity(
                "state:N",
                scale=alt.Scale(domain=["picking", "in store"], range=[1, 0.3]),
                legend=alt.Legend(title=None, orient="bottom"),
            ),
            color=alt.value(leaf),
            tooltip=[alt.Tooltip("name:N", title="Variety"), alt.Tooltip("said:N", title="When")],
        )
        .properties(height=_ROW * len(order) + 10, width="container", background="transparent")
    )
    return chart.configure_view(stroke=None).configure_axis(labelColor=ink, gridColor=rule, tickColor=rule)


def network_chart(
    plan: Plan, catalog: Catalog, paper: Paper = "light", profile: Profile | None = None
) -> Picture | None:
    """Who pollinates whom among the planted trees and those that serve them. None where one is not listed.

    profile: of the site, so that the days of bloom shared there count, not those published elsewhere.
    """
    from recommender.biology.partners import matrix_among
    from recommender.charts_pollination import MOST_TREES, pollination_network

    keys = [(tree.crop, tree.variety) for tree in plan.trees]
    keys += [(tree.crop, name) for tree in plan.trees for name in tree.grafted_with]
    keys += [(p.crop, p.variety) for tree in plan.trees for p in tree.pollinated_by if p.standing]
    keys = list(dict.fromkeys(keys))[:MOST_TREES]
    try:
        matrix = matrix_among(catalog, keys, profile)
    except UnknownName:
        return None
    return pollination_network(matrix, range(len(keys)), paper)


def plot_chart(plan: Plan, paper: Paper = "light", width: int = 640) -> Picture | None:
    """The plot to scale: one metre is as long across as up. None for a plan without a plot."""
    picture = drawn(plan)
    if picture is None:
        return None
    sentence = f"{sum(tree.x is not None for tree in plan.trees)} trees on the plot, to scale."
    return Picture(
        _plot(picture, paper, width).properties(description=picture.words), sentence, picture.words
    )


def _plot(picture: Drawing, paper: Paper, width: int) -> Any:
    ink, _, leaf = COLOURS[paper]
    (x0, y0), (x1, y1) = picture.low, picture.high
    x = alt.X("x:Q", axis=None, scale=alt.Scale(domain=[x0, x1], nice=False))
    y = alt.Y("y:Q", axis=None, scale=alt.Scale(domain=[y0, y1], nice=False))
    layers = []
    for number, shape in enumerate(picture.shapes):
        if shape.form == "text":
            continue
        points = np.array(shape.points)
        if shape.form == "circle":
            turn = np.linspace(0, 2 * np.pi, 49)
            points = points[0] + shape.radius * np.column_stack((np.cos(turn), np.sin(turn)))
        elif shape.form == "area":
            points = np.vstack((points, points[:1]))
        frame = pd.DataFrame(
            {"x": points[:, 0], "y": points[:, 1], "at": range(len(points)), "shape": number}
        )
        dash = LOOKS[shape.kind][2]
        crown = shape.kind == "crown"
        plain_ink = shape.kind in ("plot", "scale", "trunk")
        mark = alt.Chart(frame).mark_line(
            color=leaf if crown else ink if plain_ink else LOOKS[shape.kind][0],
            filled=crown,
            fill=leaf if crown else None,
            fillOpacity=0.2,
            strokeDash=[float(part) for part in dash.split()] if dash else [1, 0],
            strokeWidth=1.3,
        )
        layers.append(mark.encode(x=x, y=y, order="at:O"))
    labels = pd.DataFrame(
        [(*np.mean(shape.points, axis=0), shape.words) for shape in picture.shapes if shape.words],
        columns=["x", "y", "words"],
    )
    layers.append(alt.Chart(labels).mark_text(color=ink, fontSize=13).encode(x=x, y=y, text="words:N"))
    height = round(width * (y1 - y0) / (x1 - x0))
    return (
        alt.layer(*layers)
        .properties(width=width, height=height, background="transparent")
        .configure_view(stroke=None)
    )
