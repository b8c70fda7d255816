"""The fitted bloom parameters: read, checked, and turned into what each variety wants.

In come bloom_parameters.csv and bloom_varieties.csv and the catalog's wide traits; out goes `BloomNeeds`: for
every variety its requirement, its error and what both rest on. A variety's own place in its crop's order is
taken from, in this order: blooms observed by the people whose data were fitted, its published offset in days,
its published bloom season or group, and else nothing: it blooms with its crop, with a wide error.
Method page: docs/bloom.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from recommender.biology.bloom_model import BudCurve
from recommender.catalog.package import datasets_folder, read_fitted
from recommender.errors import BadInput

Floats = NDArray[np.float64]
Texts = NDArray[np.object_]

# Hours at or below 7.2 degC to one chill portion where most needs in hours were found (computed: 15 at
# Fresno, Phoenix and Gainesville in this project's climate).
HOURS_PER_PORTION = 15.0
# A variety whose chill need differs from its crop's moves the curve's need by this power of the ratio; chosen
# on observed apricots (datasets/build/fit_bloom.py).
NEED_POWER = 0.5
NEED_RATIO_RANGE = (0.2, 1.6)
NEED_STEP = 0.05
# Place in the crop's order by the word used, in standard deviations of its varieties (common practice).
SEASON_PLACE = {
    "very-early": -1.8, "early": -1.0, "early-mid": -0.5, "mid": 0.0, "mid-late": 0.5, "late": 1.0,
    "very-late": 1.8,
}  # fmt: skip
SEASON_ERROR_SHARE = 0.6
# Flowering groups are numbered or lettered in order of bloom and lie about two days apart (common practice).
# Cherry and walnut groups mean other things.
GROUP_STEP_D, GROUP_ERROR_D = 2.0, 3.0
NO_FLOWERING_GROUPS = frozenset({"sweet-cherry", "sour-cherry", "walnut", "hazelnut", "avocado"})
# Intervals in the catalog hold 80 %.
Z80 = 1.2816
LEAST_OFFSET_ERROR_D = 1.5
WIDEST_OFFSET_INTERVAL_D = 40.0
# How well the middle of the published offsets marks the middle of the crop [d], and the scatter of single
# varieties about the line between offsets and observed effects.
CENTRE_ERROR_D, CENTRE_SCATTER_D = 3.0, 3.5
# As many varieties in common as weigh like no difference between catalog and collection.
FEW_IN_COMMON = 8.0
# For a crop nobody has described: the curve of the apple, and an error that says how little this means.
STRANGER, STRANGER_ERROR_D = "apple", 20.0


@dataclass(frozen=True, eq=False)
class BloomParameters:
    """crops: bloom_parameters.csv by crop; varieties: bloom_varieties.csv by (crop, variety)."""

    crops: pd.DataFrame
    varieties: pd.DataFrame

    def row(self, crop: str) -> dict[Any, Any]:
        """Parameters of a crop; for a crop not described those of the apple, with a very wide error."""
        if crop in self._rows:
            return self._rows[crop]
        borrowed = {"place_error_d": STRANGER_ERROR_D, "note": "crop not described; curve of the apple"}
        return {**self._rows[STRANGER], **borrowed}

    @cached_property
    def _rows(self) -> dict[str, dict[Any, Any]]:
        """The table as plain values: a row of a frame costs a hundred times as much to look up."""
        rows = self.crops.to_dict("records")
        return {str(crop): {**row} for crop, row in zip(self.crops.index, rows, strict=True)}

    @cached_property
    def _curves(self) -> dict[tuple[str, float], BudCurve]:
        return {}

    def curve(self, crop: str, need_factor: float = 1.0) -> BudCurve:
        """The crop's curve, its chill need times a factor."""
        key = (crop, need_factor)
        if key not in self._curves:
            self._curves[key] = self._curve(crop, need_factor)
        return self._curves[key]

    def columns(self, crop: Texts, names: tuple[str, ...]) -> list[Floats]:
        """Parameters (V,) of the crop of each variety."""
        codes, uniques = pd.factorize(crop)
        table = self._tables.get((*uniques, *names))
        if table is None:
            rows = pd.DataFrame([self.row(name) for name in uniques])
            table = rows[list(names)].to_numpy(dtype=np.float64)
            self._tables[(*uniques, *names)] = table
        return list(table[codes].T)

    @cached_property
    def _tables(self) -> dict[tuple[str, ...], Floats]:
        return {}

    def _curve(self, crop: str, need_factor: float) -> BudCurve:
        row = self.row(crop)
        return BudCurve(
            float(row["chill_portions"]) * need_factor,
            float(row["chill_width_portions"]),
            float(row["extra"]),
            float(row["warmth_degC"]),
            float(row["steepness_per_K"]),
            row["heat_from"] if isinstance(row["heat_from"], str) else "",
            float(row["light_h"]),
        )


