"""How well the bloom model does on years, places and varieties it was not fitted to, beside two plain rules.

In come the crops of fit_bloom.py; out goes one row a crop and way of leaving out, with the root mean square
error in days of the model and, in the same folds, of the variety's mean date and of a fixed heat sum from
1 January. A place left out is left out of every crop, so nothing of its weather has been seen.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from fit_bloom import BLOCK_YEARS, SEED, VARIETY_FOLDS, YEAR_FOLDS, Crop, fit_all
from numpy.typing import NDArray

from recommender.biology.bloom_model import day_reached

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]
HEAT_BASE_degC = 4.0
FIRST_OF_JANUARY = 122  # day of the bud year
# Root mean square errors published for a comparable data set [d]; the aim named in the method page.
PUBLISHED_d = {
    "european-pear": 3.4, "sweet-cherry": 4.7, "apple": 5.2, "european-plum": 3.8, "japanese-plum": 3.9,
    "apricot": 7.1, "almond": 9.2,
}  # fmt: skip


def rms(errors: Floats) -> float:
    return float(np.sqrt(np.mean(errors**2)))


def year_folds(crops: dict[str, Crop]) -> dict[int, int]:
    """Year -> fold: runs of two years dealt at random."""
    years = np.unique(np.concatenate([crop.year for crop in crops.values()]))
    blocks = np.arange(len(years)) // BLOCK_YEARS
    dealt = np.random.default_rng(SEED).permutation(blocks.max() + 1) % YEAR_FOLDS
    return dict(zip(years.tolist(), dealt[blocks].tolist(), strict=True))


def mean_date_errors(crop: Crop, train: Rows, test: Rows) -> Floats:
    """The plain rule: the variety's mean date there, else the place's, the variety's, the crop's."""
    seen = pd.DataFrame({"v": crop.label[train], "p": crop.place[train], "d": crop.data.day[train]})
    both, place, variety = (seen.groupby(by)["d"].mean() for by in (["v", "p"], "p", "v"))
    overall = float(seen["d"].mean())
    guess = [
        both.get((v, p), place.get(p, variety.get(v, overall)))
        for v, p in zip(crop.label[test], crop.place[test], strict=True)
    ]
    return np.asarray(guess, dtype=float) - crop.data.day[test]


def heat_sum_errors(crop: Crop, train: Rows, test: Rows) -> Floats:
    """The plain rule: the variety's mean degree days above 4 degC from 1 January."""
    daily = np.maximum(crop.data.mean - HEAT_BASE_degC, 0.0)
    daily[:, :FIRST_OF_JANUARY] = 0.0
    sums = daily.cumsum(axis=1)
    at_bloom = sums[crop.data.season, crop.data.day]
    by_variety = pd.Series(at_bloom[train]).groupby(crop.label[train]).mean()
    wanted = np.array([by_variety.get(label, at_bloom[train].mean()) for label in crop.label[test]])
    days = [
        float(day_reached(sums[season], [max(need, 0.1)])[0])
        for season, need in zip(crop.data.season[test], wanted, strict=True)
    ]
    return np.nan_to_num(np.array(days), nan=sums.shape[1]) - crop.data.day[test]


def _three(crop: Crop, theta: Floats, train: Rows, test: Rows) -> Floats:
    """Errors (3, n) of the model and the two plain rules."""
    return np.stack(
        [
            crop.errors(theta, train, test),
            mean_date_errors(crop, train, test),
            heat_sum_errors(crop, train, test),
        ]
    )


def _row(crop: str, what: str, left_out: str, errors: Floats) -> tuple[object, ...]:
    model = errors[0]
    return (
        crop,
        what,
        left_out,
        errors.shape[1],
        rms(model),
        float(np.median(np.abs(model))),
        float(model.mean()),
        rms(errors[1]),
        rms(errors[2]),
        PUBLISHED_d.get(crop) if what == "years" else None,
    )


COLUMNS = [
    "crop", "left_out", "which", "observations", "rmse_d", "median_abs_d", "bias_d", "rmse_mean_date_d",
    "rmse_heat_sum_d", "rmse_published_d",
]  # fmt: skip


def scores(crops: dict[str, Crop], start: dict[str, Floats]) -> tuple[pd.DataFrame, dict[str, Floats]]:
    """The table of scores, and the curves fitted without each year fold (folds, 5) for standard errors."""
    rows: list[tuple[object, ...]] = []
    fold_of = year_folds(crops)
    folds = {name: np.array([fold_of[year] for year in crop.year.tolist()]) for name, crop in crops.items()}
    curves: dict[str, list[Floats]] = {name: [] for name in crops}
    parts: dict[str, list[Floats]] = {name: [] for name in crops}
    at: dict[str, list[Rows]] = {name: [] for name in crops}
    for fold in range(YEAR_FOLDS):
        train = {name: np.flatnonzero(folds[name] != fold) for name in crops}
        for name, theta in fit_all(crops, train, start).items():
            curves[name].append(theta)
            test = np.flatnonzero(folds[name] == fold)
            if len(test) and len(train[name]):
                parts[name].append(_three(crops[name], theta, train[name], test))
                at[name].append(test)
    for name, crop in crops.items():
        errors, order = np.concatenate(parts[name], axis=1), np.concatenate(at[name])
        rows.append(_row(name, "years", "all places", errors))
        for place in np.unique(crop.place):
            rows.append(_row(name, "years", place, errors[:, crop.place[order] == place]))
    places = np.unique(np.concatenate([crop.place for crop in crops.values()]))
    for place in places:
        train = {name: np.flatnonzero(crop.place != place) for name, crop in crops.items()}
        for name, theta in fit_all(crops, train, start).items():
            crop, test = crops[name], np.flatnonzero(crops[name].place == place)
            if not len(test) or not len(train[name]):
                continue
            errors = _three(crop, theta, train[name], test)
            rows.append(_row(name, "place", place, errors))
            known = np.isin(crop.label[test], crop.label[train[name]])
            if known.any():
                rows.append(_row(name, "place, variety known", place, errors[:, known]))
    for name, crop in crops.items():
        labels = np.unique(crop.label)
        dealt = np.random.default_rng(SEED).permutation(len(labels)) % min(VARIETY_FOLDS, len(labels))
        of_label = dict(zip(labels, dealt, strict=True))
        of_row = np.array([of_label[label] for label in crop.label])
        parts_here = []
        for each in np.unique(of_row):
            train_rows, test = np.flatnonzero(of_row != each), np.flatnonzero(of_row == each)
            theta = fit_all({name: crop}, {name: train_rows}, {name: start[name]})[name]
            parts_here.append(_three(crop, theta, train_rows, test))
        rows.append(_row(name, "varieties", "all places", np.concatenate(parts_here, axis=1)))
    frame = pd.DataFrame(rows, columns=COLUMNS)
    return frame, {name: np.stack(each) for name, each in curves.items()}
