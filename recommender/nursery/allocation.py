"""A whole list of back orders against a stock list: who gets which tree, exactly, and what stays unfilled and
why.

In come `Orders` and a `Stock`; out goes an `Allocation`: every tree sent with the line of the order and the
line of the stock it came from, what remains and why, and what to buy in. Acceptance of a tree is 1 for the
variety ordered; for another the score of a stand-in, less where it does not serve the use that was named; 0
below `least`, in a crop the customer does not accept, or where the tree is ruled out at the site. The plan
maximises acceptance times the weight of the customer's priority (flow.py proves it).

Fairness rule: priority 1 counts 2, priority 2 counts 1.4, priority 3 counts 1, whoever came first; among all
plans of the same total, the one that gives the most orders their first tree, then their first half, then the
rest.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from recommender.errors import BadInput
from recommender.nursery import holds as demands
from recommender.nursery import reading
from recommender.nursery.flow import Plan, best_plan
from recommender.nursery.substitutes import resemblance, serving
from recommender.wording import rows as rows_of

if TYPE_CHECKING:
    from recommender.catalog.catalog import Catalog
    from recommender.nursery.names import Stock
    from recommender.nursery.orders import Orders

LEAST = 0.5
"""Least acceptance at which a stand-in is sent unless told otherwise."""
PRIORITY_WEIGHT = {1: 2.0, 2: 1.4, 3: 1.0}
UNITS = 1000
"""Units a whole tree of weight 1 is worth: acceptance is counted in thousandths, so that sums are exact."""
OTHER_ROOTSTOCK, ROOTSTOCK_NOT_SAID = 0.7, 0.9
"""What is left of a tree on another rootstock than ordered, and on one the list does not name (our own)."""
_SENT = (
    "order_line", "order", "customer", "priority", "wanted_crop", "wanted", "crop", "variety", "rootstock",
    "count",
    "acceptance", "kind", "stock_line", "differs", "reason",
)  # fmt: skip
_UNFILLED = ("order_line", "order", "customer", "priority", "wanted_crop", "wanted", "count", "why")


@dataclass(frozen=True, eq=False)
class Allocation:
    """The result. sent: one row per order line and stock line; unfilled: one row per order line with trees
    missing.

    buy_in: crop, variety, count, orders (how many would be filled), rights, note. summary: trees ordered,
    sent and missing, acceptance (mean over trees ordered), total and bound in units, proven. faults of
    reading are the callers'.
    """

    sent: pd.DataFrame
    unfilled: pd.DataFrame
    buy_in: pd.DataFrame
    summary: dict[str, Any] = field(default_factory=dict)

    def table(self) -> pd.DataFrame:
        """Sent and unfilled in one table, in the order of the order list: every tree ordered stands in it
        once."""
        missing = self.unfilled.assign(kind="unfilled", acceptance=0.0).rename(columns={"why": "reason"})
        both = pd.concat([self.sent, missing], ignore_index=True) if len(missing) else self.sent
        return (
            both.reindex(columns=list(_SENT))
            .sort_values(["order_line", "kind"], kind="stable")
            .reset_index(drop=True)
        )


def allocate(
    orders: Orders,
    stock: Stock,
    catalog: Catalog,
    *,
    least: float = LEAST,
    plan_of: Callable[[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]], Plan] = best_plan,
) -> Allocation:
    """Share the stock out among the orders. least: least acceptance in [0, 1] at which a stand-in is sent.

    plan_of: another way of planning (for comparison). Raises BadInput for a `least` out of range.
    """
    if not 0.0 < least <= 1.0:
        raise BadInput(
            f"The least acceptance {least} is not above 0 and at most 1",
            where="least",
            remedy="Give for example 0.5",
        )
    lines = orders.lines
    groups, pieces = stock_groups(stock)
    worth, accepted = acceptances(orders, groups, catalog, least)
    weight = np.array([PRIORITY_WEIGHT[int(priority)] for priority in lines["priority"]], dtype=float)
    units = np.rint(accepted * weight[:, None] * UNITS).astype(np.int64)
    wants = np.where(lines["problem"].eq(""), lines["count"], 0).astype(np.int64)
    holds = groups["count"].to_numpy(dtype=np.int64)
    plan = plan_of(units, wants, holds)
    sent = _sent(lines, groups, pieces, plan, accepted, catalog)
    unfilled = _unfilled(lines, plan, worth, accepted, groups, least)
    trees = int(lines["count"].sum())
    total = float((accepted[plan.order, plan.group] * plan.count).sum())
    summary = {
        "order_lines": len(lines),
        "trees_ordered": trees,
        "trees_sent": int(plan.count.sum()),
        "trees_missing": trees - int(plan.count.sum()),
        "lines_with_trees": len(np.unique(plan.order)),
        "acceptance": round(total / trees, 4) if trees else 0.0,
        "value": plan.value,
        "bound": plan.bound,
        "proven": plan.proven,
        "least": least,
    }
    return Allocation(sent, unfilled, _buy_in(unfilled, lines, catalog), summary)


def stock_groups(stock: Stock) -> tuple[pd.DataFrame, list[list[tuple[int, int]]]]:
    """Lines that can be sent, one group for each crop, variety and rootstock, and the (line, count) of each
    group.

    A line whose count is not said offers nothing here: a promise needs a number.
    """
    usable = stock.usable()
    usable = usable[usable["count"].notna()]
    rows: dict[tuple[str, str, str], list[tuple[int, int]]] = {}
    for line, crop, variety, stock_of, count in usable[
        ["line", "crop", "variety", "rootstock", "count"]
    ].itertuples(index=False):
        root = stock_of if isinstance(stock_of, str) else ""
        rows.setdefault((crop, variety, root), []).append((int(line), int(count)))
    keys = sorted(rows)
    frame = pd.DataFrame(keys, columns=["crop", "variety", "rootstock"], dtype=object)
    frame["count"] = np.array([sum(count for _, count in rows[key]) for key in keys], dtype=np.int64)
    return frame, [rows[key] for key in keys]


def acceptances(
    orders: Orders, groups: pd.DataFrame, catalog: Catalog, least: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(O, G) worth of each group for each order line in [0, 1], before and after what must not be sent is
    taken out.

    Where a tree is ruled out at its site the first is NaN and the second 0.
    """
    lines = orders.lines
    index = demands.index_of(catalog)
    rows = np.array(
        [index.get(pair, -1) for pair in zip(groups["crop"], groups["variety"], strict=True)], dtype=np.intp
    )
    crop_of = groups["crop"].to_numpy(dtype=object)
    roots = groups["rootstock"].to_numpy(dtype=object)
    worth = np.zeros((len(lines), len(groups)))
    places = _places(orders, catalog)
    done: dict[tuple[Any, ...], NDArray[np.float64]] = {}
    for number, row in enumerate(rows_of(lines)):
        if row.problem or not len(groups):
            continue
        key = (row.crop, row.variety, row.crops, row.site, row.trees, row.uses)
        if key not in done:
            done[key] = _worth(catalog, index, row, rows, crop_of, places.get(row.site))
        value = done[key]
        if isinstance(row.rootstock, str):
            value = value * np.where(
                roots == row.rootstock, 1.0, np.where(roots == "", ROOTSTOCK_NOT_SAID, OTHER_ROOTSTOCK)
            )
        worth[number] = value
    accepted = np.nan_to_num(worth, nan=0.0)
    return worth, np.where(accepted >= least, accepted, 0.0)


