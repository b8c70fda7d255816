"""Fit the bloom model to observed blooms and write its parameters, standard errors and scores.

    python datasets/build/fit_bloom.py --observations DIR

DIR holds bloom_observations.csv and daily_weather/ (open data, doi 10.60507/FK2/MZIELI). Written are
bloom_parameters.csv, bloom_varieties.csv and bloom_scores.csv in datasets/. Method page: docs/bloom.md.

Each crop has a curve of six parameters, a requirement, and an effect for every variety (logarithms). Effects
are shrunk towards the crop. The curves are fitted twice: first alone, then drawn towards the mean curve of
all crops, and their chill need towards the published one. Differences in days are weighed robustly, and how
well one place foretells the other counts half as much as the fit itself.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
from bloom_observations import DAYS, Observed, observed
from numpy.typing import NDArray
from scipy.optimize import least_squares

from recommender import open_catalog
from recommender.biology.bloom_model import BudCurve, day_reached, heat_sum, warmth
from recommender.biology.bloom_parameters import NEED_POWER, NEED_RATIO_RANGE, NEED_STEP
from recommender.catalog.catalog import Catalog
from recommender.catalog.package import datasets_folder

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
SEED = 20261125
YEAR_FOLDS, VARIETY_FOLDS, BLOCK_YEARS = 6, 6, 2
ROBUST_DAYS, SCALE_DAYS = 6.0, 5.0
# Prior of a curve fitted alone: chill need [CP] about the published one, log width, warmth, log steepness,
# log extra, light [h].
ALONE = np.array([np.nan, np.log(6.5), 15.5, np.log(0.27), np.log(0.7), 5.5])
ALONE_SD = np.array([15.0, 0.35, 2.0, 0.3, 0.6, 0.5])
TOGETHER_SD = np.array([15.0, 0.25, 1.5, 0.2, 0.4, 0.25])
NEED_CEILING = 75.0
# The least spread of a crop's varieties that is believed [d]; so many observed varieties tell it alone:
# published offsets of different places, some of them short of chill, spread too far.
LEAST_SPREAD_d = 3.0
MANY_VARIETIES = 20
STEPS = [0.02, 0.03, 0.02, 0.03, 0.1, 0.02]


@dataclass(frozen=True, eq=False)
class Standing:
    """mean: log requirement of the middle variety; slope: its growth a day about bloom [1/d]; within: sd of
    the log about a variety's own; between_d: sd of varieties [d]; varieties: by label, with variety,
    effect_log, effect_d, error_d, observations, places."""

    mean: float
    slope: float
    within: float
    between_d: float
    varieties: pd.DataFrame


class Crop:
    """One crop's observations with what does not change while its curve is fitted."""

    def __init__(self, data: Observed) -> None:
        self.data = data
        ratio = np.nan_to_num(data.published / data.usual, nan=1.0)
        self.factor = np.round(np.clip(ratio, *NEED_RATIO_RANGE) ** NEED_POWER / NEED_STEP) * NEED_STEP
        self.factors, self.group = np.unique(self.factor, return_inverse=True)
        self.label = data.frame["label"].to_numpy()
        self.place = data.frame["place"].to_numpy()
        self.year = data.frame["year"].to_numpy()

    def sums(self, theta: Floats) -> Floats:
        """Running heat sums (groups, seasons, days)."""
        curve, data = bud_curve(theta), self.data
        daily = warmth(data.hourly, curve.warmth_degC, curve.steepness)
        curves = [replace(curve, chill_portions=curve.chill_portions * factor) for factor in self.factors]
        return np.stack([heat_sum(daily, data.chill, each, data.light) for each in curves])

    def log_at_bloom(self, sums: Floats) -> Floats:
        return np.log(np.maximum(sums[self.group, self.data.season, self.data.day], 1e-9))

    def days(self, sums: Floats, rows: NDArray[np.intp], log_requirement: Floats) -> Floats:
        """Predicted day of each row; the last day of the record where the sum is not reached."""
        out = np.empty(len(rows))
        key = self.group[rows] * sums.shape[1] + self.data.season[rows]
        flat = sums.reshape(-1, sums.shape[2])
        for each in np.unique(key):
            mine = key == each
            out[mine] = day_reached(flat[each], np.exp(log_requirement[mine]))
        return np.where(np.isnan(out), DAYS, out)

    def levels(self, logs: Floats, rows: NDArray[np.intp]) -> tuple[float, dict[str, float], float, float]:
        """Crop mean (each place counting alike), shrunk variety effects, sd within and between varieties."""
        frame = pd.DataFrame({"y": logs[rows], "v": self.label[rows], "p": self.place[rows]})
        mean = float(frame.groupby("p")["y"].median().mean())
        grouped = frame.groupby("v")["y"]
        middle, count = grouped.median(), grouped.size()
        within = max(1.25 * float((frame["y"] - frame["v"].map(middle)).abs().mean()), 0.01)
        between = max(float(middle.var(ddof=0)) - float((within**2 / count).mean()), (0.2 * within) ** 2)
        shrunk = (middle - mean) * count / (count + within**2 / between)
        effects = {str(name): float(effect) for name, effect in shrunk.items()}
        return mean, effects, within, float(between**0.5)

    def standing(self, theta: Floats, rows: NDArray[np.intp]) -> Standing:
        """The crop's middle and where the varieties of the rows stand in it."""
        sums, data = self.sums(theta), self.data
        logs = self.log_at_bloom(sums)
        mean, shrunk, within, between = self.levels(logs, rows)
        group, season, day = self.group[rows], data.season[rows], data.day[rows]
        after = sums[group, season, np.minimum(day + 3, sums.shape[2] - 1)]
        before = np.maximum(sums[group, season, day - 3], 1e-9)
        slope = float(np.median(np.log(after) - np.log(before)) / 6.0)
        parts = data.frame.iloc[rows].groupby("label")
        table = pd.DataFrame(
            {
                "variety": parts["variety"].first(),
                "observations": parts.size(),
                "places": parts["place"].nunique(),
            }
        )
        table["effect_log"] = table.index.map(shrunk)
        table["effect_d"] = table["effect_log"] / slope
        table["error_d"] = 1.0 / np.sqrt(table["observations"] / within**2 + 1.0 / between**2) / slope
        return Standing(mean, slope, within, between / slope, table)

    def errors(self, theta: Floats, train: NDArray[np.intp], test: NDArray[np.intp]) -> Floats:
        """Predicted less observed day of the test rows [d], levels from the training rows."""
        sums = self.sums(theta)
        mean, effects, _, _ = self.levels(self.log_at_bloom(sums), train)
        wanted = mean + np.array([effects.get(label, 0.0) for label in self.label[test]])
        return self.days(sums, test, wanted) - self.data.day[test]

    def fit(self, rows: NDArray[np.intp], centre: Floats, sd: Floats, start: Floats) -> Floats:
        """The curve that fits the rows, drawn towards `centre`."""
        seasons = len(np.unique(self.data.season[rows]))
        places = np.unique(self.place[rows])

        def residuals(theta: Floats) -> Floats:
            sums = self.sums(theta)
            logs = self.log_at_bloom(sums)
            parts = [self._residuals(sums, logs, rows, rows, 1.0)]
            if len(places) > 1:
                for place in places:
                    here = self.place[rows] == place
                    share = 0.5 / len(places)
                    parts.append(self._residuals(sums, logs, rows[~here], rows[here], share))
            return np.concatenate([*parts, (theta - centre) / sd / np.sqrt(seasons)])

        low = [5.0, np.log(4.0), 8.0, np.log(0.1), np.log(0.05), 4.5]
        high = [85.0, np.log(20.0), 22.0, np.log(0.6), np.log(4.0), 7.0]
        start = np.clip(start, np.add(low, 1e-3), np.subtract(high, 1e-3))
        return np.asarray(
            least_squares(
                residuals,
                start,
                bounds=(low, high),
                x_scale=[8, 0.3, 2, 0.25, 0.5, 0.3],
                diff_step=STEPS,
                max_nfev=12,
            ).x
        )

    def _residuals(
        self, sums: Floats, logs: Floats, train: NDArray[np.intp], test: NDArray[np.intp], share: float
    ) -> Floats:
        mean, effects, _, _ = self.levels(logs, train)
        wanted = mean + np.array([effects.get(label, 0.0) for label in self.label[test]])
        off = (self.days(sums, test, wanted) - self.data.day[test]) * self.data.weight[test]
        robust = np.sign(off) * np.sqrt(
            2.0 * ROBUST_DAYS**2 * (np.sqrt(1.0 + (off / ROBUST_DAYS) ** 2) - 1.0)
        )
        return robust / SCALE_DAYS * np.sqrt(share / len(test))


