"""Invented assignment problems, and the best answer by trying every subset of edges."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
from hypothesis import strategies as st

from recommender.swap.assignment import NO_STOCK, Problem


def problem_of(
    edges: list[tuple[int, int, int, int, float]],
    lot_count: list[int],
    take: list[int],
    person: list[int] | None = None,
    already: list[int] | None = None,
    gives: list[bool] | None = None,
    stock_count: list[int] | None = None,
    gains: list[tuple[int, int, float]] | None = None,
) -> Problem:
    """edges: (lot, request, variety, stock, benefit); gains: (edge, variety that arrives too, worth)."""
    people = person if person is not None else list(range(len(take)))
    size = max(people, default=-1) + 1
    columns = np.array([edge[:4] for edge in edges], dtype=np.int64).reshape(len(edges), 4)
    return Problem(
        lot=columns[:, 0],
        request=columns[:, 1],
        variety=columns[:, 2],
        stock=columns[:, 3],
        benefit=np.array([edge[4] for edge in edges], dtype=np.float64),
        lot_count=np.array(lot_count, dtype=np.int64),
        take=np.array(take, dtype=np.int64),
        person=np.array(people, dtype=np.int64),
        already=np.array(already if already is not None else [0] * size, dtype=np.int64),
        gives=np.array(gives if gives is not None else [False] * size, dtype=bool),
        stock_count=np.array(stock_count if stock_count is not None else [], dtype=np.int64),
        gain_edge=np.array([edge for edge, _, _ in gains or []], dtype=np.int64),
        gain_variety=np.array([variety for _, variety, _ in gains or []], dtype=np.int64),
        gain=np.array([worth for _, _, worth in gains or []], dtype=np.float64),
    )


def worth(problem: Problem, chosen: np.ndarray) -> float:
    """Benefit with gains, in plain loops: each edge counts the largest gain of what arrives too."""
    edges = np.flatnonzero(chosen).tolist()
    arrived = {(int(problem.request[e]), int(problem.variety[e])) for e in edges}
    total = 0.0
    for e in edges:
        total += float(problem.benefit[e]) + max(
            (
                float(problem.gain[g])
                for g in range(len(problem.gain))
                if problem.gain_edge[g] == e
                and (int(problem.request[e]), int(problem.gain_variety[g])) in arrived
            ),
            default=0.0,
        )
    return total


def with_gains(problem: Problem, seed: int, share: float) -> Problem:
    """The problem with random gains between a share of the pairs of edges of each request, drawn by seed."""
    rng = np.random.default_rng(seed)
    found = [
        (e, int(variety), round(float(rng.uniform(0.01, 0.3)), 2))
        for e in range(len(problem))
        for variety in np.unique(problem.variety[problem.request == problem.request[e]])
        if variety != problem.variety[e] and rng.random() < share
    ]
    return replace(
        problem,
        gain_edge=np.array([edge for edge, _, _ in found], dtype=np.int64),
        gain_variety=np.array([variety for _, variety, _ in found], dtype=np.int64),
        gain=np.array([gain for _, _, gain in found], dtype=np.float64),
    )


def feasible(problem: Problem, chosen: np.ndarray) -> bool:
    """No limit is broken: lots, room, one of each variety a request, rootstocks."""
    lots = np.bincount(problem.lot[chosen], minlength=len(problem.lot_count))
    room = np.bincount(problem.request[chosen], minlength=len(problem.take))
    pairs = np.bincount(problem.pair[chosen], minlength=1)
    needs = problem.stock[chosen]
    stocks = np.bincount(needs[needs != NO_STOCK], minlength=len(problem.stock_count))
    return bool(
        (lots <= problem.lot_count).all()
        and (room <= problem.take).all()
        and (pairs <= 1).all()
        and (stocks <= problem.stock_count).all()
    )


def order(problem: Problem, chosen: np.ndarray, givers_first: bool) -> tuple[float, ...]:
    """What is maximised, as a tuple that Python compares: per round all people (and givers), then benefit."""
    received = problem.received(chosen)
    most = int(problem.already.max(initial=0) + problem.take.sum())
    key: list[float] = []
    for k in range(1, most + 1):
        key.append(int((received >= k).sum()))
        if givers_first:
            key.append(int((received[problem.gives] >= k).sum()))
    return (*key, round(worth(problem, chosen), 6))


def by_trying(problem: Problem, givers_first: bool) -> tuple[float, ...]:
    """The best order that any subset of edges reaches."""
    best: tuple[float, ...] = ()
    for bits in itertools.product((False, True), repeat=len(problem)):
        chosen = np.array(bits, dtype=bool)
        if feasible(problem, chosen):
            best = max(best, order(problem, chosen, givers_first))
    return best


@st.composite
def small_problems(draw: st.DrawFn, stocks: bool = True) -> Problem:
    """Up to nine edges between up to four lots and four requests of up to three people."""
    lots, requests = draw(st.integers(1, 4)), draw(st.integers(1, 4))
    people, piles = draw(st.integers(1, 3)), 2 if stocks else 0

    def numbers(low: int, high: int, size: int) -> list[int]:
        return draw(st.lists(st.integers(low, high), min_size=size, max_size=size))

    variety = numbers(0, 2, lots)
    edge = st.tuples(
        st.integers(0, lots - 1),
        st.integers(0, requests - 1),
        st.integers(NO_STOCK, piles - 1),
        st.integers(1, 20).map(lambda worth: worth / 20),
    )
    drawn = draw(st.lists(edge, max_size=9, unique_by=lambda one: one[:3]))
    return problem_of(
        [
            (lot, request, variety[lot], NO_STOCK if stock == NO_STOCK else piles * request + stock, worth)
            for lot, request, stock, worth in drawn
        ],
        lot_count=numbers(0, 3, lots),
        take=numbers(0, 3, requests),
        person=[*numbers(0, people - 1, requests)[:-1], people - 1],
        already=numbers(0, 2, people),
        gives=[bool(flag) for flag in numbers(0, 1, people)],
        stock_count=numbers(0, 2, piles * requests),
    )


def random_problem(
    seed: int, lots: int, requests: int, varieties: int, wishes: int, *, piles: bool = False
) -> Problem:
    """A sparse problem of mid size, drawn with a fixed seed."""
    rng = np.random.default_rng(seed)
    variety = rng.integers(0, varieties, lots)
    edges = []
    for request in range(requests):
        for wished in rng.choice(varieties, wishes, replace=False):
            for lot in np.flatnonzero(variety == wished):
                stock = request if piles and rng.random() < 0.4 else NO_STOCK
                edges.append(
                    (int(lot), request, int(wished), stock, float(np.round(rng.uniform(0.05, 1), 4)))
                )
    return problem_of(
        edges,
        lot_count=rng.integers(1, 3, lots).tolist(),
        take=rng.integers(1, 4, requests).tolist(),
        gives=(rng.random(requests) < 0.5).tolist(),
        stock_count=[1] * requests,
    )
