"""The same site today and in a warmer climate: which verdicts change, and through what.

In come a site, goals and a warming in degrees; out goes a `Warming` frame, one row a variety. The warmer
climate is today's daily weather with the offset added to every day (no change of spread, rain or season), so
it answers what such a warming would do, not when it comes. Chill, bloom, frost at bloom, ripening and winter
cold all follow from the moved series.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from recommender.errors import BadInput
from recommender.suitability import ranking
from recommender.suitability.goals import Goals
from recommender.suitability.site import Site, climate_of
from recommender.suitability.verdicts import LIMITS, VERDICTS

if TYPE_CHECKING:
    from recommender.catalog.store import Catalog

LEAST_degC, MOST_degC = -2.0, 6.0
# What each limiting criterion is called in a line of words.
WORDS = {
    "winter": "winter cold",
    "chill": "winter chill",
    "dormancy": "waking too early",
    "bloom_frost": "frost at bloom",
    "season": "ripening in time",
    "warmth": "summer warmth",
}
_SAME_WITHIN = 0.05


@dataclass(frozen=True, eq=False)
class Warming:
    """frame: crop, variety, rank_now, rank_then, score_now, score_then, verdict_now, verdict_then, change (in
    words), in the order of today's ranking. now, then: the rankings; warming_degC [K]."""

    frame: pd.DataFrame
    now: ranking.Ranking
    then: ranking.Ranking
    warming_degC: float

    def counts(self) -> pd.DataFrame:
        """How many varieties go from each verdict (rows) to each (columns)."""
        table = pd.crosstab(self.frame["verdict_now"], self.frame["verdict_then"])
        order = list(VERDICTS)
        return table.reindex(index=order, columns=order, fill_value=0)


def under_warming(
    site: Site, goals: Goals | None = None, catalog: Catalog | None = None, warming_degC: float = 2.0
) -> Warming:
    """Rank today and at `warming_degC` more. Raises as `rank`, and BadInput for a warming outside -2 to 6."""
    if not LEAST_degC <= warming_degC <= MOST_degC:
        raise BadInput(
            f"A warming of {warming_degC:g} degrees is outside what can be asked",
            where="warming",
            remedy=f"Give {LEAST_degC:g} to {MOST_degC:g} degrees Celsius",
        )
    now = ranking.rank(site, goals, catalog)
    warmer, _ = climate_of(site, warming_degC=(float(warming_degC),))
    then = ranking.rank(site, goals, catalog, profile=warmer)
    return Warming(compare(now, then), now, then, float(warming_degC))


def compare(now: ranking.Ranking, then: ranking.Ranking) -> pd.DataFrame:
    """Two rankings of the same varieties side by side, in the order of the first."""
    limits = [f"c_{name}" for name in LIMITS]
    keep = ["crop", "variety", "rank", "score", "verdict", *limits]
    both = now.frame[keep].merge(
        then.frame[keep], on=["crop", "variety"], suffixes=("_now", "_then"), how="left", sort=False
    )
    both["change"] = [_change(row) for row in both.to_dict("records")]
    columns = [f"{name}_{when}" for name in ("rank", "score", "verdict") for when in ("now", "then")]
    return both[["crop", "variety", *columns, "change"]]


def _change(row: dict[Any, Any]) -> str:
    """What moves a variety most, in words; "" where no criterion moves by a twentieth."""
    moved = {
        name: row[f"c_{name}_then"] - row[f"c_{name}_now"]
        for name in LIMITS
        if abs(row[f"c_{name}_then"] - row[f"c_{name}_now"]) >= _SAME_WITHIN
    }
    told = []
    for name in sorted(moved, key=lambda each: -abs(moved[each]))[:2]:
        way = "better" if moved[name] > 0 else "worse"
        told.append(f"{WORDS[name]} {way} ({row[f'c_{name}_now']:.2f} to {row[f'c_{name}_then']:.2f})")
    return ", ".join(told)
