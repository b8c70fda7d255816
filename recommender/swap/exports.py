"""What leaves the table: lists for giver and taker, with no more about people than the organiser ticks.

In: a `SwapResult` and the ticked names. Out: frames and plain records for CSV, JSON and print.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import pandas as pd

from recommender.errors import UnknownName
from recommender.swap.matching import SwapResult

TICKS = {
    "person": "nicknames",
    "area": "areas",
    "reason": "why each match was made",
    "minds": "what to mind, with what the giver says of health",
}
USUAL: tuple[str, ...] = ("person",)
_BARE = ["offer", "request", "count", "crop", "variety", "kind", "on", "benefit", "confirmed"]
_OF_TICK = {
    "person": ["giver", "taker"],
    "area": ["giver_area", "taker_area"],
    "reason": ["reason"],
    "minds": ["minds"],
}


def checked(ticked: Collection[str]) -> frozenset[str]:
    """The ticks, all of them known. Raises UnknownName."""
    for name in ticked:
        if name not in TICKS:
            raise UnknownName("column to show", name, list(TICKS))
    return frozenset(ticked)


def shown_columns(ticked: Collection[str]) -> list[str]:
    """Columns of a match that may leave: ids, plant and benefit, and what is ticked."""
    chosen = checked(ticked)
    return _BARE + [column for name in TICKS if name in chosen for column in _OF_TICK[name]]


def matches_frame(result: SwapResult, ticked: Collection[str] = USUAL) -> pd.DataFrame:
    """One row a match with the ticked columns."""
    return result.frame()[shown_columns(ticked)]


def unmatched_frame(result: SwapResult, ticked: Collection[str] = USUAL) -> pd.DataFrame:
    """One row an offer or request left over."""
    columns = ["kind", "id", "person", "what", "left", "stopped", "frees"]
    frame = pd.DataFrame([vars(one) for one in result.unmatched], columns=columns)
    return frame if "person" in checked(ticked) else frame.drop(columns="person")


def record(result: SwapResult, ticked: Collection[str]) -> dict[str, Any]:
    """`SwapResult.record()` with the ticked columns only; the reason always stands in a JSON answer."""
    columns = shown_columns({*ticked, "reason"})
    whole = result.record()
    whole["matches"] = [{name: match[name] for name in columns} for match in whole["matches"]]
    if "person" not in checked(ticked):
        for one in whole["unmatched"]:
            del one["person"]
    return whole
