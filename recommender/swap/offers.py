"""What people bring to a swap and what they would like: `Offer` and `Request`, checked once.

In come answers (from a form, or a row of a table, see `reading`); out go frozen objects. A nickname and an
area are all that is asked of a person.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime
from typing import Annotated, Any, ClassVar, Literal, TypeVar

from pydantic import Field, field_validator, model_validator

from recommender.climate.countries import code_of, country_code
from recommender.errors import OrchardwrightError
from recommender.suitability.answers import Answers
from recommender.suitability.goals import Use
from recommender.suitability.site import (
    ChillHours,
    Container,
    Elevation,
    Frost,
    Latitude,
    Longitude,
    Site,
    Soil,
    Space,
    Wetness,
    YesNo,
)
from recommender.wording import plain

Kind = Literal["plant", "scion wood"]
KINDS: tuple[Kind, ...] = ("plant", "scion wood")
LONGEST_TEXT = 400
FARTHEST_KM = 25_000.0  # more than half way round the Earth
Way = Annotated[float, Field(gt=0, le=FARTHEST_KM)]
_KIND_WORDS = {
    "plant": "plant", "plants": "plant", "tree": "plant", "trees": "plant", "bush": "plant",
    "bare-root": "plant", "bare root": "plant", "potted": "plant", "pot": "plant", "seedling": "plant",
    "scion wood": "scion wood", "scionwood": "scion wood", "scion": "scion wood", "scions": "scion wood",
    "scion-wood": "scion wood", "graftwood": "scion wood", "grafting wood": "scion wood",
    "budwood": "scion wood",
}  # fmt: skip
_PART = re.compile(r"[A-Z]{2}-[A-Z0-9]{1,3}")
SITE_ANSWERS = (
    "place", "lat", "lon", "elevation_m", "zone", "chill_hours", "soil", "wetness", "frost", "space_m",
    "container_L",
)  # fmt: skip


def kind_of(text: str) -> str:
    """A kind of plant material as people write it -> `plant` or `scion wood`; unknown words stay.

    >>> kind_of("Scionwood"), kind_of("bare root"), kind_of("jam")
    ('scion wood', 'plant', 'jam')
    """
    return _KIND_WORDS.get(" ".join(text.lower().split()), text)


def many(value: Any) -> tuple[str, ...]:
    """A cell of several entries, joined with `|` or `;`, as its entries, each once.

    >>> many("apple | quince;apple")
    ('apple', 'quince')
    """
    parts = re.split(r"[|;\n]", value) if isinstance(value, str) else list(value or ())
    cleaned = (" ".join(plain(part).split()) for part in parts)
    return tuple(dict.fromkeys(part for part in cleaned if part))


def day(value: Any) -> Any:
    """A date given as a date, a time or `YYYY-MM-DD`. Raises ValueError in the family's words."""
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, str):
        try:
            return date.fromisoformat(value.strip()[:10]) if value.strip() else None
        except ValueError:
            raise ValueError(f"“{plain(value)}” is not a date | Write it as 2027-02-14") from None
    return value


class _Entry(Answers):
    """What an offer and a request share. person: a nickname; area: as much of the address as people like."""

    id: str = Field(default="", max_length=40)
    person: str = Field(max_length=60)
    area: str = Field(default="", max_length=80)
    place: str | None = Field(default=None, max_length=120)
    region: str | None = None
    note: str = Field(default="", max_length=LONGEST_TEXT)

    @field_validator(
        "id", "person", "area", "note", "health", "variety", "crop", mode="before", check_fields=False
    )
    @classmethod
    def _text_without_controls(cls, text: Any) -> Any:
        return " ".join(plain(text).split()) if isinstance(text, str) else text

    @field_validator("person")
    @classmethod
    def _person_is_named(cls, person: str) -> str:
        if not person:
            raise ValueError("Nobody is named | Write a nickname; a full name is not needed")
        return person

    @field_validator("region", mode="before")
    @classmethod
    def _region_is_a_code(cls, region: Any) -> Any:
        return region_code(region)


def region_code(region: Any) -> str | None:
    """A region as its code (ISO 3166), such as GB, US-NY or EU, from its code or name. Raises ValueError in
    the family's words."""
    if region is None or not str(region).strip():
        return None
    text = str(region).strip()
    if text.upper() == "EU":
        return "EU"
    found = code_of(text)
    if not found and _PART.fullmatch(text.upper()) and (country := country_code(text[:2])):
        # A county or province that no rule here speaks of; its country counts.
        found = country + text.upper()[2:]
    if not found:
        raise ValueError(
            f"“{plain(region)}” is no country or state that is known | Write a code such as GB, FR or US-NY, "
            "or the name of the country"
        )
    return found


