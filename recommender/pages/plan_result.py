"""A planting as shown: its trees as cards, the pictures, other sets, papers to take along.

In comes a `Plan`; out goes the lower part of the page. A tree can be kept or left out; the set is then chosen
again by the page. Nothing is computed here.
"""

from __future__ import annotations

from datetime import date
from functools import partial
from typing import TYPE_CHECKING, Any

import streamlit as st

from recommender.orchard.facts import date_span, span_words
from recommender.orchard.notes import notes_for
from recommender.pages import cards, shared
from recommender.wording import MARKS, Units, crop_in_sentence, length_words, list_words, plain

if TYPE_CHECKING:
    from recommender.biology.pollination_result import PollinationMatrix
    from recommender.catalog.store import Catalog
    from recommender.orchard.plan import Plan, PlannedTree
    from recommender.orchard.relaxation import NoPlanting


def held(name: str) -> tuple[str, ...]:
    """Trees the grower keeps (`kept`) or leaves out (`gone`), as "crop:variety"."""
    return tuple(st.session_state.get(name, ()))


def result(catalog: Catalog, plan: Plan, units: Units) -> None:
    """Draw a planting."""
    st.html(cards.paragraphs([plan.place], "ow-site"))
    st.header(f"{len(plan.trees)} {'tree' if len(plan.trees) == 1 else 'trees'} to plant")
    st.html(cards.paragraphs([*plan.summary(), *notes_for(plan, units)]))
    for number, tree in enumerate(plan.trees, start=1):
        _tree(number, tree, units)
    _left_out()
    _alternatives(plan)
    _pictures(catalog, plan, units)
    _papers(catalog, plan, units)


def nothing(error: NoPlanting) -> None:
    """Say that no planting meets every wish, and which to give up."""
    wishes = "".join(f"<li>{cards.text(wish)}.</li>" for wish in error.give_up)
    st.html(
        f'<div class="ow-error" role="alert"><p>{cards.text(error.what)}.</p>'
        f"<p>The fewest wishes to give up:</p><ul>{wishes}</ul></div>"
    )
    if held("kept"):
        names = list_words([plain(name.partition(":")[2]) for name in held("kept")])
        st.html(cards.paragraphs([f"You insist on {names}."]))
        st.button("Insist on no tree", on_click=st.session_state.update, args=({"kept": []},))
    _left_out()


def _left_out() -> None:
    gone = held("gone")
    if gone:
        names = list_words([plain(name.partition(":")[2]) for name in gone])
        st.html(cards.paragraphs([f"Left out at your wish: {names}."]))
        st.button("Allow them again", on_click=st.session_state.update, args=({"gone": []},))


def _toggle(name: str, key: str, other: str) -> None:
    mine, against = list(held(name)), list(held(other))
    mine = [one for one in mine if one != key] if key in mine else [*mine, key]
    st.session_state[name] = mine
    st.session_state[other] = [one for one in against if one != key]


def _tree(number: int, tree: PlannedTree, units: Units) -> None:
    stock = f" on {tree.rootstock}" if tree.rootstock else ""
    picked, often = "no date known", ""
    if tree.harvest is not None:
        picked = date_span(tree.harvest.first, tree.harvest.last, units)
        if tree.harvest.early is not None and tree.harvest.late is not None:
            often = f"over the years {date_span(tree.harvest.early, tree.harvest.late, units)}"
    height = "not known"
    if tree.height_high_m is not None:
        height = span_words(tree.height_low_m or tree.height_high_m, tree.height_high_m, units)
    facts = cards.figures(
        [
            ("Picked", picked, often),
            ("Room", length_words(tree.spacing_m, units), "to the next tree"),
            ("Height", height, "grown"),
        ]
    )
    grafted = ""
    if tree.grafted_with:
        names = list_words([plain(other) for other in tree.grafted_with])
        grafted = f"One tree with {names} grafted on."
    lines = [part for part in (grafted, tree.pollination, tree.watch) if part]
    kept = ' <small class="ow-quiet">kept at your wish</small>' if tree.locked else ""
    st.html(
        f'<article class="ow-card"><header><h3><span class="ow-rank">{number}</span>'
        f"{cards.text(tree.variety)} "
        f"<small>{cards.text(crop_in_sentence(tree.crop) + stock)}</small>{kept}</h3>"
        f'<span class="ow-verdict">{MARKS[tree.verdict]} {cards.text(tree.verdict)}</span></header>'
        f"{cards.paragraphs(lines)}{facts}</article>"
    )
    keep, drop = st.columns(2)
    keep.button(
        f"{'Do not insist on' if tree.locked else 'Keep'} {cards.label(tree.variety)}",
        key=f"keep-{tree.key}",
        on_click=_toggle,
        args=("kept", tree.key, "gone"),
        width="stretch",
    )
    drop.button(
        f"Leave out {cards.label(tree.variety)}",
        key=f"drop-{tree.key}",
        on_click=_toggle,
        args=("gone", tree.key, "kept"),
        width="stretch",
    )


