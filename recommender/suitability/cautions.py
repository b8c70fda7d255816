"""Which caution stands beside a variety: one sentence from the cautions table, with who decides.

In come the table, the crops shown, where the site is and what was answered; out goes one sentence a crop at
most, the one that concerns the act most closely: a ban or quarantine where the site lies, then toxic parts
where pets or children live, then the load of a pot.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import pandas as pd

from recommender.climate import countries

if TYPE_CHECKING:
    from recommender.suitability.goals import Goals
    from recommender.suitability.site import Site

DEFERS = {
    "quarantine": "Check the current rule with the plant-health authority before you move or order plants.",
    "invasive": "Ask your local authority or extension service before you plant.",
    "pet-toxicity": "Ask a vet if in doubt.",
    "toxic-part": "Ask a poison information service if any was eaten.",
    "skin-irritant": "Take medical advice if skin reacts.",
    "thorns": "Keep it away from where children play.",
    "structural-load": "Let an engineer or the building's owner confirm what the balcony or roof bears.",
}
_SEVERITY = {"stop": 0, "warning": 1, "info": 2}
_EU = frozenset(
    "AT BE BG HR CY CZ DK EE FI FR DE GR HU IE IT LV LT LU MT NL PL PT RO SK SI ES SE".split()  # noqa: SIM905
)


def places_of(country: str, region: str) -> frozenset[str]:
    """The region codes of the cautions table that hold a site in this country and region.

    >>> sorted(places_of("United States", "New York"))
    ['US', 'US-NY', 'all']
    """
    found = {"all"}
    code = countries.country_code(country)
    if code:
        found.add(code)
        part = countries.part_code(code, region)
        if part:
            found.add(part)
    if code in _EU:
        found.add("EU")
    return frozenset(found)


def topics(site: Site, goals: Goals) -> list[str]:
    """The topics that concern the act of planting here, most pressing first."""
    asked = ["invasive", "quarantine"]
    if goals.pets_or_children:
        asked += ["pet-toxicity", "toxic-part", "thorns", "skin-irritant"]
    if site.container_L is not None:
        asked.append("structural-load")
    return asked


def sentences(
    table: pd.DataFrame, crops: Iterable[str], country: str, region: str, site: Site, goals: Goals
) -> dict[str, str]:
    """One caution for each crop that has one, ending with who decides."""
    here, asked = places_of(country, region), topics(site, goals)
    near = table["regions"].map(lambda regions: bool(here & set(str(regions).split("|"))))
    # A general notice to all crops is no news beside one variety, except the load of a pot.
    apt = table[near & table["topic"].isin(asked)]
    apt = apt[(apt["crop"] != "all") | (apt["topic"] == "structural-load")]
    apt = apt.assign(
        _topic=apt["topic"].map({topic: place for place, topic in enumerate(asked)}),
        _severity=apt["severity"].map(_SEVERITY).fillna(3),
        _general=(apt["crop"] == "all"),
    ).sort_values(["_severity", "_topic", "_general"], kind="stable")
    told: dict[str, str] = {}
    for crop in crops:
        for row in apt[["crop", "topic", "fact"]].itertuples(index=False):
            if row[0] == "all" or crop in str(row[0]).split("|"):
                told[crop] = f"Caution: {str(row[2]).rstrip('.')}. {DEFERS.get(str(row[1]), 'Ask locally.')}"
                break
    return told
