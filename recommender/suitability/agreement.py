"""The report on agreement with published lists: what `orchardwright validate` prints and docs/validation.md
shows.

In comes a `Validation`; out goes a `Report`: figures of the ranking with and without its track record, with
weights learned and set by hand, beside three plain rules; what published verdicts ours met; what each
criterion is worth.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import rankdata

from recommender.suitability.learning import KERNELS, Case
from recommender.suitability.validation import Validation, measured, plain_rules
from recommender.suitability.verdicts import LIMITS, RULED_OUT, VERDICTS
from recommender.suitability.weights import HAND, Weights, weights_of

if TYPE_CHECKING:
    from recommender.catalog.catalog import Catalog

Floats = NDArray[np.float64]
Cases = Sequence[tuple[int, Case]]
# Weights of each region, fitted without its fold, and those fitted on all.
Fits = tuple[list[Weights], Weights]
WITH, WITHOUT = "with track record", "without track record"
LEARNED, BY_HAND = "weights learned elsewhere", "weights set by hand"
UNLISTED = "with track record, varieties no other list names"
SUBSETS = ("all", "strict")
EXPLICIT = "recommended, not recommended"


@dataclass(frozen=True, eq=False)
class Report:
    """summary: one row a subset and way: mean auc and ap10, lists, share of pairs in order, pairs, and the
    same for pairs with marginal ones; lists: one row a region, crop and way; verdicts: one row one of our
    verdicts: how many listed varieties got it and how they were listed; sensitivity: one row a criterion:
    change of the mean AUC when it is dropped, and by how many places it moves a variety; failures: one row a
    recommended variety that is ruled out (with the criterion that does it) or an explicit pair out of order
    (with the other variety); weights: fitted on all lists."""

    summary: pd.DataFrame
    lists: pd.DataFrame
    verdicts: pd.DataFrame
    sensitivity: pd.DataFrame
    failures: pd.DataFrame
    weights: Weights

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return {
            name: getattr(self, name).to_dict("records")
            for name in ("summary", "verdicts", "sensitivity", "failures", "lists")
        }


def fitted(validation: Validation) -> Fits:
    """The weights of each region, kernel and all fitted without its fold, and those fitted on all."""
    cases = validation.cases()
    folds = validation.folds
    of_case = np.array([folds[index] for index, _ in cases])
    tried = validation.kernels(cases)

    def without(fold: int) -> Weights:
        others = of_case != fold
        others = others if others.any() else ~others
        kernel = KERNELS[int(np.argmax(np.nan_to_num(tried[:, others]).sum(axis=1)))]
        return validation.learned([case for case, keep in zip(cases, others, strict=True) if keep], kernel)

    by_fold = {fold: without(fold) for fold in np.unique(folds).tolist()}
    return [by_fold[fold] for fold in folds], without(-1)


def ships_hand(catalog: Catalog) -> bool:
    """Whether the weights that ship are those set by hand."""
    used = weights_of(catalog)
    return all(
        np.isclose(one[name], two[name], atol=1e-3)
        for one, two in ((used.powers, HAND.powers), (used.record, HAND.record))
        for name in two
    )


def summary_row(validation: Validation, cases: Cases, scores: Sequence[Floats]) -> dict[str, float | int]:
    """Mean figures of one way of ranking."""
    lists, pairs = measured(validation, cases, scores)
    explicit = pairs.loc[pairs["kind"] == EXPLICIT, "in_order"]
    return {
        "auc": float(lists["auc"].mean()),
        "ap10": float(lists["ap10"].mean()),
        "lists": len(lists),
        "pairs_in_order": float(explicit.mean()),
        "pairs": len(explicit),
        "with_marginal_in_order": float(pairs["in_order"].mean()),
        "with_marginal": len(pairs),
    }


def _unlisted(validation: Validation, cases: Cases) -> list[tuple[int, Case]]:
    """The same questions asked only of varieties that no remaining list names."""
    found = []
    for index, case in cases:
        keep = validation.regions[index].elsewhere[case.of] <= 0.0
        found.append(
            (
                index,
                replace(
                    case,
                    of=case.of[keep],
                    named=case.named[keep],
                    middling=case.middling[keep],
                    unfit=case.unfit[keep],
                ),
            )
        )
    return found


def verdict_table(validation: Validation, cases: Cases, weights: Sequence[Weights]) -> pd.DataFrame:
    """How varieties with each of our verdicts were listed: counts, shares of those listed at all, and how
    many were asked about, with the share of these that is recommended."""
    rows = []
    judged = [validation.judged(region, weights[at])[1] for at, region in enumerate(validation.regions)]
    asked = np.zeros(len(VERDICTS))
    for index, case in cases:
        verdict = judged[index][case.of]
        asked += np.bincount(verdict, minlength=len(VERDICTS))
        for name, mask in (
            ("recommended", case.named),
            ("marginal", case.middling),
            ("not recommended", case.unfit),
        ):
            rows += [(VERDICTS[code], name) for code in verdict[mask]]
    table = pd.DataFrame(rows, columns=["verdict", "listed"])
    counts = pd.crosstab(table["verdict"], table["listed"]).reindex(
        index=list(VERDICTS), columns=["recommended", "marginal", "not recommended"], fill_value=0
    )
    shares = counts.div(counts.sum(axis=1).clip(lower=1), axis=0).add_prefix("share ")
    found = counts.join(shares)
    found["asked"] = asked.astype(int)
    found["share of asked recommended"] = counts["recommended"] / np.maximum(asked, 1.0)
    return found.rename_axis(columns=None).reset_index()


def failures_of(validation: Validation, cases: Cases, weights: Sequence[Weights]) -> pd.DataFrame:
    """Recommended varieties that are ruled out, by which criterion, and explicit pairs out of order."""
    names = validation.frame["variety"].to_numpy(dtype=object)
    scores = validation.scores(weights)
    rows = []
    for index, case in cases:
        region = validation.regions[index]
        verdict = validation.judged(region, weights[index])[1]
        named, unfit = case.of[case.named], case.of[case.unfit]
        for at in named[verdict[named] == RULED_OUT]:
            # The veto that falls furthest below its bound.
            short = {
                name: region.criteria.get(f"{name}_high", region.criteria[name])[at] - limit.veto
                for name, limit in LIMITS.items()
            }
            rows.append(
                ("ruled out", region.name, case.crop, names[at], "", min(short, key=short.__getitem__))
            )
        rows += [
            ("pair", region.name, case.crop, names[better], names[worse], "")
            for better in named
            for worse in unfit
            if scores[index][better] <= scores[index][worse]
        ]
    return pd.DataFrame(rows, columns=["kind", "region", "crop", "variety", "other", "criterion"])


def without(weights: Weights, name: str) -> Weights:
    """The same weights with one criterion or record counting nothing."""
    if name == "rating":
        return replace(weights, rating=0.0)
    if name in weights.powers:
        return replace(weights, powers={**weights.powers, name: 0.0})
    return replace(weights, record={**weights.record, name: 0.0})


def sensitivity_table(validation: Validation, cases: Cases, weights: Sequence[Weights]) -> pd.DataFrame:
    """What dropping each criterion does: change of the mean AUC, mean places moved within a crop."""
    base = validation.scores(weights)
    auc = float(measured(validation, cases, base)[0]["auc"].mean())
    rows = []
    for name in [*HAND.powers, "rating", *HAND.record]:
        scores = validation.scores([without(each, name) for each in weights])
        moved = [
            np.abs(rankdata(base[index][case.of]) - rankdata(scores[index][case.of])).mean()
            for index, case in cases
        ]
        change = float(measured(validation, cases, scores)[0]["auc"].mean()) - auc
        rows.append((name, change, float(np.mean(moved))))
    return pd.DataFrame(rows, columns=["criterion", "auc_change", "places_moved"])


def report(validation: Validation, everyone: bool = False, fits: Fits | None = None) -> Report:
    """Everything that is measured. everyone: also ask about varieties known only from the records left out;
    fits: what `fitted` found for the same regions (default: fitted anew)."""
    learned, final = fits if fits is not None else fitted(validation)
    # Weights set by hand saw no region in particular; learned ones are judged only where they were not
    # fitted.
    weights = [HAND] * len(learned) if ships_hand(validation.catalog) else learned
    ways: Mapping[str, list[Floats]] = {
        WITH: validation.scores(weights),
        WITHOUT: validation.scores(weights, record=False),
        LEARNED: validation.scores(learned),
        BY_HAND: validation.scores([HAND] * len(learned)),
        **plain_rules(validation),
    }
    rows, lists = [], []
    for subset in SUBSETS:
        cases = validation.cases(strict=subset == "strict", everyone=everyone)
        for way, scores in ways.items():
            rows.append({"subset": subset, "way": way, **summary_row(validation, cases, scores)})
            if subset == "all":
                lists.append(measured(validation, cases, scores)[0].assign(way=way))
        few = _unlisted(validation, cases)
        rows.append({"subset": subset, "way": UNLISTED, **summary_row(validation, few, ways[WITH])})
        for rule in list(plain_rules(validation))[:2]:
            name = f"{rule}, varieties no other list names"
            rows.append({"subset": subset, "way": name, **summary_row(validation, few, ways[rule])})
    cases = validation.cases(everyone=everyone)
    return Report(
        summary=pd.DataFrame(rows),
        lists=pd.concat(lists, ignore_index=True),
        verdicts=verdict_table(validation, cases, weights),
        sensitivity=sensitivity_table(validation, cases, weights),
        failures=failures_of(validation, cases, weights),
        weights=final,
    )
