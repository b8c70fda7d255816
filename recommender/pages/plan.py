"""The page "What shall I plant together?": a few answers, a planting, and what it gives.

In come the grower's answers, kept in the address of the page, or a plan saved before; out goes the library's
`compose`, shown by `plan_result`. A tree can be kept or left out and the set chosen again. Nothing is
computed here.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from recommender.errors import OrchardwrightError
from recommender.orchard.relaxation import NoPlanting
from recommender.pages import cards, plan_questions, plan_result, shared, site_answers

if TYPE_CHECKING:
    from recommender.catalog.store import Catalog
    from recommender.orchard.plan import Plan
    from recommender.orchard.plan_file import Reopened
    from recommender.suitability.ranking import Ranking


def page() -> None:
    """Draw the page."""
    st.title("What shall I plant together?")
    st.html(
        '<p class="ow-lead">Say where and how many. The trees are chosen so that they pollinate each other, '
        "ripen one after another and fit.</p>"
    )
    with shared.told_plainly():
        catalog = shared.catalog()
    units = shared.units()
    problem = st.session_state.pop("plan_error", None)
    opened: Reopened | None = st.session_state.get("plan_opened")
    if opened is not None:
        _about(opened)
        with shared.told_plainly():
            plan = _again(catalog, opened.plan)
        if plan is not None:
            plan_result.result(catalog, plan, units)
        return
    trees = plan_questions.how_many()
    answers, wishes = site_answers.questions(catalog, units)
    with shared.told_plainly():
        asked, plot = plan_questions.questions(catalog, trees, units, _open)
    if problem is not None:
        shared.say(problem)
    if not answers:
        st.html(
            '<div class="ow-empty"><p>Try <em>Bristol, England</em> with six trees of apples, European pears '
            "and quinces.</p><p>Nothing you enter leaves this machine.</p></div>"
        )
        return
    asked |= {"fixed": plan_result.held("kept"), "dropped": plan_result.held("gone")}
    with shared.told_plainly():
        plan = _chosen(catalog, answers, wishes, asked, plot)
    if plan is not None:
        plan_result.result(catalog, plan, units)


def _chosen(
    catalog: Catalog,
    answers: dict[str, Any],
    wishes: dict[str, Any],
    asked: dict[str, Any],
    plot: dict[str, Any],
) -> Plan | None:
    """The planting; None where no planting meets every wish, which is then told."""
    try:
        with st.spinner("Working out the climate and the ranking"):
            ranking = _ranked(catalog, answers, wishes)
        with st.spinner("Choosing the trees and their places"):
            return _composed(catalog, ranking, answers, wishes, asked, plot)
    except NoPlanting as error:
        plan_result.nothing(error)
        return None


@st.cache_resource(show_spinner=False, max_entries=16)
def _ranked(_catalog: Catalog, answers: dict[str, Any], wishes: dict[str, Any]) -> Ranking:
    from recommender import Goals, Site, rank

    return rank(Site(**answers), Goals(**wishes), catalog=_catalog)


@st.cache_resource(show_spinner=False, max_entries=32)
def _composed(
    _catalog: Catalog,
    _ranking: Ranking,
    answers: dict[str, Any],
    wishes: dict[str, Any],
    asked: dict[str, Any],
    plot: dict[str, Any],
) -> Plan:
    from recommender import Goals, PlantingWishes, Plot, Site, compose

    ground = Plot(**plot) if plot else None
    return compose(
        Site(**answers), Goals(**wishes), PlantingWishes(**asked), ground, _catalog, ranking=_ranking
    )


def _open() -> None:
    """Take the plan file just chosen; its kept and left out trees become those of the page."""
    from recommender.orchard.plan_file import read_plan

    sent = st.session_state.get("plan_file")
    if sent is None:
        return
    try:
        found = read_plan(sent.getvalue(), sent.name, shared.catalog())
    except OrchardwrightError as error:
        st.session_state["plan_error"] = error
        return
    asked = found.plan.planting
    st.session_state["plan_opened"] = found
    st.session_state["kept"] = list(asked.get("fixed", ()))
    st.session_state["gone"] = list(asked.get("dropped", ()))


def _about(opened: Reopened) -> None:
    plan = opened.plan
    st.html(
        cards.paragraphs(
            [f"A saved plan, made with version {plan.made_with}.", *opened.changes]
            if opened.changes
            else [f"A saved plan, made with version {plan.made_with} from the data as they are now."],
            "ow-prose",
        )
    )
    a, b = st.columns(2)
    a.button("Close this plan", on_click=_close, width="stretch")
    if not st.session_state.get("plan_again"):
        b.button(
            "Choose again with its answers",
            on_click=st.session_state.update,
            args=({"plan_again": True},),
            width="stretch",
        )


def _close() -> None:
    for name in ("plan_opened", "plan_again", "kept", "gone"):
        st.session_state.pop(name, None)


def _again(catalog: Catalog, plan: Plan) -> Plan | None:
    """The plan as it was saved, or chosen again where a tree was kept or left out since, or when asked."""
    kept, gone = plan_result.held("kept"), plan_result.held("gone")
    asked = {**plan.planting, "fixed": kept, "dropped": gone}
    before = {"fixed": (), "dropped": (), **plan.planting}
    same = (list(kept), list(gone)) == (list(before["fixed"]), list(before["dropped"]))
    if same and not st.session_state.get("plan_again"):
        return plan
    return _chosen(catalog, plan.site, plan.goals, asked, plan.plot or {})
