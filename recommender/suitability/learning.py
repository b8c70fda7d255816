"""Weights learned from published lists: of two varieties a list judges differently, the better should score
higher.

In come, for each region and crop, what is weighed and what was published; out go `Weights`. A logistic loss
over pairs, weights never negative, drawn towards those set by hand; the whole is scaled so that the track
record weighs RECORD_TOTAL, which changes no order.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import expit

from recommender.suitability.track_record import BY_HAND, WIDTHS, Kernel
from recommender.suitability.weights import HAND, Weights

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Rows = NDArray[np.intp]

RECORD_TOTAL = 2.2
OTHERS = 60
"""Varieties a list does not name that stand against each that it names, drawn at random."""
EXPLICIT_WEIGHT = 2.0
PULL = 30.0
SHARPNESS = 3.0
"""How many units of the learned scale one unit of logarithm of the hand-set score is, for the pull only."""


def _kernels() -> tuple[Kernel, ...]:
    """The kernels that are tried: all widths at once, each by itself, and how much abroad counts."""
    tried = [BY_HAND]
    for abroad in (0.25, 0.5, 1.0):
        tried += [Kernel(tuple((scale * WIDTHS).tolist()), abroad) for scale in (0.6, 0.8, 1.0, 1.25)]
    for figure in range(len(WIDTHS)):
        for scale in (0.7, 1.4):
            widths = WIDTHS.copy()
            widths[figure] *= scale
            tried.append(Kernel(tuple(widths.tolist())))
    return tuple(dict.fromkeys(tried))


KERNELS = _kernels()


@dataclass(frozen=True, eq=False)
class Case:
    """One crop of one region: rows of the varieties asked about (N,), and which are named, middling or unfit
    (N,)."""

    crop: str
    of: NDArray[np.intp]
    named: Bools
    middling: Bools
    unfit: Bools


Prepared = tuple[Mapping[str, Floats], Floats, Case]


def _pairs(case: Case, rng: np.random.Generator) -> list[tuple[Rows, Rows, float]]:
    """(better rows, worse rows, weight of the block)."""
    named, middling, unfit = (case.of[mask] for mask in (case.named, case.middling, case.unfit))
    rest = case.of[~(case.named | case.middling | case.unfit)]
    blocks: list[tuple[Rows, Rows, float]] = []
    if len(named) and len(rest):
        count = min(OTHERS, len(rest))
        worse = np.concatenate([rng.choice(rest, count, replace=False) for _ in named])
        blocks.append((np.repeat(named, count), worse, min(len(named), 10) ** 0.5))
    explicit = [
        (np.repeat(better, len(worse)), np.tile(worse, len(better)))
        for better, worse in ((named, middling), (named, unfit), (middling, unfit))
        if len(better) and len(worse)
    ]
    blocks += [(better, worse, EXPLICIT_WEIGHT / len(explicit)) for better, worse in explicit]
    return blocks


def fit(prepared: Sequence[Prepared]) -> Weights:
    """Weights that put named varieties above others in the prepared cases."""
    rng = np.random.default_rng(1)
    terms = [*HAND.powers, "rating", *HAND.record]
    apart, fixed, mass = [], [], []
    for features, wishes, case in prepared:
        matrix = np.column_stack([features[name] for name in terms])
        for better, worse, weight in _pairs(case, rng):
            apart.append(matrix[better] - matrix[worse])
            fixed.append(wishes[better] - wishes[worse])
            mass.append(np.full(len(better), weight / len(better)))
    x, given, mass_of = np.concatenate(apart), np.concatenate(fixed), np.concatenate(mass)
    x = np.column_stack([x, given])
    scale = np.sqrt((mass_of[:, None] * x**2).sum(axis=0) / mass_of.sum()) + 1e-9
    z = x / scale
    hand = np.array([*HAND.powers.values(), HAND.rating, *HAND.record.values(), 1.0]) * SHARPNESS * scale

    def loss(beta: Floats) -> tuple[float, Floats]:
        margin = z @ beta
        value = float(
            (mass_of * np.logaddexp(0.0, -margin)).sum() + PULL * np.square(beta - hand).sum() / 2.0
        )
        return value, -z.T @ (mass_of * expit(-margin)) + PULL * (beta - hand)

    found = minimize(loss, hand, jac=True, method="L-BFGS-B", bounds=[(0.0, None)] * len(hand)).x / scale
    values = dict(zip(terms, found[:-1], strict=True))
    record = {name: float(values[name]) for name in HAND.record}
    unit = RECORD_TOTAL / max(sum(record.values()), 1e-9)
    return Weights(
        powers={name: float(values[name]) * unit for name in HAND.powers},
        rating=float(values["rating"]) * unit,
        record={name: value * unit for name, value in record.items()},
    )
