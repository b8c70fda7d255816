"""How alike two varieties of one crop are: a mixed-type distance over what a customer would notice.

In comes the wide traits frame; out go distances in [0, 1] per feature and together. Each feature is
compared by its own rule (sets by their overlap, dates in days, classes by their steps, as Gower's general
coefficient does). The features are weighed as learned, with weights of nought or more, from published
tables of use and season (`python -m benchmarks.nursery likeness --fit`; docs/stand-ins.md says how far that
goes). What nobody published counts as the usual difference between two varieties of the crop, so it neither
helps nor harms.

Reference: J. C. Gower, A general coefficient of similarity and some of its properties, Biometrics 27
(1971).
"""

from __future__ import annotations

import weakref
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

if TYPE_CHECKING:
    from recommender.catalog.catalog import Catalog

Floats = NDArray[np.float64]
SEASONS = {
    "very-early": 0.0,
    "early": 1.0,
    "early-mid": 1.5,
    "mid": 2.0,
    "mid-late": 2.5,
    "late": 3.0,
    "very-late": 4.0,
}
_SIZES = {"small": 0.0, "medium": 1.0, "large": 2.0, "very-large": 3.0}
_VIGOUR = {"weak": 0.0, "medium": 1.0, "strong": 2.0, "very-strong": 3.0}
_STONE = {"free": 0.0, "semi": 1.0, "cling": 2.0}
_DISEASE = {
    "immune": 0.0, "resistant": 1.0, "moderately-resistant": 2.0, "moderately-susceptible": 3.0,
    "susceptible": 4.0,
    "very-susceptible": 5.0,
}  # fmt: skip
_COLOURS = {
    "red": (0.0, 1.0), "pink": (0.3, 0.8), "bicolour": (0.5, 0.8), "yellow-orange": (0.75, 0.85),
    "orange": (0.6, 1.0),
    "amber": (0.8, 0.6), "yellow": (1.0, 0.8), "yellow-green": (1.3, 0.8), "green": (1.6, 0.8),
    "cream": (1.0, 0.3),
    "white": (1.0, 0.0), "russet": (0.9, 0.2), "brown": (0.6, 0.0), "purple": (-0.4, 0.6), "black": (-0.6,
    0.2),
}  # fmt: skip
"""Colours on two axes, from purple over red and yellow to green, and from pale to strong (our own, from how
they are mixed)."""
RIPE_DAYS = 45.0
SEASON_DAYS = 21.0
"""Days by which two ripening dates differ as much as they can; one step of a season class [d] (common
practice)."""

WEIGHTS: dict[str, float] = {
    "use": 1.7,
    "ripening": 2.5,
    "flavour": 0.6,
    "skin colour": 0.7,
    "flesh colour": 0.8,
    "storage": 0.55,
    "size": 0.65,
    "stone": 0.8,
    "vigour": 0.3,
    "disease": 0.4,
    "bloom": 0.6,
    "kind": 1.0,
}
"""Learned, starting from COMMON_PRACTICE, by the benchmark named above; rounded."""
COMMON_PRACTICE: dict[str, float] = {
    "use": 1.5,
    "ripening": 2.0,
    "flavour": 0.6,
    "skin colour": 1.0,
    "flesh colour": 0.8,
    "storage": 0.6,
    "size": 0.7,
    "stone": 0.8,
    "vigour": 0.3,
    "disease": 0.5,
    "bloom": 0.6,
    "kind": 1.0,
}
"""What learning starts from and is held to (common practice)."""
FEATURES = tuple(WEIGHTS)
_CACHE: weakref.WeakKeyDictionary[Any, dict[str, Likeness]] = weakref.WeakKeyDictionary()


@dataclass(frozen=True, eq=False)
class Likeness:
    """All pairs of one crop. varieties: (n,) names; parts: feature -> (n, n) distance in [0, 1], NaN where
    not known.

    usual: feature -> mean distance of a random pair; clone: (n,) position of the variety each is a sport of.
    """

    crop: str
    varieties: NDArray[np.object_]
    parts: dict[str, NDArray[np.float32]] = field(repr=False)
    usual: dict[str, float]
    clone: NDArray[np.int64]

    def distance(self, row: int, weights: dict[str, float] | None = None) -> Floats:
        """(n,) distance in [0, 1] of every variety from the one at `row`; nought from itself."""
        weighed = weights if weights is not None else WEIGHTS
        total = np.zeros(len(self.varieties))
        for name, weight in weighed.items():
            part = self.parts[name][row]
            total += weight * np.where(np.isfinite(part), part, self.usual[name])
        out = np.asarray(total / sum(weighed.values()), dtype=float)
        out[row] = 0.0
        return out

    def known(self, row: int) -> Floats:
        """(n,) share of the weights on features known of both."""
        total = sum(WEIGHTS.values())
        share = np.zeros(len(self.varieties))
        for name, weight in WEIGHTS.items():
            share += weight * np.isfinite(self.parts[name][row])
        return share / total

    def position(self, variety: str) -> int:
        """Place of a variety; -1 if the crop has none of that name."""
        found = np.flatnonzero(self.varieties == variety)
        return int(found[0]) if len(found) else -1


def likeness(catalog: Catalog, crop: str) -> Likeness:
    """All pairs of a crop of a catalog, worked out once for each open catalog."""
    held = _CACHE.setdefault(catalog, {})
    if crop not in held:
        traits = catalog.traits()
        held[crop] = compare(traits.loc[traits["crop"].eq(crop)].reset_index(drop=True))
    return held[crop]


