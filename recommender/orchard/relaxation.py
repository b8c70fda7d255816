"""What to give up where no planting meets every wish: the fewest wishes, named.

In comes a `Problem` without a solution; out goes the smallest set of wishes whose loss gives one, found by a
second programme in which each wish may be given up at a price.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from recommender.errors import BadInput
from recommender.orchard.problem import Problem
from recommender.orchard.programme import build
from recommender.wording import crop_in_sentence, crop_plural, number_words, plain

_BIG = 1e4
_BY_AMOUNT = 1e-3


class NoPlanting(BadInput):
    """No planting meets every wish. give_up: the smallest set of wishes to give up, one sentence each."""

    def __init__(self, give_up: Sequence[str]) -> None:
        self.give_up = tuple(give_up)
        first, *rest = self.give_up or ("Ask for fewer things at once",)
        remedy = first + (
            "" if not rest else f"; and {'; and '.join(text[0].lower() + text[1:] for text in rest)}"
        )
        super().__init__("No planting meets every wish at once", remedy=remedy)


def smallest_relaxation(
    problem: Problem, names: Sequence[str], crops: Sequence[str], time_limit: float = 10.0
) -> tuple[str, ...]:
    """Sentences that say which wishes to give up, fewest first of all ways, then by how little.

    names: of the problem's rows; crops: of its crop numbers. Empty if every wish can be met.
    """
    model, rows = build(problem, cuts=False)
    n = len(problem)
    model.gain = [gain * 1e-6 for gain in model.gain]
    told: list[tuple[int, int | None, str]] = []

    def ease(row: int, sign: float, text: str, integer: bool = True) -> None:
        (switch,) = model.columns(1, -1.0, integer=True)
        (amount,) = model.columns(1, -_BY_AMOUNT, integer=integer, upper=_BIG)
        model.loosen(row, int(amount), sign)
        model.row(np.array([amount, switch]), np.array([1.0, -_BIG]), -np.inf, 0.0)
        told.append((int(switch), int(amount), text))

    ease(rows.trees, -1.0, "Plant {} more trees than the {} asked for")
    if rows.area is not None:
        ease(rows.area, -1.0, "Find {} square metres more, or smaller trees", integer=False)
    if rows.budget is not None:
        ease(rows.budget, -1.0, "Spend {} more", integer=False)
    for crop, row in rows.fewest.items():
        ease(row, 1.0, f"Ask for {{}} fewer {crop_plural(crops[crop])}")
    for crop, row in rows.most.items():
        ease(row, -1.0, f"Allow {{}} more {crop_plural(crops[crop])}")
    for row in np.flatnonzero(problem.fixed).tolist():
        (switch,) = model.columns(1, -1.0, integer=True)
        # x + given up >= 1
        model.row(np.array([row, switch]), np.array([1.0, 1.0]), 1.0, np.inf)
        told.append((int(switch), None, f"Do without {plain(names[row])}{_why(problem, row, crops)}"))
    values, _, _, _ = model.solve(problem.standing.astype(float)[:n], time_limit)
    if values is None:
        return ("Ask for fewer things at once",)
    out = []
    for switch, amount, text in told:
        if values[switch] > 0.5:
            by = "" if amount is None else number_words(float(values[amount]))
            out.append(_grammatical(text.format(by, problem.trees)))
    return tuple(out)


def _why(problem: Problem, row: int, crops: Sequence[str]) -> str:
    likely = problem.likely[row] & (np.arange(len(problem)) != row)
    twins = (problem.group == problem.group[row]) & (problem.fixed | problem.standing)
    if twins.sum() > 1:
        return ", which is the same tree as another under a second name"
    if problem.needs[row] and not likely.any():
        return f": no donor of {crop_in_sentence(crops[problem.crop[row]])} for it can be planted here"
    return ""


def _grammatical(text: str) -> str:
    return text.replace("Plant 1 more trees", "Plant one more tree").replace(
        "Find 1 square metres", "Find 1 square metre"
    )
