"""The page "What can I offer instead?": a sold-out variety and a stock list in, three stand-ins out.

In come a name, a stock file (or the invented one) and, if known, where the customer lives; out go the
library's
`substitutes` and `read_stock`, shown on one screen. Nothing is computed here.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import streamlit as st

from recommender.pages import cards, shared
from recommender.wording import MARKS, crop_in_sentence, crop_name, missing, plain

if TYPE_CHECKING:
    from recommender.catalog.store import Catalog
    from recommender.nursery.names import Stock
    from recommender.nursery.substitutes import StandIns

_SHOWN = 3
_DEMO = "nursery-stock.csv"


def page() -> None:
    """Draw the page."""
    st.title("What can I offer instead?")
    st.html(
        '<p class="ow-lead">Type the variety that is sold out. Three stand-ins from your list follow,'
        " each with a reason to read aloud.</p>"
    )
    with shared.told_plainly():
        catalog = shared.catalog()
    left, right = st.columns([3, 2], vertical_alignment="top")
    name = left.text_input(
        "Which variety is sold out?",
        placeholder="Such as Discovery, or apple:Discovery",
        key="sold_out",
        bind="query-params",
    )
    upload = right.file_uploader(
        "Your stock list (CSV or XLSX)", type=["csv", "xlsx", "txt", "tsv"], key="stock_file"
    )
    where, trees = _customer(catalog)
    with shared.told_plainly():
        stock = _stock(catalog, upload)
    if upload is None:
        st.html(
            '<p class="ow-quiet">Until you choose a file, the list of an invented nursery in the parish'
            " of Withy Hollow is used.</p>"
        )
    if not name.strip():
        st.html(
            '<div class="ow-empty"><p>Try <em>Cox\'s Orange Pippin</em>, <em>Victoria</em> or'
            " <em>Vranja</em>.</p><p>Your list stays on this machine.</p></div>"
        )
    else:
        with shared.told_plainly():
            found = _found(catalog, name.strip(), stock, where, trees)
        _standins(found)
    _list_as_read(stock)


def _customer(catalog: Catalog) -> tuple[str, tuple[str, ...]]:
    with st.expander("What is known of the customer: place, trees already there"):
        a, b = st.columns(2)
        where = a.text_input(
            "Where will it grow?",
            placeholder="Town or village, country",
            key="desk_place",
            bind="query-params",
        )
        trees = b.multiselect(
            "Fruit trees already there",
            shared.tree_names(catalog),
            format_func=shared.tree_label,
            placeholder="Type a name",
            key="desk_tree",
            bind="query-params",
        )
    return where.strip(), tuple(trees)


def _stock(catalog: Catalog, upload: Any) -> Stock:
    from recommender.catalog.package import datasets_folder

    if upload is not None:
        return _read(catalog, upload.name, upload.getvalue())
    path = datasets_folder() / "demo" / _DEMO
    return _read(catalog, _DEMO, path.read_bytes())


@st.cache_resource(show_spinner="Reading the list", max_entries=8)
def _read(_catalog: Catalog, name: str, data: bytes) -> Stock:
    from recommender.nursery.decisions import Decisions, default_path
    from recommender.nursery.names import read_stock
    from recommender.nursery.stock_files import table_from

    return read_stock(table_from(data, name), _catalog, Decisions(default_path()))


@st.cache_resource(show_spinner="Looking through the list", max_entries=64)
def _place(_catalog: Catalog, where: str, trees: tuple[str, ...], crop: str) -> Any:
    from recommender import Site
    from recommender.nursery.holds import place_of

    return place_of(_catalog, Site(place=where, existing_trees=trees), [crop])


def _found(catalog: Catalog, name: str, stock: Stock, where: str, trees: tuple[str, ...]) -> StandIns:
    from recommender import substitutes

    crop, variety = catalog.resolve(name)
    place = _place(catalog, where, trees, crop) if where else None
    return substitutes(
        f"{crop}:{variety}",
        stock,
        existing_trees=() if where else trees,
        catalog=catalog,
        top=_SHOWN,
        place=place,
    )


def _standins(found: StandIns) -> None:
    st.header(f"Instead of {plain(found.variety)} ({crop_in_sentence(found.crop)})")
    if found.in_stock:
        lines = ", ".join(str(line) for line in found.in_stock)
        st.html(cards.paragraphs([f"It is in stock after all: line {lines} of the list."], "ow-site"))
    if found.frame.empty:
        st.html(
            '<div class="ow-empty"><p>Nothing on the list can stand in for it. Try a fuller list, or'
            " leave the place out.</p></div>"
        )
    for record in found.records():
        st.html(_card(record))
    if len(found.left_out):
        named = ", ".join(plain(name) for name in found.left_out["variety"].head(6))
        more = " and others" if len(found.left_out) > 6 else ""
        st.html(cards.paragraphs([f"Ruled out where the customer lives: {named}{more}."], "ow-quiet"))


def _card(record: Mapping[str, Any]) -> str:
    """One stand-in: name, verdict and score; what differs; the paragraph; how many there are."""
    verdict = f"{cards.verdict(record['verdict'])}, " if record["verdict"] in MARKS else ""
    count = "number not on the list" if missing(record["count"]) else f"{record['count']} in stock"
    price = "" if missing(record["price"]) else f", at {record['price']:.2f}"
    lines = ", ".join(str(line) for line in record["lines"])
    return (
        '<article class="ow-card"><header>'
        f'<h3><span class="ow-rank">{record["rank"]}</span>{cards.text(record["variety"])} '
        f"<small>{cards.text(crop_in_sentence(record['crop']))}</small></h3>"
        f'<span class="ow-verdict">{verdict}score {record["score"]:.2f}</span></header>'
        f'<dl class="ow-lines"><dt>differs</dt><dd>{cards.text(record["differs"])}</dd>'
        f"<dt>say</dt><dd>{cards.text(record['reason'])}</dd>"
        f"<dt>stock</dt><dd>{cards.text(f'{count}{price}; line {lines} of the list')}</dd></dl></article>"
    )


def _list_as_read(stock: Stock) -> None:
    counts = stock.lines["decision"].value_counts()
    decided = int(counts.get("decided", 0))
    told = f"The list as read: {decided} lines decided, {len(stock.lines) - decided} to look at"
    with st.expander(told):
        columns = "; ".join(f"“{plain(heading)}” as {part}" for heading, part in stock.mapping.items())
        st.html(cards.paragraphs([f"Columns: {columns}.", *stock.faults[:8]], "ow-prose"))
        shown = stock.lines.sort_values("decision", key=lambda words: words.eq("decided"), kind="stable")
        st.dataframe(
            shown[
                [
                    "line",
                    "text",
                    "crop",
                    "variety",
                    "rootstock",
                    "count",
                    "confidence",
                    "decision",
                    "runners_up",
                ]
            ].assign(crop=[crop_name(crop) if isinstance(crop, str) else "" for crop in shown["crop"]]),
            hide_index=True,
            column_config={
                "line": "Line",
                "text": "As written",
                "crop": "Fruit",
                "variety": "Variety",
                "rootstock": "Rootstock",
                "count": "Count",
                "confidence": st.column_config.NumberColumn("Sure", format="%.2f"),
                "decision": "Decision",
                "runners_up": "May also be",
            },
        )