def load_bloom_parameters(folder: Path | None = None) -> BloomParameters:
    """The shipped parameters. Raises StorageFault if the files are missing, BadInput if a column is."""
    return _loaded(folder or datasets_folder())


@lru_cache(maxsize=4)
def _loaded(folder: Path) -> BloomParameters:
    columns = ("crop", "chill_portions", "light_h", "log_requirement", "process_error_d")
    of_crops = read_fitted("bloom_parameters.csv", columns, folder)
    of_varieties = read_fitted("bloom_varieties.csv", ("crop", "variety", "effect_d", "error_d"), folder)
    seen = of_varieties.dropna(subset=["variety"]).drop_duplicates(["crop", "variety"])
    return BloomParameters(of_crops.set_index("crop"), seen.set_index(["crop", "variety"]))


@dataclass(frozen=True, eq=False)
class BloomNeeds:
    """What each variety wants, arrays (V,) in the order of the traits.

    crop; log_requirement [log of warm hours]; per_day: its growth a day about bloom; need_factor: its chill
    need against the curve's; need_portions: its chill need [CP], 0 for evergreens; shift_d: days after the
    crop's middle; variety_error_d, error_d: of the shift, and of a date at a new place [d]; told_by: observed
    | published offset | bloom season | bloom group | crop; standing: published | estimated.
    """

    crop: Texts
    log_requirement: Floats
    per_day: Floats
    need_factor: Floats
    need_portions: Floats
    shift_d: Floats
    variety_error_d: Floats
    error_d: Floats
    told_by: Texts
    standing: Texts

    def __len__(self) -> int:
        return len(self.crop)


def bloom_needs(traits: pd.DataFrame, parameters: BloomParameters | None = None) -> BloomNeeds:
    """Needs of every row of the catalog's wide traits (V rows).

    Raises BadInput if the frame has no columns crop and variety.
    """
    parameters = parameters or load_bloom_parameters()
    if missing := {"crop", "variety"} - set(traits):
        raise BadInput(f"The traits have no column {', '.join(sorted(missing))}")
    crop = traits["crop"].to_numpy(dtype=object)
    of_crop = pd.DataFrame([parameters.row(name) for name in pd.unique(crop)], index=pd.unique(crop))
    columns = [
        "log_requirement",
        "log_requirement_per_day",
        "variety_sd_d",
        "process_error_d",
        "place_error_d",
    ]
    mean, per_day, sd, process, place = (
        of_crop[each].reindex(crop).to_numpy(dtype=np.float64) for each in columns
    )
    usual = of_crop["usual_need_portions"].astype(float).reindex(crop).to_numpy()
    shift, error, told_by = _order(traits, crop, sd, parameters)
    ratio = np.divide(_own_need(traits), usual, out=np.full(len(crop), np.nan), where=usual > 0)
    factor = np.clip(np.nan_to_num(ratio, nan=1.0), *NEED_RATIO_RANGE) ** NEED_POWER
    own = _own_need(traits)
    return BloomNeeds(
        crop,
        mean + shift * per_day,
        per_day,
        np.round(factor / NEED_STEP) * NEED_STEP,
        np.where(np.isfinite(own) & (usual > 0), own, usual),
        shift,
        error,
        np.sqrt(process**2 + place**2 + error**2),
        told_by,
        np.where(np.isin(told_by, ["observed", "published offset"]), "published", "estimated").astype(object),
    )


def _numbers(traits: pd.DataFrame, name: str) -> Floats:
    if name not in traits:
        return np.full(len(traits), np.nan)
    return np.array(pd.to_numeric(traits[name], errors="coerce"), dtype=float)


def _texts(traits: pd.DataFrame, name: str) -> pd.Series:
    return traits[name].astype(object) if name in traits else pd.Series([None] * len(traits), dtype=object)


def _own_need(traits: pd.DataFrame) -> Floats:
    """Published chill need (V,) [CP], from hours where only those are published; NaN where unknown."""
    portions, hours = _numbers(traits, "chill_portions"), _numbers(traits, "chill_hours")
    return np.where(np.isfinite(portions), portions, hours / HOURS_PER_PORTION)


