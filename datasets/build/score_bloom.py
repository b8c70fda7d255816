"""How well the bloom model does on years, places and varieties it was not fitted to, beside two plain rules.

In come the crops of fit_bloom.py; out goes one row a crop and way of leaving out, with the root mean square
error in days of the model and, in the same folds, of the variety's mean date and of a fixed heat sum from
1 January. A place left out is left out of every crop, so nothing of its weather has been seen. Beside them:
how many of the blooms left out lie within the error that a user is told.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from fit_bloom import BLOCK_YEARS, SEED, VARIETY_FOLDS, YEAR_FOLDS, Crop, fit_all, offset_spread, variety_sd
from numpy.typing import NDArray

from recommender.biology.bloom_model import day_reached
from recommender.biology.bloom_parameters import BloomParameters, bloom_needs
from recommender.catalog.catalog import Catalog

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]
Texts = NDArray[np.object_]
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


@dataclass(frozen=True, eq=False)
class LeftOut:
    """Errors (3, n) of the model and the two plain rules on what was left out; variety_error (n,) stated for
    the varieties' place in their crop; places: how many were seen, 0 where the place itself was."""

    crop: str
    left_out: str
    which: str
    errors: Floats
    variety_error: Floats
    places: int = 0

    def of(self, which: str, rows: NDArray[np.bool_], left_out: str = "") -> LeftOut:
        """The same of some rows."""
        return replace(
            self,
            which=which,
            left_out=left_out or self.left_out,
            errors=self.errors[:, rows],
            variety_error=self.variety_error[rows],
        )


def _joined(parts: list[LeftOut]) -> LeftOut:
    return replace(
        parts[0],
        errors=np.concatenate([part.errors for part in parts], axis=1),
        variety_error=np.concatenate([part.variety_error for part in parts]),
    )


def _left_out(
    crop: Crop,
    theta: Floats,
    train: Rows,
    test: Rows,
    left_out: str,
    which: str,
    spread: float,
    places: int = 0,
) -> LeftOut:
    """spread: of the crop's published offsets [d]."""
    errors = [
        crop.errors(theta, train, test),
        mean_date_errors(crop, train, test),
        heat_sum_errors(crop, train, test),
    ]
    standing = crop.standing(theta, train)
    unseen = variety_sd(standing, spread)
    of_variety = pd.Series(crop.label[test]).map(standing.varieties["error_d"]).fillna(unseen)
    return LeftOut(crop.data.crop, left_out, which, np.stack(errors), of_variety.to_numpy(), places)


def told_by_catalog(
    crop: Crop, theta: Floats, train: Rows, test: Rows, catalog: Catalog, spread: float
) -> tuple[LeftOut, Texts]:
    """Varieties left out, placed in their crop by what the catalog has of them, and what that is."""
    name = crop.data.crop
    standing = crop.standing(theta, train)
    middle = {
        "log_requirement": standing.mean,
        "log_requirement_per_day": standing.slope,
        "variety_sd_d": variety_sd(standing, spread),
        "process_error_d": 0.0,
        "place_error_d": 0.0,
        "usual_need_portions": crop.data.usual,
    }
    seen = standing.varieties[standing.varieties["variety"] != ""].assign(crop=name)
    parameters = BloomParameters(
        pd.DataFrame([middle], index=pd.Index([name], name="crop")), seen.set_index(["crop", "variety"])
    )
    traits = catalog.traits()
    traits = traits[traits["crop"] == name].reset_index(drop=True)
    needs = bloom_needs(traits, parameters)
    at = pd.Index(traits["variety"]).get_indexer(crop.data.frame["variety"].iloc[test])
    known = at >= 0
    shift = np.where(known, needs.shift_d[at], 0.0)
    sums = crop.sums(theta)
    errors = crop.days(sums, test, standing.mean + shift * standing.slope) - crop.data.day[test]
    plain = [mean_date_errors(crop, train, test), heat_sum_errors(crop, train, test)]
    own = np.where(known, needs.variety_error_d[at], middle["variety_sd_d"])
    told = np.where(known, needs.told_by[at], "crop").astype(object)
    return LeftOut(name, "varieties", "placed by the catalog", np.stack([errors, *plain]), own), told


def place_error(parts: list[LeftOut]) -> float:
    """What a new place adds where one was seen [d]: how far varieties known from elsewhere are off there on
    average; unknown varieties would hide it."""
    return rms(np.array([p.errors[0].mean() for p in parts if p.left_out == "place, variety known"]))