def _worth(
    catalog: Catalog,
    index: dict[tuple[str, str], int],
    row: Any,
    rows: NDArray[np.intp],
    crop_of: NDArray[np.object_],
    place: demands.Place | None,
) -> NDArray[np.float64]:
    """(G,) worth of every group for one kind of order; NaN where it is ruled out."""
    out = np.zeros(len(rows))
    wanted = index[(row.crop, row.variety)]
    at = np.flatnonzero(np.isin(crop_of, [row.crop, *row.crops]) & (rows >= 0))
    if not len(at):
        return out
    own = rows[at]
    alike, sport, _ = resemblance(catalog, wanted, own)
    trees = [index[tree] for tree in row.trees]
    must = demands.holds(catalog, wanted, own, place, trees, sport)
    out[at] = np.where(own == wanted, 1.0, must.total * alike * serving(catalog, own, row.uses))
    out[at[must.ruled_out]] = np.nan
    return out


def _places(orders: Orders, catalog: Catalog) -> dict[str, demands.Place]:
    """Each site of the orders, ready for the crops asked for there."""
    crops: dict[str, dict[str, None]] = {}
    for row in rows_of(orders.lines):
        if not row.problem and row.site in orders.sites:
            crops.setdefault(str(row.site), {}).update(dict.fromkeys([str(row.crop), *row.crops]))
    return {key: demands.place_of(catalog, orders.sites[key], sorted(asked)) for key, asked in crops.items()}


