"""Missing traits estimated from what is known of a variety, its relatives and crop, each with an interval.

In come the catalog's wide traits, varieties and names; out go `Gaps`: a frame of estimates (one row for each
variety and trait that nobody published and that can be told better than by the crop alone) and a frame of
errors, by trait, from cross-validation against that dummy. An estimate is shown as `estimated`, always.

Estimator: the mean of ridge regression and extremely randomised trees on the features of `gap_features`, all
as departures from the crop's usual value in the crop's scatter. Cross-validation holds out whole families
(sports and full siblings together). Traits that say nearly the same thing are companions: each held-out
variety is judged once with its companions hidden and, where it has any, once with them, since a variety
without a zone rating mostly has no survival temperature either. Use, by trait and case, only where the mean
absolute error is below the dummy's by more than chance would give (one-sided t over held-out varieties, 95
%), and not in a crop that has ten or more held-out values and does worse.

References
    [1] Geurts, Ernst, Wehenkel 2006, Extremely randomized trees, doi 10.1007/s10994-006-6226-1.
    [2] Lei, G'Sell, Rinaldo, Tibshirani, Wasserman 2018, Distribution-free predictive inference for
        regression, doi 10.1080/01621459.2017.1307116: the interval is a quantile of held-out errors.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from recommender.catalog.gap_features import Known, features, in_crop, known_of
from recommender.catalog.traits import NUMERIC, trait
from recommender.errors import StorageFault

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]
Bools = NDArray[np.bool_]
Progress = Callable[[str, float], None]

# Which traits say nearly the same thing as each other.
COMPANIONS: tuple[frozenset[str], ...] = (
    frozenset({"zone_min", "min_survival_temp"}),
    frozenset({"chill_hours", "chill_portions", "chill_units"}),
    frozenset({"bloom_offset", "bloom_season", "heat_to_bloom"}),
    frozenset({"ripening_offset", "ripening_season", "harvest_start", "harvest_end", "bloom_to_harvest"}),
    frozenset({"ploidy", "pollen"}),
)
# What the suitability room reads. Others that could be estimated help nobody.
TARGETS = (
    "zone_min", "min_survival_temp", "zone_max", "chill_hours", "chill_portions", "bloom_offset",
    "bloom_season", "ripening_offset", "ripening_season", "harvest_start", "bloom_to_harvest", "storage",
    "mature_height", "bearing_years", "fruit_size", "vigour", "self_fertility", "frost_tolerance_bloom",
    "disease:apple-scab", "disease:bacterial-spot", "disease:cedar-apple-rust", "disease:fire-blight",
    "disease:powdery-mildew",
)  # fmt: skip
FEWEST = 40
FEWEST_OF_CROP = 5
FOLDS = 5
TREES = 100
# The interval holds the true value this often; beyond what chance gives, the t value asked of the gain.
COVERAGE = 0.8
GAIN_T = 1.645
CROP_JUDGED_FROM = 10
SEED = 20261125
FILE = "estimates.parquet"
# 80 % of a normal law lies within so many standard deviations.
_NORMAL_80 = 1.2816
ALONE, BESIDE, SPORT = (
    "without its companions",
    "beside a companion trait",
    "from the variety it is a sport of",
)
COLUMNS = ["crop", "variety", "trait", "value", "number", "low", "high", "error", "usual", "method"]


@dataclass(frozen=True, eq=False)
class Gaps:
    """estimates: crop, variety, trait, value (text), number, low, high (hold the truth in 8 of 10), error
    (one standard deviation), usual (of the crop, by the same data), method.
    errors: one row a trait and case: n, families, dummy_error, error (mean absolute, unit of the trait or
    classes), gain_t, coverage, used, crops_left_out.
    """

    estimates: pd.DataFrame
    errors: pd.DataFrame


def traits_key(frame: pd.DataFrame) -> str:
    """Digest of what estimates are made from: the wide traits as they stand."""
    columns = sorted(name for name in map(str, frame) if not name.endswith(("_low", "_high", "_agreement")))
    text = frame[columns].to_csv(index=False, float_format="%.6g")
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def _companions(known: Known, name: str) -> Rows:
    others = next((group for group in COMPANIONS if name in group), frozenset())
    return np.array([known.column(each) for each in known.names if each in others - {name}], dtype=np.intp)


def _hidden(known: Known, columns: Rows) -> Known:
    """The same with some traits hidden from every variety."""
    standard = known.standard.copy()
    standard[:, columns] = np.nan
    return Known(
        known.names,
        known.figures,
        standard,
        known.fixed,
        known.fixed_names,
        known.crop,
        known.crops,
        known.kin,
    )


class _Target:
    """One trait being estimated: its values, and its features with and without companions."""

    def __init__(self, known: Known, name: str) -> None:
        self.known, self.name = known, name
        self.at = known.column(name)
        self.figures = known.figures[:, self.at]
        companions = _companions(known, name)
        self.beside: Bools = np.asarray(np.isfinite(known.standard[:, companions]).any(axis=1))
        self.hidden = _hidden(known, companions)
        self.rows = np.flatnonzero(np.isfinite(self.figures))

    def fit(self, train: Rows) -> tuple[Floats, Floats, Floats, Floats]:
        """From the values of `train` only: usual (V,), scatter (V,) and the estimates (V,) with companions
        hidden and shown, in the trait's unit."""
        from sklearn.ensemble import ExtraTreesRegressor
        from sklearn.linear_model import RidgeCV

        seen = np.full(len(self.figures), np.nan)
        seen[train] = self.figures[train]
        usual, scatter = (each[self.known.crop] for each in in_crop(self.known.crop, seen))
        own = np.clip((seen - usual) / scatter, -4.0, 4.0)
        # A companion column must hold the same features in both views, so the hidden view is zeroed.
        shown = features(self.known, self.at, own)
        hidden = _zeroed_like(shown, features(self.hidden, self.at, own), self)
        both = np.vstack([shown[train], hidden[train]])
        wanted = np.concatenate([own[train], own[train]])
        ridge = RidgeCV(np.logspace(0.5, 3.5, 7)).fit(both, wanted)
        crop = self.known.crop.astype(float)[:, None]
        trees = ExtraTreesRegressor(TREES, min_samples_leaf=5, max_features=0.4, random_state=SEED)
        trees.fit(np.hstack([both, np.vstack([crop[train], crop[train]])]), wanted)
        answers = [
            usual + scatter * (ridge.predict(view) + trees.predict(np.hstack([view, crop]))) / 2.0
            for view in (hidden, shown)
        ]
        return usual, scatter, answers[0], answers[1]


