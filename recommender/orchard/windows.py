"""When to plant at a site: bare-root and potted trees, from its own winter, thaw and summer.

In come the site's climate and the planting table; out go `Window`s in season days, best first, each with its
reason. docs/planting.md states the rules; published windows are named beside the dates the weather gives.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from recommender.climate.season import MIDSUMMER, MIDWINTER, YEAR_DAYS
from recommender.orchard.facts import Fact, Facts
from recommender.wording import day_words, plain

if TYPE_CHECKING:
    from recommender.climate.profile import Profile

Climate = Literal["cold", "mild", "mediterranean", "warm", "frost-free"]
DORMANT_BELOW_degC = 7.0
"""Fortnight's mean below which deciduous trees are taken to be at rest (common practice)."""
FROZEN_BELOW_degC = 0.0
"""Fortnight's mean below which ground is taken to be frozen hard (common practice)."""
THAW_DAYS = 14
"""The ground thaws later than the air (common practice)."""
ROOTS_GROW_ABOVE_degC = 10.0
"""Fortnight's mean above which soil is warm enough for a potted evergreen to root (common practice)."""
HOT_MEAN_degC = 24.0
COLD_ZONE = 6.0
"""Half zones below this count as cold: the ground freezes hard in most winters (common practice)."""
ERRATIC_SPRING_DAYS = 30
"""Last frosts scattered over more days than this (8 years in 10) make a spring erratic (common practice)."""
ESTABLISHING_WEEKS = 6
"""Time roots want before the ground freezes, and before bud break (common practice)."""


@dataclass(frozen=True)
class Window:
    """A span of season days, with why, its standing and its source."""

    kind: str
    first: float
    last: float
    why: str
    standing: str
    source_id: str


def fortnight_mean(profile: Profile) -> np.ndarray:
    """(D,) median over the years of the mean temperature of the 14 days round each season day [degC]."""
    mean = (profile.tmin + profile.tmax) / 2.0
    padded = np.pad(mean, ((0, 0), (7, 7)), mode="edge")
    total = np.cumsum(np.pad(padded, ((0, 0), (1, 0))), axis=1)
    return np.asarray(np.median((total[:, 14:] - total[:, :-14])[:, : mean.shape[1]] / 14.0, axis=0))


def climate_kind(profile: Profile) -> Climate:
    """Which of the usual planting seasons a site has, from its zone, its winter and its summer."""
    mean = fortnight_mean(profile)
    middle = MIDWINTER[profile.hemisphere]
    winter = float(mean[middle - 45 : middle + 75].min())
    if np.isnan(profile.last_spring_frost).mean() > 0.5:
        return "frost-free"
    if profile.zone_number < COLD_ZONE:
        return "cold"
    if winter > DORMANT_BELOW_degC + 1.0:
        return "warm"
    summer = float(np.median(profile.summer_mean))
    return "mediterranean" if summer > HOT_MEAN_degC - 2.0 and profile.zone_number >= 9.0 else "mild"


def planting_windows(profile: Profile, facts: Facts, evergreen: bool = False) -> list[Window]:
    """When to plant bare-root and potted trees at a site, best first.

    Bare-root trees go in while they are at rest and the ground is open. Mild winters: late winter to early
    spring, or early autumn; cold: as soon as hard frost is out of the ground, or autumn too where springs are
    erratic. Evergreens are planted from pots after the last frost in warming soil.
    """
    mean, middle, hemisphere = fortnight_mean(profile), MIDWINTER[profile.hemisphere], profile.hemisphere
    kind = climate_kind(profile)
    rest = _around(mean < DORMANT_BELOW_degC, middle, mean)
    frozen = _around(mean < FROZEN_BELOW_degC, middle, mean) if (mean[:] < FROZEN_BELOW_degC).any() else None
    windows: list[Window] = []
    if not evergreen:
        windows += _bare_root(kind, rest, frozen, middle, facts, _erratic(profile), hemisphere)
    windows += _potted(kind, profile, mean, frozen, middle, evergreen)
    return windows


def _around(cold: np.ndarray, middle: int, mean: np.ndarray) -> tuple[float, float]:
    """First and last day of the unbroken cold spell round the coldest day near midwinter."""
    coldest = middle - 45 + int(np.argmin(mean[middle - 45 : middle + 75]))
    if not cold[coldest]:
        return coldest - 30.0, coldest + 30.0
    first, last = coldest, coldest
    while first > 0 and cold[first - 1]:
        first -= 1
    while last < len(cold) - 1 and cold[last + 1]:
        last += 1
    return float(first), float(last)


