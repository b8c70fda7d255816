"""The page "Who gets which plant?": a swap event, from what people bring to lists for the tables.

In come offers and requests (tables or a form) and the organiser's settings; out go `match_swap`, the event
file and the sheets to print. Nothing is computed here.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from html import escape
from typing import TYPE_CHECKING

import streamlit as st

from recommender.pages import shared, swap_entries, swap_results
from recommender.pages.swap_entries import keep, tried

if TYPE_CHECKING:
    from recommender.swap.event_file import Event

_NEW = "A new event"


def page() -> None:
    """Draw the page."""
    st.title("Who gets which plant?")
    st.html(
        '<p class="ow-lead">Put down what people bring and what they would like. Everyone who can be served'
        " is served before anyone gets a second plant.</p>"
    )
    with shared.told_plainly():
        catalog = shared.catalog()
    _told()
    event = _event()
    if event is None:
        st.html(
            '<div class="ow-empty"><p>Name a new event and begin, or open one that is kept. To look round,'
            " begin one and fill it with the invented swap of Withy Hollow.</p></div>"
        )
        return
    swap_entries.settings(event)
    offers, requests = st.columns(2)
    with offers:
        swap_entries.offers(event, catalog)
    with requests:
        swap_entries.requests(event, catalog)
    swap_results.result()


def _told() -> None:
    """What happened on the last click, once."""
    error = st.session_state.pop("swap_error", None)
    if error is not None:
        shared.say(error)
    said = st.session_state.pop("swap_said", None)
    if said:
        st.html(f'<p class="ow-quiet" role="status">{escape(said)}</p>')


def _event() -> Event | None:
    held: Event | None = st.session_state.get("swap_event")
    if held is None:
        _choose()
        return None
    saved = f"saved, version {held.version}" if held.version else "not saved yet"
    st.html(
        f'<p class="ow-quiet"><strong>{escape(held.name)}</strong>: {_counted(len(held.offers), "offer")}, '
        f"{_counted(len(held.requests), 'request')}, {len(held.confirmed)} confirmed; {saved}.</p>"
    )
    a, b = st.columns(2)
    a.button("Save the event", on_click=_save, type="primary", width="stretch")
    if not (held.offers or held.requests):
        b.button("Fill in the invented swap of Withy Hollow", on_click=_demo, width="stretch")
    elif held.version:
        b.button("Open it again as it is kept", on_click=_open, args=(held.name,), width="stretch")
    with st.expander("Another event"):
        _choose()
    return held


def _counted(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _choose() -> None:
    from recommender.swap import event_file

    with shared.told_plainly():
        kept = event_file.events_kept()
    a, b = st.columns([3, 2], vertical_alignment="bottom")
    chosen = a.selectbox("Event", [_NEW, *kept], key="swap_choice")
    if chosen == _NEW:
        name = a.text_input("Its name", placeholder="Withy Hollow spring swap", key="swap_name", max_chars=60)
        b.button("Begin", on_click=_begin, args=(name,), disabled=not name.strip(), width="stretch")
    else:
        b.button("Open it", on_click=_open, args=(chosen,), width="stretch")


def _begin(name: str) -> None:
    from recommender.swap.event_file import Event, event_path

    if tried(event_path, name) is not None:
        keep(Event(name.strip()))


def _open(name: str) -> None:
    from recommender.swap.event_file import event_path, open_event

    found = tried(open_event, event_path(name))
    if found is not None:
        keep(found, f"Opened version {found.version}.")


def _save() -> None:
    from recommender.swap.event_file import event_path, save_event

    event = st.session_state["swap_event"]
    saved = tried(save_event, event_path(event.name), event)
    if saved is not None:
        st.session_state["swap_event"] = saved
        st.session_state["swap_said"] = f"Saved as version {saved.version}."


def _demo() -> None:
    from recommender.catalog.package import datasets_folder
    from recommender.suitability.site import Site
    from recommender.swap.people import SwapSettings
    from recommender.swap.reading import read_offers, read_requests

    folder = datasets_folder() / "demo"
    offers = tried(read_offers, folder / "swap-offers.csv")
    requests = tried(read_requests, folder / "swap-requests.csv")
    if offers and requests:
        site = Site.from_file(folder / "withy-hollow.toml")
        keep(
            replace(
                st.session_state["swap_event"],
                offers=tuple(offers.entries),
                requests=tuple(requests.entries),
                settings=SwapSettings(on=date(2027, 2, 13), site=site, region="GB"),
            ),
            "Filled in; the parish, its people and their plants are invented.",
        )
