"""What the grower wishes for: crops, uses, seasons, size, care. In come answers; out goes a frozen
`Goals`."""

from __future__ import annotations

from typing import Any, ClassVar, Literal

from pydantic import Field, field_validator

from recommender.suitability.answers import Answers

Use = Literal["fresh", "cooking", "cider", "juice", "canning", "jam", "drying", "oil", "storage"]
Season = Literal["early", "mid", "late"]
Preset = Literal["beginner", "keen", "nursery"]
Skin = Literal["red", "yellow", "green", "russet", "orange", "purple", "black", "pink", "brown"]
Flesh = Literal["white", "yellow", "red", "orange", "amber", "pink", "green"]
FruitSize = Literal["small", "medium", "large", "very-large"]


class Goals(Answers):
    """Wishes; every one may be left out, and what is left out does not count.

    crops: crop names, empty for all; uses: what the fruit is for, any of them is welcome.
    seasons: early, mid, late within the crop's own season (so the words mean the same in both hemispheres).
    storage_weeks [weeks]: how long the fruit should keep in a cool store.
    max_height_m [m]: the tallest tree wanted; low_spray: resistance to disease counts more.
    skin, flesh: colours wished for; fruit_size: small to very-large; any of them is welcome.
    native: crops native to the country (known for some), or at least varieties bred there.
    max_years_to_crop [yr]: how long the first real crop may take.
    will_cover: the grower will wrap tender trees every winter; they are then judged under cover.
    preset: beginner weighs care and proof more, nursery weighs proof less and wishes more, keen lies between.
    pets_or_children: cautions about toxic parts are shown, and crops without any are preferred.

    Raises BadInput naming the answer and the remedy.
    """

    section: ClassVar[str] = "goals"

    crops: tuple[str, ...] = ()
    uses: tuple[Use, ...] = ()
    seasons: tuple[Season, ...] = ()
    storage_weeks: float | None = Field(default=None, ge=0, le=60)
    max_height_m: float | None = Field(default=None, gt=0, le=60)
    low_spray: bool = False
    skin: tuple[Skin, ...] = ()
    flesh: tuple[Flesh, ...] = ()
    fruit_size: tuple[FruitSize, ...] = ()
    native: bool = False
    max_years_to_crop: float | None = Field(default=None, gt=0, le=30)
    will_cover: bool = False
    preset: Preset = "beginner"
    pets_or_children: bool = False

    @field_validator("crops", "uses", "seasons", "skin", "flesh", "fruit_size", mode="before")
    @classmethod
    def _one_or_many(cls, value: Any) -> Any:
        if isinstance(value, str):
            return (value,)
        if isinstance(value, list | tuple) and all(isinstance(part, str) for part in value):
            return tuple(dict.fromkeys(value))
        return value
