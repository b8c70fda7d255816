"""When fruit of each variety is ripe at a site, year by year, for how long, and whether it ripens at all.

In come the catalog's wide traits, a climate profile and bloom by year; out go season days of harvest. Fruit
grows from bloom at a pace that rises with the warmth of the place; a variety is ripe after its number of
days, counted at 17 degC. From year to year only part of an early or late bloom is carried on to harvest, and
warm weeks after bloom hasten it. Fruit that hangs on the tree for months (citrus, avocado, olive, loquat,
mango) is picked in its published window, not at a day counted from bloom. Method page: docs/ripening.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import ndtr

from recommender.biology.bloom import Bloom
from recommender.catalog.package import datasets_folder, read_fitted
from recommender.climate.season import MIDSUMMER, MIDWINTER, SEASON_DAYS, YEAR_DAYS, YEAR_STARTS
from recommender.errors import BadInput

if TYPE_CHECKING:
    from recommender.climate.profile import Profile

Floats = NDArray[np.float64]
Texts = NDArray[np.object_]

# Warmth counts between these daily means, and sets part of the pace; the rest keeps the calendar. The part is
# fitted to published harvest dates at places from 26 to 56 degrees of latitude (build/fit_ripening.py).
PACE_BASE_degC, PACE_TOP_degC, PACE_AT_degC = 4.0, 22.0, 17.0
# Weeks after bloom whose warmth hastens ripening, and the days to ripe of the apples and pears on which the
# carry from bloom was fitted: fruit that takes less time carries more of it.
HASTENING_DAYS, CARRY_FITTED_AT_D = 45, 140.0
# Fruit freezes a little below the freezing point of water, and stops ripening when days are as cold as a
# cellar.
FRUIT_FREEZES_degC = -2.2
FRUIT_STOPS_degC, STOP_DAYS = 7.0, 14
# Place in the crop's season by the word used, in its standard deviations (common practice), and their doubt.
SEASON_PLACE = {
    "very-early": -2.0, "early": -1.2, "early-mid": -0.6, "mid": 0.0, "mid-late": 0.6, "late": 1.2,
    "very-late": 2.0,
}  # fmt: skip
SEASON_ERROR_SHARE, OFFSET_ERROR_D, BLOOM_TO_HARVEST_ERROR_D = 0.5, 5.0, 8.0
WIDEST_OFFSET_INTERVAL_D = 60.0
# How many counts of days make a scale of their own.
SAME_SCALE = 20
Z80 = 1.2816
LONGEST_HANG_D = 240.0
ALL_YEAR_GAP_D = 14.0


@dataclass(frozen=True, eq=False)
class RipeningNeeds:
    """Days to ripe of each variety, arrays (V,).

    days: from full bloom to first picking at 17 degC, NaN where a window is used; window_start, window_end:
    day of the northern year of a published window, NaN where days are used; error_d: of the date, beside that
    of bloom; picking_d: days of picking; storage_d: days that fruit keeps, 0 where unknown; told_by:
    bloom to harvest | published offset | ripening season | window | crop; standing: published | estimated.
    """

    days: Floats
    window_start: Floats
    window_end: Floats
    error_d: Floats
    picking_d: Floats
    storage_d: Floats
    told_by: Texts
    standing: Texts


@dataclass(frozen=True, eq=False)
class Harvest:
    """Harvest of V varieties in Y years, season days.

    start, end (V, Y): first and last picking, NaN in a year without bloom; eaten_until (V, Y): end of picking
    and keeping; error_d (V,): error of a single year's start; not_ripe (V, Y): probability that the season
    ends before the fruit is ripe; season_end (Y,): last day on which fruit still ripens.
    """

    start: Floats
    end: Floats
    eaten_until: Floats
    error_d: Floats
    not_ripe: Floats
    season_end: Floats
    told_by: Texts
    standing: Texts

    @property
    def not_ripe_probability(self) -> Floats:
        """Over the years (V,)."""
        return self.not_ripe.mean(axis=1)


def load_ripening_parameters(folder: Path | None = None) -> pd.DataFrame:
    """ripening_parameters.csv by crop. Raises StorageFault if missing, BadInput if a column is."""
    return _loaded(folder or datasets_folder())


@lru_cache(maxsize=4)
def _loaded(folder: Path) -> pd.DataFrame:
    columns = (
        "crop",
        "ripe_days",
        "ripe_sd_d",
        "error_d",
        "pace_by_warmth",
        "carry",
        "days_per_K",
        "picking_d",
        "window_start",
    )
    return read_fitted("ripening_parameters.csv", columns, folder).set_index("crop")


def pace(mean: Floats, by_warmth: float) -> Floats:
    """Days at 17 degC that pass in one day of each mean temperature [degC], any shape.

    >>> pace(np.array([17.0]), 0.5).tolist()
    [1.0]
    """
    warm = np.clip(mean, PACE_BASE_degC, PACE_TOP_degC) - PACE_BASE_degC
    return 1.0 - by_warmth + by_warmth * warm / (PACE_AT_degC - PACE_BASE_degC)


def _numbers(traits: pd.DataFrame, name: str) -> Floats:
    if name not in traits:
        return np.full(len(traits), np.nan)
    return np.array(pd.to_numeric(traits[name], errors="coerce"), dtype=float)


def _of_crop(crop: Texts, parameters: pd.DataFrame, name: str) -> Floats:
    """A parameter by row; the middle of all crops where a crop is not described."""
    column = parameters[name].astype(float)
    out: Floats = np.array(column.reindex(crop), dtype=np.float64)
    strange = ~np.isin(crop, parameters.index.to_numpy())
    if not name.startswith("window"):
        out[strange] = float(column.median())
    return out


def ripening_needs(
    traits: pd.DataFrame, bloom_shift_d: Floats, parameters: pd.DataFrame | None = None
) -> RipeningNeeds:
    """Days to ripe of each row of the traits (V). bloom_shift_d (V,): `BloomNeeds.shift_d`, since a published
    offset in ripening holds both later bloom and longer growth. Raises BadInput without a crop column."""
    if "crop" not in traits:
        raise BadInput("The traits have no column crop")
    parameters = load_ripening_parameters() if parameters is None else parameters
    crop = traits["crop"].to_numpy(dtype=object)
    usual, sd, crop_error, picking = (
        _of_crop(crop, parameters, name) for name in ("ripe_days", "ripe_sd_d", "error_d", "picking_d")
    )
    days, error = usual.copy(), np.hypot(crop_error, sd)
    told_by = np.full(len(crop), "crop", dtype=object)

    def tell(value: Floats, doubt: Floats | float, name: str) -> None:
        known = np.isfinite(value)
        days[known], told_by[known] = value[known], name
        error[known] = np.hypot(crop_error, np.broadcast_to(doubt, value.shape))[known]

    words = traits["ripening_season"] if "ripening_season" in traits else pd.Series([None] * len(crop))
    by_word = words.astype(object).map(SEASON_PLACE).to_numpy(dtype=float)
    tell(usual + by_word * sd, SEASON_ERROR_SHARE * sd, "ripening season")
    offset, doubt = centred_offset(traits, crop)
    tell(usual + offset - bloom_shift_d, doubt, "published offset")
    tell(days_from_bloom(traits, crop, usual), BLOOM_TO_HARVEST_ERROR_D, "bloom to harvest")
    window_start, window_end = _windows(traits, crop, parameters)
    hangs = np.isfinite(window_start)
    days[hangs], told_by[hangs] = np.nan, "window"
    error[hangs] = crop_error[hangs]
    own_window = hangs & np.isfinite(_numbers(traits, "harvest_start"))
    published = np.isin(told_by, ["bloom to harvest", "published offset"]) | own_window
    storage = np.nan_to_num(_numbers(traits, "storage")) * 7.0
    standing = np.where(published, "published", "estimated").astype(object)
    return RipeningNeeds(days, window_start, window_end, error, picking, storage, told_by, standing)


def centred_offset(traits: pd.DataFrame, crop: Texts) -> tuple[Floats, Floats]:
    """Published ripening offsets less their crop's median (V,) [d], NaN where fewer than four are known, and
    their error (V,)."""
    offset = _numbers(traits, "ripening_offset")
    half = (_numbers(traits, "ripening_offset_high") - _numbers(traits, "ripening_offset_low")) / 2.0
    offset[half > WIDEST_OFFSET_INTERVAL_D / 2.0] = np.nan
    grouped = pd.Series(offset).groupby(crop)
    centre = np.where(grouped.transform("count") >= 4, grouped.transform("median"), np.nan)
    return offset - centre, np.maximum(np.nan_to_num(half, nan=8.0) / Z80, OFFSET_ERROR_D)


def days_from_bloom(traits: pd.DataFrame, crop: Texts, usual: Floats) -> Floats:
    """Published days from bloom to harvest (V,) brought to the scale of `usual` (V,), NaN where unpublished.

    Such days are counted at few places in few years. The catalog has brought them to one level
    (`catalog.day_counts`); where a crop has SAME_SCALE of them, they say how much sooner or later than the
    crop's middle a variety is, and the middle is that of the fit.
    """
    days = _numbers(traits, "bloom_to_harvest")
    days = np.where(days < LONGEST_HANG_D, days, np.nan)
    grouped = pd.Series(days).groupby(crop)
    level = np.where(grouped.transform("count") >= SAME_SCALE, grouped.transform("median") - usual, 0.0)
    return np.asarray(days - level, dtype=np.float64)


def _windows(traits: pd.DataFrame, crop: Texts, parameters: pd.DataFrame) -> tuple[Floats, Floats]:
    """First and last day of the northern year (V,) of fruit that hangs: its own, else its crop's."""
    start, end = (_of_crop(crop, parameters, name) for name in ("window_start", "window_end"))
    hangs = np.isfinite(start)
    own_start, own_end = _numbers(traits, "harvest_start"), _numbers(traits, "harvest_end")
    usual_length = (end - start) % YEAR_DAYS
    # Fruit picked all the year round has no first day of its own: 1 January to 31 December says so.
    all_year = (own_end - own_start) >= YEAR_DAYS - ALL_YEAR_GAP_D
    own_start[all_year] = np.where(np.isfinite(start), start, own_start)[all_year]
    own_end[all_year] = np.where(np.isfinite(start), start + YEAR_DAYS - 1.0, own_end)[all_year]
    first = np.where(np.isfinite(own_start), own_start, start)
    length = np.where(
        np.isfinite(own_start) & np.isfinite(own_end), (own_end - own_start) % YEAR_DAYS, usual_length
    )
    return np.where(hangs, first, np.nan), np.where(hangs, first + np.maximum(length, 7.0), np.nan)


