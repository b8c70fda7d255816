"""The criteria: each one a question to a variety at a site, answered in [0, 1] with a meaning that can be
checked.

In come `Varieties` (arrays over V varieties), the site's `Profile` (arrays over Y years) and the answers; out
go arrays (V,). The first five ask whether the tree lives and bears; the rest how well it answers the garden
and the wishes. Acclimation, ice and wind are left out. Each share of years is an expectation: where a
variety's figure is uncertain, every year counts by its chance, so a vague figure gives a middling answer,
never a good one. The criteria that read yearly figures alone take those of many sites, (S, Y), as well, with
the sites' errors (S,), and give (S, V).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import ndtr

from recommender.biology.bloom_parameters import HOURS_PER_PORTION
from recommender.suitability.crop_defaults import early_crops
from recommender.suitability.expectations import (
    Trait,
    Varieties,
    mapped,
    number,
    text,
)
from recommender.suitability.shares import normal, share_above
from recommender.suitability.zones import ZONES_PER_K, zone_of_hardiness

if TYPE_CHECKING:
    from recommender.climate.profile import Profile
    from recommender.suitability.garden_partners import Garden
    from recommender.suitability.goals import Goals
    from recommender.suitability.site import Site
    from recommender.suitability.timing import Timing

Floats = NDArray[np.float64]

BLOOM_LASTS_DAYS = 12
# A tree still crops fully when this share of its flowers lives (common practice: far more open than can be
# carried).
FLOWERS_FOR_A_CROP = 0.3
# 10 % and 90 % of open flowers die at these temperatures where the crop has no table of its own (28 and 25
# degF, the apple's; published in Utah State IPM-012-11).
OTHER_KILL_degC = (-2.2, -3.9)
# Catkins and female flowers of hazel in bloom may go unhurt at 16 degF, -8.9 degC (Slate 1930, in: Northern
# Nut Growers Association, 39th report, 1948; source nnga-1948-filbert). So a tenth is taken to die there;
# nine tenths 5 K lower is our choice.
CROP_KILL_degC: dict[str, tuple[float, float]] = {"hazelnut": (-8.9, -13.9)}
# See `stays_asleep`: times the need at which half the trees wake too early, and its spread in
# doublings (estimated).
WAKING_RATIO = 7.0
WAKING_SPREAD = 0.8
# A variety nobody rated stands this much below what its expected hardiness would be rated (estimated).
UNRATED = 0.1
# What the answer on pollination is worth: alone, alone in part, with bees from next door, not known, nobody
# near.
POLLINATION = {
    "alone": 1.0,
    "partly": 0.75,
    "neighbours": 0.85,
    "unknown": 0.65,
    "nobody": 0.45,
    "no fruit": 0.2,
}


def site_error(profile: Profile, name: str, otherwise: float) -> float:
    """The error the climate room states for a figure, or `otherwise` where it states none."""
    value = profile.errors.get(name, otherwise)
    return float(value) if np.isfinite(value) else otherwise


def safe_zone(site_zone: float) -> float:
    """The rating a cautious buyer asks for: two zones colder than the site (common practice).

    site_zone: number of the site's zone (7.5 = 7b); out comes a zone number.
    """
    return max(1.0, site_zone - 2.0)


def rated_for_zone(varieties: Varieties, site_zone: Floats | float) -> Floats:
    """How far the zone a variety is sold for reaches the site's (V,): 1 if it does, 0 at two zones short;
    unrated, what is to be expected of its hardiness, less UNRATED.

    site_zone: number of the site's zone (7.5 = 7b), or a column (S, 1) of them. Winter survival asks the same
    of temperatures and allows for their error; the rating is what the trade goes by, and what published lists
    follow.
    """
    rated = number(varieties.frame, "zone_min")
    usual = zone_of_hardiness(varieties.hardiness.value)
    spread = np.maximum(varieties.hardiness.error * ZONES_PER_K, 1e-6)

    def short_of(zone: Floats | float) -> Floats:
        apart = (usual - zone) / spread
        return np.asarray(spread * (apart * normal(apart) + np.exp(-0.5 * apart**2) / np.sqrt(2.0 * np.pi)))

    likely = np.clip(1.0 - (short_of(site_zone) - short_of(site_zone + 2.0)) / 2.0 - UNRATED, 0.0, 1.0)
    known = np.isfinite(rated)
    return np.where(known, 1.0 - np.clip(np.where(known, rated, 0.0) - site_zone, 0.0, 2.0) / 2.0, likely)


def winter_survival(annual_min: Floats, hardiness: Trait, site_error_K: Floats | float) -> Floats:
    """Expected share of winters whose coldest night stays above what the variety stands.

    annual_min (Y,) [degC]; hardiness [degC]; 0.9 means: hurt badly in about one winter of ten.
    """
    return share_above(annual_min, hardiness.value, hardiness.error, site_error_K)


def enough_chill(
    hours: Floats,
    portions: Floats,
    varieties: Varieties,
    error_hours: Floats | float,
    error_portions: Floats | float,
    shift: Floats | None = None,
) -> Floats:
    """Expected share of winters that bring the chill a variety needs.

    hours (Y,): hours at or below 7.2 degC; portions (Y,): Dynamic Model. A need published in portions is
    judged in portions. One published in hours (or Utah units) is judged in hours and, at 15 hours a portion,
    in portions, and the better of the two counts: hours miss the mild chilling days of maritime winters,
    which portions count.
    shift (V,): moves every need by that many of its errors (for the cautious and the hopeful end).
    A crop that needs no chill gets 1.
    """
    step = np.zeros(len(varieties)) if shift is None else shift
    width = 1.0 if shift is None else 0.0
    need, wanted = varieties.chill_hours, varieties.chill_portions

    by_hours = share_above(hours, need.value + step * need.error, need.error * width, error_hours)
    in_portions = varieties.by_portions
    value = np.where(in_portions, wanted.value, need.value / HOURS_PER_PORTION)
    error = np.where(in_portions, wanted.error, need.error / HOURS_PER_PORTION)
    by_portions = share_above(portions, value + step * error, error * width, error_portions)
    judged = np.where(in_portions, by_portions, np.maximum(by_hours, by_portions))
    return np.where(~varieties.by_portions & (need.value <= 0.0), 1.0, judged)


def stays_asleep(hours_0_7: Floats, varieties: Varieties) -> Floats:
    """Chance that the tree does not wake in a mild spell long before spring, given that it lacks no chill.

    hours_0_7 (Y,): chill hours from 0 to 7.2 degC, the ones that count towards waking. A tree whose need is
    met many times over is awake by midwinter: at three times its need it is safe in nearly nine years of ten,
    at seven times in half, and it never gets less than 0.3, as only growth is lost (common practice: choose a
    need near what the site brings). Asked only of crops that blossom early in spring; others wait for warmth
    and get 1.
    """
    need, error = varieties.chill_hours.value, varieties.chill_hours.error
    by_portions = varieties.chill_portions.value * HOURS_PER_PORTION
    need = np.maximum(np.where(varieties.by_portions, by_portions, need), 50.0)
    supply = np.maximum(np.median(hours_0_7, axis=-1), 1.0)[..., None]
    spread = np.hypot(WAKING_SPREAD, np.minimum(error / need, 1.0))
    awake = normal((np.log2(WAKING_RATIO) - np.log2(supply / need)) / spread)
    return np.where(may_wake_early(varieties), 0.3 + 0.7 * awake, 1.0)


def may_wake_early(varieties: Varieties) -> NDArray[np.bool_]:
    """Whether a variety's crop blossoms as soon as spring allows, so that a mild spell can wake it (V,)."""
    early = varieties.frame["crop"].isin(early_crops()).to_numpy(dtype=bool)
    return np.asarray(early & ~varieties.evergreen)


