"""What the grower wishes for: crops, uses, seasons, size, care. In come answers; out goes a frozen
`Goals`."""

from __future__ import annotations

from typing import Any, ClassVar, Literal

from pydantic import Field, field_validator

from recommender.suitability.answers import Answers

Use = Literal["fresh", "cooking", "cider", "juice", "canning", "jam", "drying", "oil", "storage"]
Season = Literal["early", "mid", "late"]
Preset = Literal["beginner", "keen", "nursery"]


class Goals(Answers):
    """Wishes; every one may be left out, and what is left out does not count.

    crops: crop names, empty for all; uses: what the fruit is for, any of them is welcome.
    seasons: early, mid, late within the crop's own season (so the words mean the same in both hemispheres).
    storage_weeks [weeks]: how long the fruit should keep in a cool store.
    max_height_m [m]: the tallest tree wanted; low_spray: resistance to disease counts more.
    preset: beginner weighs care and proof more, nursery weighs proof less and wishes more, keen lies between.
    pets_or_children: cautions about toxic parts are shown.

    Raises BadInput naming the answer and the remedy.
    """

    section: ClassVar[str] = "goals"

    crops: tuple[str, ...] = ()
    uses: tuple[Use, ...] = ()
    seasons: tuple[Season, ...] = ()
    storage_weeks: float | None = Field(default=None, ge=0, le=60)
    max_height_m: float | None = Field(default=None, gt=0, le=60)
    low_spray: bool = False
    preset: Preset = "beginner"
    pets_or_children: bool = False

    @field_validator("crops", "uses", "seasons", mode="before")
    @classmethod
    def _one_or_many(cls, value: Any) -> Any:
        if isinstance(value, str):
            return (value,)
        return tuple(dict.fromkeys(value)) if isinstance(value, list | tuple) else value
