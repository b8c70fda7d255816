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

from recommender.suitability.learning import Case
from recommender.suitability.ranking import VERDICTS
from recommender.suitability.validation import FOLDS, Validation, measured, plain_rules
from recommender.suitability.weights import HAND, Weights, weights_of

if TYPE_CHECKING:
    from recommender.catalog.catalog import Catalog

Floats = NDArray[np.float64]
Cases = Sequence[tuple[int, Case]]
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
    change of the mean AUC when it is dropped, and by how many places it moves a variety; weights: fitted on
    all lists."""

    summary: pd.DataFrame
    lists: pd.DataFrame
    verdicts: pd.DataFrame
    sensitivity: pd.DataFrame
    weights: Weights

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return {
            name: getattr(self, name).to_dict("records")
            for name in ("summary", "verdicts", "sensitivity", "lists")
        }


def fitted(validation: Validation) -> tuple[list[Weights], Weights]:
    """The weights of each region, fitted without its fold, and those fitted on all."""
    cases = validation.cases()
    folds = validation.folds
    by_fold = {
        fold: validation.learned([case for case in cases if folds[case[0]] != fold] or cases)
        for fold in range(FOLDS)
        if (folds == fold).any()
    }
    return [by_fold[fold] for fold in folds], validation.learned(cases)


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


def verdict_table(validation: Validation, cases: Cases) -> pd.DataFrame:
    """How varieties with each of our verdicts were listed: counts, and shares of those listed at all."""
    rows = []
    for index, case in cases:
        verdict = validation.regions[index].verdict[case.of]
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
    return counts.join(shares).rename_axis(columns=None).reset_index()


def without(weights: Weights, name: str) -> Weights:
    """The same weights with one criterion or record counting nothing."""
    if name == "rating":
        return replace(weights, rating=0.0)
    if name in weights.powers:
        return replace(weights, powers={**weights.powers, name: 0.0})
    return replace(weights, record={**weights.record, name: 0.0})


def sensitivity_table(validation: Validation, cases: Cases, weights: Sequence[Weights]) -> pd.DataFrame:
    """What dropping each criterion does: change of the mean AUC, mean places moved within a crop."""
    base = validation.scores(lambda index: weights[index])
    auc = float(measured(validation, cases, base)[0]["auc"].mean())
    rows = []
    for name in [*HAND.powers, "rating", *HAND.record]:
        scores = validation.scores([without(each, name) for each in weights].__getitem__)
        moved = [
            np.abs(rankdata(base[index][case.of]) - rankdata(scores[index][case.of])).mean()
            for index, case in cases
        ]
        change = float(measured(validation, cases, scores)[0]["auc"].mean()) - auc
        rows.append((name, change, float(np.mean(moved))))
    return pd.DataFrame(rows, columns=["criterion", "auc_change", "places_moved"])


def report(validation: Validation, everyone: bool = False) -> Report:
    """Everything that is measured. everyone: also ask about varieties known only from the records left
    out."""
    learned, final = fitted(validation)
    # Weights set by hand saw no region in particular; learned ones are judged only where they were not
    # fitted.
    weights = [HAND] * len(learned) if ships_hand(validation.catalog) else learned
    ways: Mapping[str, list[Floats]] = {
        WITH: validation.scores(lambda index: weights[index]),
        WITHOUT: validation.scores(lambda index: weights[index], record=False),
        LEARNED: validation.scores(lambda index: learned[index]),
        BY_HAND: validation.scores(lambda _: HAND),
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
        verdicts=verdict_table(validation, cases),
        sensitivity=sensitivity_table(validation, cases, weights),
        weights=final,
    )