def fit_all(
    crops: dict[str, Crop], rows: dict[str, NDArray[np.intp]], start: dict[str, Floats] | None
) -> dict[str, Floats]:
    """Curves of all crops with rows, drawn together; `start` saves the first pass its search."""
    alone = {}
    for name, crop in crops.items():
        if len(rows[name]) < 10:
            continue
        centre = ALONE.copy()
        centre[0] = min(crop.data.usual, NEED_CEILING)
        alone[name] = crop.fit(rows[name], centre, ALONE_SD, centre if start is None else start[name])
    weights = np.sqrt([len(np.unique(crops[name].data.season[rows[name]])) for name in alone])
    common = np.average(np.stack(list(alone.values())), axis=0, weights=weights)
    usual = np.array([min(crops[name].data.usual, NEED_CEILING) for name in alone])
    above = float(np.average(np.array([theta[0] for theta in alone.values()]) - usual, weights=weights))
    out = {}
    for name, theta in alone.items():
        centre = common.copy()
        centre[0] = min(crops[name].data.usual + above, NEED_CEILING)
        out[name] = crops[name].fit(rows[name], centre, TOGETHER_SD, theta)
    for name in crops.keys() - out.keys():
        centre = common.copy()
        centre[0] = min(crops[name].data.usual + above, NEED_CEILING)
        out[name] = centre
    return out