def table_of(parts: list[LeftOut]) -> pd.DataFrame:
    """One row a crop and way of leaving out. The stated error of a row adds up in squares: the crop's error
    in years left out, the variety's own, and a new place's (`place_error`, over the root of the places
    seen); covered_68 and covered_90 are the shares of blooms within 1 and 1.645 of it."""
    process = {p.crop: rms(p.errors[0]) for p in parts if (p.left_out, p.which) == ("years", "all places")}
    place = place_error(parts)
    rows = []
    for part in parts:
        model = part.errors[0]
        new_place = place / np.sqrt(part.places) if part.places else 0.0
        # The error in years left out holds that of known varieties already.
        of_variety = 0.0 if part.left_out == "years" else part.variety_error
        stated = np.sqrt(process[part.crop] ** 2 + new_place**2 + of_variety**2 + np.zeros(len(model)))
        rows.append(
            {
                "crop": part.crop,
                "left_out": part.left_out,
                "which": part.which,
                "observations": len(model),
                "rmse_d": rms(model),
                "median_abs_d": float(np.median(np.abs(model))),
                "bias_d": float(model.mean()),
                "stated_d": rms(stated),
                "covered_68": float((np.abs(model) <= stated).mean()),
                "covered_90": float((np.abs(model) <= 1.645 * stated).mean()),
                "rmse_mean_date_d": rms(part.errors[1]),
                "rmse_heat_sum_d": rms(part.errors[2]),
                "rmse_published_d": PUBLISHED_d.get(part.crop) if part.left_out == "years" else None,
            }
        )
    return pd.DataFrame(rows)


def _years(
    crops: dict[str, Crop], start: dict[str, Floats], spread: dict[str, float]
) -> tuple[list[LeftOut], dict[str, Floats]]:
    fold_of = year_folds(crops)
    folds = {name: np.array([fold_of[year] for year in crop.year.tolist()]) for name, crop in crops.items()}
    curves: dict[str, list[Floats]] = {name: [] for name in crops}
    parts: dict[str, list[LeftOut]] = {name: [] for name in crops}
    at: dict[str, list[Rows]] = {name: [] for name in crops}
    for fold in range(YEAR_FOLDS):
        train = {name: np.flatnonzero(folds[name] != fold) for name in crops}
        for name, theta in fit_all(crops, train, start).items():
            curves[name].append(theta)
            test = np.flatnonzero(folds[name] == fold)
            if len(test) and len(train[name]):
                part = _left_out(crops[name], theta, train[name], test, "years", "all places", spread[name])
                parts[name].append(part)
                at[name].append(test)
    out = []
    for name, crop in crops.items():
        whole, order = _joined(parts[name]), np.concatenate(at[name])
        out.append(whole)
        out += [whole.of(place, crop.place[order] == place) for place in np.unique(crop.place)]
    return out, {name: np.stack(each) for name, each in curves.items()}


def _places(crops: dict[str, Crop], start: dict[str, Floats], spread: dict[str, float]) -> list[LeftOut]:
    out = []
    for place in np.unique(np.concatenate([crop.place for crop in crops.values()])):
        train = {name: np.flatnonzero(crop.place != place) for name, crop in crops.items()}
        for name, theta in fit_all(crops, train, start).items():
            crop, test = crops[name], np.flatnonzero(crops[name].place == place)
            if not len(test) or not len(train[name]):
                continue
            seen = len(np.unique(crop.place[train[name]]))
            part = _left_out(crop, theta, train[name], test, "place", place, spread[name], seen)
            known = np.isin(crop.label[test], crop.label[train[name]])
            out.append(part)
            if known.any():
                out.append(part.of(place, known, "place, variety known"))
    return out


def _varieties(
    crops: dict[str, Crop], start: dict[str, Floats], spread: dict[str, float], catalog: Catalog
) -> list[LeftOut]:
    out = []
    for name, crop in crops.items():
        labels = np.unique(crop.label)
        dealt = np.random.default_rng(SEED).permutation(len(labels)) % min(VARIETY_FOLDS, len(labels))
        of_label = dict(zip(labels, dealt, strict=True))
        of_row = np.array([of_label[label] for label in crop.label])
        blind, told, by = [], [], []
        for each in np.unique(of_row):
            train, test = np.flatnonzero(of_row != each), np.flatnonzero(of_row == each)
            theta = fit_all({name: crop}, {name: train}, {name: start[name]})[name]
            blind.append(_left_out(crop, theta, train, test, "varieties", "all places", spread[name]))
            placed, told_by = told_by_catalog(crop, theta, train, test, catalog, spread[name])
            told.append(placed)
            by.append(told_by)
        placed, known = _joined(told), np.concatenate(by) != "crop"
        out += [_joined(blind), placed]
        if known.any():
            out.append(placed.of("of these, placed by offset, season or group", known))
    return out


def scores(
    crops: dict[str, Crop], start: dict[str, Floats], catalog: Catalog
) -> tuple[pd.DataFrame, dict[str, Floats]]:
    """The table of scores, and the curves fitted without each year fold (folds, 6) for standard errors."""
    spread = {name: offset_spread(catalog, name) for name in crops}
    years, curves = _years(crops, start, spread)
    places = _places(crops, start, spread)
    return table_of([*years, *places, *_varieties(crops, start, spread, catalog)]), curves