def _zeroed_like(shown: Floats, hidden: Floats, target: _Target) -> Floats:
    """The hidden view with as many columns as the shown one: columns that fell away are 0."""
    if hidden.shape[1] == shown.shape[1]:
        return hidden
    standard = target.known.standard
    kept = [
        at for at in range(standard.shape[1]) if at != target.at and np.isfinite(standard[:, at]).sum() >= 15
    ]
    gone = [place for place, at in enumerate(kept) if not np.isfinite(target.hidden.standard[:, at]).any()]
    full = shown.copy()
    for place in gone:
        full[:, [place, len(kept) + place]] = 0.0
    return full


def _quantile(errors: Floats) -> float:
    """The conformal quantile of absolute errors: at least COVERAGE of as many more will not exceed it."""
    if not len(errors):
        return float("inf")
    rank = min(int(np.ceil((len(errors) + 1) * COVERAGE)), len(errors))
    return float(np.sort(errors)[rank - 1])


@dataclass(frozen=True, eq=False)
class _HeldOut:
    """What cross-validation found of one trait in one case, row for row of `rows`."""

    rows: Rows
    fold: Rows
    truth: Floats
    dummy: Floats
    estimate: Floats
    scatter: Floats

    @property
    def error(self) -> Floats:
        return np.abs(self.estimate - self.truth)

    @property
    def dummy_error(self) -> Floats:
        return np.abs(self.dummy - self.truth)

    def gain_t(self) -> float:
        """How many standard errors the mean gain over the dummy is."""
        gain = self.dummy_error - self.error
        spread = float(gain.std(ddof=1)) if len(gain) > 1 else 0.0
        return float(gain.mean() / (spread / np.sqrt(len(gain)))) if spread > 0 else 0.0

    def coverage(self) -> float:
        """Share of held-out values inside the interval that the other folds would have given."""
        inside = np.zeros(len(self.rows), dtype=bool)
        relative = self.error / self.scatter
        for fold in np.unique(self.fold):
            here = self.fold == fold
            inside[here] = relative[here] <= _quantile(relative[~here])
        return float(inside.mean()) if len(inside) else float("nan")

    def taken(self, keep: Bools) -> _HeldOut:
        return _HeldOut(*(getattr(self, name)[keep] for name in self.__dataclass_fields__))


