"""Scarce stock shared out exactly: the largest total worth of a transport plan, with its proof.

In come a matrix of worths in whole units (orders by stock groups, nought where a tree must not go), what each
order wants and what each group holds; out goes a whole-number plan and a certificate. The constraint matrix
of a transport problem is totally unimodular, so the linear programme that HiGHS (scipy) solves has a
whole-number optimum; prices (duals) found with it are whole numbers too, and a plan worth exactly what the
prices add up to cannot be bettered.

Only the pairs that can matter enter the programme: it starts with the best few of each order and takes in
every pair whose worth exceeds its prices until none is left (column generation), so the proof covers all
pairs.

Reference: G. B. Dantzig, Linear Programming and Extensions (1963), on transport problems and column
generation.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]
FIRST_PAIRS = 6
MORE_PAIRS = 8


@dataclass(frozen=True, eq=False)
class Plan:
    """A plan. order, group, count: (k,) what goes where. value: its worth; bound: no plan is worth more (both
    in units).

    proven: value equals bound, checked in whole numbers.
    """

    order: Ints
    group: Ints
    count: Ints
    value: int
    bound: int

    @property
    def proven(self) -> bool:
        """Whether the plan is proved to be the best."""
        return self.value == self.bound


def best_plan(worth: Ints, wants: Ints, holds: Ints, spread: bool = True) -> Plan:
    """The plan of greatest total worth. worth: (O, G) whole units, 0 = never; wants: (O,) trees; holds: (G,)
    trees.

    spread: among all plans of that worth, take the one that gives the most orders their first tree, then
    their first half, then the rest. Raises ArithmeticError if the solver fails, which it does not on whole
    numbers of this size.
    """
    worth = np.where(np.outer(wants > 0, holds > 0), worth, 0)
    if not (worth > 0).any():
        nothing = np.empty(0, dtype=np.int64)
        return Plan(nothing, nothing, nothing, 0, 0)
    # Orders and groups that no worth tells apart are one for the programme: it is smaller, and as good.
    row_of, col_of = _alike(worth), _alike(worth.T)
    rows, cols = _first_of(row_of), _first_of(col_of)
    small = worth[np.ix_(rows, cols)]
    demand, supply = (
        np.bincount(of, amounts).astype(np.int64) for of, amounts in ((row_of, wants), (col_of, holds))
    )
    order, group, count, u, v = _generated(small, demand, supply)
    value = int((small[order, group] * count).sum())
    bound = int((u * demand).sum() + (v * supply).sum())
    pairs = None
    if spread and value == bound:
        pairs = _spread_out(worth[:, cols], wants, supply, u[row_of], v)
    if pairs is None:
        order, count, group = _dealt(order, group, count, row_of, wants)
    else:
        order, group, count = pairs
    group, count, order = _dealt(group, order, count, col_of, holds)
    sort = np.lexsort((group, order))
    value = int((worth[order, group] * count).sum())
    return Plan(order[sort], group[sort], count[sort], value, bound)


def _alike(matrix: Ints) -> NDArray[np.intp]:
    """(n,) number of the class of each row; rows of one class are equal throughout."""
    whole = np.ascontiguousarray(matrix)
    _, of = np.unique(
        whole.view(np.dtype((np.void, whole.dtype.itemsize * whole.shape[1]))).ravel(), return_inverse=True
    )
    return np.asarray(of, dtype=np.intp)


def _first_of(of: NDArray[np.intp]) -> NDArray[np.intp]:
    """The first member of each class, in the order of the classes."""
    return np.asarray(np.unique(of, return_index=True)[1], dtype=np.intp)


def _dealt(
    merged: Ints, other: Ints, count: Ints, of: NDArray[np.intp], room: Ints
) -> tuple[Ints, Ints, Ints]:
    """Flows of classes dealt out to their members, first member first: (member, count, other) - see the
    callers' order."""
    members: dict[int, list[int]] = {}
    for member, number in enumerate(of):
        members.setdefault(int(number), []).append(member)
    left = room.astype(np.int64).copy()
    dealt: list[tuple[int, int, int]] = []
    for number, partner, amount in zip(merged.tolist(), other.tolist(), count.tolist(), strict=True):
        for member in members[number]:
            part = min(amount, int(left[member]))
            if part > 0:
                dealt.append((member, part, partner))
                left[member] -= part
                amount -= part
            if amount <= 0:
                break
    columns = zip(*dealt, strict=True) if dealt else ((), (), ())
    member_of, parts, partners = (np.array(column, dtype=np.int64) for column in columns)
    return member_of, parts, partners


def _generated(worth: Ints, wants: Ints, holds: Ints) -> tuple[Ints, Ints, Ints, Ints, Ints]:
    """Pairs, their flows and the prices of orders and groups, after all pairs worth more than their prices
    came in."""
    order, group = _first_pairs(worth)
    while True:
        count, u, v = _solve(worth[order, group], order, group, wants, holds)
        more_orders, more_groups = _worth_adding(worth, u, v, order, group)
        if not len(more_orders):
            break
        order, group = np.concatenate([order, more_orders]), np.concatenate([group, more_groups])
    used = count > 0
    return order[used], group[used], count[used], u, v


