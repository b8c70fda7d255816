"""Options that are answered together, and the `Site` and `Goals` that their answers make.

A command takes a group as one parameter and is decorated with `spread`; the command line then has the options
of the group where the parameter stands:

    @groups.spread
    def command(where: groups.Where, crop: opt.Crops = None) -> None: ...
"""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable
from dataclasses import MISSING, dataclass, fields, is_dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_type_hints

from recommender.commands import options as opt
from recommender.errors import BadInput
from recommender.wording import Units, litres, metres

if TYPE_CHECKING:
    from recommender import Goals, Site
    from recommender.climate.profile import Profile

_SAYS_WHERE = {"place", "lat", "lon", "zone", "chill_hours"}


@dataclass(frozen=True, kw_only=True)
class Where:
    """Where the site is: a place, a point or a climate in two figures, or a file that says it."""

    place: opt.Place = None
    lat: opt.Lat = None
    lon: opt.Lon = None
    elevation: opt.Elevation = None
    zone: opt.Zone = None
    chill_hours: opt.ChillHours = None
    site: opt.SiteFile = None

    def answers(self, units: Units) -> dict[str, Any]:
        return opt.given(
            place=self.place,
            lat=self.lat,
            lon=self.lon,
            elevation_m=metres(self.elevation, units),
            zone=self.zone,
            chill_hours=self.chill_hours,
        )


@dataclass(frozen=True, kw_only=True)
class Room:
    """How much room a tree has."""

    space: opt.Space = None
    container: opt.Container = None

    def answers(self, units: Units) -> dict[str, Any]:
        return opt.given(space_m=metres(self.space, units), container_L=litres(self.container, units))


@dataclass(frozen=True, kw_only=True)
class Ground:
    """What the ground is like, and where cold air goes."""

    soil: opt.Soil = None
    wetness: opt.Wetness = None
    frost: opt.Frost = None

    def answers(self, units: Units) -> dict[str, Any]:
        return opt.given(soil=self.soil, wetness=self.wetness, frost=self.frost)


@dataclass(frozen=True, kw_only=True)
class NearBy:
    """Which fruit trees stand near by already."""

    existing: opt.Existing = None
    neighbours: opt.Neighbours = None

    def answers(self, units: Units) -> dict[str, Any]:
        return opt.given(existing_trees=self.existing, neighbours_have_fruit_trees=self.neighbours)


def answers_of(units: Units, *asked: Where | Room | Ground | NearBy) -> dict[str, Any]:
    """Fields of `Site` that were answered, in metres and litres whatever units they were given in."""
    return {name: answer for group in asked for name, answer in group.answers(units).items()}


def spread(command: Callable[..., None]) -> Callable[..., None]:
    """The command with the options of each group in place of the parameter that takes the group."""
    hints = get_type_hints(command, include_extras=True)
    taken = {name: hint for name, hint in hints.items() if isinstance(hint, type) and is_dataclass(hint)}
    parameters: list[inspect.Parameter] = []
    for parameter in inspect.signature(command).parameters.values():
        if parameter.name in taken:
            parameters += _parameters_of(taken[parameter.name])
        else:
            kind = inspect.Parameter.KEYWORD_ONLY
            parameters.append(parameter.replace(annotation=hints[parameter.name], kind=kind))

    @functools.wraps(command)
    def with_groups(**told: Any) -> None:
        for name, group in taken.items():
            told[name] = group(**{field.name: told.pop(field.name) for field in fields(group)})
        command(**told)

    signature = inspect.Signature(parameters, return_annotation=None)
    vars(with_groups)["__signature__"] = signature
    with_groups.__annotations__ = {each.name: each.annotation for each in parameters}
    return with_groups


def _parameters_of(group: type) -> list[inspect.Parameter]:
    hints = get_type_hints(group, include_extras=True)
    return [
        inspect.Parameter(
            field.name,
            inspect.Parameter.KEYWORD_ONLY,
            default=inspect.Parameter.empty if field.default is MISSING else field.default,
            annotation=hints[field.name],
        )
        for field in fields(group)
    ]


def site_from(path: Path | None, answers: dict[str, Any]) -> Site:
    """The site of the file, if one is named, with the answers given as options laid over it.

    Raises BadInput where nothing says where the site is.
    """
    from recommender import Site

    if path is None:
        if not answers.keys() & _SAYS_WHERE:
            raise BadInput(
                "Nothing says where the site is",
                remedy="Give --place NAME, or --lat and --lon, or --zone and --chill-hours, or --site FILE",
            )
        return Site(**answers)
    kept = Site.answers_in(path)
    if not answers:
        return Site.from_file(path)
    if answers.keys() & _SAYS_WHERE:
        kept = {name: answer for name, answer in kept.items() if name not in {*_SAYS_WHERE, "elevation_m"}}
    return Site(**{**kept, **answers})


def climate_for(path: Path | None, answers: dict[str, Any]) -> tuple[Profile, dict[str, Any]]:
    """The climate of a site given by file or options, and the site as understood. Raises as `site_from`."""
    from recommender.commands import console
    from recommender.suitability.ranking import site_as_understood
    from recommender.suitability.site import climate_of

    where = site_from(path, answers)
    with console.progress("Working out the climate"):
        profile, match = climate_of(where)
    return profile, dict(site_as_understood(where, profile, match))


def goals_from(path: Path | None, wishes: dict[str, Any]) -> Goals:
    """The wishes of the site file, if one is named, with those given as options laid over them."""
    from recommender import Goals

    return Goals(**wishes) if path is None else Goals(**{**Goals.answers_in(path), **wishes})