def fold_of_family(family: Rows) -> Rows:
    """The fold of each row (N,): families stay whole, the largest first into the fold with the fewest rows.

    Families of one size go in the order of their numbers. scikit-learn's GroupKFold does the same but leaves
    that order to numpy's sort, which differs between its versions, and with it which crops are left out.

    >>> fold_of_family(np.array([7, 7, 3, 4, 5, 6, 8])).tolist()
    [0, 0, 1, 2, 3, 4, 1]
    """
    _, place, count = np.unique(family, return_inverse=True, return_counts=True)
    rows_in, fold = np.zeros(FOLDS, dtype=np.intp), np.zeros(len(count), dtype=np.intp)
    for each in np.argsort(-count, kind="stable"):
        fold[each] = np.argmin(rows_in)
        rows_in[fold[each]] += count[each]
    return np.asarray(fold[place])


def _cross_validated(target: _Target) -> tuple[_HeldOut, _HeldOut]:
    """Held-out estimates without and with companions; families are never split."""
    rows = target.rows
    fold = fold_of_family(target.known.kin.family[rows])
    found = {name: np.zeros(len(rows)) for name in ("usual", "scatter", "alone", "beside")}
    for number in range(FOLDS):
        test = fold == number
        answer = target.fit(rows[~test])
        for name, values in zip(found, answer, strict=True):
            found[name][test] = values[rows[test]]
    truth = target.figures[rows]
    alone = _HeldOut(rows, fold, truth, found["usual"], found["alone"], found["scatter"])
    beside = _HeldOut(rows, fold, truth, found["usual"], found["beside"], found["scatter"])
    return alone, beside.taken(target.beside[rows])


def _left_out(known: Known, held: _HeldOut) -> list[int]:
    """Crops with enough held-out values in which the estimates do worse than the dummy."""
    out = []
    for crop in np.unique(known.crop[held.rows]):
        here = known.crop[held.rows] == crop
        if here.sum() >= CROP_JUDGED_FROM and held.error[here].mean() >= held.dummy_error[here].mean():
            out.append(int(crop))
    return out


def _sports(known: Known) -> _HeldOut:
    """All pairs of a sport and the variety it came from with the same trait known, over all traits, in crop
    scatters: what a sport's own value is against its parent's."""
    sport = np.flatnonzero(known.kin.sport_of >= 0)
    columns = [known.column(name) for name in TARGETS if name in known.names]
    row, column = np.meshgrid(sport, np.array(columns, dtype=np.intp), indexing="ij")
    truth = known.standard[row, column].ravel()
    parent = known.standard[known.kin.sport_of[row], column].ravel()
    both = np.isfinite(truth) & np.isfinite(parent)
    rows = row.ravel()[both]
    fold = np.unique(known.kin.sport_of[rows], return_inverse=True)[1].astype(np.intp)
    return _HeldOut(rows, fold, truth[both], np.zeros(len(rows)), parent[both], np.ones(len(rows)))


