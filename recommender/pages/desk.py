"""The page "What can I offer instead?": a sold-out variety and a stock list in, three stand-ins out.

In come a name, a stock file (or the invented one) and, if known, where the customer lives; out go the
library's `substitutes` and `read_stock`, shown on one screen. What the list was read as is `desk_list`,
back orders are `desk_orders`. Nothing is computed here.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import streamlit as st

from recommender.pages import cards, desk_list, desk_orders, shared
from recommender.wording import MARKS, crop_in_sentence, missing, plain

if TYPE_CHECKING:
    from recommender.catalog.store import Catalog
    from recommender.nursery.names import Stock
    from recommender.nursery.substitutes import StandIns

_SHOWN = 3
_TRIES = ("Cox's Orange Pippin", "Victoria", "Spartan")


def page() -> None:
    """Draw the page."""
    st.title("What can I offer instead?")
    st.html('<p class="ow-lead">Three stand-ins from your list, each with a reason to read aloud.</p>')
    with shared.told_plainly():
        catalog = shared.catalog()
    left, right = st.columns([1, 1], vertical_alignment="top")
    name = left.text_input(
        "Which variety is sold out?",
        placeholder="Such as Spartan, or apple:Spartan",
        key="sold_out",
        bind="query-params",
    ).strip()
    upload = desk_list.asked("Your stock list (CSV or XLSX)", "stock_file", right)
    where, trees = _customer(catalog)
    sent = desk_list.sent_list(upload)
    stock = desk_list.read(catalog, sent)
    if stock is None:
        return
    _ready(catalog)
    if not name:
        tries = ", ".join(f"<em>{cards.text(one)}</em>" for one in _TRIES)
        st.html(f'<div class="ow-empty"><p>Nothing asked yet. Try {tries}.</p></div>')
    else:
        _answer(catalog, name, stock, where, trees)
    desk_list.shown(catalog, stock, sent, invented=upload is None)
    desk_orders.section(catalog, stock, sent)


def _customer(catalog: Catalog) -> tuple[str, tuple[str, ...]]:
    with st.expander("The customer's place, and trees already there"):
        a, b = st.columns(2)
        where = a.text_input(
            "Where will it grow?",
            placeholder="Town or village, country",
            key="desk_place",
            bind="query-params",
        )
        trees = shared.trees_asked(b, "Fruit trees already there", catalog, "desk_tree")
    return where.strip(), trees


@st.cache_resource(show_spinner="Getting the desk ready; this is done once", max_entries=1)
def _ready(_catalog: Catalog) -> bool:
    """Who pollinates whom, worked out before the first question so that its answer does not wait."""
    from recommender.nursery.holds import chance_of

    chance_of(_catalog)
    return True


@st.cache_resource(show_spinner="Looking through the list", max_entries=64)
def _place(_catalog: Catalog, where: str, trees: tuple[str, ...], crop: str) -> Any:
    from recommender import Site
    from recommender.nursery.holds import place_of

    return place_of(_catalog, Site(place=where, existing_trees=trees), [crop])


def _answer(catalog: Catalog, name: str, stock: Stock, where: str, trees: tuple[str, ...]) -> None:
    from recommender.errors import OrchardwrightError

    try:
        found = _found(catalog, name, stock, where, trees)
    except OrchardwrightError as error:
        # The list and the back orders below still serve; only this question waits for another answer.
        shared.say(error)
    else:
        _standins(found)


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
    st.header(cards.label(f"Instead of {found.variety} ({crop_in_sentence(found.crop)})"))
    if found.in_stock:
        lines = ", ".join(str(line) for line in found.in_stock)
        st.html(cards.paragraphs([f"It is in stock after all: row {lines} of the list."], "ow-site"))
    if found.frame.empty:
        why = (
            "What the list holds of this fruit is ruled out where the customer lives. Try another place, or a"
            " fuller list."
            if len(found.left_out)
            else f"The list holds no other {crop_in_sentence(found.crop)}. Try a fuller list."
        )
        st.html(f'<div class="ow-empty"><p>{cards.text(why)}</p></div>')
    st.html(f'<div class="ow-three">{"".join(_card(record, found.crop) for record in found.records())}</div>')
    if len(found.left_out):
        named = ", ".join(plain(name) for name in found.left_out["variety"].head(6))
        more = " and others" if len(found.left_out) > 6 else ""
        st.html(cards.paragraphs([f"Ruled out where the customer lives: {named}{more}."], "ow-quiet"))


def _card(record: Mapping[str, Any], asked: str) -> str:
    """One stand-in: name, verdict and score; the paragraph, what differs first; how many and where."""
    verdict = f"{cards.verdict(record['verdict'])}, " if record["verdict"] in MARKS else ""
    count = "Number not on the list" if missing(record["count"]) else f"{record['count']} in stock"
    price = "" if missing(record["price"]) else f" at {record['price']:.2f}"
    lines = ", ".join(str(line) for line in record["lines"])
    crop = (
        "" if record["crop"] == asked else f" <small>{cards.text(crop_in_sentence(record['crop']))}</small>"
    )
    return (
        '<article class="ow-card"><header>'
        f'<h3><span class="ow-rank">{record["rank"]}</span>{cards.text(record["variety"])}{crop}</h3>'
        f'<span class="ow-verdict">{verdict}score {record["score"]:.2f}</span></header>'
        f"<p>{cards.text(record['reason'])}</p>"
        f'<p class="ow-quiet">{cards.text(f"{count}{price}; row {lines}")}</p></article>'
    )