def kill_temperatures(critical: pd.DataFrame | None, crop: pd.Series) -> tuple[Floats, Floats]:
    """10 % and 90 % kill temperatures of open flowers (V,) [degC]; one publication for each crop."""
    table = dict(CROP_KILL_degC)
    if critical is not None and len(critical):
        bloom = critical[critical["stage"].isin(["full bloom", "full white", "full pink"])]
        bloom = bloom.sort_values(["crop", "stage", "source_id"]).drop_duplicates("crop")
        for row in bloom[["crop", "kill10_degC", "kill90_degC"]].dropna().itertuples(index=False):
            table.setdefault(str(row[0]), (float(row[1]), float(row[2])))
    codes, names = pd.factorize(crop)
    both = np.array([table.get(name, OTHER_KILL_degC) for name in names], dtype=float).reshape(-1, 2)[codes]
    return both[:, 0], both[:, 1]


def coldest_fortnight(tmin: Floats) -> Floats:
    """Coldest night (Y, D) [degC] from two days before to twelve days after each day, from tmin (Y, D)."""
    days = tmin.shape[1]
    coldest = np.full(tmin.shape, np.inf)
    for offset in range(-2, BLOOM_LASTS_DAYS + 1):
        if offset < 0:
            part, night = coldest[:, -offset:], tmin[:, :offset]
        else:
            part, night = coldest[:, : days - offset], tmin[:, offset:]
        np.minimum(part, night, out=part)
    return coldest


