"""The sites of an atlas: a customer's list, a grid, or the places of a country.

In come a file, or steps and bounds, or a country; out goes a frame with a row a site: name, region, country,
lat, lon [degrees], elevation_m [m, NaN for that of the ground], population (0 where it is no place).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pandas as pd

from recommender.atlas.folder import MOST_SITES
from recommender.climate.grid import open_grid
from recommender.climate.normals import checked_coordinates, checked_elevation
from recommender.climate.places import PlaceMatch, find_place, places_of
from recommender.errors import BadInput, DataFaults, OrchardwrightError
from recommender.nursery.stock_files import Table, read_table

COLUMNS = ("name", "region", "country", "lat", "lon", "elevation_m", "population")
MOST_FAULTS = 20
LONGEST_PLACE = 200
"""Letters of a place with region and country; the longest of the gazetteer has 104."""
_HEADINGS = {
    "name": "name site customer label",
    "place": "place town city location village address",
    "lat": "lat latitude",
    "lon": "lon longitude long lng",
    "elevation_m": "elevation_m elevation height altitude elevation m",
}


def country_sites(country: str | None = None, people: int = 0) -> pd.DataFrame:
    """All places of a country, of the world without one, with at least so many people. Raises UnknownName, or
    BadInput where none is left."""
    found = places_of(country)
    return _checked(found[found["population"] >= people])


def grid_sites(step_deg: float, bounds: tuple[float, float, float, float]) -> pd.DataFrame:
    """Points on land every `step_deg` degrees within bounds (west, south, east, north) [degrees].

    Longitudes may be counted on beyond 180, to 360; those of the sites lie from -180 to 180. Raises BadInput
    for a step or bounds that cannot be, or that hold no land.
    """
    west, south, east, north = (float(each) for each in bounds)
    for lat, lon in ((south, west), (north, east)):
        checked_coordinates(lat, lon)
    if not (0.01 <= step_deg <= 10.0 and 0.0 < east - west <= 360.0 and south < north):
        raise BadInput(
            f"A grid of {step_deg:g} degrees from {west:g}, {south:g} to {east:g}, {north:g} cannot be made",
            remedy="Give a step from 0.01 to 10 degrees and west,south,east,north within 360 degrees",
        )
    lats = np.arange(south, north + 1e-9, step_deg)
    # Once round, the last meridian is the first.
    steps = np.arange(west, min(east + 1e-9, west + 360.0 - 1e-9), step_deg)
    lons = [checked_coordinates(0.0, min(float(lon), 360.0))[1] for lon in steps]
    if len(lats) * len(lons) > 4 * MOST_SITES:
        raise BadInput(
            f"That grid has {len(lats) * len(lons):,} points", remedy="Take a wider step or less land"
        )
    grid, rows = open_grid(), []
    for lat in lats:
        for lon in lons:
            try:
                on_land = grid.sample(float(lat), lon).moved_km == 0.0
            except BadInput:
                continue
            if on_land:
                rows.append((f"{lat:.2f}, {lon:.2f}", float(lat), lon))
    frame = pd.DataFrame(rows, columns=["name", "lat", "lon"])
    return _checked(frame.assign(region="", country="", elevation_m=np.nan, population=0))


def listed_sites(path: Path | str) -> pd.DataFrame:
    """Sites of a CSV or XLSX list: a column `place`, or `lat` and `lon`; `name` and `elevation_m` if known.

    Raises StorageFault, BadInput for a list without those columns, DataFaults naming each row that cannot be
    read or placed.
    """
    table = read_table(path, _HEADINGS, needed=())
    held = set(table.frame)
    if "place" not in held and not {"lat", "lon"} <= held:
        raise BadInput(
            "The list says nowhere where its sites are",
            where=table.file,
            remedy="Give it a column place, or the columns lat and lon",
        )
    places = _Places()
    rows, faults, refused = [], list(table.faults), 0
    for at, cells in enumerate(table.frame.fillna("").astype(str).to_dict("records")):
        site = None
        # A cell that was left out is among the faults already, and no empty cell.
        if not table.unread(at):
            site = _site(table, at, places, {str(name): cell.strip() for name, cell in cells.items()})
        if isinstance(site, tuple):
            rows.append(site)
            continue
        refused += 1
        faults += [site] if site else []
    if faults:
        more = [f"and {len(faults) - MOST_FAULTS} more"] if len(faults) > MOST_FAULTS else []
        raise DataFaults(
            f"{refused} of {len(table.frame)} sites cannot be placed",
            [*faults[:MOST_FAULTS], *more],
            remedy="Mend these rows or take them out",
        )
    return _checked(pd.DataFrame(rows, columns=list(COLUMNS)))


@dataclass
class _Places:
    """The places of a list, each looked up once, however many rows name it."""

    known: dict[str, PlaceMatch | OrchardwrightError] = field(default_factory=dict)
    unknown: int = 0

    def called(self, text: str) -> PlaceMatch:
        """The place a cell means. Raises BadInput, UnknownName."""
        if text not in self.known:
            self.known[text] = self._looked_up(text)
        found = self.known[text]
        if isinstance(found, OrchardwrightError):
            raise found.with_traceback(None)
        return found

    def _looked_up(self, text: str) -> PlaceMatch | OrchardwrightError:
        if len(text) > LONGEST_PLACE:
            return BadInput(
                f"{len(text):,} letters are no name of a place; at most {LONGEST_PLACE} are looked up",
                remedy="Write the town alone, with its region or country",
            )
        try:
            # Faults beyond the most are counted, not told: they need no suggestions.
            return replace(find_place(text, suggest=self.unknown < MOST_FAULTS), others=())
        except OrchardwrightError as fault:
            self.unknown += 1
            return fault


def _site(
    table: Table, at: int, places: _Places, cells: dict[str, str]
) -> tuple[str, str, str, float, float, float, int] | str:
    """A line's site, or what is wrong with it: file, row, column and remedy."""
    column = "elevation_m"
    try:
        height = _height(cells.get("elevation_m", ""))
        if cells.get("lat") or cells.get("lon"):
            column = "lat"
            lat, _ = checked_coordinates(_number(cells.get("lat", ""), "degrees"), 0.0)
            column = "lon"
            _, lon = checked_coordinates(0.0, _number(cells.get("lon", ""), "degrees"))
            return cells.get("name") or f"{lat:.2f}, {lon:.2f}", "", "", lat, lon, height, 0
        column = "place"
        found = places.called(cells.get("place", ""))
    except OrchardwrightError as fault:
        return f"{table.where(at, column)}: {fault}"
    name = cells.get("name") or found.name
    known = found.elevation_m if np.isnan(height) else height
    return name, found.region, found.country, found.lat, found.lon, known, found.population


def _height(cell: str) -> float:
    """Metres above the sea, NaN where none are given. Raises BadInput."""
    if not cell:
        return np.nan
    if re.fullmatch(r"[+-]?\d+,\d{3}", cell):
        raise BadInput(
            f"“{cell}” can be {cell.replace(',', '')} m or {cell.replace(',', '.')} m",
            remedy="Write metres without a comma",
        )
    return checked_elevation(_number(cell, "metres above the sea"))


def _number(cell: str, unit: str) -> float:
    try:
        return float(cell.replace(",", "."))
    except ValueError:
        raise BadInput(
            f"“{cell}” is no number" if cell else "No number stands there", remedy=f"Write {unit}"
        ) from None


def _checked(frame: pd.DataFrame) -> pd.DataFrame:
    if frame.empty:
        raise BadInput("No site is left", remedy="Widen the bounds, or ask for smaller places")
    if len(frame) > MOST_SITES:
        raise BadInput(f"{len(frame):,} sites are more than {MOST_SITES:,}", remedy="Make several atlases")
    return frame[list(COLUMNS)].reset_index(drop=True)


__all__ = ["COLUMNS", "Table", "country_sites", "grid_sites", "listed_sites"]