def compare(traits: pd.DataFrame) -> Likeness:
    """All pairs of the varieties of a wide traits frame of one crop."""
    from recommender.biology import sports

    n = len(traits)
    parts: dict[str, NDArray[np.float32]] = {
        "use": _sets(_column(traits, "use")),
        "ripening": _ripening(traits),
        "flavour": _gap(_number(traits, "brix"), 6.0),
        "skin colour": _colours(_column(traits, "skin_colour")),
        "flesh colour": _colours(_column(traits, "flesh_colour")),
        "storage": _gap(np.log1p(_number(traits, "storage")), np.log(12.0)),
        "size": _gap(_classes(traits, "fruit_size", _SIZES), 2.0),
        "stone": _gap(_classes(traits, "stone_freedom", _STONE), 2.0),
        "vigour": _gap(_classes(traits, "vigour", _VIGOUR), 2.0),
        "disease": _diseases(traits),
        "bloom": _bloom(traits),
        "kind": _kinds(traits),
    }
    off = ~np.eye(n, dtype=bool)
    usual = {}
    for name, part in parts.items():
        known = part[off & np.isfinite(part)]
        usual[name] = float(known.mean()) if len(known) >= 20 else 0.4
    root, _ = sports.roots(sports.parents(traits))
    return Likeness(
        crop=str(traits["crop"].iloc[0]) if n else "",
        varieties=traits["variety"].to_numpy(dtype=object),
        parts=parts,
        usual=usual,
        clone=root,
    )


def _column(traits: pd.DataFrame, name: str) -> NDArray[np.object_]:
    if name not in traits:
        return np.full(len(traits), "", dtype=object)
    column = traits[name].astype(object)
    return np.asarray(column.where(column.notna(), ""), dtype=object)


def _number(traits: pd.DataFrame, name: str) -> Floats:
    if name not in traits:
        return np.full(len(traits), np.nan)
    return np.asarray(pd.to_numeric(traits[name], errors="coerce"), dtype=float)


def _classes(traits: pd.DataFrame, name: str, steps: dict[str, float]) -> Floats:
    return np.asarray(pd.Series(_column(traits, name)).map(steps), dtype=float)


def _gap(values: Floats, widest: float) -> NDArray[np.float32]:
    return np.minimum(np.abs(values[:, None] - values[None, :]) / widest, 1.0).astype(np.float32)


def _sets(texts: NDArray[np.object_]) -> NDArray[np.float32]:
    """1 minus shared over all (Jaccard); NaN where either is empty."""
    words = sorted({word for text in texts for word in str(text).split("|") if word})
    holds = np.array([[word in str(text).split("|") for word in words] for text in texts], dtype=np.float32)
    if not words:
        return np.full((len(texts), len(texts)), np.nan, dtype=np.float32)
    both = holds @ holds.T
    size = holds.sum(axis=1)
    either = size[:, None] + size[None, :] - both
    out = 1.0 - both / np.maximum(either, 1.0)
    out[size == 0, :] = np.nan
    out[:, size == 0] = np.nan
    return out.astype(np.float32)


def _ripening(traits: pd.DataFrame) -> NDArray[np.float32]:
    """Mean of the gap in days and the gap in season class, or the one that is known.

    Days are those against the crop's reference, else those of picking as published. A date from one place and
    a class from another both err; where they disagree neither is to be believed alone.
    """
    dates = _gap(_number(traits, "ripening_offset"), RIPE_DAYS)
    days = _number(traits, "harvest_start")
    apart = np.abs(days[:, None] - days[None, :])
    apart = np.minimum(np.minimum(apart, 365.0 - apart) / RIPE_DAYS, 1.0).astype(np.float32)
    dates = np.where(np.isfinite(dates), dates, apart)
    classes = _gap(_classes(traits, "ripening_season", SEASONS), RIPE_DAYS / SEASON_DAYS)
    both = np.isfinite(dates) & np.isfinite(classes)
    return np.where(both, (dates + classes) / 2, np.where(np.isfinite(dates), dates, classes)).astype(
        np.float32
    )


def _bloom(traits: pd.DataFrame) -> NDArray[np.float32]:
    out = _gap(_number(traits, "bloom_offset"), 10.0)
    return np.where(np.isfinite(out), out, _gap(_classes(traits, "bloom_season", SEASONS), 3.0))


def _colours(texts: NDArray[np.object_]) -> NDArray[np.float32]:
    places = np.array([_COLOURS.get(str(text), (np.nan, np.nan)) for text in texts], dtype=float).reshape(
        -1, 2
    )
    gap = np.sqrt(((places[:, None, :] - places[None, :, :]) ** 2).sum(axis=2))
    return np.minimum(gap, 1.0).astype(np.float32)


def _diseases(traits: pd.DataFrame) -> NDArray[np.float32]:
    """Mean difference over the diseases that both are rated for."""
    n = len(traits)
    total, count = np.zeros((n, n)), np.zeros((n, n))
    for name in traits.columns:
        if name.startswith("disease:") and not name.endswith(("_standing", "_agreement")):
            gap = _gap(_classes(traits, name, _DISEASE), 3.0)
            known = np.isfinite(gap)
            total += np.where(known, gap, 0.0)
            count += known
    return np.where(count > 0, total / np.maximum(count, 1.0), np.nan).astype(np.float32)


def _kinds(traits: pd.DataFrame) -> NDArray[np.float32]:
    """Astringent or not (persimmon), flowering type (fig, avocado): another kind is another fruit."""
    out = np.full((len(traits), len(traits)), np.nan, dtype=np.float32)
    for name in ("astringent", "flowering_type"):
        texts = _column(traits, name)
        known = (texts != "")[:, None] & (texts != "")[None, :]
        out = np.where(known, (texts[:, None] != texts[None, :]).astype(np.float32), out)
    return out
