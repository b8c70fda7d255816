"""The page "What will do well here?": eight answers at most, a ranked shortlist from the first of them on.

In come the grower's answers, kept in the address of the page so that it can be bookmarked; out go the
library's `rank` and `dossier`, shown as cards or a table. Nothing is computed here.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from recommender.errors import OrchardwrightError
from recommender.pages import cards, shared
from recommender.wording import (
    Units,
    climate_figures,
    crop_name,
    crop_plural,
    list_words,
    litres,
    metres,
    place_sentence,
    rows,
)

if TYPE_CHECKING:
    from recommender.catalog.store import Catalog
    from recommender.climate.profile import Profile
    from recommender.suitability.ranking import Ranking

_FIRST = 10
_MOST_IN_BLOOM = 20
_WHERE = {"name": "its name", "point": "coordinates", "figures": "zone and chill"}
_USES = {
    "fresh": "eating fresh",
    "cooking": "cooking",
    "cider": "cider",
    "juice": "juice",
    "jam": "jam",
    "canning": "canning",
    "drying": "drying",
    "oil": "oil",
    "storage": "keeping into winter",
}
_SEASONS = {"early": "early", "mid": "mid season", "late": "late"}
_SOILS = {"unknown": "I do not know", "sand": "sand", "loam": "loam", "clay": "clay", "chalk": "chalk"}
_FROSTS = {
    "usual": "like the country around",
    "hollow": "a hollow where cold air gathers",
    "sheltered": "sheltered by a wall or slope",
}
_NEIGHBOURS = {"unknown": "I do not know", "yes": "yes", "no": "no"}


_DOUBT = ("The large figure is the middle of thirty winters; the smaller ones bound eight winters in ten.",)


def page() -> None:
    """Draw the page."""
    st.title("What will do well here?")
    st.html(
        '<p class="ow-lead">Say where it will grow and the list begins. Every further answer sharpens it.</p>'
    )
    with shared.told_plainly():
        catalog = shared.catalog()
    answers, wishes, units = _questions(catalog)
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

    return rank(Site(**answers), Goals(**wishes), catalog=_catalog)


def _questions(catalog: Catalog) -> tuple[dict[str, Any], dict[str, Any], Units]:
    """The answers about the site (empty while nothing says where it is), the wishes, and the units."""
    bound: Any = {"bind": "query-params"}
    left, right = st.columns([3, 2], vertical_alignment="top")
    with left:
        by = st.session_state.get("by", "name")
        where = _where(by if by in _WHERE else "name", bound)
    with right:
        crops = st.multiselect(
            "Which fruit?",
            list(catalog.crops()["crop"]),
            format_func=crop_name,
            placeholder="All kinds",
            key="crop",
            **bound,
        )
    with st.expander("Six more answers, if you like: room, soil, frost, neighbours, season, use"):
        units: Units = "imperial" if st.session_state.get("units") == "imperial" else "metric"
        spot, wishes = _spot(catalog, units, bound), _wishes(bound)
        st.radio("Units", ["metric", "imperial"], key="units", horizontal=True, **bound)
    return (
        ({**where, **spot} if where else {}),
        {**wishes, **({"crops": tuple(crops)} if crops else {})},
        units,
    )


def _where(by: str, bound: Any) -> dict[str, Any]:
    answer: dict[str, Any] = {}
    if by == "point":
        a, b, c = st.columns(3)
        lat = a.number_input("Latitude (south negative)", -90.0, 90.0, None, key="lat", **bound)
        lon = b.number_input("Longitude (west negative)", -180.0, 180.0, None, key="lon", **bound)
        up = c.number_input("Height above the sea (m)", -430.0, 6000.0, None, key="elevation", **bound)
        if lat is not None and lon is not None:
            answer = {"lat": lat, "lon": lon, **({} if up is None else {"elevation_m": up})}
    elif by == "figures":
        a, b = st.columns(2)
        zone = a.text_input("Hardiness zone (USDA)", placeholder="7b", key="zone", **bound)
        chill = b.number_input("Winter chill (hours)", 0.0, 5000.0, None, step=50.0, key="chill", **bound)
        if zone and chill is not None:
            answer = {"zone": zone, "chill_hours": chill}
    else:
        place = st.text_input(
            "Where will it grow?", placeholder="Town or village, country", key="place", **bound
        )
        if place.strip():
            answer = {"place": place.strip()}
    st.radio(
        "Give the place by", list(_WHERE), format_func=_WHERE.__getitem__, key="by", horizontal=True, **bound
    )
    return answer


def _spot(catalog: Catalog, units: Units, bound: Any) -> dict[str, Any]:
    length, volume = ("feet", "US gallons") if units == "imperial" else ("metres", "litres")
    # A row of columns for each pair, so that on a phone the answers keep their order.
    a, b = st.columns(2)
    space = a.number_input(f"Width for one tree ({length})", 0.0, None, None, step=0.5, key="space", **bound)
    pot = b.number_input(f"Or in a pot of ({volume})", 0.0, None, None, step=5.0, key="pot", **bound)
    a, b = st.columns(2)
    soil = a.selectbox("What is the soil?", list(_SOILS), format_func=_SOILS.__getitem__, key="soil", **bound)
    frost = b.selectbox(
        "How cold is the spot on still nights?",
        list(_FROSTS),
        format_func=_FROSTS.__getitem__,
        key="frost",
        **bound,
    )
    a, b = st.columns(2)
    trees = a.multiselect(
        "Fruit trees already near by",
        shared.tree_names(catalog),
        format_func=shared.tree_label,
        placeholder="Type a name",
        key="tree",
        **bound,
    )
    neighbours = b.selectbox(
        "Fruit trees in gardens next door?",
        list(_NEIGHBOURS),
        format_func=_NEIGHBOURS.__getitem__,
        key="next",
        **bound,
    )
    return {
        "soil": soil,
        "frost": frost,
        "neighbours_have_fruit_trees": neighbours,
        "existing_trees": tuple(trees),
        **({"space_m": metres(space, units)} if space else {}),
        **({"container_L": litres(pot, units)} if pot else {}),
    }


def _wishes(bound: Any) -> dict[str, Any]:
    a, b = st.columns(2)
    seasons = a.pills(
        "When do you want fruit?",
        list(_SEASONS),
        format_func=_SEASONS.__getitem__,
        selection_mode="multi",
        key="season",
        **bound,
    )
    uses = b.multiselect(
        "What is it for?",
        list(_USES),
        format_func=_USES.__getitem__,
        placeholder="Any use",
        key="use",
        **bound,
    )
    return {
        **({"seasons": tuple(seasons)} if seasons else {}),
        **({"uses": tuple(uses)} if uses else {}),
    }


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
    st.header(f"The best {shown} of {len(frame):,} {what}")
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
    with st.expander("How sure these figures are"):
        st.html(cards.paragraphs(_DOUBT + tuple(site["made_from"])))
    year = st.expander("The year at your site: chill, frost, warmth", key="year", on_change="rerun")
    if year.open:
        with year:
            _year(profile, units)


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
        st.subheader(heading)
        st.html(cards.paragraphs([picture.sentence]))
        st.altair_chart(picture.chart, width="stretch", theme=None)


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
            )
        )
        evidence = st.expander(
            f"Evidence for {row.variety}", key=f"evidence-{row.crop}-{row.variety}", on_change="rerun"
        )
        if evidence.open:
            with evidence:
                try:
                    found = dossier(catalog, f"{row.crop}:{row.variety}")
                except OrchardwrightError as error:
                    shared.say(error)
                    continue
                st.html(cards.evidence_table(found, units))
                if not found.cautions.empty:
                    st.html("<h4>Cautions</h4>" + cards.caution_list(found.cautions))


def _calendar(ranking: Ranking, listed: Any, units: Units) -> None:
    from recommender.charts import harvest_calendar

    st.header("When they are picked")
    weeks = ranking.weeks_of_fruit(len(listed), one_each_group=True)
    picture = harvest_calendar(listed, ranking.site["hemisphere"], weeks, units, shared.paper())
    if picture is None:
        st.html('<p class="ow-quiet">For none of these can a date be given: nobody has published one.</p>')
        return
    st.html(cards.paragraphs([picture.sentence]))
    st.altair_chart(picture.chart, width="stretch", theme=None)
    st.html('<p class="ow-quiet">The bar is two weeks of picking; the thin line is its doubt.</p>')


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
            if picture is None:
                st.html('<p class="ow-quiet">None of these flowers here in most years.</p>')
            else:
                st.html(cards.paragraphs([picture.sentence]))
                st.altair_chart(picture.chart, width="stretch", theme=None)
    network = st.expander(f"Who pollinates whom among these {len(listed)}", key="network", on_change="rerun")
    if network.open:
        with network:
            matrix = whole_matrix(catalog)
            chosen = [matrix.position(row.crop, row.variety) for row in rows(listed)]
            picture = pollination_network(matrix, chosen, shared.paper())
            st.html(cards.paragraphs([picture.sentence]))
            st.altair_chart(picture.chart, width="stretch", theme=None)