def _rounded(name: str, numbers: Floats) -> list[str]:
    """Numbers as the trait writes them: a figure, or the nearest class."""
    about = trait(name)
    if about.kind == NUMERIC:
        return [f"{value:.3g}" for value in numbers]
    place = np.clip(np.rint(numbers), 0, len(about.order) - 1).astype(int)
    return [about.order[each] for each in place]


def _within(name: str, numbers: Floats) -> Floats:
    about = trait(name)
    if about.kind == NUMERIC:
        return np.clip(numbers, about.least, about.most)
    return np.clip(numbers, 0.0, len(about.order) - 1.0)


def _rows_of(
    target: _Target, estimate: Floats, usual: Floats, half: Floats, method: list[str], at: Rows
) -> pd.DataFrame:
    name = target.name
    number = _within(name, estimate[at])
    return pd.DataFrame(
        {
            "_row": at,
            "trait": name,
            "value": _rounded(name, number),
            "number": number.round(4),
            "low": _within(name, estimate[at] - half[at]).round(4),
            "high": _within(name, estimate[at] + half[at]).round(4),
            "error": (half[at] / _NORMAL_80).round(4),
            "usual": usual[at].round(4),
            "method": [method[row] for row in at],
        }
    )


def _methods(target: _Target) -> list[str]:
    """In words, what an estimate of each variety leans on."""
    known = target.known
    of_parents = target.figures[np.maximum(known.kin.parents, 0)]
    has_parent = np.asarray(((known.kin.parents >= 0) & np.isfinite(of_parents)).any(axis=1))
    told = np.isfinite(np.delete(known.standard, target.at, axis=1)).sum(axis=1)
    words = []
    for parent, near, count in zip(has_parent, target.beside, told, strict=True):
        parts = ["its crop"]
        if near:
            parts.append("a related trait")
        if parent:
            parts.append("a parent")
        if count:
            parts.append(f"{count} other traits" if count > 1 else "one other trait")
        words.append("estimated from " + ", ".join(parts) + ", origin and age")
    return words


def fill(
    frame: pd.DataFrame,
    varieties: pd.DataFrame | None = None,
    names: pd.DataFrame | None = None,
    targets: Iterable[str] = TARGETS,
    progress: Progress | None = None,
) -> Gaps:
    """Cross-validate and estimate. frame: the wide traits; varieties: crop, variety, note; names: crop, name,
    variety (so that a parent under another name is found)."""
    say = progress or (lambda _what, _share: None)
    frame = frame.reset_index(drop=True)
    known = known_of(frame, varieties, names)
    wanted = [name for name in targets if name in known.names]
    sports = _sports(known)
    sport_used = len(sports.rows) >= CROP_JUDGED_FROM and sports.gain_t() >= GAIN_T
    sport_half = _quantile(sports.error)
    errors = [_error_row(known, "all traits", SPORT, sports, sport_used, [])]
    estimates: list[pd.DataFrame] = []
    for place, name in enumerate(wanted):
        say(name, place / len(wanted))
        target = _Target(known, name)
        if len(target.rows) < FEWEST:
            continue
        alone, beside = _cross_validated(target)
        usual, scatter, hidden, shown = target.fit(target.rows)
        missing = ~np.isfinite(target.figures) & _may_be_filled(frame, name)
        enough = np.bincount(known.crop[target.rows], minlength=len(known.crops)) >= FEWEST_OF_CROP
        missing &= enough[known.crop]
        parent = np.where(known.kin.sport_of >= 0, target.figures[np.maximum(known.kin.sport_of, 0)], np.nan)
        from_parent = missing & np.isfinite(parent) & sport_used
        if from_parent.any():
            rows = np.flatnonzero(from_parent)
            sport_words = ["estimated from the variety it is a sport of"] * len(frame)
            estimates.append(_rows_of(target, parent, usual, sport_half * scatter, sport_words, rows))
        words = _methods(target)
        for case, held, answer, who in (
            (BESIDE, beside, shown, target.beside),
            (ALONE, alone, hidden, ~target.beside),
        ):
            if not len(held.rows):
                continue
            used = len(held.rows) >= FEWEST / 2 and held.gain_t() >= GAIN_T
            worse = _left_out(known, held) if used else []
            errors.append(_error_row(known, name, case, held, used, worse))
            if not used:
                continue
            rows = np.flatnonzero(missing & ~from_parent & who & ~np.isin(known.crop, worse))
            half = _quantile(held.error / held.scatter) * scatter
            estimates.append(_rows_of(target, answer, usual, half, words, rows))
    say("Done", 1.0)
    return Gaps(_joined(frame, estimates), pd.DataFrame(errors))


