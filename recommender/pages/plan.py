"""The page "What shall I plant together?": a few answers, a planting, and what it gives.

In come the grower's answers, kept in the address of the page; out goes the library's `compose`, shown as
cards, harvest chart, pollination network and plot. A tree can be kept or dropped and the set chosen again.
Nothing is computed here.
"""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

import streamlit as st

from recommender.pages import cards, shared
from recommender.wording import (
    MARKS,
    Units,
    crop_in_sentence,
    crop_name,
    day_words,
    length_words,
    metres,
    plain,
)

if TYPE_CHECKING:
    from recommender.catalog.store import Catalog
    from recommender.orchard.plan import Plan, PlannedTree

_STYLES = {
    "open": "each tree by itself",
    "hedge": "a hedge",
    "espalier": "espaliers",
    "cordon": "cordons",
    "fan": "fans",
    "spindle": "slender spindles",
}
_SOILS = {"unknown": "I do not know", "sand": "sand", "loam": "loam", "clay": "clay", "chalk": "chalk"}


def page() -> None:
    """Draw the page."""
    st.title("What shall I plant together?")
    st.html(
        '<p class="ow-lead">Say where and how many. The trees are chosen so that they pollinate each other, '
        "ripen one after another and fit.</p>"
    )
    with shared.told_plainly():
        catalog = shared.catalog()
    answers, wishes, asked, plot, units = _questions(catalog)
    if not answers:
        st.html(
            '<div class="ow-empty"><p>Try <em>Bristol, England</em> with six trees of apples, European pears '
            "and quinces.</p><p>Nothing you enter leaves this machine.</p></div>"
        )
        return
    with shared.told_plainly(), st.spinner("Choosing the trees"):
        plan = _composed(catalog, answers, wishes, asked, plot)
    _result(catalog, plan, answers, units)


@st.cache_resource(show_spinner=False, max_entries=32)
def _composed(
    _catalog: Catalog,
    answers: dict[str, Any],
    wishes: dict[str, Any],
    asked: dict[str, Any],
    plot: dict[str, Any],
) -> Plan:
    from recommender import Goals, PlantingWishes, Plot, Site, compose

    return compose(
        Site(**answers), Goals(**wishes), PlantingWishes(**asked), Plot(**plot) if plot else None, _catalog
    )


def _questions(
    catalog: Catalog,
) -> tuple[dict[str, Any], dict[str, Any], dict[str, Any], dict[str, Any], Units]:
    bound: Any = {"bind": "query-params"}
    units: Units = "imperial" if st.session_state.get("units") == "imperial" else "metric"
    left, right = st.columns([3, 2])
    place = left.text_input(
        "Where will they grow?", placeholder="Town or village, country", key="place", **bound
    )
    trees = right.number_input("How many trees, at most?", 1, 20, 6, key="trees", **bound)
    crops = st.multiselect(
        "Which fruit?",
        list(catalog.crops()["crop"]),
        format_func=crop_name,
        placeholder="All kinds",
        key="crop",
        **bound,
    )
    with st.expander("More, if you like: the plot, the soil, fruit from store, how they are grown"):
        length = "feet" if units == "imperial" else "metres"
        a, b = st.columns(2)
        width = a.number_input(f"Plot, left to right ({length})", 0.0, None, None, key="width", **bound)
        depth = b.number_input(f"Plot, bottom to top ({length})", 0.0, None, None, key="depth", **bound)
        a, b = st.columns(2)
        tall = a.number_input(
            f"No tree taller than ({length})", 0.0, None, None, step=0.5, key="tall", **bound
        )
        soil = b.selectbox(
            "What is the soil?", list(_SOILS), format_func=_SOILS.__getitem__, key="soil", **bound
        )
        a, b = st.columns(2)
        style = a.selectbox(
            "How are they grown?", list(_STYLES), format_func=_STYLES.__getitem__, key="style", **bound
        )
        store = b.text_input("Fruit from store until (month-day)", placeholder="03-15", key="store", **bound)
        st.radio("Units", ["metric", "imperial"], key="units", horizontal=True, **bound)
    kept, gone = _held("kept"), _held("gone")
    asked = {
        "trees": int(trees),
        "style": style,
        "fixed": kept,
        "dropped": gone,
        **({"store_to": store.strip()} if store.strip() else {}),
    }
    sides = {"width_m": metres(width, units), "depth_m": metres(depth, units)} if width and depth else {}
    wishes = {
        **({"crops": tuple(crops)} if crops else {}),
        **({"max_height_m": metres(tall, units)} if tall else {}),
    }
    answers = {"place": place.strip(), "soil": soil} if place.strip() else {}
    return answers, wishes, asked, sides, units


def _held(name: str) -> tuple[str, ...]:
    return tuple(st.session_state.get(name, ()))


