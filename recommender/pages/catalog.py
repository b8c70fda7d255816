"""The page "What is known about this variety?": search, up to four side by side, each value with its source.

In come a name and, if wanted, a fruit, kept in the address; out go the catalog's `Finder` and `compare`,
shown as tables and as files to keep. Nothing is computed here.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from recommender.comparison import MOST, Comparison, compare
from recommender.pages import cards, evidence, shared
from recommender.wording import crop_in_sentence, list_words, plain, rows

if TYPE_CHECKING:
    import pandas as pd

    from recommender.catalog.search import Finder
    from recommender.catalog.store import Catalog

_HITS = 8


def page() -> None:
    """Draw the page."""
    st.title("What is known about this variety?")
    st.html(
        '<p class="ow-lead">Type a name, or part of one. Every value stands with how sure it is and who'
        " says so.</p>"
    )
    with shared.told_plainly():
        catalog = shared.catalog()
    bound: Any = {"bind": "query-params"}
    left, right = st.columns([3, 2], vertical_alignment="top")
    wanted = left.text_input(
        "Which variety?", placeholder="Such as Discovery", key="q", max_chars=120, **bound
    )
    with right:
        crops = shared.fruits(catalog)
    chosen = st.multiselect(
        f"Side by side, up to {MOST}",
        shared.tree_names(catalog),
        format_func=shared.tree_label,
        max_selections=MOST,
        wrap=True,
        placeholder="Type a name, or add one from the list below",
        key="variety",
        **bound,
    )
    if not (wanted.strip() or crops or chosen):
        st.html(
            '<div class="ow-empty"><p>Try <em>Discovery</em>, <em>Conference</em>, <em>Victoria</em> or'
            " <em>Vranja</em>; another name or a slip of the pen will do.</p></div>"
        )
        return
    found = _finder(catalog, str(catalog.info["data_key"])).find(wanted, crops)
    if not chosen and found.empty:
        _nothing(wanted, crops)
        return
    shown = chosen or [f"{found['crop'].iloc[0]}:{found['variety'].iloc[0]}"]
    with shared.told_plainly():
        compared = compare(catalog, shown)
    _shown(compared)
    if wanted.strip() or crops:
        _hits(found, shown, bool(wanted.strip()))


@st.cache_resource(show_spinner=False, max_entries=1)
def _finder(_catalog: Catalog, data_key: str) -> Finder:
    from recommender.catalog.search import Finder

    return Finder(_catalog.varieties(), _catalog.names(), _catalog.statement_counts())


def _nothing(wanted: str, crops: list[str]) -> None:
    among = f" among {list_words([crop_in_sentence(crop) for crop in crops])}" if crops else ""
    st.html(
        '<div class="ow-empty" role="status"><p>No variety is called anything like'
        f" “{cards.text(wanted.strip())}”{cards.text(among)}.</p><p>Try fewer letters, another spelling"
        f"{', or another fruit' if crops else ''}.</p></div>"
    )


def _shown(compared: Comparison) -> None:
    units = shared.units()
    names = [plain(found.variety) for found in compared.dossiers]
    st.header(cards.label(list_words(names)))
    st.html("".join(evidence.introduction(found, len(names) > 1) for found in compared.dossiers))
    if len(names) == 1:
        st.html(cards.evidence_table(compared.dossiers[0], units))
    else:
        only = st.toggle(
            f"Only what differs ({len(compared.differing)} of {len(compared.traits)})", key="differs"
        )
        traits = [trait for trait in compared.traits if trait in compared.differing or not only]
        if traits:
            st.html(evidence.comparison_table(compared, traits, units))
        else:
            st.html('<p class="ow-quiet">Nothing known of two or more of them differs.</p>')
    _cautions(compared)
    behind = st.expander("Every statement behind these values", key="statements", on_change="rerun")
    if behind.open:
        with behind:
            st.html(evidence.statement_table(compared.evidence(), len(names) > 1))
    _files(compared)


def _cautions(compared: Comparison) -> None:
    told = {found.crop: found.cautions for found in compared.dossiers if not found.cautions.empty}
    for crop, cautions in told.items():
        st.html(f"<h3>To mind with {cards.text(crop_in_sentence(crop))}</h3>" + cards.caution_list(cautions))


def _files(compared: Comparison) -> None:
    from recommender.outputs import csv_text, parquet_bytes

    def pair(what: str, frame: Any, name: str) -> None:
        a, b = st.columns(2)
        a.download_button(
            f"{what} (CSV)",
            lambda: csv_text(frame()),
            f"orchardwright-{name}.csv",
            "text/csv",
            width="stretch",
            on_click="ignore",
        )
        b.download_button(
            f"{what} (Parquet)",
            lambda: parquet_bytes(frame()),
            f"orchardwright-{name}.parquet",
            "application/vnd.apache.parquet",
            width="stretch",
            on_click="ignore",
        )

    st.header("Keep it")
    pair("These values", compared.values, "values")
    pair("The statements behind them", compared.evidence, "statements")


def _hits(found: pd.DataFrame, shown: list[str], named: bool) -> None:
    if set(found["crop"] + ":" + found["variety"]) <= set(shown):
        return
    st.header("Names like it" if named else "Most is known of")
    many = st.session_state.get("hits", _HITS)
    for row in rows(found.head(many)):
        key = f"{row.crop}:{row.variety}"
        also = f", also called {row.also}" if row.also else ""
        count = f"{row.statements} statement{'s' * (row.statements != 1)}"
        with st.container(horizontal=True, vertical_alignment="center", key=f"ow-hit-{row.Index}"):
            st.html(
                f"<p><strong>{cards.text(row.variety)}</strong> "
                f'<span class="ow-quiet">{cards.text(crop_in_sentence(row.crop) + also)}; {count}</span></p>'
            )
            held = key in st.session_state.get("variety", [])
            st.button(
                f"{'Take out' if held else 'Add'} {cards.label(row.variety)}",
                key=f"hit-{key}",
                on_click=_toggle,
                args=(key, shown),
                disabled=not held and len(st.session_state.get("variety", [])) >= MOST,
            )
    if len(found) > many:
        st.button("Show more names", on_click=_more, args=(many,))


def _toggle(key: str, shown: list[str]) -> None:
    """Add a variety to those side by side, or take it out. The one shown by itself stays beside a new one."""
    held = list(st.session_state.get("variety", []))
    if key in held:
        held.remove(key)
    else:
        held = [*(held or [name for name in shown if name != key]), key]
    st.session_state["variety"] = held[:MOST]


def _more(many: int) -> None:
    st.session_state["hits"] = many + _HITS
