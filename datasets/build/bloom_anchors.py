"""Bloom of crops that nobody has observed in the open data: a borrowed curve, set by when it usually blooms.

In come the fitted curves of the observed crops; out go curves and requirements of the others. A crop is set
either so many days after another crop at one reference place, or on a usual date at a place where it is
grown. Order and dates are the trade's (common practice), so their errors are wide.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from recommender.biology.bloom_model import (
    BudCurve,
    bud_day_of,
    bud_weather,
    curve_at,
    day_reached,
    heat_sum,
    warmth,
)
from recommender.climate.normals import normals_at
from recommender.climate.profile import Profile, build_profile
from recommender.climate.season import season_day


@dataclass(frozen=True)
class Anchor:
    """curve: the crop whose curve is borrowed; after: crop it follows, by so many days; or a usual date
    "MM-DD" at a place; error_d of that; need: chill [CP] at which it is half awake instead of the borrowed
    one, scaled by the two crops' published needs, NaN for evergreens; warmth: (degC, 1/K) of its own.
    Crops with a warmth or a first date of their own do not wait for longer days."""

    curve: str
    error_d: float
    after: str = ""
    days: float = 0.0
    place: tuple[float, float] | None = None
    date: str = ""
    need: float | None = None
    warmth: tuple[float, float] | None = None
    heat_from: str = ""
    note: str = ""


BONN, DAVIS, VALENCIA = (50.61, 6.99), (38.54, -121.74), (39.47, -0.38)
NEVER = float("nan")


def _citrus(date: str, error_d: float, note: str) -> Anchor:
    return Anchor("apricot", error_d, place=VALENCIA, date=date, need=NEVER, heat_from="01-01", note=note)


ANCHORS: dict[str, Anchor] = {
    "peach": Anchor("apricot", 6, "apricot", 7, note="a week after apricot"),
    "nectarine": Anchor("apricot", 6, "apricot", 7, note="with peach"),
    "plum-apricot": Anchor("japanese-plum", 7, "japanese-plum", 1, note="with Japanese plum"),
    "cherry-plum": Anchor("japanese-plum", 7, "japanese-plum", -6, note="first of the plums"),
    "american-plum": Anchor("european-plum", 6, "european-plum", -1, note="with European plum"),
    "bush-cherry": Anchor("sweet-cherry", 8, "sweet-cherry", 3, note="species differ widely"),
    "duke-cherry": Anchor("sweet-cherry", 6, "sweet-cherry", 3, note="between sweet and sour cherry"),
    "sour-cherry": Anchor("sweet-cherry", 5, "sweet-cherry", 5, note="five days after sweet cherry"),
    "asian-pear": Anchor("european-pear", 6, "european-pear", -4, note="before European pear"),
    "quince": Anchor("apple", 7, "apple", 10, note="a week or two after apple"),
    "medlar": Anchor("apple", 8, "apple", 20, note="three weeks after apple"),
    "mulberry": Anchor("apple", 12, "apple", 14, note="two weeks after apple"),
    "pawpaw": Anchor("apple", 10, "apple", 10, need=30.0, note="a little after apple"),
    "walnut": Anchor("apple", 8, place=DAVIS, date="04-18", need=45.0, note="female bloom of middling sorts"),
    "american-persimmon": Anchor("apple", 10, "apple", 38, need=20.0, note="five to six weeks after apple"),
    "asian-persimmon": Anchor("apple", 9, "apple", 30, need=20.0, note="four weeks after apple"),
    "jujube": Anchor("apple", 12, "apple", 45, need=15.0, note="June, over a long time"),
    "kiwifruit": Anchor("apple", 9, "apple", 33, note="four to five weeks after apple"),
    "hardy-kiwi": Anchor("apple", 9, "apple", 33, note="with kiwifruit"),
    "pomegranate": Anchor("apple", 14, "apple", 35, need=10.0, note="from late spring, over a long time"),
    "fig": Anchor("apple", 21, "apple", 30, need=10.0, note="flowers inside the fig; main crop appears"),
    "hazelnut": Anchor(
        "european-plum", 14, place=BONN, date="02-18", need=35.0, warmth=(8.0, 0.3),
        note="pollen shed, January to March",
    ),
    "sweet-orange": _citrus("04-20", 12, "spring bloom"),
    "mandarin": _citrus("04-18", 12, "spring bloom"),
    "grapefruit": _citrus("04-22", 12, "spring bloom"),
    "lemon": _citrus("04-10", 25, "main bloom; some flowers at any time"),
    "lime": _citrus("04-20", 25, "main bloom; some flowers at any time"),
    "kumquat": _citrus("06-20", 18, "early summer"),
    "hardy-citrus": _citrus("04-08", 14, "trifoliate orange and its hybrids bloom first"),
    "olive": Anchor(
        "apricot", 9, place=(37.88, -4.78), date="05-10", need=NEVER, heat_from="01-01", note="Cordoba in May"
    ),
    "feijoa": Anchor("apricot", 14, place=DAVIS, date="05-20", need=NEVER, heat_from="01-01", note="spring"),
    "avocado": Anchor(
        "apricot", 25, place=(34.35, -119.06), date="04-10", need=NEVER, heat_from="01-01",
        note="over two months in spring",
    ),
    "loquat": Anchor(
        "apricot", 25, place=VALENCIA, date="11-25", need=NEVER, heat_from="09-01", note="autumn into winter"
    ),
    "mango": Anchor(
        "apricot", 25, place=(25.76, -80.19), date="02-05", need=NEVER, heat_from="12-01",
        note="winter, after cool weeks",
    ),
}  # fmt: skip


@lru_cache(maxsize=8)
def reference(place: tuple[float, float]) -> Profile:
    return build_profile(normals_at(*place))


def running(curve: BudCurve, profile: Profile) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    weather = bud_weather(profile)
    daily = warmth(weather.hourly, curve.warmth_degC, curve.steepness)
    return heat_sum(daily, weather.chill, curve, weather.light, bud_day_of(curve.heat_from, profile))


def curve_of(anchor: Anchor, borrowed: BudCurve, ratio: float) -> BudCurve:
    """The borrowed curve with the crop's own chill need (scaled by `ratio` where none is named)."""
    need = borrowed.chill_portions * ratio if anchor.need is None else anchor.need
    base, steep = anchor.warmth or (borrowed.warmth_degC, borrowed.steepness)
    waits = anchor.warmth is None and not anchor.heat_from
    light_h = borrowed.light_h if waits else NEVER
    return BudCurve(need, borrowed.chill_width, borrowed.extra, base, steep, anchor.heat_from, light_h)


def log_requirement(
    anchor: Anchor, curve: BudCurve, leader: tuple[BudCurve, float] | None
) -> tuple[float, float]:
    """Requirement (log of warm hours) that puts bloom where the anchor says, and its growth a day there.

    leader: curve and log requirement of the crop it follows.
    """
    profile = reference(anchor.place or BONN)
    if leader is not None:
        days = np.array([day_reached(year, [np.exp(leader[1])])[0] for year in running(leader[0], profile)])
        days = days + anchor.days
    else:
        first = bud_weather(profile).first_day
        days = np.full(len(profile.year), season_day(anchor.date, "north", after=first) - first, dtype=float)
    sums = running(curve, profile)
    at = [np.log(curve_at(year, [day - 3, day, day + 3])) for year, day in zip(sums, days, strict=True)]
    logs = np.array(at)
    return float(np.nanmedian(logs[:, 1])), float(np.nanmedian((logs[:, 2] - logs[:, 0]) / 6.0))
