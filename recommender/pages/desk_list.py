"""The list on the desk: which file, which column holds what, how its lines were read, what a person decides.

In come an uploaded file (or none: the invented list of the demo) and answers; out goes the `Stock` read by
the library, shown line by line. Decisions are kept by the library's `Decisions` for the next list.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import streamlit as st

from recommender.errors import OrchardwrightError
from recommender.pages import cards, shared
from recommender.wording import crop_name, plain

if TYPE_CHECKING:
    from recommender.catalog.store import Catalog
    from recommender.nursery.decisions import Decisions
    from recommender.nursery.names import Stock
    from recommender.nursery.stock_files import Table

_DEMO = "nursery-stock.csv"
_NONE = "(none)"
_AT_A_TIME = 8
_NO_VARIETY = "none"
PARTS = {
    "name": "Variety", "count": "Number", "price": "Price", "crop": "Fruit", "rootstock": "Rootstock",
    "form": "Form", "size": "Size",
}  # fmt: skip
_COLUMNS = {
    "line": "Row",
    "decision": "Decision",
    "text": "As written",
    "crop": "Fruit",
    "variety": "Variety",
    "rootstock": "Rootstock",
    "count": "Count",
    "confidence": "Sure",
    "runners_up": "May also be",
    "note": "Note",
}


@dataclass(frozen=True)
class Sent:
    """A file as it came: its name, its bytes, and the prefix of the widgets that ask about it."""

    name: str
    data: bytes
    key: str


def asked(label: str, key: str, where: Any = st) -> Any:
    """A question for a file, no larger than the library reads. where: the column it stands in."""
    from recommender.nursery.stock_files import MAX_BYTES

    return where.file_uploader(
        label, type=["csv", "xlsx", "txt", "tsv"], key=key, max_upload_size=MAX_BYTES // 1_000_000
    )


def sent_list(upload: Any) -> Sent:
    """The uploaded list, or the invented one."""
    return sent_file(upload, _DEMO, "stock")


def sent_file(upload: Any, demo: str, key: str) -> Sent:
    """An uploaded file, or one of the demo folder. Only the last part of its name is kept."""
    from recommender.catalog.package import datasets_folder

    if upload is None:
        return Sent(demo, (datasets_folder() / "demo" / demo).read_bytes(), f"{key}_demo")
    name = Path(str(upload.name).replace("\\", "/")).name
    return Sent(name, upload.getvalue(), f"{key}_{upload.file_id}")


def read(catalog: Catalog, sent: Sent) -> Stock | None:
    """The list as read with the columns that were chosen; None if it cannot be, which is then told."""
    columns = chosen(sent, PARTS)
    try:
        memory = decisions()
        return _read(catalog, sent.name, sent.data, tuple(columns.items()), state_of(memory))
    except OrchardwrightError as error:
        shared.say(error)
        choose_columns(sent, PARTS, {}, _headings, opened=True)
        return None


def decisions() -> Decisions:
    """What was decided before. Raises StorageFault or DataFaults."""
    from recommender.nursery.decisions import Decisions, default_path

    return Decisions(default_path())


def state_of(memory: Decisions) -> int:
    """Changes when a decision is kept, so that a list is read anew with it."""
    return memory.path.stat().st_mtime_ns if memory.path is not None and memory.path.exists() else 0


@st.cache_resource(show_spinner="Reading the list", max_entries=8)
def _read(
    _catalog: Catalog, name: str, data: bytes, columns: tuple[tuple[str, str], ...], decided: int
) -> Stock:
    from recommender.nursery.names import read_stock

    return read_stock(_table(name, data, columns), _catalog, decisions())


def _table(name: str, data: bytes, columns: tuple[tuple[str, str], ...]) -> Table:
    from recommender.nursery.stock_files import table_from

    return table_from(data, name, columns=dict(columns))


@st.cache_data(show_spinner=False, max_entries=16)
def _headings(name: str, data: bytes) -> tuple[str, ...]:
    from recommender.nursery.stock_files import headings_of

    return headings_of(data, name)


def chosen(sent: Sent, parts: Mapping[str, str]) -> dict[str, str]:
    """Columns a person set otherwise than guessed: part -> heading, "" for none."""
    said = {part: st.session_state.get(f"{sent.key}_{part}") for part in parts}
    guess = st.session_state.get(f"{sent.key}_guess", {})
    return {
        part: "" if heading == _NONE else heading
        for part, heading in said.items()
        if heading is not None and heading != guess.get(part, _NONE)
    }


def choose_columns(
    sent: Sent,
    parts: Mapping[str, str],
    mapping: Mapping[str, str],
    headings: Callable[[str, bytes], tuple[str, ...]] = _headings,
    *,
    opened: bool = False,
) -> None:
    """Which column holds what: as guessed, to be corrected. mapping: heading -> part, as read."""
    try:
        found = headings(sent.name, sent.data)
    except OrchardwrightError:
        return
    taken = {part: heading for heading, part in mapping.items()}
    headless = not set(taken.values()) <= set(found)
    if headless:
        taken = {}
    if f"{sent.key}_guess" not in st.session_state:
        st.session_state[f"{sent.key}_guess"] = taken
    told = ", ".join(f"“{plain(heading)}” as {parts[part].lower()}" for heading, part in mapping.items())
    with st.expander("Which column holds what", expanded=opened or headless or bool(chosen(sent, parts))):
        if headless:
            words = (
                "No heading was understood, so that the first row was read as a line. Choose by its cells."
            )
            st.html(cards.paragraphs([words], "ow-quiet"))
        elif told:
            st.html(cards.paragraphs([f"Read so far: {told}."], "ow-quiet"))
        places = st.columns(4)
        for number, (part, label) in enumerate(parts.items()):
            options = [_NONE, *found]
            places[number % 4].selectbox(
                label,
                options,
                index=options.index(taken[part]) if part in taken else 0,
                key=f"{sent.key}_{part}",
                format_func=lambda heading: heading if len(heading) <= 40 else f"{heading[:39]}…",
            )


def shown(catalog: Catalog, stock: Stock, sent: Sent, *, invented: bool) -> None:
    """How the list was read, what is to be looked at, and which columns were taken."""
    counts = stock.lines["decision"].value_counts()
    decided = int(counts.get("decided", 0))
    left = len(stock.lines) - decided
    st.header("Your list as read")
    words = [f"{sent.name}: {decided} of {len(stock.lines)} lines decided, {left} to look at."]
    if invented:
        words.append("It is that of an invented nursery until you choose yours, which stays on this machine.")
    st.html(cards.paragraphs(words, "ow-prose"))
    if left:
        _review(catalog, stock)
    choose_columns(sent, PARTS, stock.mapping)
    if stock.faults:
        with st.expander(f"Cells that could not be used: {len(stock.faults)}"):
            st.html(cards.paragraphs(stock.faults[:50], "ow-prose"))
            if len(stock.faults) > 50:
                st.html(f'<p class="ow-quiet">And {len(stock.faults) - 50} more.</p>')
    with st.expander("Every line"):
        _lines(stock)


def _lines(stock: Stock) -> None:
    table = stock.lines.sort_values("decision", key=lambda words: words.eq("decided"), kind="stable")
    table = table[list(_COLUMNS)].assign(
        crop=[crop_name(crop) if isinstance(crop, str) else "" for crop in table["crop"]]
    )
    st.dataframe(
        table,
        hide_index=True,
        column_config={
            **_COLUMNS,
            "confidence": st.column_config.NumberColumn(_COLUMNS["confidence"], format="%.2f"),
        },
    )


def _review(catalog: Catalog, stock: Stock) -> None:
    """The lines a person decides, a handful at a time; what is said is kept for the next list."""
    waiting = stock.lines[stock.lines["decision"].ne("decided") & stock.lines["how"].ne("remembered")]
    if waiting.empty:
        return
    with st.expander(f"Lines to decide: {len(waiting)}"):
        st.html(
            '<p class="ow-quiet">What you decide is kept on this machine and holds for the next list too.</p>'
        )
        with st.form("desk_review", border=False):
            for row in waiting.head(_AT_A_TIME).to_dict("records"):
                near = [part.rsplit(" ", 1)[0] for part in str(row["runners_up"]).split(" | ") if part]
                st.selectbox(
                    f"Row {row['line']}: {cards.label(str(row['text'])[:120])}",
                    [*near, _NO_VARIETY],
                    index=None,
                    placeholder="Leave it for later, choose, or type a name",
                    format_func=_choice,
                    accept_new_options=True,
                    key=f"desk_line_{row['line']}_{hash(row['text'])}",
                )
            if len(waiting) > _AT_A_TIME:
                st.html(f'<p class="ow-quiet">{len(waiting) - _AT_A_TIME} more follow.</p>')
            if st.form_submit_button("Keep these decisions"):
                _keep(catalog, stock, waiting.head(_AT_A_TIME))


def _choice(name: str) -> str:
    if name == _NO_VARIETY:
        return "none of ours"
    return shared.tree_label(name) if ":" in name else name


def _keep(catalog: Catalog, stock: Stock, rows: Any) -> None:
    from recommender.nursery.names import decide

    with shared.told_plainly():
        memory = decisions()
        said = 0
        for row in rows.to_dict("records"):
            choice = st.session_state.get(f"desk_line_{row['line']}_{hash(row['text'])}")
            if choice:
                decide(stock, int(row["line"]), choice, catalog, memory)
                said += 1
        if said:
            memory.save()
    if said:
        st.toast(f"{said} kept" if said > 1 else "Kept")
        st.rerun()
