"""The second half of the swap page: who gets which plant, what is left over and why, lists to print.

In comes a `SwapResult`; out go cards, confirmations and files. Nothing is computed here.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import streamlit as st

from recommender.pages import cards, shared
from recommender.pages.swap_entries import keep, tried
from recommender.wording import crop_in_sentence

if TYPE_CHECKING:
    from recommender.swap.event_file import Event
    from recommender.swap.matching import Match, SwapResult
    from recommender.swap.offers import Doubt

_SHOWN = 25


def _match() -> None:
    from recommender import match_swap

    event = st.session_state["swap_event"]
    found = tried(
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


def result() -> None:
    """The button that matches, and what came of it."""
    event: Event = st.session_state["swap_event"]
    st.button(
        "Match them",
        on_click=_match,
        type="primary",
        disabled=not (event.offers and event.requests),
        width="stretch",
    )
    found: SwapResult | None = st.session_state.get("swap_result")
    if found is None:
        return
    st.header(f"{found.served} of {found.people} people get a plant")
    before = found.best_first
    more = found.rounds[1] if len(found.rounds) > 1 else 0
    second = f"{more} of them get{'s' if more == 1 else ''} a second. " if more else ""
    st.html(
        cards.paragraphs(
            [
                f"{second}Benefit, from 0 to 1 for each plant, says how well it suits the site, the wish and "
                f"the pollen there; together {found.benefit:.2f}. Taking the best match first would serve "
                f"{before['served']} with {before['benefit']:.2f}. How sure this is: {found.proof}.",
                *found.notes,
            ]
        )
    )
    _doubts(found.doubts)
    shown = st.session_state.get("swap_shown", _SHOWN)
    for match in found.matches[:shown]:
        st.html(match_card(match))
    if len(found.matches) > shown:
        st.button("Show more", on_click=_more, args=(shown,))
    _confirming(found)
    _left_over(found)
    _sheets(found, event.name)


def _doubts(doubts: tuple[Doubt, ...]) -> None:
    """Names that were not guessed, each with the varieties it may mean."""
    if not doubts:
        return
    with st.container(border=True):
        st.subheader("Names that need a look")
        for place, doubt in enumerate(doubts):
            st.html(f'<p class="ow-quiet">{cards.text(doubt.id)}: {cards.text(doubt.says)}.</p>')
            if not doubt.candidates:
                continue
            labels = {f"{name} ({crop_in_sentence(crop)})": (crop, name) for crop, name in doubt.candidates}
            a, b = st.columns([3, 2], vertical_alignment="bottom")
            key = f"swap_doubt_{place}"
            chosen = a.selectbox(
                cards.label(f"What is “{doubt.written}” of {doubt.id}?"),
                list(labels),
                index=None,
                placeholder="Choose, or leave it out",
                key=key,
            )
            b.button(
                "It is this one",
                on_click=_settle,
                args=(doubt, labels.get(chosen or "")),
                disabled=chosen is None,
                key=f"{key}_go",
                width="stretch",
            )


def _settle(doubt: Doubt, variety: tuple[str, str] | None) -> None:
    from recommender.swap.offers import settled

    if variety is None:
        return
    event: Event = st.session_state["swap_event"]
    if doubt.kind == "offer":
        event = replace(
            event,
            offers=tuple(
                settled(one, doubt.written, variety) if one.id == doubt.id else one for one in event.offers
            ),
        )
    else:
        event = replace(
            event,
            requests=tuple(
                settled(one, doubt.written, variety) if one.id == doubt.id else one for one in event.requests
            ),
        )
    keep(event, f"“{doubt.written}” is now {variety[1]}; save the event to keep that.")
    _match()


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
    saved = tried(confirm, event_path(event.name), event, kept)
    if saved is not None:
        keep(saved, f"{len(kept)} confirmed and saved, version {saved.version}.")
        _match()


def _take_back(matches: dict[str, Match]) -> None:
    from recommender.swap.event_file import event_path, take_back
    from recommender.swap.people import Confirmed

    event = st.session_state["swap_event"]
    gone = [Confirmed(m.offer, m.request) for m in matches.values()]
    saved = tried(take_back, event_path(event.name), event, gone)
    if saved is not None:
        keep(saved, f"{len(gone)} taken back, version {saved.version}.")
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
