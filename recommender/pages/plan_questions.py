"""The questions about a planting: how many trees, the ground and what stands there, weeks, money.

In come the grower's answers through the page's controls; out go plain answers for `PlantingWishes` and
`Plot`. Tables of things are read by `orchard.ground_text`.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, get_args

import pandas as pd
import streamlit as st

from recommender.orchard import ground_text
from recommender.orchard.plot import Kind
from recommender.wording import Units, crop_name, metres

if TYPE_CHECKING:
    from recommender.catalog.store import Catalog

_STYLES = {
    "open": "each tree by itself",
    "hedge": "a hedge",
    "espalier": "espaliers",
    "cordon": "cordons",
    "fan": "fans",
    "spindle": "slender spindles",
}
_ONE_TREE = {"any": "whichever is better", "self-fertile": "bears alone", "family": "several grafted on it"}
_THINGS = {
    "what": "str",
    "where": "str",
    "high": "float",
    "wide": "float",
    "name": "str",
    "trained": "bool",
}
_NUMBERS = {"crop": "str", "fewest": "Int64", "most": "Int64", "price": "float"}
_BOUND: Any = {"bind": "query-params"}


def how_many() -> int:
    """How many trees the grower asks for."""
    return int(st.number_input("How many trees, at most?", 1, 20, 6, key="trees", **_BOUND))


def questions(
    catalog: Catalog, trees: int, units: Units, opened: Callable[[], None]
) -> tuple[dict[str, Any], dict[str, Any]]:
    """The wishes for the planting and the plot (empty without one). opened: called when a plan file was
    chosen. Raises BadInput."""
    with st.expander("More about the planting: ground, what stands there, weeks, money, a saved plan"):
        ground, things, weeks, money, saved = st.tabs(
            ["Ground", "What stands there", "Weeks", "Money and numbers", "Saved plan"]
        )
        with saved:
            st.file_uploader("Plan file (JSON)", ["json"], key="plan_file", on_change=opened)
        with ground:
            sides, grown = _ground(units, trees)
        with things:
            rows = _things(units)
        with weeks:
            wanted = _weeks()
        with money:
            limits = _money(catalog)
    plot = ground_text.plot_of(*sides, rows, units)
    return {"trees": trees, **grown, **wanted, **limits}, plot


def _ground(units: Units, trees: int) -> tuple[tuple[float | None, float | None, str, float], dict[str, Any]]:
    length = "feet" if units == "imperial" else "metres"
    a, b = st.columns(2)
    width = a.number_input(f"Plot, left to right ({length})", 0.0, None, None, key="width", **_BOUND)
    depth = b.number_input(f"Plot, bottom to top ({length})", 0.0, None, None, key="depth", **_BOUND)
    corners = st.text_input(
        f"Or its corners, in order round it ({length} right and up)",
        placeholder="0 0; 24 0; 24 14; 10 20; 0 20",
        key="corners",
        **_BOUND,
    )
    a, b = st.columns(2)
    north = a.number_input(
        "Upper edge faces (degrees, east is 90)",
        0.0,
        359.0,
        0.0,
        step=15.0,
        key="north",
        **_BOUND,
    )
    style = b.selectbox(
        "How are they grown?", list(_STYLES), format_func=_STYLES.__getitem__, key="style", **_BOUND
    )
    grown: dict[str, Any] = {"style": style}
    if style != "open":
        a, b = st.columns(2)
        for column, name, words in ((a, "in_row", "From tree to tree"), (b, "row", "From row to row")):
            value = column.number_input(f"{words} ({length})", 0.0, None, None, step=0.5, key=name, **_BOUND)
            if value:
                grown[f"{name}_m"] = metres(value, units)
    if trees == 1:
        grown["one_tree"] = st.selectbox(
            "Which one tree?", list(_ONE_TREE), format_func=_ONE_TREE.__getitem__, key="one_tree", **_BOUND
        )
    return (width, depth, corners, float(north)), grown


def _things(units: Units) -> list[dict[str, Any]]:
    length = "feet" if units == "imperial" else "metres"
    st.html(
        '<p class="ow-quiet">One row for each path, building, wire, pipe or tree. Where: how far right and '
        "how far up from the plot's lower left corner, with a semicolon between points. One point for a "
        "tree, two or more for a line, three or more for a building. Tick the last box for a wall, fence or "
        "building along which espaliers, cordons or fans are to grow.</p>"
    )
    sent = st.data_editor(
        pd.DataFrame({name: pd.Series(dtype=kind) for name, kind in _THINGS.items()}),
        key="things_table",
        num_rows="dynamic",
        hide_index=True,
        width="stretch",
        column_config={
            "what": st.column_config.SelectboxColumn("What", options=list(get_args(Kind))),
            "where": st.column_config.TextColumn("Where", help=f"Such as {ground_text.EXAMPLE}"),
            "high": st.column_config.NumberColumn(f"High ({length})", min_value=0.0),
            "wide": st.column_config.NumberColumn(f"Crown ({length})", min_value=0.0),
            "name": st.column_config.TextColumn("Which tree", help="Such as apple:Discovery"),
            "trained": st.column_config.CheckboxColumn("Trees along it"),
        },
    )
    return [{str(name): value for name, value in row.items()} for row in sent.to_dict("records")]


def _weeks() -> dict[str, Any]:
    st.html(
        '<p class="ow-quiet">Leave these empty for the whole season of the fruit you chose. Dates are month '
        "and day: 07-15 is the fifteenth of July.</p>"
    )
    a, b, c = st.columns(3)
    first = a.text_input("Ripe fruit from", placeholder="07-15", key="fresh_from", **_BOUND)
    last = b.text_input("to", placeholder="10-31", key="fresh_to", **_BOUND)
    store = c.text_input("Then from store until", placeholder="03-15", key="store", **_BOUND)
    told = {"fresh_from": first, "fresh_to": last, "store_to": store}
    cover = st.slider(
        "What counts more: 0 the best varieties, 3 fruit in as many weeks as can be",
        0.0,
        3.0,
        0.8,
        0.1,
        key="cover",
        **_BOUND,
    )
    return {**{name: text.strip() for name, text in told.items() if text.strip()}, "cover": float(cover)}


def _money(catalog: Catalog) -> dict[str, Any]:
    a, b = st.columns(2)
    budget = a.number_input("Money for trees", 0.0, None, None, step=10.0, key="budget", **_BOUND)
    usual = b.number_input("Usual price of a tree", 0.0, None, None, step=1.0, key="price", **_BOUND)
    crops = list(catalog.crops()["crop"])
    st.html('<p class="ow-quiet">Numbers and prices of single kinds of fruit, if they differ.</p>')
    sent = st.data_editor(
        pd.DataFrame({name: pd.Series(dtype=kind) for name, kind in _NUMBERS.items()}),
        key="numbers_table",
        num_rows="dynamic",
        hide_index=True,
        width="stretch",
        column_config={
            "crop": st.column_config.SelectboxColumn(
                "Fruit", options=crops, format_func=lambda crop: crop_name(str(crop))
            ),
            "fewest": st.column_config.NumberColumn("At least", min_value=0, max_value=20, step=1),
            "most": st.column_config.NumberColumn("At most", min_value=0, max_value=20, step=1),
            "price": st.column_config.NumberColumn("Price of a tree", min_value=0.0),
        },
    )
    quotas, prices = ground_text.quotas_of(
        [{str(name): value for name, value in row.items()} for row in sent.to_dict("records")]
    )
    if usual:
        prices = {"any": float(usual), **prices}
    doubtful = st.toggle("Consider doubtful varieties too", key="doubtful", **_BOUND)
    return {
        **({"budget": float(budget)} if budget else {}),
        **({"prices": prices} if prices else {}),
        **({"quotas": quotas} if quotas else {}),
        **({"also_doubtful": True} if doubtful else {}),
    }
