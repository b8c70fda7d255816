"""The questions about a site and the wishes for it, and the file in which both are kept.

In come a grower's answers through the page's controls, each kept in the address; out go plain answers for
`Site` and `Goals`. A site file opened here sets the controls; what it says beyond them is held beside them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from recommender.climate.point import point_of
from recommender.errors import OrchardwrightError
from recommender.pages import cards, shared
from recommender.units import LITRES_PER_US_GALLON, METRES_PER_FOOT
from recommender.wording import Units, list_words, litres, metres

if TYPE_CHECKING:
    from recommender.catalog.store import Catalog
    from recommender.suitability.goals import Goals
    from recommender.suitability.site import Site

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
_WETNESS = {
    "unknown": "I do not know",
    "wet": "wet, water stands in winter",
    "normal": "neither wet nor dry",
    "dry": "dry in most summers",
}
_PRESETS = {"beginner": "a beginner", "keen": "a keen gardener", "nursery": "a nursery or orchard"}


def questions(catalog: Catalog, units: Units) -> tuple[dict[str, Any], dict[str, Any]]:
    """The answers about the site (empty while nothing says where it is) and the wishes."""
    bound: Any = {"bind": "query-params"}
    left, right = st.columns([3, 2], vertical_alignment="top")
    with left:
        by = st.session_state.get("by", "name")
        where = _where(by if by in _WHERE else "name", bound)
    with right:
        crops = shared.fruits(catalog)
    with st.expander("More answers, if you like: room, ground, frost, neighbours, season, use, care"):
        spot, wishes = _spot(catalog, units, bound), _wishes(units, bound)
    more = st.session_state.get("site_more", {"site": {}, "goals": {}})
    answers = {**spot, **more["site"], **where} if where else {}
    wished = {**wishes, **({"crops": tuple(crops)} if crops else {}), **more["goals"]}
    return answers, wished


def _where(by: str, bound: Any) -> dict[str, Any]:
    answer: dict[str, Any] = {}
    if by == "point":
        point = st.text_input(
            "Where on the map will it grow? (latitude, longitude)",
            placeholder="51.45, −2.60; south and west are negative",
            key="point",
            **bound,
        )
        if point.strip():
            with shared.told_plainly():
                lat, lon = point_of(point)
            answer = {"lat": lat, "lon": lon}
    elif by == "figures":
        a, b = st.columns(2)
        zone = a.text_input("Hardiness zone (USDA)", placeholder="7b", key="zone", **bound)
        chill = b.text_input("Winter chill (hours)", placeholder="1200", key="chill", **bound)
        if zone.strip() and chill.strip():
            answer = {"zone": zone.strip(), "chill_hours": chill.strip()}
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
    wet = a.selectbox(
        "How wet is the ground?", list(_WETNESS), format_func=_WETNESS.__getitem__, key="wet", **bound
    )
    neighbours = b.selectbox(
        "Fruit trees in gardens next door?",
        list(_NEIGHBOURS),
        format_func=_NEIGHBOURS.__getitem__,
        key="next",
        **bound,
    )
    up = st.number_input(
        f"Height above the sea, if you know it ({'feet' if units == 'imperial' else 'metres'})",
        -1400.0,
        None,
        None,
        step=10.0,
        key="elevation",
        **bound,
    )
    trees = shared.trees_asked(st, "Fruit trees already near by", catalog, "tree")
    return {
        "soil": soil,
        "frost": frost,
        "wetness": wet,
        "neighbours_have_fruit_trees": neighbours,
        "existing_trees": trees,
        **({} if up is None else {"elevation_m": metres(up, units)}),
        **({"space_m": metres(space, units)} if space else {}),
        **({"container_L": litres(pot, units)} if pot else {}),
    }


def _wishes(units: Units, bound: Any) -> dict[str, Any]:
    length = "feet" if units == "imperial" else "metres"
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
        wrap=True,
        key="use",
        **bound,
    )
    a, b = st.columns(2)
    tall = a.number_input(f"No tree taller than ({length})", 0.0, None, None, step=0.5, key="tall", **bound)
    preset = b.selectbox(
        "Who will look after them?", list(_PRESETS), format_func=_PRESETS.__getitem__, key="who", **bound
    )
    a, b = st.columns(2)
    spray = a.toggle("Hardly any spraying", key="low_spray", **bound)
    pets = b.toggle("Small children or pets about", key="pets", **bound)
    return {
        "preset": preset,
        **({"low_spray": True} if spray else {}),
        **({"pets_or_children": True} if pets else {}),
        **({"seasons": tuple(seasons)} if seasons else {}),
        **({"uses": tuple(uses)} if uses else {}),
        **({"max_height_m": metres(tall, units)} if tall else {}),
    }


def kept(answers: dict[str, Any], wished: dict[str, Any]) -> None:
    """Save the site as a file, or open one; what it says beyond the questions is told and can be dropped."""
    from recommender.suitability.goals import Goals
    from recommender.suitability.site import Site
    from recommender.suitability.site_file import site_file_text

    problem = st.session_state.pop("site_error", None)
    if problem is not None:
        shared.say(problem)
    with st.expander("Keep this site as a file, or open one"):
        a, b = st.columns(2, vertical_alignment="bottom")
        a.file_uploader("Site file (TOML or JSON)", ["toml", "json"], key="site_file", on_change=_open)
        try:
            text = site_file_text(Site(**answers), Goals(**wished)) if answers else ""
        except OrchardwrightError:
            text = ""  # what is wrong is told below, where the list would stand
        b.download_button(
            "Save this site (TOML)",
            text,
            "site.toml",
            "application/toml",
            disabled=not text,
            width="stretch",
            on_click="ignore",
        )
        st.html(
            '<p class="ow-quiet">The command line reads the same file: '
            "<code>orchardwright rank --site site.toml</code>.</p>"
        )
    more = st.session_state.get("site_more", {"site": {}, "goals": {}})
    beyond = [
        f"{name.replace('_', ' ')}: {_said(value)}" for part in more.values() for name, value in part.items()
    ]
    if beyond:
        st.html(cards.paragraphs([f"From the file also: {'; '.join(beyond)}."], "ow-quiet"))
        st.button("Leave those out", on_click=st.session_state.pop, args=("site_more", None))


def _said(value: object) -> str:
    if value is True:
        return "yes"
    return list_words([str(part) for part in value]) if isinstance(value, tuple) else str(value)


def _open() -> None:
    """Set the controls by the file just chosen."""
    from recommender.suitability.site_file import read_site_file

    sent = st.session_state.get("site_file")
    if sent is None:
        return
    try:
        site, goals = read_site_file(sent.getvalue(), sent.name)
        trees = [shared.tree_name(shared.catalog(), tree) for tree in site.existing_trees]
        crops = [shared.catalog().resolve_crop(crop) for crop in goals.crops]
    except OrchardwrightError as error:
        st.session_state["site_error"] = error
        return
    shared.answer(_controls(site, goals, trees, crops, shared.units()))
    st.session_state["site_more"] = {
        "site": _beyond(site, {"plot_m2", *_beside(site)}),
        "goals": _beyond(
            goals,
            {"storage_weeks", "skin", "flesh", "fruit_size", "native", "max_years_to_crop", "will_cover"},
        ),
    }


def _beyond(answers: Site | Goals, names: set[str]) -> dict[str, Any]:
    return answers.model_dump(include=names, exclude_defaults=True)


def _beside(site: Site) -> tuple[str, ...]:
    """What may stand in a file beside a place or a zone, for which the page has no control."""
    return ("lat", "lon") if site.zone else ()


def _controls(site: Site, goals: Goals, trees: list[str], crops: list[str], units: Units) -> dict[str, Any]:
    """What each control holds when it says the same as a file."""
    by = "name" if site.place else "point" if site.zone is None else "figures"
    foot, gallon = (METRES_PER_FOOT, LITRES_PER_US_GALLON) if units == "imperial" else (1.0, 1.0)

    def shown(value: float | None, unit: float) -> float | None:
        return None if value is None else round(value / unit, 2)

    return {
        "by": by,
        "place": site.place or "",
        "point": f"{site.lat}, {site.lon}" if by == "point" else "",
        "elevation": shown(site.elevation_m, foot),
        "zone": site.zone or "",
        "chill": "" if site.chill_hours is None else f"{site.chill_hours:g}",
        "space": shown(site.space_m, foot),
        "pot": shown(site.container_L, gallon),
        "soil": site.soil,
        "wet": site.wetness,
        "frost": site.frost,
        "tree": trees,
        "next": site.neighbours_have_fruit_trees,
        "crop": crops,
        "season": list(goals.seasons),
        "use": list(goals.uses),
        "tall": shown(goals.max_height_m, foot),
        "who": goals.preset,
        "low_spray": goals.low_spray,
        "pets": goals.pets_or_children,
    }
