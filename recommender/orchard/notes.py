"""What had to give in a planting, told in the reader's units: tight rows, far donors, shade, no room.

In comes a `Plan`; out go sentences. The figures behind them are the plan's own.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from recommender.orchard.facts import span_words
from recommender.orchard.plan import Plan
from recommender.wording import Units, length_words, list_words, plain

DARK = 0.5
"""Share of a crown in others' noon shade from which it is said (our choice)."""


def notes_for(plan: Plan, units: Units = "metric") -> list[str]:
    """Everything that had to give, gravest first."""
    return [*plan.notes, *_homeless(plan), *_far(plan, units), *_dark(plan), *_tight(plan, units)]


def _homeless(plan: Plan) -> Iterator[str]:
    if plan.plot is None:
        return
    names = [plain(tree.variety) for tree in plan.trees if tree.x is None]
    if names:
        yield f"There is no room left for {list_words(names)}."


def _far(plan: Plan, units: Units) -> Iterator[str]:
    for tree in plan.trees:
        away, reach = tree.donor_distance_m, tree.donor_reach_m
        if away is not None and reach is not None and away > reach:
            yield (
                f"{plain(tree.variety)} stands {length_words(away, units)} from its nearest donor; bees "
                f"carry pollen about {length_words(reach, units)}."
            )


def _dark(plan: Plan) -> Iterator[str]:
    names = [plain(tree.variety) for tree in plan.trees if (tree.shade or 0.0) > DARK]
    if names:
        yield f"{list_words(names)} will stand partly in shade at noon in spring."


def _tight(plan: Plan, units: Units) -> Iterator[str]:
    """What planting closer than the rootstock's range costs, told once for all trees it concerns."""
    tight = [tree for tree in plan.trees if (tree.usual_spacing_m or 0.0) > tree.spacing_m]
    if not tight:
        return
    yield (
        f"{list_words([plain(tree.variety) for tree in tight])} "
        f"{'stands' if len(tight) == 1 else 'stand'} "
        f"{_span((tree.spacing_m for tree in tight), units)} from the next tree; on these roots a tree "
        f"usually has {_span((tree.usual_spacing_m or 0.0 for tree in tight), units)} or more. That works "
        "if the trees are pruned every summer as well as in winter, fed and watered more, and each bears "
        "less (common practice)."
    )


def _span(lengths: Iterable[float], units: Units) -> str:
    values = sorted(lengths)
    return span_words(values[0], values[-1], units)
