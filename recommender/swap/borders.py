"""Where a garden lies in the eyes of plant-health law: its region codes, its country, its plant-health area.

In: a region's code or the gazetteer's country and region. Out: `Region`. Areas are wider or narrower than
countries: the EU with Northern Ireland and a few small states is one, Great Britain is another, and some far
parts of EU countries are areas of their own.

Membership: Julius Kuehn-Institut, list of EU member states and of areas treated as such in plant health, as
of 22 March 2024 (jki-eu-plant-health in sources.csv); Switzerland and Liechtenstein also by blw-swiss-eu. The
Crown dependencies are left as areas of their own, since no source here says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from recommender.climate import countries
from recommender.suitability.cautions import places_of

EU_MEMBERS = frozenset(
    "AT BE BG CY CZ DE DK EE ES FI FR GR HR HU IE IT LT LU LV MT NL PL PT RO SE SI SK".split()  # noqa: SIM905
)
# Treated like members in plant health; Aland is part of Finland.
LIKE_MEMBERS = frozenset(("AX", "CH", "LI", "MC", "SM", "VA"))
EU_AREA = "the EU's plant-health area"
_NAMED = {"EU": EU_AREA, "GB": "Great Britain", "GB-NIR": "Northern Ireland"}
# Parts of member states with plant-health rules of their own, by the words of the gazetteer.
_OUTSIDE = {("ES", "canary islands"), ("ES", "ceuta"), ("ES", "melilla")}
# Territories that the cautions table writes as parts of the United States.
_US_TERRITORIES = ("PR", "VI", "GU", "AS", "MP")


@dataclass(frozen=True)
class Region:
    """codes: such as {"all", "US", "US-NY"}, the words of the cautions table; country: its code, "" where not
    known; area: the plant-health area, "" where not known; name: as it is told."""

    codes: frozenset[str]
    country: str
    area: str
    name: str


NOWHERE = Region(frozenset({"all"}), "", "", "")


def region_of_code(code: str | None) -> Region:
    """A region given as its code (`offers.region_code` has checked it).

    >>> sorted(region_of_code("US-NY").codes), region_of_code("GB-NIR").area, region_of_code("FR").area
    (['US', 'US-NY', 'all'], 'EU', 'EU')
    """
    if not code:
        return NOWHERE
    if code == "EU":
        return Region(frozenset({"all", "EU"}), "EU", "EU", EU_AREA)
    return _region(code[:2], code, code)


@lru_cache(maxsize=4096)
def region_of_place(country: str, region: str) -> Region:
    """A region given as the gazetteer's country and region.

    >>> region_of_place("Spain", "Catalonia").area, region_of_place("Spain", "Canary Islands").area
    ('EU', 'ES, Canary Islands')
    """
    code = countries.country_code(country)
    name = ", ".join(part for part in (region, country) if part)
    if not code:
        return Region(places_of(country, region), country, country, name)
    found = _region(code, countries.part_code(code, region) or code, name)
    if (code, region.casefold()) in _OUTSIDE:
        return Region(found.codes - {"EU"}, code, f"{code}, {region}", name)
    return found


def area_name(region: Region) -> str:
    """The plant-health area as it is told beside the place."""
    named = _NAMED.get(region.area, "")
    return f"{region.name} ({named})" if named and named != region.name else region.name


def _region(country: str, code: str, name: str) -> Region:
    codes = {"all", country, code}
    if country in _US_TERRITORIES:
        codes |= {"US", f"US-{country}"}
    if country in EU_MEMBERS | LIKE_MEMBERS or code == "GB-NIR":
        area = "EU"
        codes |= {"EU"}
    else:
        area = "US" if country in _US_TERRITORIES else country
    return Region(frozenset(codes), country, area, _NAMED.get(code, name))