def bloom_without_frost(
    tmin: Floats, when: Timing, kill10: Floats, kill90: Floats, evergreen: NDArray[np.bool_]
) -> Floats:
    """Expected share of a full crop left by frost at bloom, over the years.

    tmin (Y, D) [degC]; kill10, kill90 (V,) [degC]. The coldest night from two days before full bloom to
    twelve days after kills a share of flowers, straight between the two temperatures; three flowers in ten
    suffice for a full crop. Bloom is taken early, as estimated, and late by its error (weights 1:2:1).
    Evergreens get 1: their flowers follow mild weather and cold is judged in winter.
    """
    return flowers_kept(coldest_fortnight(tmin), when.bloom, when.bloom_error, kill10, kill90, evergreen)


def flowers_kept(
    coldest: Floats,
    bloom: NDArray[np.intp],
    bloom_error: Floats,
    kill10: Floats,
    kill90: Floats,
    evergreen: NDArray[np.bool_],
) -> Floats:
    """The same from the coldest night around each day (Y, D) [degC], days of bloom (V, Y) and their errors
    (V,) [d]."""
    years, days = coldest.shape
    spread = np.rint(bloom_error).astype(np.intp)[:, None]
    start = (np.arange(years) * days)[None, :]
    # dead = 0.1 + 0.8 (kill10 - night) / (kill10 - kill90), so the share of a crop is a line in the night.
    slope = (0.8 / FLOWERS_FOR_A_CROP) / (kill10 - kill90)[:, None]
    foot = 0.9 / FLOWERS_FOR_A_CROP - slope * kill10[:, None]
    nights = coldest.ravel()
    kept = np.zeros(bloom.shape)
    for weight, step in ((0.25, -1), (0.5, 0), (0.25, 1)):
        night = nights.take(np.clip(bloom + step * spread, 0, days - 1) + start)
        night *= slope
        night += foot
        kept += weight * np.clip(night, 0.0, 1.0, out=night)
    return np.where(evergreen, 1.0, kept.mean(axis=1))


def ripens_in_time(when: Timing, evergreen: NDArray[np.bool_], shift: Floats | None = None) -> Floats:
    """Chance, over the years, that fruit is ripe before it freezes or the season turns cold. Evergreens hang
    through winter and get 1.

    A year without bloom is not held against it: the tree lacked chill, which `enough_chill` answers. shift
    (V,): as there, moves every harvest by that many of its errors.
    """
    spare = when.season_end[None, :] - when.harvest
    spare /= when.harvest_error[:, None]
    if shift is not None:
        spare -= shift[:, None]
    ripe = normal(spare)
    if not when.bears.all():
        ripe[~when.bears] = 1.0
    return np.where(evergreen, 1.0, ripe.mean(axis=1))


def warmth_need(varieties: Varieties) -> tuple[Floats, Floats]:
    """Summer warmth wanted for good fruit and how soft that bound is (V,) [degree days above 10 degC].

    The crop's need lies between where a middling variety fails and where it is good; early varieties and
    those of low heat need want less, late ones and those of high heat need more.
    """
    fails = varieties.defaults["warmth_fails"].to_numpy(dtype=float)
    good = varieties.defaults["warmth_good"].to_numpy(dtype=float)
    own = np.nan_to_num(
        mapped(text(varieties.frame, "heat_need"), {"low": 0.85, "medium": 1.0, "high": 1.15}), nan=1.0
    )
    need = (fails + good) / 2.0 * own * (1.0 + 0.08 * np.clip(varieties.ripe_class.value, -2.0, 2.0))
    return need, (good - fails) / 2.0


