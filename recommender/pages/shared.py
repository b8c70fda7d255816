"""What every page shares: its clothes, the catalog (opened once for all visitors), and errors in plain
words.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any

import streamlit as st
from streamlit.errors import StreamlitAPIException

from recommender.errors import OrchardwrightError, UnknownName
from recommender.pages import cards
from recommender.wording import Units, crop_name

if TYPE_CHECKING:
    from recommender.catalog.store import Catalog
    from recommender.charts import Paper, Picture


# One long piece of work at a time: several at once in one interpreter all end as late as the last of them;
# one after another half of them end in half that time, and the short work of other pages comes in between.
AT_WORK = threading.Lock()


def dress() -> None:
    """Put on the small style sheet that the theme cannot express."""
    st.html(Path(__file__).with_name("face.css"))


def units() -> Units:
    """The units chosen in the frame."""
    return "imperial" if st.session_state.get("units") == "imperial" else "metric"


# Controls that take plain text and say where the site is.
_TEXTS = ("place", "point", "zone", "chill")


def answer(answers: dict[str, Any]) -> None:
    """Set controls, drawn yet or not, so that the address of the page says where the site is.

    Streamlit writes a control that was set into the address only if it was drawn before, and lets nothing
    else write there what a control is bound to; so exactly those texts not drawn before are written here.
    """
    st.session_state.update(answers)
    for name in _TEXTS:
        if answers.get(name):
            with suppress(StreamlitAPIException):
                st.query_params[name] = answers[name]


def paper() -> Paper:
    """Whether the page is light or dark, for pictures that cannot read it from the style sheet."""
    return "dark" if st.context.theme.type == "dark" else "light"


def fruits(catalog: Catalog) -> list[str]:
    """The crops a person asks about; none for all. Kept in the address."""
    return st.multiselect(
        "Which fruit?",
        list(catalog.crops()["crop"]),
        format_func=crop_name,
        placeholder="All kinds",
        wrap=True,
        key="crop",
        bind="query-params",
    )


def show(picture: Picture | None, instead: str = "") -> None:
    """A picture under the sentence it shows; without a picture, the words `instead`."""
    if picture is None:
        st.html(f'<p class="ow-quiet">{escape(instead)}</p>')
        return
    st.html(f'<div class="ow-prose"><p>{escape(picture.sentence)}</p></div>')
    st.altair_chart(picture.chart, width="stretch", theme=None)
    if picture.note:
        st.html(f'<p class="ow-quiet">{escape(picture.note)}</p>')


@st.cache_resource(show_spinner=False)
def _opened() -> Catalog:
    from recommender import open_catalog

    bar = st.progress(0.0, text="Building the catalog; this is done once.")

    def report(what: str, share: float) -> None:
        bar.progress(min(max(share, 0.0), 1.0), text=cards.label(what))

    try:
        return open_catalog(progress=report)
    finally:
        bar.empty()


def catalog() -> Catalog:
    """The catalog, built with a progress bar on the first visit."""
    return _opened()


@contextmanager
def told_plainly() -> Iterator[None]:
    """Show an error of the family where it happened, in words, and stop this page there."""
    try:
        yield
    except OrchardwrightError as error:
        say(error)
        st.stop()


def say(error: OrchardwrightError) -> None:
    """One error as a quiet notice: what is wrong, where, what to do. Names are shown as text, never as
    markup.
    """
    st.html(f'<div class="ow-error" role="alert">{_as_html(error)}</div>')


def _as_html(error: OrchardwrightError) -> str:
    if isinstance(error, UnknownName):
        near = "".join(f"<li>{escape(name)}</li>" for name in error.suggestions)
        hint = (
            f"<p>Did you mean one of these?</p><ul>{near}</ul>"
            if near
            else "<p>Try a larger town near by.</p>"
        )
        return f"<p>No {escape(error.kind)} is called “{escape(error.name)}”.</p>{hint}"
    return "".join(f"<p>{escape(line)}</p>" for line in str(error).splitlines())


@st.cache_data(show_spinner=False, max_entries=1)
def _tree_names(_catalog: Catalog, data_key: str) -> list[str]:
    varieties = _catalog.varieties()
    return [
        f"{crop}:{variety}" for crop, variety in zip(varieties["crop"], varieties["variety"], strict=True)
    ]


def tree_names(catalog: Catalog) -> list[str]:
    """Every variety as "crop:variety", for a question about trees."""
    return _tree_names(catalog, str(catalog.info["data_key"]))


def trees_asked(where: Any, question: str, catalog: Catalog, key: str) -> tuple[str, ...]:
    """Which trees stand there already, as "crop:variety". where: the column or page that asks."""
    return tuple(
        where.multiselect(
            cards.label(question),
            tree_names(catalog),
            format_func=tree_label,
            placeholder="Type a name",
            wrap=True,
            key=key,
            bind="query-params",
        )
    )


def tree_name(catalog: Catalog, text: str) -> str:
    """A tree as a file names it -> "crop:variety". Raises UnknownName, BadInput."""
    return ":".join(catalog.resolve(text))


def tree_label(name: str) -> str:
    """ "apple:Discovery" as it is read: "Discovery (Apple)"."""
    crop, _, variety = name.partition(":")
    return f"{variety} ({crop_name(crop)})"
