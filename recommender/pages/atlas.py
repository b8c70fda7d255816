"""The page "Where does it grow?": three questions to an atlas made with `orchardwright atlas run`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import streamlit as st

from recommender.errors import BadInput, OrchardwrightError
from recommender.pages import cards, shared
from recommender.wording import crop_name, plain

if TYPE_CHECKING:
    import pandas as pd

    from recommender.atlas.questions import Atlas

_QUESTIONS = {
    "sound": "How many sound varieties has each place?",
    "where": "Where is a variety sound?",
    "change": "What changes when it gets warmer?",
}
# HTML of this page's own: commands stand as code, which keeps their dashes together.
_NONE_YET = (
    "<p>An atlas holds the scores of every variety at many places: all places of a country, your customers,"
    " or a grid. It is worked out once, on this machine or on several, and asked here.</p>"
)
_MAKE_ONE = (
    "<p>Make one on the command line: <code>orchardwright atlas run my-atlas --country GB --people 5000"
    "</code>. Add <code>--warming 0 --warming 2</code> to see what two degrees change. Then give the folder's"
    " name above.</p><p>On one core nothing more is needed: add <code>--workers 0</code>. To use all cores or"
    " several machines, install <code>orchardwright[atlas]</code>.</p>"
)
_HEADS: dict[str, Any] = {
    "name": "Place",
    "region": "Region",
    "country": "Country",
    "population": "People",
    "score": st.column_config.NumberColumn("Score", format="%.2f"),
    "verdict": "Verdict",
    "varieties": "Varieties",
    "with_care": "With care",
    "doubtful": "Doubtful",
    "ruled_out": "Ruled out",
    "best": "Best variety",
    "best_score": st.column_config.NumberColumn("Best score", format="%.2f"),
    "sound": "Sound",
    "sound_before": "Sound today",
    "sound_after": "Sound then",
    "change": "Change",
}
_SHOWN_ROWS = 200
# Which variety is looked at first, where the atlas has it: widely grown ones, one of a fruit.
_WELL_KNOWN = ("Discovery", "Conference", "Victoria", "Vranja")


def page() -> None:
    """Draw the page."""
    st.title("Where does it grow?")
    st.html('<p class="ow-lead">Every variety at very many places, worked out once and asked here.</p>')
    folder = st.text_input(
        "Folder of the atlas", value=st.session_state.get("atlas_folder", ""), placeholder="my-atlas"
    ).strip()
    if not folder:
        st.html(_NONE_YET + _MAKE_ONE)
        return
    try:
        atlas = _opened(folder)
    except OrchardwrightError as error:
        shared.say(error)
        st.html(_MAKE_ONE)
        return
    st.session_state["atlas_folder"] = folder
    about = atlas.about
    told = f"{about.sites:,} places, {about.varieties:,} varieties, {atlas.share_done:.0%} done"
    st.html(cards.paragraphs([told], "ow-quiet"))
    question = st.radio("Question", list(_QUESTIONS), format_func=lambda key: _QUESTIONS[key])
    with shared.told_plainly():
        _answer(atlas, str(question))


def _opened(folder: str) -> Atlas:
    """The atlas in a folder as typed. Raises BadInput, StorageFault."""
    from recommender.atlas.questions import Atlas

    try:
        path = Path(folder).expanduser()
    except RuntimeError:
        raise BadInput(
            f"No home folder is known for “{folder}”", remedy="Write the whole path, or ~/ for your own"
        ) from None
    return Atlas(path)


def _answer(atlas: Atlas, question: str) -> None:
    warmings = list(atlas.about.warming)
    left, right = st.columns(2)
    crops = atlas.crops()
    usual = crops.index("apple") if "apple" in crops else 0
    crop = str(left.selectbox("Crop", crops, usual, format_func=crop_name))
    if question == "where":
        varieties = atlas.varieties(crop)
        known = next((varieties.index(name) for name in _WELL_KNOWN if name in varieties), 0)
        variety = str(right.selectbox("Variety", varieties, known, format_func=plain))
        warming = _warming(warmings)
        found = atlas.where(crop, variety, warming)
        said = f"{plain(variety)} is sound at {len(found):,} of {atlas.about.sites:,} places{_years(warming)}"
    elif question == "sound":
        warming = _warming(warmings)
        found = atlas.sound_by_place(crop, warming)
        most = int(found["sound"].max()) if len(found) else 0
        said = f"Up to {most:,} varieties of {crop_name(crop).lower()} are sound at a place{_years(warming)}"
    else:
        later = [each for each in warmings if each != 0.0]
        if not later or 0.0 not in warmings:
            st.html(
                cards.paragraphs(
                    ("This atlas holds one climate only. Run it again with --warming 0 --warming 2.",)
                )
            )
            return
        warming = float(right.selectbox("Warmer by", later, format_func=lambda each: f"{each:g} °C"))
        found = atlas.change(crop, warming)
        fewer = int((found["change"] < 0).sum())
        said = f"{fewer:,} of {len(found):,} places have fewer sound varieties {warming:g} °C warmer"
    _show(found, question, said)


def _warming(warmings: list[float]) -> float:
    if len(warmings) == 1:
        return warmings[0]
    picked = st.radio(
        "Years",
        warmings,
        format_func=lambda each: f"{each:g} °C warmer" if each else "today",
        horizontal=True,
    )
    return float(picked)


def _years(warming: float) -> str:
    return f", {warming:g} °C warmer" if warming else ""


def _show(found: pd.DataFrame, question: str, said: str) -> None:
    from recommender.charts_atlas import atlas_map
    from recommender.outputs import csv_text

    picture = atlas_map(found, question, said, shared.paper())
    shared.show(picture, said)
    # The answer stands beside the place, so that a phone shows it; one country for all rows says nothing.
    said_once = {"country"} if len(set(found["country"])) <= 1 else set()
    around = [name for name in ("region", "country", "population") if name in found and name not in said_once]
    unseen = {"name", "site", "lat", "lon", "elevation_m", "region", "country", "population"}
    keep = ["name", *(name for name in found if name not in unseen), *around]
    st.dataframe(found[keep].head(_SHOWN_ROWS), hide_index=True, column_config=_HEADS)
    if len(found) > _SHOWN_ROWS:
        more = f"The first {_SHOWN_ROWS} of {len(found):,} rows; the file has all."
        st.html(cards.paragraphs([more], "ow-quiet"))
    st.download_button("Download all rows (CSV)", csv_text(found), "atlas.csv", "text/csv")