def _alternatives(plan: Plan) -> None:
    offers = [*plan.alternatives, *plan.one_tree]
    if not offers:
        return
    with st.expander("Other sets, nearly as good"):
        mine = {tree.key for tree in plan.trees}
        for number, offer in enumerate(offers, start=1):
            names = list_words([plain(name.partition(":")[2]) for name in offer.trees])
            new = [plain(name.partition(":")[2]) for name in offer.trees if name not in mine]
            other = f" New in it: {list_words(new)}." if new and len(new) < len(offer.trees) else ""
            st.html(
                cards.paragraphs(
                    [
                        f"{names}: fruit in {offer.harvest_cover:.0%} of the weeks, "
                        f"{offer.served:.0%} of the trees that need a partner have one.{other}"
                    ]
                )
            )
            st.button(
                f"Take set {number}",
                key=f"take-{number}",
                on_click=st.session_state.update,
                args=({"kept": list(offer.trees), "gone": []},),
            )


@st.cache_resource(show_spinner=False, max_entries=16)
def _network(_catalog: Catalog, _plan: Plan, key: str) -> PollinationMatrix | None:
    from recommender.orchard.network import network_of

    return network_of(_plan, _catalog)


def _pictures(catalog: Catalog, plan: Plan, units: Units) -> None:
    from recommender.charts_orchard import harvest_chart, network_chart
    from recommender.orchard.drawing import drawn, image
    from recommender.orchard.plan_file import plan_text

    paper = shared.paper()
    network = _network(catalog, plan, plan_text(plan))
    for heading, picture in (
        ("When they are picked", harvest_chart(plan, units, paper)),
        ("Who pollinates whom", network_chart(network, paper)),
    ):
        if picture is not None:
            st.header(heading)
            shared.show(picture)
    ground = drawn(plan, units)
    if ground is not None:
        st.header("Where they stand")
        st.html(image(ground, paper=paper))


def _papers(catalog: Catalog, plan: Plan, units: Units) -> None:
    from recommender.orchard import papers
    from recommender.orchard.plan_file import plan_text

    st.header("Take it along")
    season = date.today().year + 1
    wide: Any = {"width": "stretch", "on_click": "ignore"}
    a, b = st.columns(2)
    for column, size in ((a, "A4"), (b, "Letter")):
        column.download_button(
            f"Planting sheet (PDF, {size})",
            partial(papers.pdf_of, plan, catalog, size, units),
            f"planting-sheet-{size.lower()}.pdf",
            "application/pdf",
            **wide,
        )
    a, b = st.columns(2)
    a.download_button(
        "Planting sheet to print (HTML)",
        lambda: papers.html_of(plan, catalog, units),
        "planting-sheet.html",
        "text/html",
        **wide,
    )
    b.download_button(
        "Dates for your calendar",
        lambda: papers.calendar_of(plan, catalog, season),
        "planting.ics",
        "text/calendar",
        **wide,
    )
    st.download_button("The plan, to open again", plan_text(plan), "plan.json", "application/json", **wide)
