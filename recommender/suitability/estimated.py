"""Estimates of unpublished traits as departures from a crop's usual value, in the order of the varieties.

In come the wide traits (V rows) and the catalog's estimates (long); out goes `Estimated`. Departures, not
values: hardy and low-chill varieties get published most, so what is usual among the published is not what is
usual for the crop, while the difference between varieties carries over.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Estimated:
    """Estimates by trait. number, usual, error: trait -> (V,), NaN where there is none (`size` rows)."""

    size: int
    number: dict[str, Floats] = field(default_factory=dict)
    usual: dict[str, Floats] = field(default_factory=dict)
    error: dict[str, Floats] = field(default_factory=dict)

    def taken(self, rows: NDArray[np.intp]) -> Estimated:
        """The same for some rows."""
        parts = [
            {name: values[rows] for name, values in part.items()}
            for part in (self.number, self.usual, self.error)
        ]
        return Estimated(len(rows), *parts)

    def value(self, trait: str) -> Floats:
        """The estimate (V,) in the trait's unit, or the place of its class."""
        return self.number.get(trait, np.full(self.size, np.nan))

    def departure(self, *traits: str, scale: tuple[float, ...] = ()) -> tuple[Floats, Floats]:
        """Estimate minus the crop's usual value, and its error (V,): of the first of `traits` that has one,
        each times its `scale` (1 if left out); NaN where none has."""
        apart, error = np.full(self.size, np.nan), np.full(self.size, np.nan)
        for place, trait in enumerate(traits):
            if trait not in self.number:
                continue
            factor = scale[place] if place < len(scale) else 1.0
            open_rows = ~np.isfinite(apart)
            apart = np.where(open_rows, (self.number[trait] - self.usual[trait]) * factor, apart)
            error = np.where(open_rows, self.error[trait] * abs(factor), error)
        return apart, error


def estimated_for(frame: pd.DataFrame, estimates: pd.DataFrame | None) -> Estimated:
    """The estimates in the order of `frame` (crop, variety). What the frame has published meanwhile is left
    out."""
    if estimates is None or not len(estimates):
        return Estimated(len(frame))
    row = pd.Series(np.arange(len(frame)), index=pd.MultiIndex.from_frame(frame[["crop", "variety"]]))
    columns: dict[str, dict[str, Floats]] = {"number": {}, "usual": {}, "error": {}}
    for trait, part in estimates.groupby("trait", sort=True):
        name = str(trait)
        at = row.reindex(pd.MultiIndex.from_frame(part[["crop", "variety"]])).to_numpy(dtype=float)
        here = np.isfinite(at)
        rows = at[here].astype(np.intp)
        open_rows = frame[name].isna().to_numpy()[rows] if name in frame else np.ones(len(rows), dtype=bool)
        for column, by_trait in columns.items():
            values = np.full(len(frame), np.nan)
            values[rows[open_rows]] = part[column].to_numpy(dtype=float)[here][open_rows]
            by_trait[name] = values
    return Estimated(len(frame), **columns)
