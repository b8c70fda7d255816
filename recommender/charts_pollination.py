"""The pollination network of a chosen set as a picture: who serves whom.

In: a `PollinationMatrix` and the positions of the trees that stand together. Out: a `Picture` (chart, the
sentence it shows, the same in words). Trees stand on a circle; an arrow runs from donor to the tree it
serves. Nothing is told by colour alone: full partners are drawn solid, half compatible ones dashed; a tree
without a partner is a cross, one that bears alone a square, the others circles. Readable up to 20 trees.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal

import altair as alt
import numpy as np
import pandas as pd

from recommender.biology.fertility import GAINS, NEEDED, NOT_NEEDED
from recommender.biology.pollination_result import PollinationMatrix
from recommender.biology.reasons_pollination import COMPATIBLE, SEMI
from recommender.charts import COLOURS, Paper, Picture
from recommender.errors import BadInput
from recommender.wording import crop_in_sentence, list_words, plain

MOST_TREES = 20
_LABEL_AT = 1.12
_SIZE = 560
_ALIGN: dict[str, Literal["left", "right"]] = {"left": "left", "right": "right"}
# One entry below the other, whole, so that a phone shows them too; lines above the drawing, marks below it.
_STACKED: dict[str, Any] = {"orient": "bottom", "direction": "vertical", "labelLimit": 0, "titleLimit": 0}
_STATES = ("served", "bears alone", "likely served, not published", "no partner here")
_SHAPES = ("circle", "square", "diamond", "cross")


def pollination_network(
    matrix: PollinationMatrix, chosen: Sequence[int] | np.ndarray, paper: Paper = "light"
) -> Picture:
    """Who pollinates whom among the trees at positions `chosen`. Raises BadInput above `MOST_TREES` or for
    none.
    """
    rows = np.asarray(chosen, dtype=np.int64)
    if not 1 <= len(rows) <= MOST_TREES:
        raise BadInput(
            f"A pollination network of {len(rows)} trees cannot be read",
            remedy=f"Choose 1 to {MOST_TREES} trees",
        )
    nodes = _nodes(matrix, rows)
    links = _links(matrix, rows, nodes)
    sentence = _sentence(nodes)
    return Picture(_chart(nodes, links, paper), sentence, _in_words(nodes, links, sentence))


def _nodes(matrix: PollinationMatrix, rows: np.ndarray) -> pd.DataFrame:
    angle = 2 * np.pi * np.arange(len(rows)) / len(rows)
    fruit = matrix.sets_fruit()[np.ix_(rows, rows)]
    np.fill_diagonal(fruit, False)
    served = fruit.any(axis=1)
    need = matrix.need[rows]
    alone = np.isin(need, (NOT_NEEDED, GAINS))
    likely = matrix.take(rows).likely_partner()
    np.fill_diagonal(likely, False)
    state = np.select([served, alone, likely.any(axis=1)], _STATES[:3], _STATES[3])
    several = len({matrix.crop_of[k] for k in rows}) > 1
    names = [
        f"{plain(matrix.variety_of[k])} ({crop_in_sentence(matrix.crop_of[k])})"
        if several
        else plain(matrix.variety_of[k])
        for k in rows
    ]
    short = [plain(matrix.variety_of[k]) for k in rows]
    return pd.DataFrame(
        {
            "name": names,
            # The drawing has room for the variety alone; the crop stands in the sentence and on hovering.
            "label": [name if short.count(own) > 1 else own for name, own in zip(names, short, strict=True)],
            "x": np.sin(angle),
            "y": np.cos(angle),
            "state": state,
            "needs": need == NEEDED,
            # Names lie along the spokes, so that those of 20 trees do not run into each other.
            "lean": np.degrees(np.where(np.sin(angle) < -0.01, angle + np.pi / 2, angle - np.pi / 2)) % 360,
            "side": np.where(np.sin(angle) < -0.01, "right", "left"),
        }
    )


def _links(matrix: PollinationMatrix, rows: np.ndarray, nodes: pd.DataFrame) -> pd.DataFrame:
    """One row a working pair, from donor to tree; `mutual` pairs stand once more the other way round.

    Lines stop short of the marks, so that arrow heads stay clear of them.
    """
    result = matrix.result[np.ix_(rows, rows)]
    works = np.isin(result, (COMPATIBLE, SEMI)) & ~np.eye(len(rows), dtype=bool)
    tree, donor = np.nonzero(works)
    half = result == SEMI
    mutual = works[donor, tree]
    place = nodes[["x", "y"]].to_numpy(np.float64)
    step = place[tree] - place[donor]
    length = np.maximum(np.hypot(step[:, 0], step[:, 1]), 1e-9)[:, None]
    start, tip = place[donor] + step / length * 0.07, place[tree] - step / length * 0.09
    partly = half[tree, donor] | (mutual & half[donor, tree])
    return pd.DataFrame(
        {
            "donor": nodes["name"].to_numpy()[donor],
            "tree": nodes["name"].to_numpy()[tree],
            "serves": np.where(half[tree, donor], "in part", "fully"),
            "line": np.where(partly, "part of the pollen", "all of the pollen"),
            "mutual": mutual,
            "drawn": ~mutual | (donor < tree),
            "x": start[:, 0],
            "y": start[:, 1],
            "x2": tip[:, 0],
            "y2": tip[:, 1],
            "turn": np.degrees(np.arctan2(step[:, 0], step[:, 1])) % 360,
        }
    )


def _sentence(nodes: pd.DataFrame) -> str:
    lonely = list(nodes.loc[nodes["state"].eq(_STATES[3]), "name"])
    likely = list(nodes.loc[nodes["state"].eq(_STATES[2]), "name"])
    if lonely:
        return f"{list_words(lonely)} {'has' if len(lonely) == 1 else 'have'} no pollen partner here."
    if likely:
        return f"Every tree here has a pollen partner; that of {list_words(likely)} is likely, not published."
    return "Every tree here has a pollen partner or bears alone."


def _in_words(nodes: pd.DataFrame, links: pd.DataFrame, sentence: str) -> str:
    said = [sentence]
    for name, state in zip(nodes["name"], nodes["state"], strict=True):
        donors = links.loc[links["tree"].eq(name)]
        if donors.empty:
            said.append(f"{name}: {state}.")
        else:
            full = list(donors.loc[donors["serves"].eq("fully"), "donor"])
            half = [f"{donor} in part" for donor in donors.loc[donors["serves"].ne("fully"), "donor"]]
            said.append(f"{name} is served by {list_words([*full, *half])}.")
    return " ".join(said)


def _chart(nodes: pd.DataFrame, links: pd.DataFrame, paper: Paper) -> alt.LayerChart | alt.FacetChart:
    ink, rule, leaf = COLOURS[paper]
    span = alt.Scale(domain=[-1.75, 1.75], nice=False)
    x = alt.X("x:Q", axis=None, scale=span)
    y = alt.Y("y:Q", axis=None, scale=span)
    words = ["all of the pollen", "part of the pollen"]
    style = alt.StrokeDash(
        "line:N",
        scale=alt.Scale(domain=words, range=[[1, 0], [2, 4]]),
        legend=alt.Legend(title="Who serves whom (arrow: one way only)", **(_STACKED | {"orient": "top"})),
    )
    tips = ["donor:N", "tree:N", "serves:N"]
    drawn = links.loc[links["drawn"]]
    faint = 0.75 if len(drawn) <= 40 else 0.4
    lines = (
        alt.Chart(drawn)
        .mark_rule(color=ink, opacity=faint, strokeWidth=1.1)
        .encode(x=x, y=y, x2="x2:Q", y2="y2:Q", strokeDash=style, tooltip=tips)
    )
    one_way = links.loc[~links["mutual"]]
    heads = (
        alt.Chart(one_way)
        .mark_point(shape="triangle", filled=True, color=ink, size=60, opacity=0.9)
        .encode(
            x=alt.X("x2:Q", axis=None, scale=span),
            y=alt.Y("y2:Q", axis=None, scale=span),
            angle=alt.Angle("turn:Q", scale=None),
            tooltip=tips,
        )
    )
    marks = (
        alt.Chart(nodes)
        .mark_point(filled=True, size=170, stroke=rule)
        .encode(
            x=x,
            y=y,
            shape=alt.Shape(
                "state:N",
                scale=alt.Scale(domain=list(_STATES), range=list(_SHAPES)),
                legend=alt.Legend(title="Tree", **_STACKED),
            ),
            color=alt.Color(
                "state:N",
                scale=alt.Scale(domain=list(_STATES), range=[leaf, ink, "#E69F00", "#D55E00"]),
                legend=alt.Legend(title="Tree", **_STACKED),
            ),
            tooltip=["name:N", "state:N"],
        )
    )
    labels = [
        alt.Chart(part.assign(x=part["x"] * _LABEL_AT, y=part["y"] * _LABEL_AT))
        .mark_text(align=_ALIGN[str(side)], color=ink, fontSize=12, baseline="middle")
        .encode(x=x, y=y, text="label:N", angle=alt.Angle("lean:Q", scale=None))
        for side, part in nodes.groupby("side")
    ]
    # A layer without marks would be a picture without a name to a screen reader.
    drawing = alt.layer(lines, *([heads] if len(one_way) else []), marks, *labels).properties(
        width=_SIZE, height=_SIZE
    )
    return drawing.configure_view(stroke=None)
