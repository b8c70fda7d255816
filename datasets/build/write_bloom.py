"""Write what fit_bloom.py found: parameters of every crop, effects of observed varieties, scores.

Length of bloom is fitted here too: first to last flowers, shorter in warm weather, one response for all.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from bloom_anchors import ANCHORS, curve_of, log_requirement
from bloom_observations import FIRST, portions_needed
from fit_bloom import Crop, bud_curve, offset_spread, variety_sd
from numpy.typing import NDArray

from recommender.biology.bloom_model import BudCurve
from recommender.biology.bloom_parameters import HOURS_PER_PORTION
from recommender.catalog.catalog import Catalog
from recommender.climate.season import season_day

Floats = NDArray[np.float64]
SOURCE, COMMON_PRACTICE = "adamedor-2024", "memory"
LENGTH_AT_degC = 12.0
# Where nobody has dated the ends of bloom, it lasts about a fortnight, a third of it before full bloom.
USUAL_LENGTH_d, USUAL_BEFORE = 14.0, 0.35
# Spread of varieties where neither observations nor offsets tell [d].
USUAL_SPREAD_d = 5.0
# Error of the mean date of a crop at a new place when it was fitted at one place, if no score is at hand [d].
PLACE_ERROR_d = 6.0


def bloom_lengths(
    crops: dict[str, Crop], folder: Path
) -> tuple[dict[str, tuple[float, float]], float, float]:
    """Crop -> (days at 12 degC, share before full bloom); change of log length per kelvin; its sd."""
    raw = pd.read_csv(
        folder / "bloom_observations.csv",
        parse_dates=["first_flowers_f5", "full_bloom_f50", "end_of_flowering"],
    )
    raw["place"] = raw["place"].str.lower()
    raw = raw.dropna(subset=["first_flowers_f5", "full_bloom_f50", "end_of_flowering"])
    parts = []
    for name, crop in crops.items():
        mean = dict(zip(sorted(set(zip(crop.place, crop.year, strict=True))), crop.data.mean, strict=True))
        mine: Any = raw[raw["crop"] == name].itertuples()
        for row in mine:
            day = season_day(row.full_bloom_f50.strftime("%m-%d"), "north", after=FIRST) - FIRST
            days = mean.get((row.place, row.year))
            length = (row.end_of_flowering - row.first_flowers_f5).days
            if days is None or not 4 <= length <= 40 or day > 285 or day < 10:
                continue
            before = (row.full_bloom_f50 - row.first_flowers_f5).days / length
            parts.append((name, np.log(length), days[day - 4 : day + 10].mean() - LENGTH_AT_degC, before))
    frame = pd.DataFrame(parts, columns=["crop", "log", "warmer", "before"])
    inner = frame[["log", "warmer"]] - frame.groupby("crop")[["log", "warmer"]].transform("mean")
    response = float((inner["log"] * inner["warmer"]).sum() / (inner["warmer"] ** 2).sum())
    rest = frame["log"] - response * frame["warmer"]
    levels = rest.groupby(frame["crop"]).mean()
    sd = float((rest - frame["crop"].map(levels)).std())
    before_share = frame.groupby("crop")["before"].median()
    return (
        {name: (float(np.exp(levels[name])), float(before_share[name])) for name in levels.index},
        response,
        sd,
    )


def jackknife(folds: Floats) -> Floats:
    """Standard errors (6,) from the curves fitted without each of the folds (folds, 6)."""
    k = len(folds)
    return np.asarray(np.sqrt((k - 1) / k * ((folds - folds.mean(axis=0)) ** 2).sum(axis=0)))


def usual_need(catalog: Catalog, crop: str) -> float:
    """The crop's usual published chill need [CP]: middle of its varieties', else of its range."""
    traits = catalog.traits()
    own = portions_needed(traits[traits["crop"] == crop]).dropna()
    span: Any = (
        catalog.crops().set_index("crop").loc[crop, ["chill_hours_low", "chill_hours_high"]].astype(float)
    )
    if len(own) >= 8:
        return float(own.median())
    return float(span.mean() / HOURS_PER_PORTION) if span.notna().all() else 45.0


def write(
    folder: Path,
    catalog: Catalog,
    crops: dict[str, Crop],
    curves: dict[str, Floats],
    table: pd.DataFrame | None,
    folds: dict[str, Floats] | None,
    observations: Path,
) -> None:
    """Write the three tables."""
    if table is not None:
        _save(table.round(2), folder / "bloom_scores.csv")
    scores = pd.read_csv(folder / "bloom_scores.csv")
    lengths, response, length_sd = bloom_lengths(crops, observations)
    print(f"Log length of bloom changes by {response:.3f} per kelvin (sd {length_sd:.2f})")
    place_bias = scores[scores["left_out"] == "place, variety known"]["bias_d"]
    place_error = float(np.sqrt((place_bias**2).mean())) if len(place_bias) else PLACE_ERROR_d
    kept = folder / "bloom_parameters.csv"
    old = pd.read_csv(kept).set_index("crop") if kept.exists() else None
    rows, effects, fitted = [], [], {}
    for name, crop in crops.items():
        theta, data = curves[name], crop.data
        standing = crop.standing(theta, np.arange(len(crop.label)))
        mean, slope = standing.mean, standing.slope
        fitted[name] = (bud_curve(theta), mean, slope)
        years = scores[
            (scores["crop"] == name) & (scores["left_out"] == "years") & (scores["which"] == "all places")
        ]
        errors = jackknife(folds[name]) if folds is not None else None
        if errors is None and old is not None:
            errors = old.loc[name, [f"{each}_se" for each in _CURVE]].to_numpy(dtype=float)
            errors = np.array(
                [
                    errors[0],
                    errors[1] / np.exp(theta[1]),
                    errors[3],
                    errors[4] / np.exp(theta[3]),
                    errors[2] / np.exp(theta[4]),
                    errors[5],
                ]
            )
        n_places = len(np.unique(crop.place))
        length, before = lengths.get(name, (USUAL_LENGTH_d, USUAL_BEFORE))
        rows.append(
            _parameters(name, name, fitted[name][0], errors, mean, slope)
            | {
                "usual_need_portions": data.usual,
                "log_requirement_se": standing.within / np.sqrt(len(np.unique(data.season))),
                "variety_sd_d": variety_sd(standing, offset_spread(catalog, name)),
                "process_error_d": float(years["rmse_d"].iloc[0]),
                "place_error_d": place_error / np.sqrt(n_places),
                "length_d": length,
                "length_before": before,
                "length_per_K": response,
                "observations": len(crop.label),
                "places": n_places,
                "years": len(np.unique(data.season)),
                "basis": "computed",
                "source_id": SOURCE,
                "note": "fitted to observed blooms with daily weather",
            }
        )
        of_season = data.frame.groupby(["place", "year"])["day"].transform("median")
        ahead = (data.frame["day"] - of_season).groupby(data.frame["label"]).mean()
        effects.append(
            standing.varieties.assign(crop=name, observed_d=ahead, source_id=SOURCE).reset_index(
                names="label"
            )
        )
    for name, anchor in ANCHORS.items():
        borrowed, _, _ = fitted[anchor.curve]
        base: Any = next(row for row in rows if row["crop"] == anchor.curve)
        usual = usual_need(catalog, name)
        curve = curve_of(anchor, borrowed, min(usual / base["usual_need_portions"], 1.2))
        leader = fitted[anchor.after][:2] if anchor.after else None
        mean, slope = log_requirement(anchor, curve, leader)
        rows.append(
            _parameters(name, anchor.curve, curve, None, mean, slope)
            | {
                "usual_need_portions": 0.0 if np.isnan(curve.chill_portions) else usual,
                "log_requirement_se": anchor.error_d * slope,
                "variety_sd_d": max(USUAL_SPREAD_d, offset_spread(catalog, name)),
                "process_error_d": base["process_error_d"],
                "place_error_d": float(np.hypot(base["place_error_d"], anchor.error_d)),
                "length_d": base["length_d"] if anchor.error_d < 12 else 2.0 * USUAL_LENGTH_d,
                "length_before": base["length_before"],
                "length_per_K": response,
                "observations": 0,
                "places": 0,
                "years": 0,
                "basis": "common practice",
                "source_id": COMMON_PRACTICE,
                "note": f"curve of {anchor.curve}; usual bloom: {anchor.note}",
            }
        )
    frame = pd.DataFrame(rows).sort_values("crop", ignore_index=True)
    _save(frame.round(4), kept)
    columns = [
        "crop",
        "label",
        "variety",
        "effect_log",
        "effect_d",
        "observed_d",
        "error_d",
        "observations",
        "places",
        "source_id",
    ]
    _save(
        pd.concat(effects)[columns].sort_values(["crop", "label"]).round(4),
        folder / "bloom_varieties.csv",
    )


_CURVE = ("chill_portions", "chill_width_portions", "extra", "warmth_degC", "steepness_per_K", "light_h")


def _parameters(
    crop: str, curve_of_crop: str, curve: BudCurve, errors: Floats | None, mean: float, slope: float
) -> dict[str, object]:
    """Curve and its standard errors; those of logarithms turned into the parameter's own unit."""
    need, width, base, steep, extra, light_h = (np.nan,) * 6 if errors is None else errors
    return {
        "crop": crop,
        "curve_of": curve_of_crop,
        "chill_portions": curve.chill_portions,
        "chill_portions_se": need,
        "chill_width_portions": curve.chill_width,
        "chill_width_portions_se": width * curve.chill_width,
        "extra": curve.extra,
        "extra_se": extra * curve.extra,
        "warmth_degC": curve.warmth_degC,
        "warmth_degC_se": base,
        "steepness_per_K": curve.steepness,
        "steepness_per_K_se": steep * curve.steepness,
        "light_h": curve.light_h,
        "light_h_se": light_h,
        "heat_from": curve.heat_from,
        "log_requirement": mean,
        "log_requirement_per_day": slope,
    }


def _save(frame: pd.DataFrame, path: Path) -> None:
    partial = path.with_name(f".{path.name}.partial")
    frame.to_csv(partial, index=False, lineterminator="\n")
    partial.replace(path)