def _sent(
    lines: pd.DataFrame,
    groups: pd.DataFrame,
    pieces: list[list[tuple[int, int]]],
    plan: Plan,
    accepted: NDArray[np.float64],
    catalog: Catalog,
) -> pd.DataFrame:
    """One row for each order line and stock line; lines of the stock are used up from the first on."""
    left = [list(lines_of) for lines_of in pieces]
    index = demands.index_of(catalog)
    told: dict[tuple[Any, ...], tuple[str, str]] = {}
    tellers: dict[tuple[Any, ...], reading.Teller] = {}
    order_rows, group_rows = lines.to_dict("records"), groups.to_dict("records")
    out: list[dict[str, Any]] = []
    for order, group, count in zip(plan.order, plan.group, plan.count, strict=True):
        row, piece = order_rows[int(order)], group_rows[int(group)]
        same = (row["crop"], row["variety"]) == (piece["crop"], piece["variety"])
        differs, reason = "", "as ordered"
        if not same:
            key = (row["crop"], row["variety"], piece["crop"], piece["variety"], row["trees"])
            if key not in told:
                asked = (row["crop"], row["variety"], row["trees"])
                if asked not in tellers:
                    trees = [index[tree] for tree in row["trees"]]
                    tellers[asked] = reading.Teller(catalog, index[asked[:2]], None, trees)
                teller = tellers[asked]
                new = index[(piece["crop"], piece["variety"])]
                told[key] = teller.tell(new, bool(resemblance(catalog, teller.wanted, np.array([new]))[1][0]))
            differs, reason = told[key]
        for line, part in _take(left[int(group)], int(count)):
            out.append(
                {
                    "order_line": int(row["line"]),
                    "order": row["order"],
                    "customer": row["customer"],
                    "priority": int(row["priority"]),
                    "wanted_crop": row["crop"],
                    "wanted": row["variety"],
                    "crop": piece["crop"],
                    "variety": piece["variety"],
                    "rootstock": piece["rootstock"],
                    "count": part,
                    "acceptance": round(float(accepted[order, group]), 4),
                    "kind": "as ordered" if same else "stand-in",
                    "stock_line": line,
                    "differs": differs,
                    "reason": reason,
                }
            )
    return pd.DataFrame(out, columns=list(_SENT))


def _take(pieces: list[tuple[int, int]], count: int) -> list[tuple[int, int]]:
    taken = []
    while count > 0:
        line, held = pieces[0]
        part = min(held, count)
        taken.append((line, part))
        count -= part
        if part == held:
            pieces.pop(0)
        else:
            pieces[0] = (line, held - part)
    return taken


def _unfilled(
    lines: pd.DataFrame,
    plan: Plan,
    worth: NDArray[np.float64],
    accepted: NDArray[np.float64],
    groups: pd.DataFrame,
    least: float,
) -> pd.DataFrame:
    filled = np.bincount(plan.order, plan.count, len(lines)).astype(int) if len(lines) else np.zeros(0, int)
    own = groups["crop"] + ":" + groups["variety"] if len(groups) else pd.Series([], dtype=object)
    ordered = lines["count"].to_numpy()
    out = []
    for number, row in enumerate(rows_of(lines)):
        missing = int(ordered[number]) - int(filled[number])
        if missing <= 0 and not row.problem:
            continue
        why = row.problem
        if not why:
            mine = (own == f"{row.crop}:{row.variety}").to_numpy()
            ruled_out = bool(np.isnan(worth[number][mine]).any()) if mine.any() else False
            if ruled_out:
                why = "it is ruled out at the customer's site, and no stand-in was free"
            elif (accepted[number] > 0).any():
                why = "all stock this customer would take went to orders that gain more, by the fairness rule"
            elif np.isnan(worth[number]).any():
                why = "what is in stock is ruled out at the customer's site or too unlike what was ordered"
            else:
                why = f"neither it nor a stand-in of at least {least:.2f} is in stock"
        out.append(
            {
                "order_line": int(row.line),
                "order": row.order,
                "customer": row.customer,
                "priority": int(row.priority),
                "wanted_crop": row.crop,
                "wanted": row.variety if isinstance(row.variety, str) else row.text,
                "count": max(missing, 0),
                "why": why,
            }
        )
    return pd.DataFrame(out, columns=list(_UNFILLED))


def _buy_in(unfilled: pd.DataFrame, lines: pd.DataFrame, catalog: Catalog) -> pd.DataFrame:
    """What to buy in: varieties ordered and missing, the most weighed trees first. Ruled-out and unread lines
    stay out."""
    columns = ["crop", "variety", "count", "orders", "rights", "note"]
    known = lines.set_index("line")
    wanted: dict[tuple[str, str], list[float]] = {}
    for row in unfilled.to_dict("records"):
        line = known.loc[row["order_line"]]
        if line["problem"] or row["count"] <= 0 or str(row["why"]).startswith("it is ruled out"):
            continue
        entry = wanted.setdefault((str(line["crop"]), str(line["variety"])), [0, 0, 0.0])
        entry[0] += row["count"]
        entry[1] += 1
        entry[2] += row["count"] * PRIORITY_WEIGHT[int(row["priority"])]
    traits = catalog.traits()
    stated = dict(zip(zip(traits["crop"], traits["variety"], strict=True), traits["rights"], strict=True))
    out = []
    for pair, (count, orders, _) in sorted(wanted.items(), key=lambda item: (-item[1][2], item[0])):
        rights = stated.get(pair)
        said = rights if isinstance(rights, str) else ""
        note = (
            "protected as stated; buy from a licensed grower, check before propagating"
            if said and said != "free"
            else ""
        )
        out.append((*pair, int(count), int(orders), said, note))
    return pd.DataFrame(out, columns=columns)
