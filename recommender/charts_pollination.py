"""The pollination network of a chosen set as a picture: who serves whom.

In: a `PollinationMatrix` and the positions of the trees that stand together. Out: a `Picture` (chart, the
sentence it shows, the same in words). Trees stand one above the other; an arc joins two that serve each
other, an arrow shows which one it serves. Nothing is told by colour alone: full partners are drawn solid,
half compatible ones dashed; a tree without a partner is a cross, one that bears alone a square. Readable up
to 20 trees, and at any width.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import altair as alt
import numpy as np
import pandas as pd

from recommender.biology.fertility import GAINS, NEEDED, NOT_NEEDED
from recommender.biology.pollination_result import PollinationMatrix
from recommender.biology.reasons_pollination import COMPATIBLE, SEMI
from recommender.charts import COLOURS, Paper, Picture, name_lines, row_height, styled
from recommender.errors import BadInput
from recommender.wording import crop_in_sentence, list_words, plain

MOST_TREES = 20
_NARROW = 6.0**0.8  # so that the arcs of a few trees do not reach across the whole page
_POINTS = np.linspace(0.0, 1.0, 17)
_STATES = ("served", "bears alone", "likely served, not published", "no partner here")
_SHAPES = ("circle", "square", "diamond", "cross")
_NOTE = (
    "● served, ■ bears alone, ◆ likely served, not published, ✚ no partner here. A line joins two that serve"
    " each other; with an arrow, only the tree it points to is served; dotted, by part of the pollen."
)


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
    words = _in_words(nodes, links, sentence)
    return Picture(_chart(nodes, links, paper, words), sentence, words, _NOTE)


def _nodes(matrix: PollinationMatrix, rows: np.ndarray) -> pd.DataFrame:
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
    return pd.DataFrame(
        {
            "name": names,
            "lines": [name_lines(matrix.variety_of[k], matrix.crop_of[k] if several else "") for k in rows],
            "place": np.arange(len(rows)),
            "state": state,
            "needs": need == NEEDED,
        }
    )


def _links(matrix: PollinationMatrix, rows: np.ndarray, nodes: pd.DataFrame) -> pd.DataFrame:
    """One row a working pair, from donor to tree; `mutual` pairs stand once more the other way round."""
    result = matrix.result[np.ix_(rows, rows)]
    works = np.isin(result, (COMPATIBLE, SEMI)) & ~np.eye(len(rows), dtype=bool)
    tree, donor = np.nonzero(works)
    half = result == SEMI
    mutual = works[donor, tree]
    partly = half[tree, donor] | (mutual & half[donor, tree])
    return pd.DataFrame(
        {
            "donor": nodes["name"].to_numpy()[donor],
            "tree": nodes["name"].to_numpy()[tree],
            "serves": np.where(half[tree, donor], "in part", "fully"),
            "line": np.where(partly, "part of the pollen", "all of the pollen"),
            "mutual": mutual,
            "drawn": ~mutual | (donor < tree),
            "from": donor,
            "to": tree,
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


def _arcs(links: pd.DataFrame) -> pd.DataFrame:
    """Each drawn pair as points of an arc beside the names, wide where far apart; `apex`: its middle."""
    drawn = links.loc[links["drawn"]].reset_index(drop=True)
    start, end = drawn["from"].to_numpy(float), drawn["to"].to_numpy(float)
    depth = np.abs(end - start) ** 0.8
    depth = depth / max(_NARROW, float(depth.max(initial=1.0)))
    each = np.repeat(np.arange(len(drawn)), len(_POINTS))
    along = np.tile(_POINTS, len(drawn))
    arcs = drawn[["donor", "tree", "serves", "line", "mutual"]].iloc[each].reset_index(drop=True)
    return arcs.assign(
        arc=each,
        along=along,
        x=0.04 + depth[each] * np.sin(np.pi * along) ** 0.7 * 0.92,
        y=start[each] + (end - start)[each] * along,
        apex=along == 0.5,
        turn=np.where(end > start, 180, 0)[each],
    )


def _chart(nodes: pd.DataFrame, links: pd.DataFrame, paper: Paper, words: str) -> Any:
    ink, rule, leaf = COLOURS[paper]
    across = alt.Scale(domain=[0, 1], nice=False)
    down = alt.Scale(domain=[len(nodes) - 0.5, -0.5], nice=False, zero=False)
    names = json.dumps(list(nodes["lines"]), ensure_ascii=False)
    axis = alt.Axis(
        values=list(nodes["place"]),
        labelExpr=f"split({names}[datum.value], '\\n')",
        labelLimit=170,
        labelFontSize=13,
        labelLineHeight=15,
        labelPadding=8,
        labelOverlap=False,
        domain=False,
        ticks=False,
        grid=False,
    )
    x = alt.X("x:Q", axis=None, scale=across)
    y = alt.Y("y:Q", axis=axis, scale=down, title=None)
    arcs = _arcs(links)
    both = ["all of the pollen", "part of the pollen"]
    style = alt.StrokeDash(
        "line:N",
        scale=alt.Scale(domain=both, range=[[1, 0], [2, 4]]),
        legend=None,
    )
    tips = [alt.Tooltip("donor:N"), alt.Tooltip("tree:N"), alt.Tooltip("serves:N")]
    faint = 0.75 if len(arcs) <= 40 * len(_POINTS) else 0.4
    layers: list[Any] = []
    if len(arcs):
        layers.append(
            alt.Chart(arcs)
            .mark_line(color=ink, opacity=faint, strokeWidth=1.3, interpolate="basis", aria=False)
            .encode(x=x, y=y, detail="arc:N", order="along:Q", strokeDash=style, tooltip=tips)
        )
    heads = arcs.loc[arcs["apex"] & ~arcs["mutual"]]
    if len(heads):
        layers.append(
            alt.Chart(heads)
            .mark_point(shape="triangle", filled=True, color=ink, size=70, opacity=0.9, aria=False)
            .encode(x=x, y=y, angle=alt.Angle("turn:Q", scale=None), tooltip=tips)
        )
    layers.append(
        alt.Chart(nodes.assign(x=0.02, y=nodes["place"]))
        .mark_point(filled=True, size=170, stroke=rule, opacity=1, aria=False)
        .encode(
            x=x,
            y=y,
            shape=alt.Shape(
                "state:N", scale=alt.Scale(domain=list(_STATES), range=list(_SHAPES)), legend=None
            ),
            color=alt.Color(
                "state:N",
                scale=alt.Scale(domain=list(_STATES), range=[leaf, ink, "#E69F00", "#D55E00"]),
                legend=None,
            ),
            tooltip=[alt.Tooltip("name:N"), alt.Tooltip("state:N")],
        )
    )
    height = max(34, row_height(list(nodes["lines"]))) * len(nodes) + 10
    return styled(layers, words, paper, height)