def _may_be_filled(frame: pd.DataFrame, name: str) -> Bools:
    """Where the trait is missing or only estimated by the catalog; a class outside the order is an answer."""
    column = frame[name]
    standing = frame[f"{name}_standing"].to_numpy(dtype=object)
    return np.asarray(column.isna().to_numpy() & (standing != "estimated"))


def _error_row(
    known: Known, name: str, case: str, held: _HeldOut, used: bool, worse: list[int]
) -> dict[str, object]:
    about = trait(name)
    unit = "crop scatters" if case == SPORT else (about.unit if about.kind == NUMERIC else "classes")
    return {
        "trait": name,
        "case": case,
        "unit": unit,
        "n": len(held.rows),
        "families": len(np.unique(known.kin.family[held.rows])),
        "dummy_error": float(held.dummy_error.mean()) if len(held.rows) else float("nan"),
        "error": float(held.error.mean()) if len(held.rows) else float("nan"),
        "gain_t": held.gain_t(),
        "coverage": held.coverage(),
        "used": used,
        "crops_left_out": "|".join(known.crops[crop] for crop in worse),
    }


def _joined(frame: pd.DataFrame, parts: list[pd.DataFrame]) -> pd.DataFrame:
    if not parts:
        return empty_estimates()
    found = pd.concat(parts, ignore_index=True)
    for name in ("crop", "variety"):
        found[name] = frame[name].to_numpy(dtype=object)[found["_row"].to_numpy()]
    return found.sort_values(["_row", "trait"], kind="stable")[COLUMNS].reset_index(drop=True)


def empty_estimates() -> pd.DataFrame:
    """A frame of estimates without a row."""
    texts = {"crop", "variety", "trait", "value", "method"}
    return pd.DataFrame({name: pd.Series(dtype=object if name in texts else float) for name in COLUMNS})


def read_estimates(folder: Path) -> tuple[pd.DataFrame, str]:
    """The estimates that ship with the open data, and the key of the traits they were made from; an empty
    frame and "" where there are none. Raises StorageFault if the file is damaged."""
    import pyarrow.parquet as pq
    from pyarrow.lib import ArrowException

    path = folder / FILE
    if not path.is_file():
        return empty_estimates(), ""
    try:
        table = pq.read_table(path)
    except (ArrowException, OSError) as problem:
        raise StorageFault(
            "The table of estimated traits cannot be read",
            where=str(path),
            remedy="Put the file back as it was published, or remove it: all works without, less surely",
        ) from problem
    missing = set(COLUMNS) - set(table.column_names)
    if missing:
        raise StorageFault(
            f"The table of estimated traits lacks {', '.join(sorted(missing))}",
            where=str(path),
            remedy="Build it again with python datasets/build/build_estimates.py",
        )
    key = (table.schema.metadata or {}).get(b"traits_key", b"").decode()
    return table.to_pandas()[COLUMNS], key


__all__ = [
    "COLUMNS",
    "COMPANIONS",
    "TARGETS",
    "Gaps",
    "empty_estimates",
    "fill",
    "read_estimates",
    "traits_key",
]