def bud_curve(theta: Floats) -> BudCurve:
    return BudCurve(
        float(theta[0]),
        float(np.exp(theta[1])),
        float(np.exp(theta[4])),
        float(theta[2]),
        float(np.exp(theta[3])),
        light_h=float(theta[5]),
    )


def offset_spread(catalog: Catalog, crop: str) -> float:
    """Spread of the crop's published bloom offsets, of the middle four fifths as if normal [d]."""
    traits = catalog.traits()
    offsets = traits.loc[traits["crop"] == crop, "bloom_offset"].dropna()
    if len(offsets) < 8:
        return LEAST_SPREAD_d
    return max(float(offsets.quantile(0.9) - offsets.quantile(0.1)) / 2.563, LEAST_SPREAD_d)


def variety_sd(standing: Standing, published_d: float) -> float:
    """Spread of varieties about the crop's middle [d]; published_d: that of the published offsets."""
    wider = LEAST_SPREAD_d if len(standing.varieties) >= MANY_VARIETIES else published_d
    return max(standing.between_d, wider)


def main() -> None:
    """Fit, score, write."""
    from score_bloom import scores
    from write_bloom import write

    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--observations", type=Path, required=True, help="folder of the open data")
    parser.add_argument("--keep-scores", action="store_true", help="fit only; keep bloom_scores.csv as it is")
    asked = parser.parse_args()
    catalog = open_catalog()
    crops = {name: Crop(data) for name, data in observed(asked.observations, catalog).items()}
    everything = {name: np.arange(len(crop.label)) for name, crop in crops.items()}
    curves = fit_all(crops, everything, None)
    table, folds = (None, None) if asked.keep_scores else scores(crops, curves, catalog)
    if table is not None:
        print(table.round(2).to_string(index=False))
    write(datasets_folder(), catalog, crops, curves, table, folds, asked.observations)


if __name__ == "__main__":
    main()
