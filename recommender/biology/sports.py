"""Sports: bud mutations that carry another name but are, for pollination, the same tree.

In: the wide traits frame. Out: which varieties are one clone (`clone_groups`), the circles in `sport_of`
nobody can be right about (`circles`), and the frame with what sports take over from their parent filled in
(`inherited`).
"""

from __future__ import annotations

import numpy as np
import pandas as pd

INHERITED = ("s_alleles", "ploidy", "self_fertility", "pollen", "flowering_type", "bloom_group")
"""What a bud mutation keeps of its parent unless something else is published of it."""


def parents(traits: pd.DataFrame) -> np.ndarray:
    """(n,) position of each variety's parent by `sport_of`, or -1. Within a crop only."""
    n = len(traits)
    found = np.full(n, -1, dtype=np.int64)
    if "sport_of" not in traits:
        return found
    stated = traits["sport_of"].fillna("").to_numpy()
    rows = np.flatnonzero(stated != "")
    if not len(rows):
        return found
    crops = traits["crop"].to_numpy()
    place = {key: k for k, key in enumerate(zip(crops, traits["variety"].to_numpy(), strict=True))}
    for row in rows:
        found[row] = place.get((crops[row], stated[row]), -1)
    return found


def roots(parent: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(root, circular): the position of each variety's first ancestor (itself if none), and who stands in a
    circle.

    A variety in a circle is its own root: where two are each said to be the other's sport, neither is
    believed.
    """
    root = np.arange(len(parent))
    circular = np.zeros(len(parent), dtype=bool)
    for start in np.flatnonzero(parent >= 0):
        seen, at = [int(start)], int(parent[start])
        while at >= 0 and at not in seen:
            seen.append(at)
            at = int(parent[at])
        if at >= 0:
            circular[seen[seen.index(at) :]] = True
        else:
            root[start] = seen[-1]
    root[circular] = np.flatnonzero(circular)
    for start in np.flatnonzero(~circular & (parent >= 0)):
        at = int(start)
        while parent[at] >= 0 and not circular[at]:
            at = int(parent[at])
        root[start] = at
    return root, circular


def inherited(traits: pd.DataFrame, root: np.ndarray) -> pd.DataFrame:
    """The traits with `INHERITED` gaps of each sport filled from its root, standing included."""
    sports = np.flatnonzero(root != np.arange(len(root)))
    if not len(sports):
        return traits
    out = traits.copy()
    for name in INHERITED:
        if name not in out:
            continue
        rows = sports[out[name].isna().to_numpy()[sports]]
        for trait in (name, f"{name}_standing"):
            if trait in out and len(rows):
                values = out[trait].to_numpy(copy=True)
                values[rows] = values[root[rows]]
                out[trait] = values
    return out