def last_ripening_day(profile: Profile, frost_shift: float = 0.0) -> Floats:
    """Season day (Y,) after which fruit freezes (-2.2 degC) or is too cold to ripen (a fortnight below 7
    degC); the season's length where neither comes."""
    mean = (profile.tmin + profile.tmax) / 2.0
    cumulative = np.cumsum(np.pad(mean, ((0, 0), (STOP_DAYS, 0)), mode="edge"), axis=1)
    fortnight = (cumulative[:, STOP_DAYS:] - cumulative[:, :-STOP_DAYS]) / STOP_DAYS
    over = (profile.tmin + frost_shift <= FRUIT_FREEZES_degC) | (fortnight < FRUIT_STOPS_degC)
    over[:, : MIDSUMMER[profile.hemisphere] - 14] = False
    return np.where(over.any(axis=1), over.argmax(axis=1), over.shape[1]).astype(np.float64)


def ripe_day(profile: Profile, bloom_day: Floats, days: Floats, parameters: pd.DataFrame) -> Floats:
    """Season day (V, Y) of first picking from bloom (V, Y) and days to ripe at 17 degC (V,).

    The place's average year gives the middle; a year lies off it by part of what its bloom lies off, and by
    the warmth of the weeks after bloom. Beyond the season's end fruit goes on in thought, so that lateness
    has a measure.
    """
    by_warmth, carry, per_kelvin = (
        float(parameters[name].iloc[0]) for name in ("pace_by_warmth", "carry", "days_per_K")
    )
    mean = (profile.tmin + profile.tmax) / 2.0
    grown = np.cumsum(pace(mean.mean(axis=0), by_warmth))
    axis = np.arange(len(grown), dtype=np.float64)
    blooming = np.isfinite(bloom_day).any(axis=1)
    middle = np.full(len(days), np.nan)
    middle[blooming] = np.nanmedian(bloom_day[blooming], axis=1)
    wanted = np.interp(middle, axis, grown) + days
    ripe = np.interp(wanted, grown, axis) + np.maximum(wanted - grown[-1], 0.0)
    carried = 1.0 - (1.0 - carry) * np.minimum(days / CARRY_FITTED_AT_D, 1.0)
    summed = np.pad(mean.cumsum(axis=1), ((0, 0), (1, 0)))
    at = np.clip(np.nan_to_num(bloom_day, nan=0.0).astype(np.intp), 0, mean.shape[1] - HASTENING_DAYS)
    year = np.arange(len(mean))[None, :]
    warm = (summed[year, at + HASTENING_DAYS] - summed[year, at]) / HASTENING_DAYS
    off = bloom_day - middle[:, None]
    warmer = warm - warm.mean(axis=1, keepdims=True)
    return np.asarray(ripe[:, None] + carried[:, None] * off + per_kelvin * warmer)