def _toggle(name: str, key: str, other: str) -> None:
    held, against = list(_held(name)), list(_held(other))
    held = [one for one in held if one != key] if key in held else [*held, key]
    st.session_state[name] = held
    st.session_state[other] = [one for one in against if one != key]


def _result(catalog: Catalog, plan: Plan, answers: dict[str, Any], units: Units) -> None:
    st.html(cards.paragraphs([plan.place], "ow-site"))
    st.header(f"{len(plan.trees)} {'tree' if len(plan.trees) == 1 else 'trees'} to plant")
    st.html(cards.paragraphs([*plan.summary(), *plan.notes]))
    for number, tree in enumerate(plan.trees, start=1):
        _tree(number, tree, units)
    gone = _held("gone")
    if gone:
        names = ", ".join(plain(name.partition(":")[2]) for name in gone)
        st.html(cards.paragraphs([f"Left out at your wish: {names}."]))
        st.button("Allow them again", on_click=st.session_state.pop, args=("gone", None))
    _pictures(catalog, plan, answers, units)
    _alternatives(plan)
    _papers(catalog, plan, units)


def _tree(number: int, tree: PlannedTree, units: Units) -> None:
    stock = f" on {tree.rootstock}" if tree.rootstock else ""
    picked = (
        "no date known"
        if tree.harvest is None
        else f"{day_words(tree.harvest.first, units)} to {day_words(tree.harvest.last, units)}"
    )
    facts = cards.figures(
        [
            ("Picked", picked, ""),
            ("Room", length_words(tree.spacing_m, units), "to the next tree"),
            (
                "Height",
                "not known" if tree.height_high_m is None else length_words(tree.height_high_m, units),
                "at most",
            ),
        ]
    )
    st.html(
        f'<article class="ow-card"><header><h3><span class="ow-rank">{number}</span>'
        f"{cards.text(tree.variety)} "
        f"<small>{cards.text(crop_in_sentence(tree.crop) + stock)}</small></h3>"
        f'<span class="ow-verdict">{MARKS[tree.verdict]} {cards.text(tree.verdict)}</span></header>'
        f"{cards.paragraphs([tree.pollination, *([tree.watch] if tree.watch else [])])}{facts}</article>"
    )
    keep, drop = st.columns(2)
    keep.button(
        f"Do not insist on {tree.variety}" if tree.locked else f"Keep {tree.variety}",
        key=f"keep-{tree.key}",
        on_click=_toggle,
        args=("kept", tree.key, "gone"),
        width="stretch",
    )
    drop.button(
        f"Leave out {tree.variety}",
        key=f"drop-{tree.key}",
        on_click=_toggle,
        args=("gone", tree.key, "kept"),
        width="stretch",
    )


def _pictures(catalog: Catalog, plan: Plan, answers: dict[str, Any], units: Units) -> None:
    from recommender import Site
    from recommender.charts_orchard import harvest_chart, network_chart, plot_chart
    from recommender.suitability.site import climate_of

    profile, _ = climate_of(Site(**answers))
    for heading, picture in (
        ("When they are picked", harvest_chart(plan, units, shared.paper())),
        ("Who pollinates whom", network_chart(plan, catalog, shared.paper(), profile)),
        ("Where they stand", plot_chart(plan, shared.paper())),
    ):
        if picture is None:
            continue
        st.header(heading)
        st.html(cards.paragraphs([picture.sentence]))
        st.altair_chart(
            picture.chart, width="content" if heading != "When they are picked" else "stretch", theme=None
        )


def _alternatives(plan: Plan) -> None:
    offers = [*plan.alternatives, *plan.one_tree]
    if not offers:
        return
    with st.expander("Other sets, nearly as good"):
        st.html(
            cards.paragraphs(
                [
                    f"{', '.join(plain(name.partition(':')[2]) for name in offer.trees)}: "
                    f"{offer.harvest_cover:.0%} of the weeks."
                    for offer in offers
                ]
            )
        )


def _papers(catalog: Catalog, plan: Plan, units: Units) -> None:
    from recommender.orchard import papers
    from recommender.orchard.plan_file import plan_text

    st.header("Take it along")
    a, b = st.columns(2)
    a.download_button(
        "Planting sheet (PDF)",
        lambda: papers.pdf_of(plan, catalog, "A4", units),
        "planting-sheet.pdf",
        "application/pdf",
        width="stretch",
    )
    b.download_button(
        "Planting sheet to print (HTML)",
        lambda: papers.html_of(plan, catalog, units),
        "planting-sheet.html",
        "text/html",
        width="stretch",
    )
    a, b = st.columns(2)
    a.download_button(
        "Dates for your calendar",
        lambda: papers.calendar_of(plan, catalog, date.today().year + 1),
        "planting.ics",
        "text/calendar",
        width="stretch",
    )
    b.download_button(
        "The plan, to open again", plan_text(plan), "plan.json", "application/json", width="stretch"
    )
