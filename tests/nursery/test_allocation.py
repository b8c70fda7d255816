"""Back orders: what is sent, from which line, what is not and why; bad lines do not stop the others."""

from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recommender import Site
from recommender.catalog.catalog import Catalog
from recommender.errors import BadInput
from recommender.nursery.allocation import Allocation, allocate
from recommender.nursery.names import Stock, read_stock
from recommender.nursery.orders import Orders, read_orders
from recommender.nursery.stock_files import ORDERS, Table, table_from

STOCK = (
    "Variety,Rootstock,Qty\napple Discovery,M26,4\napple Discovery,M9,3\napple Katy,M26,5\n"
    "queen cox,M26,2\nVranja quince,Quince A,6\n"
)


def _stock(catalog: Catalog, text: str = STOCK) -> Stock:
    return read_stock(table_from(text.encode(), "stock.csv"), catalog)


def _orders(catalog: Catalog, text: str, site: Site | None = None) -> Orders:
    return read_orders(table_from(text.encode(), "orders.csv", ORDERS), catalog, site=site)


def _adds_up(result: Allocation, orders: Orders, stock: Stock) -> None:
    """Every tree ordered stands in the table once; no line gives more than it holds or gets more than it
    asked."""
    held = stock.lines.set_index("line")["count"]
    given_out = result.sent.groupby("stock_line")["count"].sum()
    assert (given_out <= held.reindex(given_out.index)).all()
    asked = orders.lines.set_index("line")["count"]
    both = result.table().groupby("order_line")["count"].sum()
    assert both[both.gt(0)].to_dict() == asked[asked.gt(0)].to_dict()


def test_trees_go_out_with_both_lines_named(catalog: Catalog) -> None:
    stock = _stock(catalog)
    orders = _orders(
        catalog, "Order,Variety,Qty\nA1,apple Discovery,6\nA2,Cox's Orange Pippin,1\nA3,quince Vranja,2\n"
    )
    result = allocate(orders, stock, catalog)
    _adds_up(result, orders, stock)
    first = result.sent[result.sent["order"].eq("A1")]
    assert dict(zip(first["stock_line"], first["count"], strict=True)) in ({2: 4, 3: 2}, {2: 3, 3: 3})
    cox = result.sent[result.sent["order"].eq("A2")].iloc[0]
    assert (cox["variety"], cox["kind"], cox["stock_line"]) == ("Queen Cox", "stand-in", 5)
    assert "sport" in cox["reason"]
    assert result.summary["proven"]


def test_priority_wins_over_order_of_arrival(catalog: Catalog) -> None:
    orders = _orders(catalog, "Order,Variety,Qty,Priority\nlate,quince Vranja,6,3\nfirst,quince Vranja,6,1\n")
    result = allocate(orders, _stock(catalog), catalog)
    assert dict(zip(result.sent["order"], result.sent["count"], strict=True)) == {"first": 6}
    assert result.unfilled.iloc[0]["order"] == "late"
    assert "fairness rule" in result.unfilled.iloc[0]["why"]
    assert result.buy_in.iloc[0].to_dict() | {"rights": "", "note": ""} == {
        "crop": "quince", "variety": "Vranja", "count": 6, "orders": 1, "rights": "", "note": "",
    }  # fmt: skip


def test_bad_lines_are_told_and_the_others_served(catalog: Catalog) -> None:
    text = (
        "Order,Variety,Qty,Priority,Site\nA,Old Parish Wonder,1,2,\nB,apple Katy,-3,2,\nC,apple"
        " Katy,2,soon,\n"
        "D,apple Discovery,1,1,Nowhere-on-Marsh Atlantis\nE,apple Katy,=1+1,2,\n"
    )
    orders = _orders(catalog, text)
    stock = _stock(catalog)
    result = allocate(orders, stock, catalog)
    _adds_up(result, orders, stock)
    assert dict(zip(result.sent["order"], result.sent["count"], strict=True))["C"] == 2
    why = result.unfilled.set_index("order")["why"]
    assert "Old Parish Wonder" in why["A"]
    assert "whole number" in why["B"]
    assert "site" in why["D"]
    assert "could not be read" in why["E"]
    told = "\n".join(orders.faults)
    for words in (
        "orders.csv, row 3, column “Qty”",
        "row 4, column “Priority”: the priority “soon”",
        "row 5, column “Site”: No place is called “Nowhere-on-Marsh Atlantis”",
        "row 6, column “Qty”: a formula is not read",
    ):
        assert words in told