def harvest_window(
    traits: pd.DataFrame,
    profile: Profile,
    bloom: Bloom,
    bloom_shift_d: Floats,
    frost_shift: float = 0.0,
    parameters: pd.DataFrame | None = None,
    needs: RipeningNeeds | None = None,
) -> Harvest:
    """Harvest of each row of the traits (V) in each year (Y). `bloom` is that of the same rows. `needs` saves
    working them out again."""
    parameters = load_ripening_parameters() if parameters is None else parameters
    needs = needs or ripening_needs(traits, bloom_shift_d, parameters)
    start = ripe_day(profile, bloom.day, needs.days, parameters)
    hangs = np.isfinite(needs.window_start)
    first = _season_day_of(needs.window_start[hangs], profile)
    start[hangs] = first[:, None]
    length = np.where(hangs, needs.window_end - needs.window_start, needs.picking_d)
    end = start + length[:, None]
    season_end = last_ripening_day(profile, frost_shift)
    # Fruit picked by its window hangs through winter; frost there is the tree's matter, not ripeness.
    error = np.where(hangs, needs.error_d, np.hypot(needs.error_d, bloom.error_d))
    with np.errstate(invalid="ignore"):
        unripe = ndtr((start - season_end[None, :]) / error[:, None])
    unripe = np.where(np.isnan(start), 1.0, unripe)
    unripe[hangs] = 0.0
    kept = end + needs.storage_d[:, None]
    return Harvest(start, end, kept, error, unripe, season_end, needs.told_by, needs.standing)


def _season_day_of(day_of_year: Floats, profile: Profile) -> Floats:
    """Season days of days of the northern year, half a year later in the south: after the harvest year's
    midwinter, so that fruit of late autumn stands in the season it grew in."""
    south = profile.hemisphere == "south"
    of_year = (day_of_year - 1.0 + (182.0 if south else 0.0)) % YEAR_DAYS
    season = (of_year - YEAR_STARTS[profile.hemisphere]) % YEAR_DAYS
    midwinter = MIDWINTER[profile.hemisphere]
    season = np.where(season < midwinter, season + YEAR_DAYS, season)
    return np.asarray(np.minimum(season, SEASON_DAYS - 1))


__all__ = [
    "Harvest",
    "RipeningNeeds",
    "harvest_window",
    "last_ripening_day",
    "load_ripening_parameters",
    "pace",
    "ripening_needs",
]