class Offer(_Entry):
    """Plants or scion wood of one variety that a person brings.

    count: how many plants, or how many pieces of scion wood; health: what the giver says of pests and
    diseases; available_from, available_until: days on which it can be handed over; cut_on: the day the
    scion wood was cut; place: a town that can be found on the map, only needed for distances and borders.
    Raises BadInput.
    """

    section: ClassVar[str] = "offer"

    crop: str = ""
    variety: str = Field(max_length=120)
    kind: Kind = "plant"
    count: int = Field(default=1, ge=1, le=10_000)
    health: str = Field(default="", max_length=LONGEST_TEXT)
    available_from: date | None = None
    available_until: date | None = None
    cut_on: date | None = None

    @field_validator("kind", mode="before")
    @classmethod
    def _kind_as_people_write_it(cls, kind: Any) -> Any:
        return kind_of(kind) if isinstance(kind, str) else kind

    @field_validator("available_from", "available_until", "cut_on", mode="before")
    @classmethod
    def _dates(cls, value: Any) -> Any:
        return day(value)

    @field_validator("variety")
    @classmethod
    def _variety_is_named(cls, variety: str) -> str:
        if not variety:
            raise ValueError("No variety is named | Write its name, or “unknown” with the fruit beside it")
        return variety

    @model_validator(mode="after")
    def _dates_in_order(self) -> Offer:
        if self.available_from and self.available_until and self.available_until < self.available_from:
            raise ValueError("It is available until a day before it is available from | Swap the two dates")
        return self


class Request(_Entry):
    """What a person would like, and where it would grow.

    varieties, crops, uses: wishes; none of the three means anything is welcome. kinds: what they can take.
    take: how many plants or grafts they have room for. existing_trees: "crop:variety" or variety names.
    rootstocks: names, each with how many ("M26 x 3"). max_km [km]: how far they would travel or post.
    The site answers are those of `Site`; where none says where it grows, the event's site stands in.
    Raises BadInput.
    """

    section: ClassVar[str] = "request"

    lat: Latitude | None = None
    lon: Longitude | None = None
    elevation_m: Elevation | None = None
    zone: str | None = None
    chill_hours: ChillHours | None = None
    soil: Soil = "unknown"
    wetness: Wetness = "unknown"
    frost: Frost = "usual"
    space_m: Space | None = None
    container_L: Container | None = None
    neighbours_have_fruit_trees: YesNo = "unknown"
    crops: tuple[str, ...] = ()
    varieties: tuple[str, ...] = ()
    uses: tuple[Use, ...] = ()
    kinds: tuple[Kind, ...] = KINDS
    existing_trees: tuple[str, ...] = ()
    rootstocks: tuple[str, ...] = ()
    take: int = Field(default=1, ge=1, le=1000)
    max_km: Way | None = None

    @field_validator("crops", "varieties", "uses", "existing_trees", "rootstocks", mode="before")
    @classmethod
    def _several(cls, value: Any) -> Any:
        return many(value)

    @field_validator("kinds", mode="before")
    @classmethod
    def _kinds_as_people_write_them(cls, value: Any) -> Any:
        found = tuple(kind_of(part) for part in many(value))
        return KINDS if not found or found in (("any",), ("both",)) else found

    @model_validator(mode="after")
    def _answers_make_a_site(self) -> Request:
        try:
            self.site()
        except OrchardwrightError as error:
            raise ValueError(f"{error.what.rstrip('.')} | {error.remedy}") from None
        return self

    def site(self, event: Site | None = None) -> Site | None:
        """Where it would grow, without the trees; the event's site where the request does not say; else None.

        Answers about the ground always come from the request where it gives them.
        """
        given = {name: getattr(self, name) for name in SITE_ANSWERS}
        given = {name: value for name, value in given.items() if value not in (None, "unknown", "usual")}
        says_where = given.keys() & {"place", "lat", "lon", "zone", "chill_hours"}
        if not says_where:
            if event is None:
                return None
            own = event.model_dump(
                exclude={"existing_trees", "neighbours_have_fruit_trees"}, exclude_none=True
            )
            given = {**own, **given}
        return Site(**given, neighbours_have_fruit_trees="yes")


Entry = TypeVar("Entry", Offer, Request)


def stocks_at_hand(entries: tuple[str, ...]) -> dict[str, int]:
    """Rootstocks as written -> how many of each.

    >>> stocks_at_hand(("M26 x 3", "Quince A"))
    {'M26': 3, 'Quince A': 1}
    """
    held: dict[str, int] = {}
    for entry in entries:
        found = re.fullmatch(r"(.+?)\s+[x×]\s*(\d{1,4})|(\d{1,4})\s*[x×]\s+(.+)", entry)
        name, count = (found[1] or found[4], found[2] or found[3]) if found else (entry, "1")
        held[name] = held.get(name, 0) + int(count)
    return held


@dataclass(frozen=True)
class Doubt:
    """A name that a person has to look at. kind: offer or request; id: of the entry; written: the name as it
    stands there; decision: review (it may mean several) or unknown; candidates: (crop, variety) it may mean,
    likeliest first; says: the same as a sentence."""

    kind: str
    id: str
    written: str
    decision: str
    candidates: tuple[tuple[str, str], ...]
    says: str


def settled(entry: Entry, written: str, variety: tuple[str, str]) -> Entry:
    """The entry with a name, wish or tree that was in doubt written as the variety a person chose.

    variety: (crop, variety) as the catalog has them.
    """
    crop, name = variety
    if isinstance(entry, Offer):
        return entry.model_copy(update={"crop": crop, "variety": name}) if entry.variety == written else entry
    chosen = f"{crop}:{name}"
    lists = {
        field: tuple(chosen if one == written else one for one in getattr(entry, field))
        for field in ("varieties", "existing_trees")
    }
    return entry.model_copy(update=lists)
