"""The four verdicts, what each asks of the criteria, and the order of a list.

In come the limiting criteria with their cautious and hopeful ends, the wishes, and how much is known of each
variety; out go verdicts as places in `VERDICTS`, and rows best first. Sound: the evidence fits on every count
that matters. With care: one of them is less than good, or hangs on a figure that could be worse. Doubtful:
something that matters fits badly, or too little is known. Ruled out: it would fail even if the evidence errs
in its favour.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
VERDICTS = ("sound", "with care", "doubtful", "ruled out")
SOUND, WITH_CARE, DOUBTFUL, RULED_OUT = range(4)


@dataclass(frozen=True)
class Limit:
    """One of the criteria a tree lives or bears by.

    sound, doubtful: at or above the first it allows `sound`, below the second the verdict is `doubtful`;
    veto: below it, even at the hopeful end of the evidence, the variety is ruled out.
    """

    sound: float
    doubtful: float
    veto: float


LIMITS: dict[str, Limit] = {
    "winter": Limit(sound=0.90, doubtful=0.70, veto=0.50),
    "chill": Limit(sound=0.80, doubtful=0.60, veto=0.25),
    "dormancy": Limit(sound=0.55, doubtful=0.35, veto=0.0),
    "bloom_frost": Limit(sound=0.70, doubtful=0.40, veto=0.05),
    "season": Limit(sound=0.70, doubtful=0.35, veto=0.10),
    "warmth": Limit(sound=0.70, doubtful=0.35, veto=0.05),
}
# With care instead of sound where the least that the evidence allows is lower than this.
UNPROVEN = 0.6
# Ruled out, however wide the evidence, where what is expected falls below this share of the veto. Left out
# are the season, since dates at a new place err by weeks, and chill, since trees of low need crop in places
# without winter (`limits.LOW_NEED_h`): there only the hopeful end can rule out.
HOPELESS, NEVER_HOPELESS = 0.2, frozenset({"season", "chill"})
# Sound needs pollen that is not known to be missing: a partner, neighbours' trees, or at least no answer.
PARTNER_MISSING = 0.6
TOO_BIG = 0.4
# Of `evidence`: doubtful below the first, sound from the second on. Of the varieties asked about on regional
# lists, lists recommend 2 in 1000 below the first, 6 between and 30 above (see docs/validation.md).
TOO_LITTLE, WELL_KNOWN = 0.4, 0.6
RULED_OUT_CEILING = 0.15


def evidence(published_share: Floats, record: Floats) -> Floats:
    """How well known a variety is here, (V,) or (S, V) in [0, 1]: by what is published of it, or by who grows
    it in climates like this one; either makes up for the other."""
    return np.asarray(1.0 - (1.0 - published_share) * (1.0 - record), dtype=float)


def is_ruled_out(found: Mapping[str, Floats]) -> NDArray[np.bool_]:
    """Whether a veto falls: a limit failed at the hopeful end of the evidence, or hopeless as expected."""
    fallen = [
        (found.get(f"{name}_high", found[name]) < limit.veto)
        | ((found[name] < limit.veto * HOPELESS) & (name not in NEVER_HOPELESS))
        for name, limit in LIMITS.items()
    ]
    return np.asarray(np.any(fallen, axis=0))


def best_possible(wished: Mapping[str, Floats], known: Floats | None = None) -> NDArray[np.intp]:
    """The best verdict that pollen, room and evidence allow, as its place in VERDICTS.

    Sound needs that pollen is not known to be missing (who has not said what stands nearby is told to see to
    a partner; that is no failing of the variety) and room enough. known: `evidence`, enough where not given.
    """
    fits = (wished["pollination"] >= PARTNER_MISSING) & (wished["size"] >= TOO_BIG)
    best = np.where(fits, SOUND, WITH_CARE)
    if known is not None:
        best = np.select([known < TOO_LITTLE, known < WELL_KNOWN], [DOUBTFUL, WITH_CARE], default=best)
    return np.asarray(best, dtype=np.intp)


def verdicts(found: Mapping[str, Floats], wished: Mapping[str, Floats]) -> NDArray[np.intp]:
    """The verdict of each variety, (V,) or (S, V), as its place in VERDICTS. found: the limits with their
    ends, and `evidence` (enough where it is not given)."""
    ruled_out = is_ruled_out(found)
    doubtful, sound = np.zeros(ruled_out.shape, bool), np.ones(ruled_out.shape, bool)
    for name, limit in LIMITS.items():
        value = found[name]
        doubtful |= value < limit.doubtful
        sound &= value >= limit.sound
        if f"{name}_low" in found:
            sound &= found[f"{name}_low"] >= UNPROVEN
    verdict = np.select([doubtful, sound], [DOUBTFUL, SOUND], default=WITH_CARE)
    verdict = np.maximum(verdict, best_possible(wished, found.get("evidence")))
    return np.where(ruled_out, RULED_OUT, verdict)


def tier(verdict: NDArray[np.integer]) -> NDArray[np.int8]:
    """0 for sound and with care, 1 for doubtful, 2 for ruled out: a list runs by this before the score."""
    return np.maximum(np.asarray(verdict, dtype=np.int8) - 1, 0).astype(np.int8)


def in_order(score: Floats, verdict: NDArray[np.intp]) -> NDArray[np.intp]:
    """Rows (V,) best first: sound and with care together by score, then doubtful, then ruled out. Equal
    scores keep the catalog's order (crop, then variety), so that a list is the same every time."""
    return np.lexsort((-score, tier(verdict)))


__all__ = [
    "DOUBTFUL", "HOPELESS", "LIMITS", "RULED_OUT", "RULED_OUT_CEILING", "SOUND", "TOO_BIG", "TOO_LITTLE",
    "VERDICTS", "WELL_KNOWN", "WITH_CARE", "Limit", "best_possible", "evidence", "in_order",
    "is_ruled_out", "tier", "verdicts",
]  # fmt: skip