def _order(
    traits: pd.DataFrame, crop: Texts, sd: Floats, parameters: BloomParameters
) -> tuple[Floats, Floats, Texts]:
    """Days after the crop's middle (V,), their error (V,) and what tells them (V,)."""
    middle = _middle_of_the_known(traits, crop, parameters)
    shift, error = middle.copy(), sd.copy()
    told_by = np.full(len(crop), "crop", dtype=object)

    def tell(value: Floats, of_value: Floats, name: str) -> None:
        better = np.isfinite(value)
        shift[better], error[better], told_by[better] = value[better], of_value[better], name

    group = _flowering_group(traits, crop)
    tell(middle + group, np.minimum(np.full(len(crop), GROUP_ERROR_D), sd), "bloom group")
    by_word = _texts(traits, "bloom_season").map(SEASON_PLACE).to_numpy(dtype=float)
    tell(middle + by_word * sd, np.maximum(SEASON_ERROR_SHARE * sd, 2.0), "bloom season")
    keys = pd.MultiIndex.from_arrays([crop, traits["variety"].to_numpy()])
    seen = parameters.varieties.reindex(keys)
    effect, effect_error = seen["effect_d"].to_numpy(dtype=float), seen["error_d"].to_numpy(dtype=float)
    offset, offset_error = _published_offset(traits, crop, sd, effect, effect_error)
    tell(offset, offset_error, "published offset")
    tell(effect, effect_error, "observed")
    return shift, error, told_by


def _middle_of_the_known(traits: pd.DataFrame, crop: Texts, parameters: BloomParameters) -> Floats:
    """Where the crop's varieties of the catalog lie in the observed collection (V,) [d].

    Collections hold local sorts too, which may all be early (the almonds of Tunisia): the middle of the
    varieties that both know counts, drawn to zero where they are few.
    """
    effects = parameters.varieties["effect_d"].groupby(level=0)
    count = effects.size()
    drawn = effects.median() * count / (count + FEW_IN_COMMON)
    return np.nan_to_num(drawn.reindex(crop).to_numpy(dtype=np.float64))


def _flowering_group(traits: pd.DataFrame, crop: Texts) -> Floats:
    """Days after the middle of the crop's numbered or lettered flowering groups (V,); NaN without."""
    found = _texts(traits, "bloom_group").astype("string").str.extract(r"^(?:(\d)|([A-H]))(?:[-/](\d))?$")
    letter = found[1].map({name: place for place, name in enumerate("ABCDEFGH", start=1)}).astype(float)
    number = found[0].astype(float)
    number = number.where(found[2].isna(), (number + found[2].astype(float)) / 2.0)
    out = np.full(len(crop), np.nan)
    for place in (number.to_numpy(), letter.to_numpy()):
        middle = pd.Series(place).groupby(crop).transform("median").to_numpy(dtype=float)
        days = (place - middle) * GROUP_STEP_D
        out = np.where(np.isfinite(days), days, out)
    out[np.isin(crop, list(NO_FLOWERING_GROUPS))] = np.nan
    return out


def _published_offset(
    traits: pd.DataFrame, crop: Texts, sd: Floats, effect: Floats, effect_error: Floats
) -> tuple[Floats, Floats]:
    """Published offsets, centred on the crop's middle and drawn to it by their error (V,), and that error.

    The middle is where half the crop's offsets lie, moved towards where the observed varieties put it.
    """
    offset = _numbers(traits, "bloom_offset")
    half = (_numbers(traits, "bloom_offset_high") - _numbers(traits, "bloom_offset_low")) / 2.0
    offset[half > WIDEST_OFFSET_INTERVAL_D / 2.0] = np.nan
    own = np.maximum(np.nan_to_num(half, nan=4.0) / Z80, LEAST_OFFSET_ERROR_D)
    value, error = np.full(len(crop), np.nan), sd.copy()
    for name in pd.unique(crop[np.isfinite(offset)]):
        mine = (crop == name) & np.isfinite(offset)
        few = CENTRE_ERROR_D * (2.0 if mine.sum() < 8 else 1.0)
        weights, middles = [few**-2], [float(np.median(offset[mine]))]
        for row in np.flatnonzero(mine & np.isfinite(effect)):
            scatter = own[row] ** 2 + effect_error[row] ** 2 + CENTRE_SCATTER_D**2
            weights.append(1.0 / scatter)
            middles.append(float(offset[row] - effect[row]))
        centre = float(np.average(middles, weights=weights))
        keep = sd[mine] ** 2 / (sd[mine] ** 2 + own[mine] ** 2)
        value[mine] = (offset[mine] - centre) * keep
        error[mine] = np.sqrt(keep * own[mine] ** 2 + 1.0 / np.sum(weights))
    return value, error