def _erratic(profile: Profile) -> bool:
    dates = profile.last_spring_frost[np.isfinite(profile.last_spring_frost)]
    return len(dates) > 4 and float(np.ptp(np.quantile(dates, [0.1, 0.9]))) > ERRATIC_SPRING_DAYS


def _bare_root(
    kind: Climate,
    rest: tuple[float, float],
    frozen: tuple[float, float] | None,
    middle: int,
    facts: Facts,
    erratic: bool,
    hemisphere: str,
) -> list[Window]:
    first, last = rest
    named = {
        "cold": "bare-root, cold-winter climate",
        "mild": "bare-root, oceanic western Europe",
        "mediterranean": "bare-root, mediterranean California",
        "warm": "bare-root, warm-winter climate",
        "frost-free": "bare-root, warm-winter climate",
    }[kind]
    source = facts.get("planting_window", named)
    published = _published(source)
    if kind == "cold" and frozen is not None:
        opens = frozen[1] + 1 + THAW_DAYS
        found = [
            Window(
                "bare-root",
                opens,
                max(opens + 14, last),
                f"As soon as hard frost is out of the ground and before buds break. Published: {published}.",
                source.standing,
                source.source_id,
            )
        ]
        if erratic:
            until = frozen[0] - 14
            found.append(
                Window(
                    "bare-root",
                    min(first, until - 14),
                    until,
                    "Springs here are erratic: autumn, at leaf "
                    "fall and well before the ground freezes, is the other chance.",
                    "common practice",
                    "",
                )
            )
        return found
    late = Window(
        "bare-root",
        max(first, middle + 15),
        last,
        "Late winter to early spring, while the tree is at rest and the ground is open. "
        f"Published: {published}.",
        source.standing,
        source.source_id,
    )
    early = Window(
        "bare-root",
        first,
        min(middle - 15, first + 45),
        "Or in autumn at leaf fall: the soil is still warm and roots start before winter.",
        "common practice" if kind not in ("warm", "frost-free") else source.standing,
        "" if kind not in ("warm", "frost-free") else source.source_id,
    )
    found = [late] if late.first < late.last else []
    return [*found, *([early] if early.first < early.last else [])]


def _published(fact: Fact) -> str:
    words = plain(fact.text)
    return _month_days(words) if "/" in words else words


def _month_days(span: str) -> str:
    first, _, last = span.partition("/")
    return f"{day_words(first)} to {day_words(last)}"


def _potted(
    kind: Climate,
    profile: Profile,
    mean: np.ndarray,
    frozen: tuple[float, float] | None,
    middle: int,
    evergreen: bool,
) -> list[Window]:
    frosts = profile.last_spring_frost[np.isfinite(profile.last_spring_frost)]
    last_frost = float(np.quantile(frosts, 0.9)) if len(frosts) and kind != "frost-free" else float(middle)
    warm = np.flatnonzero(mean[middle:] > ROOTS_GROW_ABOVE_degC)
    hot = np.flatnonzero(mean[middle:] > HOT_MEAN_degC)
    summer = float(middle + hot[0]) if len(hot) else float(MIDSUMMER[profile.hemisphere] - 20)
    rooting = float(middle + warm[0]) if len(warm) else last_frost
    spring = max(last_frost, rooting) if evergreen else rooting - 30
    found = []
    if spring + 14 < summer:
        found.append(
            Window(
                "potted",
                spring,
                summer,
                "From pots: after the last frost, in warming soil and before summer's heat."
                if evergreen
                else "From pots: in spring as the soil warms, before summer's heat.",
                "common practice",
                "",
            )
        )
    if not evergreen or kind in ("warm", "frost-free", "mediterranean"):
        cooling = np.flatnonzero(mean[MIDSUMMER[profile.hemisphere] + 30 :] < 16.0)
        start = MIDSUMMER[profile.hemisphere] + 30 + (float(cooling[0]) if len(cooling) else 60.0)
        ends = (frozen[0] + YEAR_DAYS if frozen is not None else start + 60) - 7 * ESTABLISHING_WEEKS
        if ends - start >= 14:
            found.append(
                Window(
                    "potted",
                    start,
                    min(ends, start + 45, 547.0),
                    "Or in early autumn, so that roots take "
                    f"hold {ESTABLISHING_WEEKS} weeks before the ground cools.",
                    "common practice",
                    "",
                )
            )
    return found
