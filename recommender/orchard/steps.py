"""One thing to do at planting, with its figure and where that comes from."""

from __future__ import annotations

from dataclasses import dataclass

from recommender.orchard.facts import Fact
from recommender.wording import Units


@dataclass(frozen=True)
class Step:
    """One thing to do. value: the figure alone; words: the sentence; standing, source_id: of the figure."""

    topic: str
    value: str
    words: str
    standing: str
    source_id: str = ""


def step_of(topic: str, fact: Fact, words: str, units: Units) -> Step:
    """A step whose sentence has the figure in place of {}."""
    return Step(topic, fact.words(units), words.format(fact.words(units)), fact.standing, fact.source_id)
