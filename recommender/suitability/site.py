"""What the grower answers about the place: where it is, its ground, its room, and what already grows there.

In come answers; out goes a frozen `Site`, and from it the site's climate `Profile` and its existing trees by
their accepted names.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, Literal

from pydantic import Field, field_validator, model_validator

from recommender.climate.adjustments import STILL_NIGHT_K, Adjustments
from recommender.errors import BadInput, UnknownName
from recommender.suitability.answers import Answers

if TYPE_CHECKING:
    from recommender.catalog.store import Catalog
    from recommender.climate.places import PlaceMatch
    from recommender.climate.profile import Profile

Soil = Literal["unknown", "sand", "loam", "clay", "chalk"]
Wetness = Literal["unknown", "wet", "normal", "dry"]
Frost = Literal["usual", "hollow", "sheltered"]
YesNo = Literal["unknown", "yes", "no"]
# What a number can be at all, wherever it is asked: [degrees], [m], [hours], [m], [L].
Latitude = Annotated[float, Field(ge=-90, le=90)]
Longitude = Annotated[float, Field(ge=-180, le=180)]
Elevation = Annotated[float, Field(ge=-430, le=6000)]
ChillHours = Annotated[float, Field(ge=0, le=4000)]
Space = Annotated[float, Field(gt=0, le=1000)]
Container = Annotated[float, Field(gt=0, le=5000)]


class Site(Answers):
    """A growing site. Exactly one way of saying where: `place`, or `lat` and `lon`, or `zone` and
    `chill_hours`.

    place: name of a town, optionally with region and country.
    lat, lon [degrees, north and east positive]; elevation_m [m], taken from the map if left out.
    zone: USDA hardiness zone, such as "6b"; chill_hours: usual winter chill [hours from 0 to 7.2 degC];
    `lat` beside them says which hemisphere and how long the days are.
    soil, wetness: the ground; wetness is also read as how wet leaves stay in summer.
    space_m [m]: width there is for one tree; plot_m2 [m2]: the whole plot; container_L [L]: pot, if it grows
    in one.
    existing_trees: "crop:variety" or variety names; neighbours_have_fruit_trees: within bee flight of a
    garden or two.
    frost: `usual`, `hollow` (cold air gathers) or `sheltered` (wall, slope, water near by).

    Raises BadInput naming the answer and the remedy.
    """

    section: ClassVar[str] = "site"

    place: str | None = None
    lat: Latitude | None = None
    lon: Longitude | None = None
    elevation_m: Elevation | None = None
    zone: str | None = None
    chill_hours: ChillHours | None = None
    soil: Soil = "unknown"
    wetness: Wetness = "unknown"
    space_m: Space | None = None
    plot_m2: float | None = Field(default=None, gt=0, le=1e8)
    container_L: Container | None = None
    existing_trees: tuple[str, ...] = ()
    neighbours_have_fruit_trees: YesNo = "unknown"
    frost: Frost = "usual"

    @field_validator("place")
    @classmethod
    def _place_has_letters(cls, place: str | None) -> str | None:
        if place is not None and not any(letter.isalpha() for letter in place):
            raise ValueError(f"“{place}” is not the name of a place | Write a town, such as Geneva, New York")
        return place

    @field_validator("zone", mode="before")
    @classmethod
    def _zone_as_on_the_label(cls, zone: Any) -> Any:
        if zone is None:
            return None
        found = re.fullmatch(r"\s*(?:zone\s*)?(\d{1,2})\s*([ab]?)\s*", str(zone), re.IGNORECASE)
        if not found or not 1 <= int(found[1]) <= 13:
            raise ValueError(f"“{zone}” is not a hardiness zone | Write 1a to 13b, such as 6b")
        return f"{int(found[1])}{found[2].lower()}"

    @field_validator("existing_trees", mode="before")
    @classmethod
    def _trees_as_names(cls, trees: Any) -> Any:
        return (trees,) if isinstance(trees, str) else tuple(trees) if isinstance(trees, list) else trees

    @model_validator(mode="after")
    def _says_where_once(self) -> Site:
        by_point = self.lat is not None or self.lon is not None
        by_figures = self.zone is not None or self.chill_hours is not None
        if by_point and not by_figures and (self.lat is None or self.lon is None):
            raise ValueError("Only one of lat and lon is given | Give both, in degrees")
        if self.place is not None and (by_point or by_figures):
            raise ValueError(
                "The site is given twice, by its place and by figures | Keep either the place, or lat and "
                "lon, or zone and chill hours"
            )
        if by_figures and (self.zone is None or self.chill_hours is None):
            raise ValueError(
                "Zone and chill hours are needed together | Give both, or name the place instead"
            )
        if self.place is None and not by_point and not by_figures:
            raise ValueError(
                "Nothing says where the site is | Give place, or lat and lon, or zone and chill hours"
            )
        return self

    @property
    def frost_shift(self) -> float:
        """How much colder (negative) or milder than its surroundings the site's still nights are [K]."""
        return STILL_NIGHT_K[self.frost]


@lru_cache(maxsize=64)
def _profile(
    place: str | None,
    lat: float | None,
    lon: float | None,
    elevation_m: float | None,
    zone: str | None,
    chill_hours: float | None,
    adjustments: Adjustments,
    warming_degC: tuple[float, ...],
) -> tuple[Profile, PlaceMatch | None]:
    from recommender.climate import matching, normals, places, profile, winter

    warming = warming_degC if len(warming_degC) > 1 else warming_degC[0]
    if zone is not None and chill_hours is not None:
        like = normals.normals_like(zone, chill_hours, lat)
        number = winter.zone_number(zone)
        made = matching.profile_matching(
            like, number, chill_hours, warming_degC=warming, adjustments=adjustments
        )
        return made, None
    match = None
    if place is not None:
        match = places.find_place(place)
        lat, lon = match.lat, match.lon
        elevation_m = elevation_m if elevation_m is not None else match.elevation_m
    if lat is None or lon is None:
        raise BadInput("Nothing says where the site is", remedy="Give place, or lat and lon")
    found = normals.normals_at(lat, lon, elevation_m)
    return profile.build_profile(found, warming_degC=warming, adjustments=adjustments), match


def climate_of(
    site: Site, adjustments: Adjustments | None = None, warming_degC: tuple[float, ...] = (0.0,)
) -> tuple[Profile, PlaceMatch | None]:
    """The site's climate and, if it was named, the place it was taken for. Kept for the last 64 sites.

    adjustments: what the spot does to the weather around; warming_degC: one offset or twelve [K]. The site's
    answer about frost is not among them: the ranking weighs it by itself. Raises UnknownName for a place that
    is not known, BadInput for a point at sea.
    """
    where = (site.place, site.lat, site.lon, site.elevation_m, site.zone, site.chill_hours)
    return _profile(*where, adjustments or Adjustments(), warming_degC)


def existing_trees(site: Site, catalog: Catalog) -> list[tuple[str, str]]:
    """The trees that stand there as (crop, variety), by their accepted names.

    Raises UnknownName with the nearest three, naming the answer it stands in.
    """
    found: list[tuple[str, str]] = []
    for tree in site.existing_trees:
        try:
            crop, variety = catalog.resolve(tree)
        except UnknownName as error:
            raise UnknownName(error.kind, error.name, error.suggestions, where="existing_trees") from None
        if (crop, variety) not in found:
            found.append((crop, variety))
    return found
