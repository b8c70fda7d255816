"""The page "Who gets which plant?": a swap event, from what people bring to lists for the tables.

In come offers and requests (tables or a form) and the organiser's settings; out go `match_swap`, the event
file and the sheets to print. Nothing is computed here.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any

import streamlit as st

from recommender.errors import OrchardwrightError
from recommender.pages import cards, shared
from recommender.wording import crop_in_sentence, crop_name

if TYPE_CHECKING:
    from recommender.catalog.store import Catalog
    from recommender.swap.event_file import Event
    from recommender.swap.matching import Match, SwapResult

_NEW = "A new event"
_USES = ("fresh", "cooking", "cider", "juice", "jam", "canning", "drying", "storage")
_SOILS = ("unknown", "sand", "loam", "clay", "chalk")
_SHOWN = 25


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
            '<div class="ow-empty"><p>Name a new event, or open one that is kept. To look round, fill it with'
            " the invented swap of Withy Hollow below.</p></div>"
        )
        return
    _settings(event)
    offers, requests = st.columns(2)
    with offers:
        _offers(event, catalog)
    with requests:
        _requests(event, catalog)
    _result(catalog)


def _told() -> None:
    """What happened on the last click, once."""
    error = st.session_state.pop("swap_error", None)
    if error is not None:
        shared.say(error)
    said = st.session_state.pop("swap_said", None)
    if said:
        st.html(f'<p class="ow-quiet" role="status">{escape(said)}</p>')


def _event() -> Event | None:
    from recommender.swap import event_file

    held: Event | None = st.session_state.get("swap_event")
    with shared.told_plainly():
        kept = event_file.events_kept()
    a, b = st.columns([3, 2], vertical_alignment="bottom")
    chosen = a.selectbox("Event", [_NEW, *kept], key="swap_choice")
    if chosen == _NEW:
        name = a.text_input("Its name", placeholder="Withy Hollow spring swap", key="swap_name", max_chars=60)
        b.button("Begin", on_click=_begin, args=(name,), disabled=not name.strip(), width="stretch")
    else:
        b.button("Open", on_click=_open, args=(chosen,), width="stretch")
    if held is not None:
        saved = f"saved, version {held.version}" if held.version else "not saved yet"
        promised = len(held.confirmed)
        st.html(
            f'<p class="ow-quiet"><strong>{escape(held.name)}</strong>: {len(held.offers)} offers, '
            f"{len(held.requests)} requests, {promised} confirmed; {saved}.</p>"
        )
        a, b = st.columns(2)
        a.button("Save the event", on_click=_save, type="primary", width="stretch")
        b.button("Fill in the invented swap of Withy Hollow", on_click=_demo, width="stretch")
    return held


def _keep(event: Event, said: str = "") -> None:
    st.session_state["swap_event"] = event
    if said:
        st.session_state["swap_said"] = said
    st.session_state.pop("swap_result", None)


def _tried(act: Any, *given: Any) -> Any:
    """The result of an act, or None after an error that the page will tell."""
    try:
        return act(*given)
    except OrchardwrightError as error:
        st.session_state["swap_error"] = error
        return None


def _begin(name: str) -> None:
    from recommender.swap.event_file import Event, event_path

    if _tried(event_path, name) is not None:
        _keep(Event(name.strip()))


def _open(name: str) -> None:
    from recommender.swap.event_file import event_path, open_event

    found = _tried(open_event, event_path(name))
    if found is not None:
        _keep(found, f"Opened version {found.version}.")


def _save() -> None:
    from recommender.swap.event_file import event_path, save_event

    event = st.session_state["swap_event"]
    saved = _tried(save_event, event_path(event.name), event)
    if saved is not None:
        st.session_state["swap_event"] = saved
        st.session_state["swap_said"] = f"Saved as version {saved.version}."


def _demo() -> None:
    from recommender.catalog.package import datasets_folder
    from recommender.suitability.site import Site
    from recommender.swap.people import SwapSettings
    from recommender.swap.reading import read_offers, read_requests

    folder = datasets_folder() / "demo"
    offers = _tried(read_offers, folder / "swap-offers.csv")
    requests = _tried(read_requests, folder / "swap-requests.csv")
    if offers and requests:
        site = Site.from_file(folder / "withy-hollow.toml")
        _keep(
            replace(
                st.session_state["swap_event"],
                offers=tuple(offers.entries),
                requests=tuple(requests.entries),
                settings=SwapSettings(on=date(2027, 2, 13), site=site, region="GB"),
            ),
            "Filled in; the parish, its people and their plants are invented.",
        )


def _settings(event: Event) -> None:
    settings = event.settings
    with st.expander("The day, the place and the rules", expanded=not event.offers), st.form("swap_settings"):
        a, b, c = st.columns(3)
        on = a.date_input("Day of the swap", settings.on, format="YYYY-MM-DD")
        place = b.text_input(
            "Where most gardens are",
            settings.site.place or "" if settings.site else "",
            placeholder="kept as it is" if settings.site else "Town or village, country",
        )
        region = c.text_input("Region code", settings.region or "", placeholder="GB, or US-NY")
        first = st.checkbox(
            "Where not all can be served, those who bring something go first", settings.givers_first
        )
        a, b = st.columns(2)
        far = a.number_input("Farthest way (km)", 0.0, 25_000.0, settings.max_km)
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
        _keep(replace(event, settings=SwapSettings(**answers, site=site)))
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
    table = _tried(read, Path(sent.name).name, sent.getvalue())
    if table is None:
        return
    event = st.session_state["swap_event"]
    entries = (*getattr(event, what), *table.entries)
    _keep(replace(event, **{what: tuple(with_ids(entries, what[0].upper()))}), " ".join(table.notes))


def _drop(what: str, key: str) -> None:
    event = st.session_state["swap_event"]
    gone = set(st.session_state.get(key, []))
    left = tuple(entry for entry in getattr(event, what) if entry.id not in gone)
    _keep(replace(event, **{what: left}))


def _listed(what: str, entries: tuple[Any, ...], columns: dict[str, str]) -> None:
    if not entries:
        st.html(f'<p class="ow-quiet">No {what} yet.</p>')
        return
    rows = [
        {
            title: ", ".join(value) if isinstance(value := getattr(entry, name), tuple) else value
            for name, title in columns.items()
        }
        for entry in entries
    ]
    st.dataframe(rows, hide_index=True, height="content" if len(rows) < 8 else 320)
    with st.popover("Take some out"):
        key = f"swap_{what}_drop"
        st.multiselect("Which?", [entry.id for entry in entries], key=key)
        st.button("Take out", on_click=_drop, args=(what, key), key=f"{key}_go")


def _offers(event: Event, catalog: Catalog) -> None:
    st.header("What people bring")
    _listed(
        "offers",
        event.offers,
        {
            "id": "No",
            "person": "Who",
            "variety": "Variety",
            "crop": "Fruit",
            "kind": "What",
            "count": "How many",
        },
    )
    with st.popover("Add one", width="stretch"), st.form("swap_offer", clear_on_submit=True):
        answers = {
            "person": st.text_input("Nickname", max_chars=60),
            "area": st.text_input("Area", max_chars=80),
            "crop": st.selectbox("Fruit", list(catalog.crops()["crop"]), format_func=crop_name),
            "variety": st.text_input("Variety", max_chars=120),
            "kind": st.segmented_control("What", ["plant", "scion wood"], default="plant", required=True),
            "count": st.number_input("How many", 1, 1000, 1),
            "cut_on": st.date_input("Scion wood was cut on", None, format="YYYY-MM-DD"),
            "health": st.text_input("Pests or diseases seen?", max_chars=400),
        }
        if st.form_submit_button("Add"):
            _add("offers", answers)
    st.file_uploader(
        "Or a table (CSV, XLSX)", ["csv", "xlsx"], key="swap_offers_file", on_change=_upload, args=("offers",)
    )


def _requests(event: Event, catalog: Catalog) -> None:
    st.header("What people would like")
    _listed(
        "requests",
        event.requests,
        {
            "id": "No",
            "person": "Who",
            "varieties": "Varieties",
            "crops": "Fruit",
            "uses": "For",
            "take": "Room for",
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
    entry = _tried(lambda: (Offer if what == "offers" else Request)(**answers))
    if entry is not None:
        _keep(replace(event, **{what: tuple(with_ids((*getattr(event, what), entry), what[0].upper()))}))
    st.rerun()


def _match() -> None:
    from recommender import match_swap

    event = st.session_state["swap_event"]
    found = _tried(
        lambda: match_swap(
            event.offers,
            event.requests,
            settings=event.settings,
            confirmed=event.confirmed,
            catalog=shared.catalog(),
        )
    )
    if found is not None:
        st.session_state["swap_result"] = found


def _result(catalog: Catalog) -> None:
    event: Event = st.session_state["swap_event"]
    st.button(
        "Match them",
        on_click=_match,
        type="primary",
        disabled=not (event.offers and event.requests),
        width="stretch",
    )
    result: SwapResult | None = st.session_state.get("swap_result")
    if result is None:
        return
    st.header(f"{result.served} of {result.people} people get a plant")
    before = result.best_first
    st.html(
        cards.paragraphs(
            [
                f"Best possible: {result.proof}. Taking the best match first would serve {before['served']}, "
                f"with a benefit of {before['benefit']:.2f} against {result.benefit:.2f}.",
                *result.notes,
            ]
        )
    )
    shown = st.session_state.get("swap_shown", _SHOWN)
    for match in result.matches[:shown]:
        st.html(match_card(match))
    if len(result.matches) > shown:
        st.button("Show more", on_click=_more, args=(shown,))
    _confirming(result)
    _left_over(result)
    _sheets(result, event.name)


def _more(shown: int) -> None:
    st.session_state["swap_shown"] = shown + _SHOWN


def match_card(match: Match) -> str:
    """One match as a card, every name and note as text."""
    lines = "".join(
        f"<dt>{label}</dt><dd>{cards.text(said)}</dd>"
        for label, said in (("why", match.reason), ("mind", match.minds))
        if said
    )
    area = f" ({cards.text(match.taker_area)})" if match.taker_area else ""
    agreed = "confirmed, " if match.confirmed else ""
    return (
        '<article class="ow-card"><header>'
        f"<h3>{cards.text(match.variety)} <small>{cards.text(crop_in_sentence(match.crop))}, "
        f"{cards.text(match.kind)}</small></h3>"
        f'<span class="ow-verdict">{agreed}benefit {match.benefit:.2f}</span></header>'
        f"<p>{cards.text(match.offer)} from {cards.text(match.giver)} to {cards.text(match.request)} "
        f'{cards.text(match.taker)}{area}</p><dl class="ow-lines">{lines}</dl></article>'
    )


def _label(match: Match) -> str:
    return f"{match.offer} to {match.request}: {match.variety} for {match.taker}"


def _confirming(result: SwapResult) -> None:
    open_matches = {_label(match): match for match in result.matches if not match.confirmed}
    agreed = {_label(match): match for match in result.matches if match.confirmed}
    a, b = st.columns(2)
    with a:
        st.multiselect("Confirm", list(open_matches), key="swap_confirm", placeholder="Choose what is agreed")
        st.button(
            "Confirm these",
            on_click=_confirm,
            args=(
                {
                    label: open_matches[label]
                    for label in st.session_state.get("swap_confirm", [])
                    if label in open_matches
                },
            ),
            width="stretch",
        )
        st.button(
            "Confirm all", on_click=_confirm, args=(open_matches,), disabled=not open_matches, width="stretch"
        )
    with b:
        st.multiselect(
            "Take back",
            list(agreed),
            key="swap_back",
            placeholder="Nothing is confirmed" if not agreed else "Choose",
        )
        st.button(
            "Take these back",
            on_click=_take_back,
            args=(
                {label: agreed[label] for label in st.session_state.get("swap_back", []) if label in agreed},
            ),
            disabled=not agreed,
            width="stretch",
        )


def _confirm(matches: dict[str, Match]) -> None:
    from recommender.swap.event_file import confirm, event_path
    from recommender.swap.people import Confirmed

    event = st.session_state["swap_event"]
    kept = [Confirmed(m.offer, m.request, m.count, m.benefit, m.reason) for m in matches.values()]
    if not kept:
        return
    saved = _tried(confirm, event_path(event.name), event, kept)
    if saved is not None:
        _keep(saved, f"{len(kept)} confirmed and saved, version {saved.version}.")
        _match()


def _take_back(matches: dict[str, Match]) -> None:
    from recommender.swap.event_file import event_path, take_back
    from recommender.swap.people import Confirmed

    event = st.session_state["swap_event"]
    gone = [Confirmed(m.offer, m.request) for m in matches.values()]
    saved = _tried(take_back, event_path(event.name), event, gone)
    if saved is not None:
        _keep(saved, f"{len(gone)} taken back, version {saved.version}.")
        _match()


def _left_over(result: SwapResult) -> None:
    if not result.unmatched:
        return
    st.header("Left over, and why")
    lines = "".join(
        f"<li><strong>{cards.text(one.id)} {cards.text(one.person)}, {cards.text(one.what)}</strong> "
        f'({one.left}): {cards.text(one.stopped)}<br><span class="ow-quiet">Would free it: '
        f"{cards.text(one.frees)}</span></li>"
        for one in result.unmatched
    )
    st.html(f'<ul class="ow-prose">{lines}</ul>')


def _sheets(result: SwapResult, title: str) -> None:
    from recommender.outputs import csv_text
    from recommender.swap import cards_pdf, exports

    st.header("Lists to print and keep")
    ticked = st.pills(
        "What may they show?",
        list(exports.TICKS),
        format_func=exports.TICKS.__getitem__,
        selection_mode="multi",
        default=list(exports.USUAL),
    )
    paper = st.segmented_control("Paper", ["A4", "Letter"], default="A4", required=True)
    sheets: list[tuple[str, Any, str]] = [
        ("Table cards (PDF)", lambda: cards_pdf.table_cards(result, title, ticked, paper), "table-cards.pdf"),
        ("Pick lists (PDF)", lambda: cards_pdf.pick_lists(result, title, ticked, paper), "pick-lists.pdf"),
        ("Matches (CSV)", lambda: csv_text(exports.matches_frame(result, ticked)), "matches.csv"),
        ("Left over (CSV)", lambda: csv_text(exports.unmatched_frame(result, ticked)), "left-over.csv"),
    ]
    for column, (label, data, name) in zip(st.columns(4), sheets, strict=True):
        column.download_button(label, data=data, file_name=name, width="stretch", on_click="ignore")
