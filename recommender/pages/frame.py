"""The frame around every page: the row of links, the choice of units, the style sheet.

In comes the list of pages from `app.py`; out goes the page the address asks for. What is said of the site
goes along from page to page, so that it is answered once.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import streamlit as st

from recommender.pages import shared
from recommender.units import LITRES_PER_US_GALLON, METRES_PER_FOOT

# Answers that mean the same on every page; a page ignores those it does not ask for.
_GOES_ALONG = (
    "place", "by", "point", "elevation", "zone", "chill", "soil", "frost", "crop", "tree", "tall",
)  # fmt: skip
# Controls whose numbers are in the units of the reader, and what one of the imperial unit is in metric.
_MEASURED = {
    **dict.fromkeys(("space", "tall", "width", "depth", "elevation"), METRES_PER_FOOT),
    "pot": LITRES_PER_US_GALLON,
}


@dataclass(frozen=True)
class Entry:
    """A page: what draws it, its word in the row of links, its question, its address."""

    draw: Callable[[], None]
    word: str
    question: str
    address: str


def show(entries: Sequence[Entry]) -> None:
    """Draw the frame and the page the address asks for; without one, the first entry."""
    st.set_page_config(layout="wide", initial_sidebar_state="collapsed")
    shared.dress()
    first, pages = (
        st.Page(entries[0].draw, title=entries[0].question, default=True),
        [st.Page(entry.draw, title=entry.question, url_path=entry.address) for entry in entries],
    )
    chosen = st.navigation([first, *pages], position="hidden")
    _bring_along(chosen.url_path)
    with st.container(horizontal=True, key="ow-nav", vertical_alignment="center", gap="small"):
        for entry, page in zip(entries, pages, strict=True):
            here = page == chosen or (page == pages[0] and chosen == first)
            st.page_link(page, label=f"**{entry.word}**" if here else entry.word, width="content")
        st.segmented_control(
            "Units",
            ["metric", "imperial"],
            default="metric",
            required=True,
            key="units",
            label_visibility="collapsed",
            on_change=_in_other_units,
            bind="query-params",
        )
    try:
        chosen.run()
    finally:
        _put_by()


def _bring_along(address: str) -> None:
    """On coming to another page: what was answered before, unless the address itself says otherwise."""
    before, st.session_state["ow-page"] = st.session_state.get("ow-page"), address
    if before in (None, address):
        return
    held = {
        name: answer
        for name, answer in st.session_state.get("ow-along", {}).items()
        if name not in st.query_params
    }
    shared.answer(held)


def _put_by() -> None:
    """Keep what this page was told, for the next one: a widget's answer is lost once it is not drawn."""
    now = {name: st.session_state[name] for name in _GOES_ALONG if name in st.session_state}
    st.session_state["ow-along"] = {**st.session_state.get("ow-along", {}), **now}


def _in_other_units() -> None:
    """Numbers already given keep their meaning when the units change."""
    imperial = st.session_state["units"] == "imperial"
    held = st.session_state.get("ow-along", {})
    for name, size in _MEASURED.items():
        for answers in (st.session_state, held):
            given = answers.get(name)
            if given:
                answers[name] = round(given / size if imperial else given * size, 2)
