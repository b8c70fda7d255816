"""Invented problems for the choice of trees: no variety in them exists."""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import Any

import numpy as np
from hypothesis import strategies as st

from recommender.orchard.problem import Evaluation, Flags, Problem, evaluate


def problem(n: int, trees: int, **given: Any) -> Problem:
    """n varieties of one crop that all serve each other, ripe one week each; every part can be given."""
    likely = ~np.eye(n, dtype=bool)
    plain: dict[str, Any] = {
        "score": np.linspace(0.9, 0.5, n),
        "likely": likely,
        "known": np.zeros((n, n), dtype=bool),
        "needs": np.ones(n, dtype=bool),
        "triploid": np.zeros(n, dtype=bool),
        "ripe": np.eye(n, dtype=bool),
        "kept": np.zeros((n, n), dtype=bool),
        "fresh": np.ones(n, dtype=bool),
        "group": np.arange(n),
        "crop": np.zeros(n, dtype=np.int64),
        "area": np.ones(n),
        "price": np.ones(n),
        "standing": np.zeros(n, dtype=bool),
        "fixed": np.zeros(n, dtype=bool),
        "trees": trees,
    }
    return Problem(**{**plain, **given})


def best_by_brute_force(asked: Problem) -> tuple[float, Flags] | None:
    """The best set by looking at all of them; None if none keeps the rules."""
    free = np.flatnonzero(~asked.standing)
    best: tuple[float, Flags] | None = None
    for size in range(asked.trees + 1):
        for rows in itertools.combinations(free, size):
            chosen = np.zeros(len(asked), dtype=bool)
            chosen[list(rows)] = True
            worth: Evaluation = evaluate(asked, chosen)
            if not worth.faults and (best is None or worth.value > best[0]):
                best = (worth.value, chosen)
    return best


@st.composite
def problems(draw: st.DrawFn, most: int = 9) -> Problem:
    """Small problems of every kind: two crops, triploids, standing and fixed trees, quotas, room, money."""
    n = draw(st.integers(2, most))
    seed = draw(st.integers(0, 2**32 - 1))
    rng = np.random.default_rng(seed)
    weeks = int(rng.integers(0, 6))
    crop = rng.integers(0, 2, n)
    same = crop[:, None] == crop[None, :]
    likely = (rng.random((n, n)) < rng.choice([0.2, 0.5, 0.9])) & same
    made = problem(
        n,
        draw(st.integers(1, 5)),
        score=rng.random(n).round(2),
        likely=likely,
        known=likely & (rng.random((n, n)) < 0.4),
        needs=rng.random(n) < 0.7,
        triploid=rng.random(n) < 0.25,
        ripe=rng.random((n, weeks)) < 0.3,
        kept=rng.random((n, weeks)) < 0.3,
        fresh=rng.random(weeks) < 0.6,
        group=rng.integers(0, n, n) if rng.random() < 0.4 else np.arange(n),
        crop=crop,
        area=rng.integers(1, 5, n).astype(float),
        price=rng.integers(1, 9, n).astype(float),
        standing=rng.random(n) < 0.15,
        wished_crops=(0, 1) if rng.random() < 0.5 else (),
    )
    if rng.random() < 0.3:
        made = replace(made, area_limit=float(rng.integers(2, 12)))
    if rng.random() < 0.3:
        made = replace(made, budget=float(rng.integers(3, 20)))
    if rng.random() < 0.3:
        made = replace(made, quota={0: (int(rng.integers(0, 2)), int(rng.integers(2, 4)))})
    if rng.random() < 0.3:
        made = replace(made, fixed=(rng.random(n) < 0.2) & ~made.standing)
    return made
