"""Search in the names of the catalog: what a person typed -> the varieties it may mean, best first.

In come accepted names, other names and how many statements there are of each variety; out goes a frame. The
text is only ever compared with names (rapidfuzz), never run as a query.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from recommender.catalog.references import fold

LEAST_LIKENESS = 72.0
"""Below this likeness [0 to 100, rapidfuzz QRatio] a name is not offered; a house rule."""

_EXACT, _BEGINS, _WITHIN, _WORDS = 400.0, 300.0, 200.0, 150.0
_LONGEST = 120


class Finder:
    """The names of one catalog, ready to be searched.

    varieties: crop, variety, origin, year; names: crop, name, variety; statements: crop, variety,
    statements, sources (see `Catalog.statement_counts`).
    """

    def __init__(self, varieties: pd.DataFrame, names: pd.DataFrame, statements: pd.DataFrame) -> None:
        known = varieties[["crop", "variety", "origin", "year"]].merge(
            statements, how="left", on=["crop", "variety"]
        )
        known[["statements", "sources"]] = known[["statements", "sources"]].fillna(0).astype(int)
        self._varieties = known
        place = {pair: at for at, pair in enumerate(zip(known["crop"], known["variety"], strict=True))}
        others = [
            (place[(crop, variety)], name)
            for crop, name, variety in names[["crop", "name", "variety"]].itertuples(index=False, name=None)
            if (crop, variety) in place
        ]
        self._at = np.array([*range(len(known)), *(at for at, _ in others)], np.intp)
        self._names = [*known["variety"], *(name for _, name in others)]
        self._folded = [fold(str(name)) for name in self._names]

    def find(self, text: str, crops: Sequence[str] = (), top: int = 200) -> pd.DataFrame:
        """Varieties whose name or other name is like `text`, best first; without text those most is known of.

        crops: only of these. Columns: crop, variety, also (the other name that fits, "" for the accepted
        one), origin, year, statements, sources.
        """
        wanted = fold(text[:_LONGEST])
        if wanted:
            words = [word for word in map(fold, text[:_LONGEST].split()) if word]
            found = self._alike(wanted, words)
        else:
            found = self._varieties.assign(also="", likeness=0.0) if not text.strip() else self._none()
        if crops:
            found = found[found["crop"].isin(list(crops))]
        order = ["likeness", "statements", "variety", "crop"]
        found = found.sort_values(order, ascending=[False, False, True, True], kind="stable")
        columns = ["crop", "variety", "also", "origin", "year", "statements", "sources"]
        return found[columns].head(top).reset_index(drop=True)

    def _none(self) -> pd.DataFrame:
        return self._varieties.head(0).assign(also="", likeness=0.0)

    def _alike(self, wanted: str, words: list[str]) -> pd.DataFrame:
        from rapidfuzz import fuzz, process

        likeness = process.cdist([wanted], self._folded, scorer=fuzz.QRatio, score_cutoff=LEAST_LIKENESS)[0]
        score = likeness.astype(float)
        # Very short names fit into everything; of those only a whole fit counts.
        score[[len(name) < 3 or len(wanted) < 3 for name in self._folded]] = 0.0
        for at, name in enumerate(self._folded):
            if name == wanted:
                score[at] = _EXACT
            elif name.startswith(wanted):
                score[at] = _BEGINS
            elif len(wanted) >= 3 and wanted in name:
                score[at] = _WITHIN
            elif len(words) > 1 and all(word in name for word in words):
                score[at] = _WORDS
        hits = np.flatnonzero(score > 0)
        best = pd.DataFrame({"place": self._at[hits], "name": hits, "likeness": score[hits]})
        best = best.sort_values(["likeness", "name"], ascending=[False, True], kind="stable")
        best = best.drop_duplicates("place")
        found = self._varieties.iloc[best["place"]].assign(likeness=best["likeness"].to_numpy())
        accepted = best["name"].to_numpy() < len(self._varieties)
        also = [
            "" if its_own else self._names[at] for its_own, at in zip(accepted, best["name"], strict=True)
        ]
        return found.assign(also=also)
