"""What the grower wants planted: how many trees, fruit in which weeks, which trees surely or not at all.

In come answers, from Python, options or the `[planting]` part of a site file; out goes a frozen
`PlantingWishes`.
"""

from __future__ import annotations

import re
from typing import Any, ClassVar, Literal

from pydantic import Field, field_validator, model_validator

from recommender.climate.season import season_day
from recommender.errors import BadInput
from recommender.suitability.answers import Answers

Style = Literal["open", "hedge", "espalier", "cordon", "fan", "spindle"]
MOST_TREES = 20


class PlantingWishes(Answers):
    """Wishes for a planting; every one may be left out.

    trees: at most so many. fresh_from, fresh_to (MM-DD): weeks in which ripe fruit is wanted, the whole
    season of the chosen crops if left out. store_to (MM-DD): after them, fruit from store until then.
    fixed: trees that must be in ("crop:variety" or variety); dropped: that must not.
    quotas: crop -> number, or "fewest-most", of trees of that crop.
    budget with prices: crop, "crop:variety" or "any" -> price of one tree, in one currency.
    also_doubtful: consider varieties with the verdict doubtful too.
    one_tree: where there is room for one tree, "self-fertile", "family" (two or three varieties grafted on
    one tree) or "any" of the two. style: how the trees are grown; in_row_m, row_m: spacing of trained trees
    [m]. cover: what harvest in many weeks counts beside suitability (0 to 3). alternatives: how many further
    sets to name. time_limit_s [s]. Raises BadInput naming the answer.
    """

    section: ClassVar[str] = "planting"

    trees: int = Field(default=6, ge=1, le=MOST_TREES)
    fresh_from: str | None = None
    fresh_to: str | None = None
    store_to: str | None = None
    fixed: tuple[str, ...] = ()
    dropped: tuple[str, ...] = ()
    quotas: dict[str, tuple[int, int]] = Field(default_factory=dict)
    budget: float | None = Field(default=None, gt=0)
    prices: dict[str, float] = Field(default_factory=dict)
    also_doubtful: bool = False
    one_tree: Literal["any", "self-fertile", "family"] = "any"
    style: Style = "open"
    in_row_m: float | None = Field(default=None, gt=0.3, le=20)
    row_m: float | None = Field(default=None, gt=0.5, le=30)
    cover: float = Field(default=0.8, ge=0, le=3)
    alternatives: int = Field(default=3, ge=0, le=5)
    time_limit_s: float = Field(default=10.0, gt=0, le=600)

    @field_validator("fresh_from", "fresh_to", "store_to")
    @classmethod
    def _dates(cls, value: str | None) -> str | None:
        if value is not None:
            try:
                season_day(value, "north")
            except BadInput as error:
                raise ValueError(f"{error.what} | {error.remedy}") from None
        return value

    @field_validator("fixed", "dropped", mode="before")
    @classmethod
    def _names(cls, value: Any) -> Any:
        return (value,) if isinstance(value, str) else tuple(value) if isinstance(value, list) else value

    @field_validator("quotas", mode="before")
    @classmethod
    def _ranges(cls, value: Any) -> Any:
        if not isinstance(value, dict):
            return value
        return {str(crop): _span(crop, said) for crop, said in value.items()}

    @model_validator(mode="after")
    def _fits_together(self) -> PlantingWishes:
        if (self.fresh_from is None) != (self.fresh_to is None):
            raise ValueError("Only one end of the weeks of fresh fruit is given | Give both, or neither")
        if self.budget is not None and not self.prices:
            raise ValueError("There is a budget, but no price | Give a price for each crop, or for any tree")
        if any(price < 0 for price in self.prices.values()):
            raise ValueError("A price is below 0 | Give prices of 0 or more")
        both = set(self.fixed) & set(self.dropped)
        if both:
            raise ValueError(f"“{min(both)}” is both wanted and not wanted | Keep it in one of the two lists")
        return self


def _span(crop: object, said: Any) -> tuple[int, int]:
    found = re.fullmatch(r"\s*(\d+)\s*(?:(?:-|–|\.\.|to)\s*(\d+)\s*)?", str(said))
    if isinstance(said, list | tuple) and len(said) == 2:
        low, high = int(said[0]), int(said[1])
    elif found:
        low, high = int(found[1]), int(found[2] or found[1])
    else:
        raise ValueError(
            f"The number of trees of {crop} cannot be read from “{said}” | Write 2, or 1-3 for one to three"
        )
    if low > high:
        raise ValueError(f"{crop}: at least {low} and at most {high} trees | Write the smaller number first")
    return low, high
