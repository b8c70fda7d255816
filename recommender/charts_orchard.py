"""Charts of a planting: when each tree is picked and what the wanted weeks have, and who pollinates whom.

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
from recommender.orchard.plan import Plan
from recommender.wording import Units, crop_in_sentence, day_words, plain

if TYPE_CHECKING:
    from recommender.biology.pollination_result import PollinationMatrix

_ROW, _AROUND = 28, 80
"""Height of a row, and of axis and legend around the rows, which the page counts in [px]."""


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
        .properties(height=_ROW * len(order) + _AROUND, width="container", background="transparent")
    )
    return chart.configure_view(stroke=None).configure_axis(labelColor=ink, gridColor=rule, tickColor=rule)


def network_chart(matrix: PollinationMatrix | None, paper: Paper = "light") -> Picture | None:
    """Who pollinates whom among the trees of a plan (`network.network_of`). None without a matrix."""
    from recommender.charts_pollination import pollination_network

    return None if matrix is None else pollination_network(matrix, np.arange(len(matrix.index)), paper)
