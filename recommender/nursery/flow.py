"""Scarce stock shared out exactly: the largest total worth of a transport plan, with its proof.

In come a matrix of worths in whole units (orders by stock groups, nought where a tree must not go), what each order
wants and what each group holds; out goes a whole-number plan and a certificate. The constraint matrix of a transport
problem is totally unimodular, so the linear programme that HiGHS (scipy) solves has a whole-number optimum; prices
(duals) found with it are whole numbers too, and a plan worth exactly what the prices add up to cannot be bettered.

Only the pairs that can matter enter the programme: it starts with the best few of each order and takes in every pair
whose worth exceeds its prices until none is left (column generation), so the proof covers all pairs.

Reference: G. B. Dantzig, Linear Programming and Extensions (1963), on transport problems and column generation.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]
FIRST_PAIRS = 12
MORE_PAIRS = 24
_ROUNDS = 200


@dataclass(frozen=True, eq=False)
class Plan:
    """A plan. order, group, count: (k,) what goes where. value: its worth; bound: no plan is worth more (both in units).

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
    """The plan of greatest total worth. worth: (O, G) whole units, 0 = never; wants: (O,) trees; holds: (G,) trees.

    spread: among all plans of that worth, take the one that gives the most orders their first tree, then their first
    half, then the rest. Raises ArithmeticError if the solver fails, which it does not on whole numbers of this size.
    """
    worth = np.where(np.outer(wants > 0, holds > 0), worth, 0)
    order, group = _first_pairs(worth)
    if not len(order):
        nothing = np.empty(0, dtype=np.int64)
        return Plan(nothing, nothing, nothing, 0, 0)
    u = v = np.zeros(0, dtype=np.int64)
    count = np.zeros(0, dtype=np.int64)
    for _ in range(_ROUNDS):
        count, u, v = _solve(worth[order, group], order, group, wants, holds)
        more = _worth_adding(worth, u, v)
        if not len(more[0]):
            break
        order, group = np.concatenate([order, more[0]]), np.concatenate([group, more[1]])
    value = int((worth[order, group] * count).sum())
    bound = int((u * wants).sum() + (v * holds).sum())
    plan = Plan(order, group, count, value, bound)
    if spread and plan.proven:
        plan = _spread_out(worth, wants, holds, u, v, plan)
    kept = plan.count > 0
    sort = np.lexsort((plan.group[kept], plan.order[kept]))
    return Plan(plan.order[kept][sort], plan.group[kept][sort], plan.count[kept][sort], plan.value, plan.bound)


def _first_pairs(worth: Ints) -> tuple[Ints, Ints]:
    """The best few groups of each order, and the best few orders of each group."""
    chosen = np.zeros(worth.shape, dtype=bool)
    few = min(FIRST_PAIRS, worth.shape[1])
    if few and worth.shape[0]:
        np.put_along_axis(chosen, np.argpartition(-worth, few - 1, axis=1)[:, :few], True, axis=1)
        some = min(FIRST_PAIRS, worth.shape[0])
        np.put_along_axis(chosen, np.argpartition(-worth, some - 1, axis=0)[:some], True, axis=0)
    return tuple(places.astype(np.int64) for places in np.nonzero(chosen & (worth > 0)))  # type: ignore[return-value]


def _worth_adding(worth: Ints, u: Ints, v: Ints) -> tuple[Ints, Ints]:
    """Pairs worth more than their prices: the most promising of each order."""
    gain = worth - u[:, None] - v[None, :]
    gain[worth <= 0] = 0
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
    found = optimize.linprog(
        -value.astype(float), A_ub=matrix, b_ub=np.concatenate([wants, holds]).astype(float), bounds=(0, None), method="highs-ds"
    )
    if found.status != 0:
        raise ArithmeticError(f"the solver stopped: {found.message}")
    prices = np.maximum(np.rint(-found.ineqlin.marginals), 0).astype(np.int64)
    return np.rint(found.x).astype(np.int64), prices[: len(wants)], prices[len(wants) :]


def _spread_out(worth: Ints, wants: Ints, holds: Ints, u: Ints, v: Ints, plan: Plan) -> Plan:
    """The fairest among all best plans.

    A plan is best exactly if it uses only pairs whose worth equals their prices and leaves nothing over where a price
    is above nought (complementary slackness). Those plans are again a transport problem, and three tiers of trees for
    each order, each worth less than the one before, keep it one.
    """
    from scipy import optimize, sparse

    order, group = (places.astype(np.int64) for places in np.nonzero((worth > 0) & (worth == u[:, None] + v[None, :])))
    orders, groups, n = len(wants), len(holds), len(order)
    if not n or n > 400_000:
        return plan
    first = np.minimum(wants, 1)
    half = np.maximum((wants + 1) // 2 - first, 0)
    tiers = np.concatenate([first, half, wants - first - half]).astype(float)
    # Columns: the pairs, then the three tiers of each order. A row for each order: what comes in is spread over its tiers.
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
        (np.ones(3 * len(full)), (np.tile(np.arange(len(full)), 3), np.concatenate([n + k * orders + full for k in range(3)]))),
        shape=(len(full), n + 3 * orders),
    )
    priced = v > 0
    value = np.concatenate([np.zeros(n), np.full(orders, 4.0), np.full(orders, 2.0), np.full(orders, 1.0)])
    found = optimize.linprog(
        -value,
        A_eq=sparse.vstack([into, out[priced], whole]).tocsr(),
        b_eq=np.concatenate([np.zeros(orders), holds[priced].astype(float), wants[full].astype(float)]),
        A_ub=out[~priced],
        b_ub=holds[~priced].astype(float),
        bounds=np.column_stack([np.zeros(n + 3 * orders), np.concatenate([np.full(n, np.inf), tiers])]),
        method="highs-ds",
    )
    if found.status != 0:
        return plan
    count = np.rint(found.x[:n]).astype(np.int64)
    sound = (np.bincount(order, count, orders) <= wants).all() and (np.bincount(group, count, groups) <= holds).all()
    value_now = int((worth[order, group] * count).sum())
    return Plan(order, group, count, value_now, plan.bound) if sound and value_now == plan.value else plan
