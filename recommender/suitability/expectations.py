"""What to expect of every variety: its published value where there is one, else what its crop leaves open.

In comes the catalog's wide traits frame (one row a variety) with the crops table; out goes `Varieties`,
arrays in the same order, each trait with its value, its error (one standard deviation) and whether it is
published for the variety.
A value that nobody published is never left out and never counted as good: it is the crop's usual value with
an error as wide as the crop is varied; where `catalog.gaps` could estimate it, that usual value moved by the
estimate's departure, with the estimate's error. Neither counts as known.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from recommender.biology.ripening import load_ripening_parameters
from recommender.suitability.crop_defaults import MIDDLING, defaults_for
from recommender.suitability.estimated import Estimated, estimated_for
from recommender.suitability.zones import ZONE_MARGIN_K, zone_bound

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# Errors of a zone rating and of a survival temperature [K].
ZONE_RATING_ERROR_K = 3.5
SURVIVAL_TEMP_ERROR_K = 3.0
# A value with a larger error than this says nothing of what is usual for its crop.
WELL_KNOWN_K = 6.0
# Where a smaller share of a crop is rated, its ratings are no fair sample of it.
FEW_RATED = 0.3
# Least error of a published chill need [h] and [portions]: sources for one variety differ by this much.
CHILL_HOURS_ERROR = 100.0
CHILL_PORTIONS_ERROR = 7.0
# Median chill need of varieties by the warmest zone they are sold for (computed from the 120 or so varieties
# in the catalog with both figures: 720 h in zone 8, 510 in 9, 210 in 10, 50 in 10b) with their scatter.
ZONE_MAX_POINTS = (7.0, 8.0, 9.0, 10.0, 10.5)
ZONE_MAX_CHILL_HOURS = (800.0, 720.0, 500.0, 200.0, 60.0)
ZONE_MAX_ERROR_HOURS = 200.0
# Place in the crop's season by the word used, in its standard deviations (common practice).
RIPENING_CLASS = {
    "very-early": -2.0, "early": -1.2, "early-mid": -0.6, "mid": 0.0, "mid-late": 0.6, "late": 1.2,
    "very-late": 2.0,
}  # fmt: skip
SUSCEPTIBILITY = {
    "immune": 1.0, "resistant": 0.9, "moderately-resistant": 0.7, "moderately-susceptible": 0.4,
    "susceptible": 0.25, "very-susceptible": 0.0,
}  # fmt: skip

# A variety nobody rated for a disease stands a little below the middle: resistance gets advertised, its lack
# does not.
UNRATED, UNRATED_ERROR, RATED_ERROR = 0.45, 0.2, 0.1


@dataclass(frozen=True, eq=False)
class Trait:
    """One trait of all varieties: value (V,), error (V,) [one standard deviation, same unit], known (V,)."""

    value: Floats
    error: Floats
    known: Bools

    def moved(self, step: Floats) -> Trait:
        """The same with its values moved by `step` (V,)."""
        return Trait(self.value + step, self.error, self.known)

    def taken(self, rows: NDArray[np.intp]) -> Trait:
        """The same trait of some rows."""
        return Trait(self.value[rows], self.error[rows], self.known[rows])


@dataclass(frozen=True, eq=False)
class Varieties:
    """All varieties as arrays (V,), in the order of `frame` (the catalog's wide traits, index 0..V-1).

    hardiness [degC]: coldest night stood; chill_hours [h <= 7.2 degC]; chill_portions [portions], used where
    `by_portions`; ripe_class [standard deviations from the middle of the crop's season];
    height [m], the least it can be kept to on the stocks the trade offers; disease: resistance in [0, 1];
    low_chill_of_crop, high_chill_of_crop [h]: the crop's published range.
    """

    frame: pd.DataFrame
    defaults: pd.DataFrame
    hardiness: Trait
    chill_hours: Trait
    chill_portions: Trait
    by_portions: Bools
    chill_low: Floats
    chill_high: Floats
    ripe_class: Trait
    height: Trait
    disease: Trait
    evergreen: Bools
    n_sources: dict[str, Floats] = field(default_factory=dict)
    estimated: dict[str, Bools] = field(default_factory=dict)
    resists: dict[str, Trait] = field(default_factory=dict)
    guess: Estimated = field(default_factory=lambda: Estimated(0))

    def __len__(self) -> int:
        return len(self.frame)


def number(frame: pd.DataFrame, name: str) -> Floats:
    """A numeric column (V,) as float, NaN where missing or where the frame has no such column."""
    if name not in frame:
        return np.full(len(frame), np.nan)
    return np.asarray(pd.to_numeric(frame[name], errors="coerce"), dtype=float)


def text(frame: pd.DataFrame, name: str) -> NDArray[np.object_]:
    """A text column (V,) with "" where missing or where the frame has no such column."""
    if name not in frame:
        return np.full(len(frame), "", dtype=object)
    column = frame[name].astype(object)
    return np.asarray(column.where(column.notna(), ""), dtype=object)


def mapped(values: NDArray[np.object_], scale: dict[str, float]) -> Floats:
    """Category texts (V,) to numbers by `scale`, NaN for others."""
    return np.asarray(pd.Series(values).map(scale), dtype=float)


def _spread(frame: pd.DataFrame, name: str) -> Floats:
    """Half of the settled low-high range (V,), 0 where there is none."""
    half = (number(frame, f"{name}_high") - number(frame, f"{name}_low")) / 2.0
    return np.where(np.isfinite(half) & (half > 0), half, 0.0)


def by_crop(crop: pd.Series, values: Floats, least: int) -> tuple[Floats, Floats, Floats]:
    """Mean, standard deviation and count of the known values of each row's crop (V,); NaN below `least`
    values."""
    groups = pd.Series(values).groupby(crop.to_numpy())
    count = groups.transform("count").to_numpy(dtype=float)
    enough = count >= least
    mean = np.where(enough, groups.transform("mean").to_numpy(dtype=float), np.nan)
    deviation = np.where(enough, groups.transform("std").to_numpy(dtype=float), np.nan)
    return mean, deviation, count


def drawn_in(value: Floats, error: Floats, usual: Floats, width: Floats) -> tuple[Floats, Floats]:
    """A published value (V,) drawn towards what is usual for its crop, by how uncertain it is; and its new
    error.

    The two are weighed by their errors, the crop's taken half as wide again: three papers stay where they
    are, one claim from memory or from a single catalogue gives way where it is far out.
    """
    own, crop = error**-2, (1.5 * width) ** -2
    return (own * value + crop * usual) / (own + crop), np.sqrt(1.0 / (own + crop))


def _filled(value: Floats, error: Floats, usual: Floats, usual_error: Floats) -> Trait:
    known = np.isfinite(value)
    return Trait(np.where(known, value, usual), np.where(known, error, usual_error), known)


def _moved(usual: Floats, error: Floats, apart: Floats, apart_error: Floats) -> tuple[Floats, Floats]:
    """What is usual (V,), moved by an estimated departure where there is one, with the estimate's error."""
    told = np.isfinite(apart)
    return np.where(told, usual + np.nan_to_num(apart), usual), np.where(told, apart_error, error)


def _hardiness(frame: pd.DataFrame, defaults: pd.DataFrame, guess: Estimated) -> Trait:
    crop = frame["crop"]
    from_zone = zone_bound(number(frame, "zone_min")) - ZONE_MARGIN_K
    zone_error = np.maximum(ZONE_RATING_ERROR_K, _spread(frame, "zone_min") * 5.56)
    measured = number(frame, "min_survival_temp")
    measured_error = np.maximum(SURVIVAL_TEMP_ERROR_K, _spread(frame, "min_survival_temp"))
    weights = np.stack(
        [
            np.where(np.isfinite(from_zone), zone_error**-2, 0.0),
            np.where(np.isfinite(measured), measured_error**-2, 0.0),
        ]
    )
    total = weights.sum(axis=0)
    values = np.nan_to_num(np.stack([from_zone, measured]))
    with np.errstate(invalid="ignore", divide="ignore"):
        value = (weights * values).sum(axis=0) / total
        error = np.sqrt(1.0 / total)
    told = np.where((total > 0) & (error <= WELL_KNOWN_K), value, np.nan)
    mean, deviation, count = by_crop(crop, told, least=4)
    default = defaults["hardiness"].to_numpy()
    # Ratings get published most for the hardy varieties of cold countries: where few are rated, meet
    # half-way.
    size = crop.map(crop.value_counts()).to_numpy(dtype=float)
    few = (count / size < FEW_RATED) & np.isfinite(default)
    middle = np.where(few, (mean + default) / 2.0, mean)
    default = np.where(np.isfinite(default), default, MIDDLING["hardiness"])
    usual = np.where(np.isfinite(mean), middle, default)
    width = np.maximum(np.nan_to_num(deviation, nan=4.0), 3.0)
    with np.errstate(invalid="ignore"):
        value, error = drawn_in(value, error, usual, width)
    # A zone is 10 degF wide.
    apart, apart_error = guess.departure("zone_min", "min_survival_temp", scale=(10.0 / 1.8, 1.0))
    usual, width = _moved(usual, width, apart, apart_error)
    return _filled(np.where(total > 0, value, np.nan), error, usual, np.hypot(ZONE_RATING_ERROR_K, width))


def _chill(
    frame: pd.DataFrame, crops: pd.DataFrame, guess: Estimated
) -> tuple[Trait, Trait, Bools, Floats, Floats]:
    crop = frame["crop"]
    hours = number(frame, "chill_hours")
    units = number(frame, "chill_units")
    portions = number(frame, "chill_portions")
    evergreen = crop.map(crops["evergreen"].eq("yes")).fillna(False).to_numpy(dtype=bool)
    needed = np.where(np.isfinite(hours), hours, np.maximum(units, 0.0))
    error = np.maximum(np.maximum(CHILL_HOURS_ERROR, _spread(frame, "chill_hours")), 0.15 * needed)
    low = crop.map(crops["chill_hours_low"]).to_numpy(dtype=float)
    high = crop.map(crops["chill_hours_high"]).to_numpy(dtype=float)
    mean, deviation, count = by_crop(crop, needed, least=4)
    size = crop.map(crop.value_counts()).to_numpy(dtype=float)
    # Low-chill varieties are those whose need gets published, so a few values say less of the rest than the
    # range.
    told = np.isfinite(mean) & ((count / size > FEW_RATED) | ~np.isfinite(low))
    middle = np.where(told, mean, (low + high) / 2.0)
    width = np.where(told, deviation, (high - low) / 4.0)
    middle = np.where(np.isfinite(middle), middle, np.where(evergreen, 0.0, 600.0))
    width = np.maximum(np.where(np.isfinite(width), width, np.where(evergreen, 50.0, 250.0)), 120.0)
    by_zone = np.interp(number(frame, "zone_max"), ZONE_MAX_POINTS, ZONE_MAX_CHILL_HOURS)
    zone_weight = np.where(np.isfinite(by_zone), ZONE_MAX_ERROR_HOURS**-2, 0.0)
    crop_weight = width**-2
    usual = (zone_weight * np.nan_to_num(by_zone) + crop_weight * middle) / (zone_weight + crop_weight)
    usual_error = np.sqrt(1.0 / (zone_weight + crop_weight))
    # The estimate has seen the warmest zone already, so it takes that figure's place.
    apart, apart_error = guess.departure("chill_hours")
    told = np.isfinite(apart)
    moved, moved_error = _moved(middle, width, apart, np.hypot(CHILL_HOURS_ERROR, apart_error))
    usual = np.where(told, np.maximum(moved, 0.0), usual)
    usual_error = np.where(told, moved_error, usual_error)
    usual, usual_error = np.where(evergreen, 0.0, usual), np.where(evergreen, 20.0, usual_error)
    needed, error = drawn_in(needed, error, usual, usual_error)
    in_hours = _filled(np.where(evergreen & ~np.isfinite(hours), np.nan, needed), error, usual, usual_error)
    portion_error = np.maximum(CHILL_PORTIONS_ERROR, _spread(frame, "chill_portions"))
    in_portions = Trait(np.nan_to_num(portions), portion_error, np.isfinite(portions))
    low = np.where(np.isfinite(low), low, np.maximum(middle - 1.5 * width, 0.0))
    high = np.where(np.isfinite(high), high, middle + 1.5 * width)
    return in_hours, in_portions, ~in_hours.known & in_portions.known, low, high


def _centred(crop: pd.Series, values: Floats, least: int = 5) -> Floats:
    """Values minus their crop's median, NaN where the crop has fewer than `least`."""
    groups = pd.Series(values).groupby(crop.to_numpy())
    centre = np.where(groups.transform("count") >= least, groups.transform("median"), np.nan)
    return values - centre.astype(float)


def published(frame: pd.DataFrame, *traits: str) -> Bools:
    """Whether at least one of the traits (V,) stands as published, not from memory or estimated."""
    found = np.zeros(len(frame), dtype=bool)
    for name in (f"{trait}_standing" for trait in traits):
        if name in frame:
            found |= frame[name].eq("published").fillna(False).to_numpy(dtype=bool)
    return found


def _ripe_class(frame: pd.DataFrame, guess: Estimated) -> Trait:
    """Where in its crop's season a variety ripens, in standard deviations of the crop: published, else
    estimated, else the middle."""
    table = load_ripening_parameters()
    usual, spread = (
        frame["crop"].map(table[name]).fillna(table[name].median()).to_numpy(dtype=float)
        for name in ("ripe_days", "ripe_sd_d")
    )
    crop = frame["crop"]
    days = number(frame, "bloom_to_harvest")
    by_offset = _centred(crop, number(frame, "ripening_offset"))
    by_word = mapped(text(frame, "ripening_season"), RIPENING_CLASS) * spread
    start = _centred(crop, number(frame, "harvest_start"))
    start = (start + 182.5) % 365.0 - 182.5
    by_date = np.where(np.abs(start) <= 3.0 * spread, start, np.nan)
    error = np.where(np.isfinite(by_offset), 6.0, 10.0)
    error = np.where(np.isfinite(days), 8.0, error)
    place = days - usual
    for better in (by_date, by_offset, by_word):
        place = np.where(np.isfinite(better), better, place)
    known = np.isfinite(place)
    apart, apart_error = guess.departure("ripening_offset", "bloom_to_harvest", "harvest_start")
    told = np.isfinite(apart)
    guessed = np.where(told, np.clip(np.nan_to_num(apart) / spread, -3.0, 3.0), 0.0)
    apart_error = np.maximum(np.nan_to_num(apart_error, nan=1.0), 10.0)
    doubt = np.where(told, np.minimum(apart_error / spread, 1.5), 1.0)
    return Trait(np.where(known, place / spread, guessed), np.where(known, error / spread, doubt), known)


VIGOUR_HEIGHT = {"weak": 0.75, "medium": 1.0, "strong": 1.15, "very-strong": 1.3}


def _height(frame: pd.DataFrame, crops: pd.DataFrame, rootstocks: pd.DataFrame | None) -> Trait:
    crop = frame["crop"]
    full = _published_height(crops)
    low = crop.map(full["low"]).to_numpy(dtype=float)
    high = crop.map(full["high"]).to_numpy(dtype=float)
    seedling = np.where(np.isfinite(low), low, high * 0.8)
    least = pd.Series(dtype=float)
    if rootstocks is not None:
        stocks = rootstocks.assign(crop=rootstocks["for_crops"].str.split("|")).explode("crop")
        seedlings = stocks["crop"].map(full["low"])
        share = number(stocks, "size_percent_low")
        by_share = np.where(_from_memory(stocks, "size_percent"), np.nan, share) / 100.0 * seedlings
        height = stocks["mature_height_low_m"].astype(float)
        height = height.mask(_from_memory(stocks, "mature_height")).fillna(by_share)
        least = height.groupby(stocks["crop"]).min()
    on_stock = crop.map(least).to_numpy(dtype=float)
    vigour = mapped(text(frame, "vigour"), VIGOUR_HEIGHT)
    smallest = np.fmin(seedling, on_stock)
    smallest = np.where(np.isfinite(smallest), smallest, 4.0) * np.nan_to_num(vigour, nan=1.0)
    published = number(frame, "mature_height")
    value = np.where(np.isfinite(published), np.fmin(published, smallest), np.nan)
    return _filled(value, np.full(len(frame), 0.5), smallest, np.full(len(frame), 1.0))


def _published_height(crops: pd.DataFrame) -> pd.DataFrame:
    """Full-size height (low, high) [m] of each crop, by the index of `crops`; NaN where it is from memory."""
    full = crops[["seedling_height_low_m", "seedling_height_high_m"]].set_axis(["low", "high"], axis=1)
    full = full.astype(float)
    full[_from_memory(crops, "seedling_height")] = np.nan
    return full


def _from_memory(table: pd.DataFrame, name: str) -> Bools:
    """Rows (N,) whose `name` is from memory: named in `memory_cells`, or of a row that is all from memory."""
    found = np.zeros(len(table), dtype=bool)
    if "memory_cells" in table:
        cells = table["memory_cells"].fillna("").astype(str)
        found |= np.array([name in named.split("|") for named in cells], dtype=bool)
    if "basis" in table:
        found |= table["basis"].eq("from memory").to_numpy(dtype=bool)
    return found


def _resists(frame: pd.DataFrame, guess: Estimated) -> dict[str, Trait]:
    """Resistance (V,) in [0, 1] to each disease that anything is published of: published, else estimated,
    else a little below the middle."""
    places, values = np.arange(len(SUSCEPTIBILITY), dtype=float), np.sort(list(SUSCEPTIBILITY.values()))
    found = {}
    for column in _diseases(frame):
        rated = mapped(text(frame, column), SUSCEPTIBILITY)
        known = np.isfinite(rated)
        guessed = np.interp(guess.value(column), places, values)
        value = np.where(known, rated, np.where(np.isfinite(guessed), guessed, UNRATED))
        found[column.removeprefix("disease:")] = Trait(
            value, np.where(known, RATED_ERROR, UNRATED_ERROR), known
        )
    return found


def _diseases(frame: pd.DataFrame) -> list[str]:
    return [
        name
        for name in map(str, frame)
        if name.startswith("disease:") and not name.endswith(("_agreement", "_standing"))
    ]


def _disease(frame: pd.DataFrame) -> Trait:
    columns = _diseases(frame)
    scores = np.full((max(len(columns), 1), len(frame)), np.nan)
    for row, name in enumerate(columns):
        scores[row] = mapped(text(frame, name), SUSCEPTIBILITY)
    count = np.isfinite(scores).sum(axis=0)
    # Half a count of a middling variety is added, so that one good mark is not taken for a clean record.
    value = (np.nansum(scores, axis=0) + 0.5 * 0.5) / (count + 0.5)
    return Trait(value, 0.3 / np.sqrt(count + 1.0), count > 0)


def _estimated(guess: Estimated) -> dict[str, Bools]:
    """For which varieties (V,) each group of traits rests on an estimate where it is not published."""
    groups = {
        "hardiness": ("zone_min", "min_survival_temp"),
        "chill": ("chill_hours",),
        "bloom": ("bloom_offset",),
        "ripening": ("ripening_offset", "bloom_to_harvest", "harvest_start"),
    }
    return {name: np.isfinite(guess.departure(*traits)[0]) for name, traits in groups.items()}


def expect(
    traits: pd.DataFrame,
    crops: pd.DataFrame,
    rootstocks: pd.DataFrame | None = None,
    sources: pd.DataFrame | None = None,
    estimates: pd.DataFrame | None = None,
) -> Varieties:
    """What to expect of every variety.

    traits: the catalog's wide frame (V rows); crops: one row a crop; rootstocks: one row a stock;
    sources: settled values (crop, variety, trait, n_sources), for saying how many sources a value has;
    estimates: the catalog's estimates of what nobody published.
    """
    frame = traits.reset_index(drop=True)
    table = crops.set_index("crop")
    defaults = defaults_for(frame["crop"])
    guess = estimated_for(frame, estimates)
    hours, portions, by_portions, low, high = _chill(frame, table, guess)
    counts: dict[str, Floats] = {}
    if sources is not None and len(sources):
        wanted = sources[
            sources["trait"].isin(["zone_min", "min_survival_temp", "chill_hours", "chill_portions"])
        ]
        wide = wanted.pivot_table(
            index=["crop", "variety"], columns="trait", values="n_sources", aggfunc="max"
        )
        wide = wide.reindex(pd.MultiIndex.from_frame(frame[["crop", "variety"]]))
        counts = {str(name): wide[name].fillna(0).to_numpy(dtype=float) for name in wide}
    return Varieties(
        frame=frame,
        defaults=defaults,
        hardiness=_hardiness(frame, defaults, guess),
        chill_hours=hours,
        chill_portions=portions,
        by_portions=by_portions,
        chill_low=low,
        chill_high=high,
        ripe_class=_ripe_class(frame, guess),
        height=_height(frame, table, rootstocks),
        disease=_disease(frame),
        resists=_resists(frame, guess),
        evergreen=frame["crop"].map(table["evergreen"].eq("yes")).fillna(False).to_numpy(dtype=bool),
        n_sources=counts,
        estimated=_estimated(guess),
        guess=guess,
    )
