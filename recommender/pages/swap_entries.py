"""The first half of the swap page: the day and its rules, what people bring, what they would like.

In come forms and tables; out goes the event of the session, changed. Nothing is computed here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import streamlit as st

from recommender.errors import OrchardwrightError
from recommender.wording import crop_name, crop_plural

if TYPE_CHECKING:
    from recommender.catalog.store import Catalog
    from recommender.swap.event_file import Event
    from recommender.swap.offers import Offer, Request

_USES = ("fresh", "cooking", "cider", "juice", "jam", "canning", "drying", "storage")
_SOILS = ("unknown", "sand", "loam", "clay", "chalk")
_NEIGHBOURS = ("unknown", "yes", "no")


def keep(event: Event, said: str = "") -> None:
    """Take the event as it is now; what was matched before no longer holds."""
    st.session_state["swap_event"] = event
    if said:
        st.session_state["swap_said"] = said
    st.session_state.pop("swap_result", None)


def tried(act: Any, *given: Any) -> Any:
    """The result of an act, or None after an error that the page will tell."""
    try:
        return act(*given)
    except OrchardwrightError as error:
        st.session_state["swap_error"] = error
        return None


def settings(event: Event) -> None:
    """The day, the place and the rules."""
    from recommender.swap.offers import FARTHEST_KM

    settings = event.settings
    with st.expander("The day, the place and the rules", expanded=not event.offers), st.form("swap_settings"):
        a, b, c = st.columns(3)
        on = a.date_input("Day of the swap", settings.on, format="YYYY-MM-DD")
        place = b.text_input(
            "Where most gardens are",
            settings.site.place or "" if settings.site else "",
            placeholder="kept as it is" if settings.site else "Town or village, country",
        )
        region = c.text_input(
            "Country or state, for plant-health rules",
            settings.region or "",
            placeholder="GB, France or US-NY",
        )
        first = st.checkbox(
            "Where not all can be served, those who bring something go first", settings.givers_first
        )
        a, b = st.columns(2)
        far = a.number_input("Farthest way (km)", 0.0, FARTHEST_KM, settings.max_km)
        permitted = b.multiselect(
            "Offers whose owner of rights allows it",
            [offer.id for offer in event.offers if offer.id],
            [name for name in settings.permitted if name in {offer.id for offer in event.offers}],
            placeholder="None",
        )
        answers = {
            "on": on,
            "region": region,
            "givers_first": first,
            "max_km": far or None,
            "permitted": permitted,
        }
        if st.form_submit_button("Keep these"):
            _set(event, answers, place.strip())


def _set(event: Event, answers: dict[str, Any], place: str) -> None:
    from recommender import Site
    from recommender.swap.people import SwapSettings

    try:
        site = Site(place=place) if place else event.settings.site
        keep(replace(event, settings=SwapSettings(**answers, site=site)))
    except OrchardwrightError as error:
        st.session_state["swap_error"] = error
    st.rerun()


def _upload(what: str) -> None:
    from recommender.swap.event_file import with_ids
    from recommender.swap.reading import read_offers, read_requests

    sent = st.session_state.get(f"swap_{what}_file")
    if sent is None:
        return
    read = read_offers if what == "offers" else read_requests
    table = tried(read, Path(sent.name).name, sent.getvalue())
    if table is None:
        return
    event = st.session_state["swap_event"]
    entries = (*getattr(event, what), *table.entries)
    keep(replace(event, **{what: tuple(with_ids(entries, what[0].upper()))}), " ".join(table.notes))


def _drop(what: str, key: str) -> None:
    event = st.session_state["swap_event"]
    gone = set(st.session_state.get(key, []))
    left = tuple(entry for entry in getattr(event, what) if entry.id not in gone)
    keep(replace(event, **{what: left}))


def _listed(what: str, entries: tuple[Any, ...], columns: dict[str, Callable[[Any], object]]) -> None:
    if not entries:
        st.html(f'<p class="ow-quiet">No {what} yet.</p>')
        return
    rows = [{title: told(entry) for title, told in columns.items()} for entry in entries]
    st.dataframe(rows, hide_index=True, height="content" if len(rows) < 8 else 320)
    with st.popover("Take some out", width="stretch"):
        key = f"swap_{what}_drop"
        st.multiselect("Which?", [entry.id for entry in entries], key=key)
        st.button("Take out", on_click=_drop, args=(what, key), key=f"{key}_go")


def _amount(offer: Offer) -> str:
    plants = "plant" if offer.count == 1 else "plants"
    return f"{offer.count} {plants if offer.kind == 'plant' else offer.kind}"


def _wish(request: Request) -> str:
    wishes = [*request.varieties, *(crop_plural(crop) for crop in request.crops)]
    uses = f" for {', '.join(request.uses)}" if request.uses else ""
    return (", ".join(wishes) or "anything") + uses


def offers(event: Event, catalog: Catalog) -> None:
    """What people bring: the list, a form, a table."""
    st.header("What people bring")
    _listed(
        "offers",
        event.offers,
        {
            "No": lambda offer: offer.id,
            "Who": lambda offer: offer.person,
            "Variety": lambda offer: offer.variety,
            "What": _amount,
            "Fruit": lambda offer: offer.crop and crop_name(offer.crop),
        },
    )
    with st.popover("Add one", width="stretch"), st.form("swap_offer", clear_on_submit=True):
        answers = {
            "person": st.text_input("Nickname", max_chars=60),
            "area": st.text_input("Area", max_chars=80),
            "crop": st.selectbox(
                "Fruit",
                list(catalog.crops()["crop"]),
                index=None,
                format_func=crop_name,
                placeholder="If the name leaves it open",
            )
            or "",
            "variety": st.text_input("Variety", max_chars=120, help="A slip of the pen is mended and told."),
            "kind": st.segmented_control("What", ["plant", "scion wood"], default="plant", required=True),
            "count": st.number_input("How many", 1, 1000, 1),
            "cut_on": st.date_input("Scion wood was cut on", None, format="YYYY-MM-DD"),
            "available_from": st.date_input("Can be handed over from", None, format="YYYY-MM-DD"),
            "available_until": st.date_input("until", None, format="YYYY-MM-DD"),
            "health": st.text_input("Pests or diseases seen?", max_chars=400),
        }
        if st.form_submit_button("Add"):
            _add("offers", answers)
    st.file_uploader(
        "Or a table (CSV, XLSX)", ["csv", "xlsx"], key="swap_offers_file", on_change=_upload, args=("offers",)
    )


def requests(event: Event, catalog: Catalog) -> None:
    """What people would like: the list, a form, a table."""
    st.header("What people would like")
    _listed(
        "requests",
        event.requests,
        {
            "No": lambda request: request.id,
            "Who": lambda request: request.person,
            "Wishes": _wish,
            "Room for": lambda request: request.take,
        },
    )
    with st.popover("Add one", width="stretch"), st.form("swap_request", clear_on_submit=True):
        answers = {
            "person": st.text_input("Nickname", max_chars=60),
            "area": st.text_input("Area", max_chars=80),
            "place": st.text_input("Town, if not where most are", max_chars=120) or None,
            "crops": st.multiselect("Which fruit?", list(catalog.crops()["crop"]), format_func=crop_name),
            "varieties": st.text_input("Which varieties? (several with ;)"),
            "uses": st.multiselect("What for?", _USES),
            "kinds": st.multiselect("What can they take?", ["plant", "scion wood"], placeholder="Both"),
            "existing_trees": st.text_input("Trees that stand there (several with ;)"),
            "rootstocks": st.text_input("Rootstocks at hand, such as M26 x 2"),
            "neighbours_have_fruit_trees": st.selectbox("Fruit trees next door?", _NEIGHBOURS),
            "soil": st.selectbox("Soil", _SOILS),
            "take": st.number_input("Room for how many?", 1, 100, 1),
        }
        if st.form_submit_button("Add"):
            _add("requests", answers)
    st.file_uploader(
        "Or a table (CSV, XLSX)",
        ["csv", "xlsx"],
        key="swap_requests_file",
        on_change=_upload,
        args=("requests",),
    )


def _add(what: str, answers: dict[str, Any]) -> None:
    from recommender.swap.event_file import with_ids
    from recommender.swap.offers import Offer, Request

    event = st.session_state["swap_event"]
    entry = tried(lambda: (Offer if what == "offers" else Request)(**answers))
    if entry is not None:
        keep(replace(event, **{what: tuple(with_ids((*getattr(event, what), entry), what[0].upper()))}))
    st.rerun()