def test_site_that_is_a_formula_is_no_site_unknown(catalog: Catalog) -> None:
    """Without its site the tree might be sent where it cannot live; so it is not sent."""
    orders = _orders(catalog, "Order,Variety,Qty,Site\nA,apple Katy,1,=A1\nB,apple Katy,1,\n")
    result = allocate(orders, _stock(catalog), catalog)
    assert list(result.sent["order"]) == ["B"]
    assert "site" in result.unfilled.iloc[0]["why"]


def test_why_a_number_is_not_taken_is_true(catalog: Catalog) -> None:
    orders = _orders(catalog, "Order,Variety,Qty\nA,apple Katy,999999999\nB,apple Katy,0\n")
    assert list(orders.lines["count"]) == [0, 0]
    assert [fault.split(": ", 1)[1].split(";")[0] for fault in orders.faults] == [
        "the number “999999999” is above 9,999,999, the most that is read",
        "the number “0” is no whole number above nought",
    ]


def test_tree_ruled_out_at_its_site_is_never_sent(catalog: Catalog) -> None:
    stock = _stock(catalog, "Variety,Qty\navocado Hass,5\npeach Redhaven,5\napple Haralson,5\n")
    orders = _orders(
        catalog,
        "Order,Variety,Qty,Zone,Chill hours,Also accept\nA,avocado Hass,2,3a,1500,\nB,apple"
        " Haralson,1,3a,1500,\n",
    )
    result = allocate(orders, stock, catalog, least=0.01)
    assert list(result.sent["order"]) == ["B"]
    assert "ruled out" in result.unfilled.iloc[0]["why"]
    assert result.buy_in.empty


def test_stand_in_below_the_least_is_not_sent(catalog: Catalog) -> None:
    orders = _orders(catalog, "Order,Variety,Qty\nA,apple Egremont Russet,1\n")
    free = allocate(orders, _stock(catalog), catalog, least=0.05)
    strict = allocate(orders, _stock(catalog), catalog, least=0.999)
    assert len(free.sent) == 1
    assert strict.sent.empty
    with pytest.raises(BadInput):
        allocate(orders, _stock(catalog), catalog, least=0.0)


def test_use_the_customer_named_decides_between_stand_ins(catalog: Catalog) -> None:
    """A cooking apple in place of a cooking apple keeps its worth for a cook and loses some for an eater."""
    stock = _stock(catalog, "Variety,Qty\napple Howgate Wonder,1\napple Discovery,1\n")
    lines = "Order,Variety,Qty,Use\nA,Bramley's Seedling,1,{}\n"

    def worth(use: str) -> dict[str, float]:
        sent = allocate(_orders(catalog, lines.format(use)), stock, catalog, least=0.01).sent
        return dict(zip(sent["variety"], sent["acceptance"], strict=True))

    plain, cooking, eating = worth(""), worth("culinary"), worth("eating | dessert")
    assert set(cooking) == {"Howgate Wonder"}
    assert cooking == plain
    assert eating != plain


def test_use_that_is_none_is_told_and_left_out(catalog: Catalog) -> None:
    orders = _orders(catalog, "Order,Variety,Qty,Use\nA,apple Katy,1,cooking|firewood\n")
    assert orders.lines["uses"].iloc[0] == ("cooking",)
    assert len(orders.faults) == 1
    assert "row 2" in orders.faults[0]
    assert "“firewood”" in orders.faults[0]
    assert allocate(orders, _stock(catalog), catalog).sent["acceptance"].tolist() == [1.0]


def test_rootstock_that_was_ordered_comes_first(catalog: Catalog) -> None:
    orders = _orders(
        catalog, "Order,Variety,Rootstock,Qty\nA,apple Discovery,M9,3\nB,apple Discovery,M26,4\n"
    )
    sent = allocate(orders, _stock(catalog), catalog).sent
    assert dict(zip(sent["order"], sent["rootstock"], strict=True)) == {"A": "M.9", "B": "M.26"}


names = st.sampled_from(
    [
        "apple Discovery",
        "apple Katy",
        "Cox's Orange Pippin",
        "quince Vranja",
        "apple Sunset",
        "Atlantis Glory",
    ]
)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(names, st.integers(-1, 6), st.integers(1, 3)), min_size=1, max_size=6))
def test_no_tree_is_lost_or_made(catalog: Catalog, wanted: list[tuple[str, int, int]]) -> None:
    frame = pd.DataFrame(
        {
            "name": [name for name, _, _ in wanted],
            "count": [str(count) for _, count, _ in wanted],
            "priority": [str(p) for _, _, p in wanted],
        },
        dtype=object,
    )
    table = Table(frame, tuple(range(2, len(frame) + 2)), {})
    stock = _stock(catalog)
    orders = read_orders(table, catalog)
    _adds_up(allocate(orders, stock, catalog), orders, stock)