def _first_pairs(worth: Ints) -> tuple[Ints, Ints]:
    """The best few groups of each order, and the best few orders of each group."""
    chosen = np.zeros(worth.shape, dtype=bool)
    few = min(FIRST_PAIRS, worth.shape[1])
    if few and worth.shape[0]:
        np.put_along_axis(chosen, np.argpartition(-worth, few - 1, axis=1)[:, :few], True, axis=1)
        some = min(FIRST_PAIRS, worth.shape[0])
        np.put_along_axis(chosen, np.argpartition(-worth, some - 1, axis=0)[:some], True, axis=0)
    orders, groups = np.nonzero(chosen & (worth > 0))
    return orders.astype(np.int64), groups.astype(np.int64)


def _worth_adding(worth: Ints, u: Ints, v: Ints, order: Ints, group: Ints) -> tuple[Ints, Ints]:
    """Pairs not yet in the programme that are worth more than their prices: the most promising of each
    order."""
    gain = worth - u[:, None] - v[None, :]
    gain[worth <= 0] = 0
    gain[order, group] = 0
    busy = np.flatnonzero((gain > 0).any(axis=1))
    if not len(busy):
        return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
    few = min(MORE_PAIRS, gain.shape[1])
    best = np.argpartition(-gain[busy], few - 1, axis=1)[:, :few]
    order = np.repeat(busy, few)
    group = best.ravel()
    keep = gain[order, group] > 0
    return order[keep].astype(np.int64), group[keep].astype(np.int64)


def _solve(value: Ints, order: Ints, group: Ints, wants: Ints, holds: Ints) -> tuple[Ints, Ints, Ints]:
    """Whole-number flows over the pairs given, and the whole-number prices of orders (O,) and groups (G,)."""
    from scipy import optimize, sparse

    n = len(value)
    column = np.arange(n)
    matrix = sparse.csr_matrix(
        (np.ones(2 * n), (np.concatenate([order, len(wants) + group]), np.concatenate([column, column]))),
        shape=(len(wants) + len(holds), n),
    )
    solve: Any = optimize.linprog
    found = solve(
        -value.astype(float),
        A_ub=matrix,
        b_ub=np.concatenate([wants, holds]).astype(float),
        bounds=(0, None),
        method="highs-ds",
    )
    if found.status != 0:
        raise ArithmeticError(f"the solver stopped: {found.message}")
    prices = np.maximum(np.rint(-found.ineqlin.marginals), 0).astype(np.int64)
    return np.rint(found.x).astype(np.int64), prices[: len(wants)], prices[len(wants) :]


def _spread_out(worth: Ints, wants: Ints, holds: Ints, u: Ints, v: Ints) -> tuple[Ints, Ints, Ints] | None:
    """The fairest among all best plans: (order, group, count); None where the solver does not settle it.

    A plan is best exactly if it uses only pairs whose worth equals their prices and leaves nothing over where
    a price is above nought (complementary slackness). Those plans are again a transport problem, and three
    tiers of trees for each order, each worth less than the one before, keep it one.
    """
    from scipy import optimize, sparse

    order, group = (
        places.astype(np.int64) for places in np.nonzero((worth > 0) & (worth == u[:, None] + v[None, :]))
    )
    orders, groups, n = len(wants), len(holds), len(order)
    if not n:
        return None
    first = np.minimum(wants, 1)
    half = np.maximum((wants + 1) // 2 - first, 0)
    tiers = np.concatenate([first, half, wants - first - half]).astype(float)
    # Columns: the pairs, then the three tiers of each order. A row for each order: what comes in is spread
    # over its tiers.
    pair, tier = np.arange(n), n + np.arange(3 * orders)
    into = sparse.csr_matrix(
        (
            np.concatenate([np.ones(n), -np.ones(3 * orders)]),
            (np.concatenate([order, np.tile(np.arange(orders), 3)]), np.concatenate([pair, tier])),
        ),
        shape=(orders, n + 3 * orders),
    )
    full = np.flatnonzero(u > 0)
    out = sparse.csr_matrix((np.ones(n), (group, pair)), shape=(groups, n + 3 * orders))
    whole = sparse.csr_matrix(
        (
            np.ones(3 * len(full)),
            (np.tile(np.arange(len(full)), 3), np.concatenate([n + k * orders + full for k in range(3)])),
        ),
        shape=(len(full), n + 3 * orders),
    )
    priced = v > 0
    value = np.concatenate([np.zeros(n), np.full(orders, 4.0), np.full(orders, 2.0), np.full(orders, 1.0)])
    solve: Any = optimize.linprog
    found = solve(
        -value,
        A_eq=sparse.vstack([into, out[priced], whole]).tocsr(),
        b_eq=np.concatenate([np.zeros(orders), holds[priced].astype(float), wants[full].astype(float)]),
        A_ub=out[~priced],
        b_ub=holds[~priced].astype(float),
        bounds=np.column_stack([np.zeros(n + 3 * orders), np.concatenate([np.full(n, np.inf), tiers])]),
        method="highs-ds",
    )
    if found.status != 0:
        return None
    count = np.rint(found.x[:n]).astype(np.int64)
    sound = (np.bincount(order, count, orders) <= wants).all() and (
        np.bincount(group, count, groups) <= holds
    ).all()
    best = int((u * wants).sum() + (v * holds).sum())
    used = count > 0
    same = int((worth[order, group] * count).sum()) == best
    return (order[used], group[used], count[used]) if sound and same else None
