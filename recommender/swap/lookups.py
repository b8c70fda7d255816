"""What a desk looks up again and again, each answer kept: places, scores at sites, rootstocks.

In: the catalog. Out: small objects that answer one question each.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from recommender.biology.rootstocks import graft_match
from recommender.catalog.references import fold
from recommender.climate.places import PlaceMatch, find_place
from recommender.errors import BadInput, OrchardwrightError, UnknownName
from recommender.suitability.goals import Goals
from recommender.suitability.ranking import rank
from recommender.suitability.site import Site

if TYPE_CHECKING:
    from recommender.catalog.store import Catalog
    from recommender.swap.people import Taker


@lru_cache(maxsize=4096)
def place_found(text: str) -> PlaceMatch | None:
    """The place of a name, None where it is not known."""
    try:
        return find_place(text)
    except (UnknownName, BadInput):
        return None


class Sites:
    """Scores of the offered fruit at each site; a site is ranked once, whoever gardens there."""

    def __init__(self, catalog: Catalog, crops: Iterable[str]) -> None:
        self._catalog, self._goals = catalog, Goals(crops=tuple(sorted(crops)))
        self._ranked: dict[Site, Any] = {}
        self._faults: dict[Site, str] = {}
        self._scores: dict[tuple[Site, int], tuple[NDArray[np.float64], NDArray[np.bool_]]] = {}

    def understood(self, site: Site) -> tuple[dict[str, Any], str]:
        """(the site as `rank` understood it, what was wrong with it)."""
        if site not in self._ranked and site not in self._faults:
            try:
                found = rank(site, self._goals, catalog=self._catalog, words=False)
            except OrchardwrightError as error:
                self._faults[site] = str(error)
            else:
                table = found.frame.set_index(["crop", "variety"])
                self._ranked[site] = (found.site, table["score"], table["verdict"])
        if site in self._faults:
            return {}, self._faults[site]
        return self._ranked[site][0], ""

    def scores(
        self, taker: Taker, varieties: Sequence[tuple[str, str]]
    ) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
        """(score (V,), ruled out (V,)) of varieties at the taker's site; no scores where it has none."""
        size = len(varieties)
        if taker.site is None or taker.site_fault:
            return np.zeros(size), np.zeros(size, dtype=bool)
        key = (taker.site, size)
        if key not in self._scores:
            _, score, verdict = self._ranked[taker.site]
            wanted = list(varieties)
            self._scores[key] = (
                score.reindex(wanted).to_numpy(np.float64),
                verdict.reindex(wanted).eq("ruled out").to_numpy(bool),
            )
        return self._scores[key]


class Stocks:
    """Which rootstock takes which variety."""

    def __init__(self, catalog: Catalog) -> None:
        self._table = catalog.rootstocks().set_index("rootstock", drop=False)
        self._by_name = {fold(str(name)): str(name) for name in self._table.index}
        self._traits = catalog.traits().set_index(["crop", "variety"], drop=False)
        names = catalog.names()
        self._names = {str(crop): rows for crop, rows in names.groupby("crop")}
        self._rows = {str(name): self._table.loc[[name]] for name in self._table.index}
        self._crops = {
            str(name): frozenset(str(crops).split("|"))
            for name, crops in zip(self._table.index, self._table["for_crops"], strict=True)
        }
        self._takes: dict[tuple[str, tuple[str, str]], bool] = {}

    def named(self, text: str) -> str | None:
        """The accepted name of a rootstock, None where it is not known."""
        return self._by_name.get(fold(text))

    def takes(self, stock: str, variety: tuple[str, str]) -> bool:
        """The stock is one of the crop and nothing published speaks against the graft."""
        key = (stock, variety)
        if variety[0] not in self._crops[stock]:
            return False
        if key not in self._takes:
            traits: Any = self._traits.loc[variety]
            match = graft_match(self._rows[stock], variety[0], traits, self._names.get(variety[0]))
            self._takes[key] = match[0][0] != "incompatible"
        return self._takes[key]

    def fitting(self, taker: Taker, variety: tuple[str, str]) -> list[str]:
        """The rootstocks at hand that take the variety."""
        return [stock for stock, _ in taker.stocks if self.takes(stock, variety)]