def warm_enough(gdd10: Floats, varieties: Varieties) -> Floats:
    """Expected share of summers warm enough for good fruit. gdd10 (Y,) [degree days above 10 degC]."""
    return share_above(gdd10, *warmth_need(varieties))


def pollination(garden: Garden, neighbours: str) -> Floats:
    """How sure each variety is of pollen in this garden (V,): 1 if it sets fruit alone, else the chance that
    a tree already standing there serves it, or what the neighbours' trees may be worth, whichever is more.

    neighbours: "yes", "no" or "unknown". Neighbours' trees count nearly as much as one's own, unknown ones
    less.
    """
    open_answer = {"yes": "neighbours", "no": "nobody"}.get(neighbours, "unknown")
    worth = np.maximum(garden.partner.chance, POLLINATION[open_answer])
    worth = np.where(garden.gains, np.maximum(worth, POLLINATION["partly"]), worth)
    return np.where(garden.alone, POLLINATION["alone"], np.where(garden.male, POLLINATION["no fruit"], worth))


def fits_the_room(varieties: Varieties, site: Site, goals: Goals) -> Floats:
    """Chance that the tree can be kept within the room there is, on the smallest stock the trade offers.

    Width is taken as eight tenths of height; a pot of L litres holds a tree of about 0.45 sqrt(L) metres
    (common practice: 45 L for 3 m). 1 where no room was stated.
    """
    limits = [goals.max_height_m]
    if site.space_m is not None:
        limits.append(site.space_m / 0.8)
    if site.plot_m2 is not None:
        limits.append(float(np.sqrt(site.plot_m2)) / 0.8)
    if site.container_L is not None:
        limits.append(0.45 * float(np.sqrt(site.container_L)))
    stated = [limit for limit in limits if limit is not None]
    if not stated:
        return np.ones(len(varieties))
    return ndtr((min(stated) + 0.5 - varieties.height.value) / varieties.height.error)


def wanted_use(varieties: Varieties, uses: Sequence[str]) -> Floats:
    """1 if any wanted use is published for the variety, 0.3 if other uses are, else what its crop makes
    likely."""
    listed = text(varieties.frame, "use")
    wanted = np.array([bool(set(uses) & set(str(value).split("|"))) for value in listed])
    known = listed != ""
    answer = pd.Series(np.where(known, np.where(wanted, 1.0, 0.3), np.nan))
    usual = answer.groupby(varieties.frame["crop"].to_numpy()).transform("mean").fillna(0.6)
    return np.where(known, answer, np.minimum(usual, 0.75))


def wanted_season(varieties: Varieties, seasons: Sequence[str]) -> Floats:
    """Chance that the variety ripens in a wanted third of its crop's own season."""
    place, error = varieties.ripe_class.value, np.maximum(varieties.ripe_class.error, 0.3)
    early, late = ndtr((-0.43 - place) / error), ndtr((place - 0.43) / error)
    chances: Mapping[str, Floats] = {"early": early, "mid": 1.0 - early - late, "late": late}
    return np.clip(sum((chances[season] for season in seasons), np.zeros(len(varieties))), 0.0, 1.0)


def keeps(varieties: Varieties, weeks: float) -> Floats:
    """Chance that fruit keeps the wanted weeks; late fruit keeps longer where nothing is published (error 6
    weeks)."""
    published = number(varieties.frame, "storage")
    known = np.isfinite(published)
    guess = 6.0 + 5.0 * varieties.ripe_class.value
    return ndtr((np.where(known, published, guess) - weeks) / np.where(known, 3.0, 6.0))


__all__ = [
    "bloom_without_frost", "coldest_fortnight", "enough_chill", "fits_the_room", "flowers_kept", "keeps",
    "kill_temperatures", "pollination", "rated_for_zone", "ripens_in_time", "safe_zone", "share_above",
    "site_error", "wanted_season", "wanted_use", "warm_enough", "winter_survival",
]  # fmt: skip
