"""Back orders on the desk: an order list in; who gets which tree, what stays unfilled and why, what to buy.

In come an uploaded order list (or the invented one) and the stock as read; out go the library's `allocate`
and its result as files. Nothing is computed here.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import streamlit as st

from recommender.errors import OrchardwrightError
from recommender.pages import cards, desk_list, shared
from recommender.wording import crop_name, rows

if TYPE_CHECKING:
    from recommender.catalog.store import Catalog
    from recommender.nursery.allocation import Allocation
    from recommender.nursery.names import Stock
    from recommender.nursery.orders import Orders
    from recommender.pages.desk_list import Sent

_DEMO = "back-orders.csv"
_PARTS = {
    "order": "Order number", "customer": "Customer", "name": "Variety ordered", "count": "Number ordered",
    "priority": "Priority", "crops": "Also accepts", "site": "Place", "zone": "Zone",
    "chill_hours": "Chill hours", "trees": "Trees there", "uses": "What for", "rootstock": "Rootstock wanted",
}  # fmt: skip
_SHOWN = 30


def section(catalog: Catalog, stock: Stock, of: Sent) -> None:
    """Draw the part of the page that fills back orders. of: the file the stock was read from."""
    st.header("Who gets which tree?")
    st.html(
        '<p class="ow-lead">A list of back orders is shared out over the list above: the best plan there is,'
        " by priority and not by arrival.</p>"
    )
    upload = desk_list.asked("Your order list (CSV or XLSX)", "order_file")
    demo = upload is None and st.toggle("Try it with the invented orders", key="orders_demo")
    if upload is None and not demo:
        st.html(
            '<div class="ow-empty"><p>No orders yet. A list needs one column for the variety; number,'
            " customer, priority (1 to 3), place, trees there and what the fruit is for are used where given."
            "</p></div>"
        )
        return
    sent = desk_list.sent_file(upload, _DEMO, "orders")
    columns = tuple(desk_list.chosen(sent, _PARTS).items())
    try:
        memory = desk_list.decisions()
        from_list = (of.name, of.data, tuple(desk_list.chosen(of, desk_list.PARTS).items()))
        orders, result = _filled(
            catalog, stock, from_list, sent.name, sent.data, columns, desk_list.state_of(memory)
        )
    except OrchardwrightError as error:
        shared.say(error)
        desk_list.choose_columns(sent, _PARTS, {}, opened=True)
        return
    _told(stock, orders, result, sent)


@st.cache_resource(show_spinner="Sharing the stock out", max_entries=4)
def _filled(
    _catalog: Catalog,
    _stock: Stock,
    from_list: tuple[Any, ...],
    name: str,
    data: bytes,
    columns: tuple[tuple[str, str], ...],
    decided: int,
) -> tuple[Orders, Allocation]:
    """Orders as read and filled; from_list and decided tell one stock from another."""
    from recommender.nursery.allocation import allocate
    from recommender.nursery.orders import read_orders
    from recommender.nursery.stock_files import ORDERS, table_from

    orders = read_orders(table_from(data, name, ORDERS, dict(columns)), _catalog, desk_list.decisions())
    return orders, allocate(orders, _stock, _catalog)


def _told(stock: Stock, orders: Orders, result: Allocation, sent: Sent) -> None:
    told = result.summary
    proven = "No plan is worth more (proven)." if told["proven"] else "A better plan may exist."
    st.html(
        cards.paragraphs(
            [
                f"{told['trees_sent']} of {told['trees_ordered']} trees go out, to"
                f" {told['lines_with_trees']} of {told['order_lines']} orders. {proven}"
            ],
            "ow-site",
        )
    )
    _downloads(result, (*stock.faults, *orders.faults))
    _table(
        "What goes out",
        ("Order", "Ordered", "Goes out", "Why"),
        [
            (
                _whose(row),
                row.wanted,
                f"{row.count} {row.variety}{_on(row.rootstock)} (row {row.stock_line})",
                row.reason,
            )
            for row in rows(result.sent.head(_SHOWN))
        ],
        len(result.sent),
        "Nothing on the list serves these orders.",
    )
    _table(
        "What stays unfilled, and why",
        ("Order", "Ordered", "Missing", "Why"),
        [(_whose(row), row.wanted, _trees(row.count), row.why) for row in rows(result.unfilled.head(_SHOWN))],
        len(result.unfilled),
        "Every order is filled.",
    )
    if len(result.buy_in):
        _table(
            "What to buy in",
            ("Variety", "How many", "Note"),
            [
                (
                    f"{row.variety} ({crop_name(row.crop)})",
                    f"{_trees(row.count)} for {row.orders} {'order' if row.orders == 1 else 'orders'}",
                    row.note,
                )
                for row in rows(result.buy_in.head(_SHOWN))
            ],
            len(result.buy_in),
            "",
        )
        st.html(
            '<p class="ow-quiet">Where a variety is protected, only licensed growers may propagate it; which'
            " plants may cross a border is for the plant-health authority there.</p>"
        )
    desk_list.choose_columns(sent, _PARTS, orders.mapping)
    if orders.faults:
        with st.expander(f"Cells of the orders that could not be used: {len(orders.faults)}"):
            st.html(cards.paragraphs(orders.faults[:50], "ow-prose"))


def _downloads(result: Allocation, faults: tuple[str, ...]) -> None:
    from recommender.nursery.result_files import allocation_tables, workbook_bytes
    from recommender.outputs import csv_text

    with st.container(horizontal=True):
        st.download_button(
            "Download the result (XLSX)",
            lambda: workbook_bytes(allocation_tables(result, faults)),
            "orchardwright-back-orders.xlsx",
            "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
            on_click="ignore",
        )
        st.download_button(
            "Download the result (CSV)",
            lambda: csv_text(result.table()).encode("utf-8"),
            "orchardwright-back-orders.csv",
            "text/csv",
            on_click="ignore",
        )


def _whose(row: Any) -> str:
    return f"{row.order}, {row.customer}" if row.customer else str(row.order)


def _trees(count: int) -> str:
    return "1 tree" if count == 1 else f"{count} trees"


def _on(rootstock: object) -> str:
    return f" on {rootstock}" if rootstock else ""


def _table(title: str, heads: Sequence[str], lines: Sequence[Sequence[str]], of: int, nothing: str) -> None:
    """A table that wraps its words; the first lines only, since the download holds all."""
    st.subheader(title)
    if not lines:
        st.html(cards.paragraphs([nothing], "ow-quiet"))
        return
    head = "".join(f'<th scope="col">{cards.text(name)}</th>' for name in heads)
    body = "".join(
        f'<tr><th scope="row">{cards.text(first)}</th>'
        + "".join(f"<td>{cards.text(cell)}</td>" for cell in rest)
        + "</tr>"
        for first, *rest in lines
    )
    st.html(f'<table class="ow-evidence"><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>')
    if of > len(lines):
        st.html(f'<p class="ow-quiet">And {of - len(lines)} more in the download.</p>')
