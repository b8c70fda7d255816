"""The weights of resemblance: learned from published tables, tried on what they were not learned from.

Run: python -m benchmarks.nursery likeness [--fit]

Without --fit: how well the weights in use, those of common practice and equal ones tell pairs of one clone
from random pairs of the crop (area under the curve), and in how many cases of the tables of use and season
(tests/published/substitution_facts.py) one that is like the sold-out variety is among the first three. With
--fit: the weights learned on half of the cases and tried on the other half, on one table and tried on the
others, and on all cases (those of resemblance.WEIGHTS before rounding).
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from recommender.catalog.catalog import Catalog
from recommender.nursery import holds as demands
from recommender.nursery.resemblance import COMMON_PRACTICE, FEATURES, WEIGHTS, likeness
from recommender.nursery.substitutes import DISPLACED, SPORT, resemblance
from tests.published.substitution_facts import Case, table_cases

Floats = NDArray[np.float64]
RIDGE = 0.03
"""How strongly learning is held to common practice; between 0.003 and 0.1 the held-out share hardly moves."""
STEEPNESS = 3.0
"""Times the weights: how sharply the nearest of a table is preferred while learning."""
START: Floats = np.array(list(COMMON_PRACTICE.values()))


@dataclass(frozen=True, eq=False)
class Compared:
    """A case as numbers, one row for each other variety of its table. parts: (n, features) distances."""

    case: Case
    parts: Floats
    must: Floats
    sport: NDArray[np.bool_]
    like: NDArray[np.bool_]


def compared(catalog: Catalog, cases: Sequence[Case]) -> list[Compared]:
    """The cases, with the distance of every feature; the usual one where it is not known."""
    index = demands.index_of(catalog)
    out = []
    for case in cases:
        pairs = likeness(catalog, case.crop)
        row = pairs.position(case.variety)
        others = sorted(set(case.table) - {case.variety})
        at = np.array([pairs.position(name) for name in others], dtype=np.intp)
        rows = np.array([index[(case.crop, name)] for name in others], dtype=np.intp)
        columns = []
        for name in FEATURES:
            part = pairs.parts[name][row][at].astype(float)
            columns.append(np.where(np.isfinite(part), part, pairs.usual[name]))
        wanted = index[(case.crop, case.variety)]
        sport = resemblance(catalog, wanted, rows)[1]
        must = demands.holds(catalog, wanted, rows, None, [], sport).total
        like = np.isin(np.array(others, dtype=str), case.like)
        out.append(Compared(case, np.stack(columns, axis=1), must, sport, like))
    return out


def met(cases: Sequence[Compared], weights: Floats) -> int:
    """In how many cases one that is like the sold-out variety is among the first three."""
    count = 0
    for case in cases:
        alike = 1.0 - case.parts @ weights / weights.sum()
        alike = np.where(case.sport, np.maximum(alike, SPORT), alike)
        first = case.sport & (case.must >= DISPLACED)
        order = np.lexsort((-case.must * alike, ~first))[:3]
        count += bool(case.like[order].any())
    return count


def half_of(case: Compared) -> int:
    """0 or 1, by the variety's name, so that one variety of two tables stays in one half."""
    return zlib.crc32(f"{case.case.crop}:{case.case.variety}".encode()) % 2


def learned(cases: Sequence[Compared], ridge: float = RIDGE) -> Floats:
    """Weights of nought or more under which one that is like the sold-out variety comes first, most likely.

    Conditional logistic regression (one choice a case), held to common practice; the sum is that of START.
    """
    from scipy.optimize import minimize

    goal = STEEPNESS * START

    def loss(weights: Floats) -> tuple[float, Floats]:
        value, slope = 0.0, np.zeros_like(weights)
        for case in cases:
            pull = -case.parts @ weights
            pull -= pull.max()
            odds = np.exp(pull)
            chance = odds / odds.sum()
            right = np.where(case.like, odds, 0.0)
            value -= float(np.log(chance[case.like].sum()))
            slope -= case.parts.T @ (chance - right / right.sum())
        off = weights - goal
        return value / len(cases) + ridge * float(off @ off) / 2, slope / len(cases) + ridge * off

    found = minimize(loss, goal, jac=True, bounds=[(0.0, None)] * len(goal), method="L-BFGS-B").x
    return np.asarray(found / found.sum() * START.sum(), dtype=float)


def likeness_weights(catalog: Catalog, fit: bool) -> None:
    """Print what the module's heading says."""
    used = np.array(list(WEIGHTS.values()))
    _clones(catalog, {"in use": used, "common practice": START, "equal": np.ones(len(used))})
    cases = compared(catalog, table_cases(catalog))
    blind = np.mean([case.case.met_blindly() for case in cases])
    print(
        f"{len(cases)} cases of published tables, met: in use {met(cases, used)}, common practice"
        f" {met(cases, START)}, blindly {blind:.0%}"
    )
    if not fit:
        return
    for ridge in (0.003, 0.01, RIDGE, 0.1):
        served = sum(
            met(
                [case for case in cases if half_of(case) == half],
                learned([case for case in cases if half_of(case) != half], ridge),
            )
            for half in (0, 1)
        )
        print(f"  ridge {ridge}: learned on one half, tried on the other, {served} of {len(cases)}")
    largest = max(cases, key=lambda case: len(case.case.table)).case.source_id
    here = [case for case in cases if case.case.source_id == largest]
    elsewhere = [case for case in cases if case.case.source_id != largest]
    print(
        f"  learned on {largest}, tried on the other tables: {met(elsewhere, learned(here))} of"
        f" {len(elsewhere)} (common practice {met(elsewhere, START)}); the other way round:"
        f" {met(here, learned(elsewhere))} of {len(here)} (common practice {met(here, START)})"
    )
    print("  learned on all:", dict(zip(FEATURES, learned(cases).round(2).tolist(), strict=True)))


def _clones(catalog: Catalog, ways: dict[str, Floats]) -> None:
    """Area under the curve of telling sports and parents from random pairs, by the distance alone."""
    from sklearn.metrics import roc_auc_score

    dice = np.random.default_rng(5)
    rows, same = [], []
    clones = 0
    for crop in catalog.crops()["crop"]:
        pairs = likeness(catalog, crop)
        usual = np.array([pairs.usual[name] for name in FEATURES])
        for root in np.unique(pairs.clone):
            members = np.flatnonzero(pairs.clone == root)
            if len(members) < 2:
                continue
            clones += 1
            others = np.flatnonzero(pairs.clone != root)
            chosen = [(a, b, 1) for a in members for b in members if b < a]
            chosen += [
                (a, b, 0) for a in members for b in dice.choice(others, min(40, len(others)), replace=False)
            ]
            for a, b, alike in chosen:
                part = np.array([pairs.parts[name][a, b] for name in FEATURES], dtype=float)
                if np.isfinite(part).any():
                    rows.append(np.where(np.isfinite(part), part - usual, 0.0))
                    same.append(alike)
    x, y = np.array(rows), np.array(same)
    told = ", ".join(f"{name} {roc_auc_score(y, -x @ weights):.3f}" for name, weights in ways.items())
    print(f"{int(y.sum())} pairs of {clones} clones, {int((1 - y).sum())} random pairs: {told}")
