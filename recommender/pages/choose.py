"""The page "What will do well here?": eight answers at most, a ranked shortlist from the first of them on.

In come the grower's answers, kept in the address of the page so that it can be bookmarked; out go the
library's `rank` and `dossier`, shown as cards or a table. Nothing is computed here.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from recommender.errors import OrchardwrightError
from recommender.pages import cards, shared, site_answers
from recommender.wording import (
    Units,
    climate_figures,
    crop_name,
    crop_plural,
    list_words,
    place_sentence,
    rows,
)

if TYPE_CHECKING:
    from recommender.catalog.store import Catalog
    from recommender.climate.profile import Profile
    from recommender.suitability.ranking import Ranking

_FIRST = 10
_MOST_IN_BLOOM = 20
_DOUBT = ("The large figure is the middle of thirty winters; the smaller ones bound eight winters in ten.",)

_SITE_MORE = {"sure": "How sure", "map": "Map", "year": "The year there"}
_MORE = {"evidence": "Evidence", "pictures": "Pictures"}


def page() -> None:
    """Draw the page."""
    st.title("What will do well here?")
    st.html(
        '<p class="ow-lead">Say where it will grow and the list begins. Every further answer sharpens it.</p>'
    )
    with shared.told_plainly():
        catalog = shared.catalog()
    units = shared.units()
    answers, wishes = site_answers.questions(catalog, units)
    shown = st.container()
    site_answers.kept(answers, wishes)
    with shown:
        if not answers:
            st.html(
                '<div class="ow-empty"><p>Try <em>Bristol, England</em>, <em>Geneva, New York</em> or '
                "<em>Hobart, Australia</em>.</p><p>Nothing you enter leaves this machine.</p></div>"
            )
            return
        with shared.told_plainly(), st.spinner("Working out the climate and the ranking"):
            ranking = _ranked(catalog, answers, wishes)
        _results(catalog, ranking, units)


@st.cache_resource(show_spinner=False, max_entries=64)
def _ranked(_catalog: Catalog, answers: dict[str, Any], wishes: dict[str, Any]) -> Ranking:
    from recommender import Goals, Site, rank

    with shared.AT_WORK:
        return rank(Site(**answers), Goals(**wishes), catalog=_catalog, intervals=True)


def _results(catalog: Catalog, ranking: Ranking, units: Units) -> None:
    frame = ranking.frame_in(units)
    _site(ranking.site, ranking.context.profile, units)
    if frame.empty:
        st.html(
            '<div class="ow-empty"><p>No variety is left.'
            " Choose another fruit, or fewer wishes at once.</p></div>"
        )
        return
    crops = list(dict.fromkeys(frame["crop"]))
    what = (
        list_words([crop_plural(crop) for crop in crops])
        if len(crops) <= 3
        else f"varieties of {len(crops)} fruits"
    )
    short = ranking.shortlist(units=units)
    shown = min(st.session_state.get("shown", _FIRST), len(short))
    st.header(cards.label(f"The best {shown} of {len(frame):,} {what}"))
    st.html(cards.tally(frame["verdict"]))
    listed = short.head(shown)
    view = st.segmented_control("Show as", ["cards", "table"], default="cards", key="view", required=True)
    if view == "table":
        _table(listed)
    else:
        _cards(catalog, ranking, listed, units)
    more, download = st.columns(2)
    if shown < len(short):
        more.button("Show ten more", on_click=_show_more, args=(shown,), width="stretch")
    download.download_button(
        f"Download all {len(frame):,} as CSV",
        data=lambda: _csv(ranking),
        file_name="orchardwright-shortlist.csv",
        mime="text/csv",
        width="stretch",
    )
    _calendar(ranking, listed, units)
    _bloom(catalog, ranking, listed.head(_MOST_IN_BLOOM), units)


def _show_more(shown: int) -> None:
    st.session_state["shown"] = shown + 10


def _csv(ranking: Ranking) -> str:
    from recommender.outputs import csv_text

    return csv_text(ranking.frame)


def _site(site: dict[str, Any], profile: Profile, units: Units) -> None:
    st.html(
        cards.paragraphs([place_sentence(site, units)], "ow-site")
        + cards.figures(climate_figures(site, units))
    )
    more = st.pills(
        "More on the site",
        _SITE_MORE,
        key="site-shows",
        format_func=_SITE_MORE.__getitem__,
        label_visibility="collapsed",
    )
    if more == "sure":
        st.html(cards.paragraphs(_DOUBT + tuple(site["made_from"])))
    elif more == "map":
        _map(site, units)
    elif more == "year":
        _year(profile, units)


def _map(site: dict[str, Any], units: Units) -> None:
    from recommender import charts_map
    from recommender.climate.land import land_strips, stations_around

    if not site.get("place") and "zone" in site.get("answers", {}):
        st.html('<p class="ow-quiet">A zone and a chill figure have no place on the map.</p>')
        return
    lat, lon = site["lat"], site["lon"]
    stations = stations_around(lat, lon)
    land = land_strips(lat, lon, *charts_map.reach(lat, stations))
    shared.show(charts_map.site_map(site, land, stations, units, shared.paper()))


def _year(profile: Profile, units: Units) -> None:
    from recommender import charts_climate as charts
    from recommender.climate import course

    summary, side, paper = profile.summary(), profile.hemisphere, shared.paper()
    pictures = (
        (
            "Chill builds up",
            charts.chill_build_up(course.chill_by_winter(profile), summary, side, units, paper),
        ),
        ("Frost", charts.frost_curve(course.frost_risk(profile), summary, side, units, paper)),
        ("Warmth", charts.temperature_course(course.temperature_bands(profile), side, units, paper)),
    )
    for heading, picture in pictures:
        st.html(f"<h2>{heading}</h2>")
        shared.show(picture)


def _table(listed: Any) -> None:
    from recommender.wording import MARKS

    shown = listed.assign(
        verdict=[f"{MARKS[word]} {word}" for word in listed["verdict"]],
        crop=[crop_name(crop) for crop in listed["crop"]],
    )
    st.dataframe(
        shown[["rank", "variety", "crop", "verdict", "score", "why", "watch"]],
        hide_index=True,
        column_config={
            "rank": st.column_config.NumberColumn("Rank", width="small"),
            "variety": "Variety",
            "crop": "Fruit",
            "verdict": "Verdict",
            "score": st.column_config.NumberColumn("Score", format="%.2f", width="small"),
            "why": st.column_config.TextColumn("Why", width="large"),
            "watch": st.column_config.TextColumn("Watch", width="large"),
        },
    )


def _cards(catalog: Catalog, ranking: Ranking, listed: Any, units: Units) -> None:
    from recommender.biology.partners import partner_need
    from recommender.dossier import dossier

    traits = catalog.traits().set_index(["crop", "variety"])
    lifted = ranking.what_if(listed.index.to_numpy(), units)
    for row, changes in zip(rows(listed), lifted, strict=True):
        st.html(
            cards.variety_card(
                row,
                cards.small_facts(
                    row,
                    traits.loc[(row.crop, row.variety)],
                    partner_need(catalog, row.crop, row.variety),
                    ranking.site["hemisphere"],
                    units,
                ),
                changes,
                len(ranking.frame),
            )
        )
        more = st.pills(
            f"More on {cards.label(row.variety)}",
            _MORE,
            key=f"more-{row.crop}-{row.variety}",
            format_func=_MORE.__getitem__,
            label_visibility="collapsed",
        )
        if more == "pictures":
            _pictures(ranking, row.Index, units)
        elif more == "evidence":
            try:
                found = dossier(catalog, f"{row.crop}:{row.variety}")
            except OrchardwrightError as error:
                shared.say(error)
                continue
            st.html(cards.evidence_table(found, units))
            if not found.cautions.empty:
                st.html("<h4>To mind</h4>" + cards.caution_list(found.cautions))


def _pictures(ranking: Ranking, at: int, units: Units) -> None:
    from recommender import charts_fit
    from recommender.climate import course
    from recommender.suitability.fit import fit_of

    fit, side, paper = fit_of(ranking, at), ranking.site["hemisphere"], shared.paper()
    risk = course.frost_risk(ranking.context.profile)
    pictures = (
        ("What the score is made of", charts_fit.score_breakdown(fit, paper), ""),
        ("Chill, winter by winter", charts_fit.chill_by_winter(fit, paper), "It needs no winter chill."),
        (
            "Frost and bloom",
            charts_fit.frost_and_bloom(fit, risk, side, units, paper),
            "It flowers in too few years here for a picture.",
        ),
    )
    for heading, picture, instead in pictures:
        st.html(f"<h4>{heading}</h4>")
        shared.show(picture, instead)


def _calendar(ranking: Ranking, listed: Any, units: Units) -> None:
    from recommender.charts import harvest_calendar

    st.header("When they are picked")
    weeks = ranking.weeks_of_fruit(len(listed), one_each_group=True)
    picture = harvest_calendar(listed, ranking.site["hemisphere"], weeks, units, shared.paper())
    shared.show(picture, "For none of these can a date be given: nobody has published one.")


def _bloom(catalog: Catalog, ranking: Ranking, listed: Any, units: Units) -> None:
    """When the listed varieties flower, and who serves whom among them; drawn only when opened."""
    from recommender.biology.partners import whole_matrix
    from recommender.charts_phenology import bloom_ladder
    from recommender.charts_pollination import pollination_network

    ladder = st.expander(f"When these {len(listed)} flower", key="bloom-ladder", on_change="rerun")
    if ladder.open:
        with ladder:
            summary = ranking.bloom_summary(len(listed), one_each_group=True)
            picture = bloom_ladder(summary, ranking.site["hemisphere"], units, shared.paper())
            shared.show(picture, "None of these flowers here in most years.")
    network = st.expander(f"Who pollinates whom among these {len(listed)}", key="network", on_change="rerun")
    if network.open:
        with network:
            matrix = whole_matrix(catalog)
            chosen = [matrix.position(row.crop, row.variety) for row in rows(listed)]
            picture = pollination_network(matrix, chosen, shared.paper())
            shared.show(picture)
