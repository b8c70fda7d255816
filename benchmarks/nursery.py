"""What the nursery's desk costs and how good it is, beside what one would use instead, in the same run.

Run: python -m benchmarks.nursery [names [--fit] | speed | orders | likeness [--fit]]   (all but the fits
without a word)

names: precision and coverage on the noise process of tests/nursery/messy_list.py, beside
`difflib.get_close_matches` and
`rapidfuzz.process.extractOne` on the same lines; --fit prints the coefficients of name_book.SPELLING anew.
speed: 100,000 stock lines. orders: 2,000 orders on 5,000 stock lines, proven plan against first come, first
served.
likeness: see nursery_likeness.py.
"""

from __future__ import annotations

import difflib
import random
import sys
import time
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from benchmarks.nursery_likeness import likeness_weights
from benchmarks.record import compared
from recommender import open_catalog
from recommender.catalog.catalog import Catalog
from recommender.nursery import name_book
from recommender.nursery.allocation import acceptances, allocate, stock_groups
from recommender.nursery.flow import Plan, best_plan
from recommender.nursery.name_book import NameBook, Query
from recommender.nursery.names import read_stock
from recommender.nursery.orders import read_orders
from recommender.nursery.stock_files import Table
from tests.nursery.messy_list import messy_list

SEEDS = (101, 102)
FITTED_ON = range(1, 7)
DIFFLIB_LINES = 400


def names(catalog: Catalog) -> None:
    """Precision and coverage of three ways on the same lines."""
    for seed in SEEDS:
        truth, hidden = messy_list(catalog, 2000, seed)
        started = time.perf_counter()
        read = read_stock(_table(truth["text"]), catalog, book=name_book.name_book(catalog, hidden)).lines
        seconds = time.perf_counter() - started
        found = [
            (crop, variety) if decision == "decided" else None
            for crop, variety, decision in zip(read["crop"], read["variety"], read["decision"], strict=True)
        ]
        print(
            f"seed {seed}, {len(truth)} lines, {int(truth['variety'].notna().sum())} of varieties in the book"
        )
        _scores("this project", found, truth, seconds)
        real = truth["source"].str.startswith("published").to_numpy()
        _scores(
            "of these, published trade designations",
            [pair for pair, kept in zip(found, real, strict=True) if kept],
            truth[real],
            0.0,
        )
        choices = _choices(catalog, hidden)
        _plain_ways(truth, choices)


def _plain_ways(truth: pd.DataFrame, choices: dict[str, tuple[str, str]]) -> None:
    from rapidfuzz import process, utils

    texts = [str(text) for text in truth["text"]]
    for cutoff in (80.0, 90.0):
        started = time.perf_counter()
        hits = [
            process.extractOne(text, choices.keys(), processor=utils.default_process, score_cutoff=cutoff)
            for text in texts
        ]
        _scores(
            f"rapidfuzz extractOne, cut-off {cutoff:.0f}",
            [choices[hit[0]] if hit else None for hit in hits],
            truth,
            time.perf_counter() - started,
        )
    lowered = {name.casefold(): pair for name, pair in choices.items()}
    part = truth.head(DIFFLIB_LINES)
    for cutoff in (0.5, 0.7):
        started = time.perf_counter()
        close = [
            difflib.get_close_matches(str(text).casefold(), lowered.keys(), 1, cutoff)
            for text in part["text"]
        ]
        _scores(
            f"difflib, cut-off {cutoff}, first {DIFFLIB_LINES} lines",
            [lowered[hit[0]] if hit else None for hit in close],
            part,
            time.perf_counter() - started,
        )


def _choices(catalog: Catalog, hidden: set[Any]) -> dict[str, tuple[str, str]]:
    varieties, others = catalog.varieties(), catalog.names()
    out = {
        name: (crop, variety)
        for crop, name, variety in zip(others["crop"], others["name"], others["variety"], strict=True)
    }
    out |= {
        variety: (crop, variety)
        for crop, variety in zip(varieties["crop"], varieties["variety"], strict=True)
    }
    return {name: pair for name, pair in out.items() if pair not in hidden}


def _scores(label: str, found: Sequence[tuple[str, str] | None], truth: pd.DataFrame, seconds: float) -> None:
    true = [
        (crop, name) if isinstance(name, str) else None
        for crop, name in zip(truth["crop"], truth["variety"], strict=True)
    ]
    decided = sum(pair is not None for pair in found)
    right = sum(pair is not None and pair == answer for pair, answer in zip(found, true, strict=True))
    known = sum(answer is not None for answer in true)
    covered = sum(pair is not None and answer is not None for pair, answer in zip(found, true, strict=True))
    print(
        f"  {label:<42} precision {right / max(decided, 1):.4f}  coverage {covered / known:.4f}"
        f"  right of all known {right / known:.4f}  {seconds:6.2f} s"
    )


def fit_names(catalog: Catalog) -> None:
    """The logistic regression behind SPELLING, on lists the measured ones are not among."""
    from sklearn.linear_model import LogisticRegression
    from sklearn.model_selection import cross_val_predict

    table = catalog.rootstocks()
    served = {
        name: tuple(str(crops).split("|"))
        for name, crops in zip(table["rootstock"], table["for_crops"], strict=True)
    }
    rows: list[tuple[float, ...]] = []
    right: list[bool] = []
    for seed in FITTED_ON:
        truth, hidden = messy_list(catalog, 3000, seed)
        book = name_book.name_book(catalog, hidden)
        for text, crop, variety in zip(truth["text"], truth["crop"], truth["variety"], strict=True):
            parts = book.reader.parts(text)
            query = Query(parts.rest, parts.whole, parts.crops or served.get(parts.rootstock or "", ()))
            case = _spelling_case(book, query)
            if case is not None:
                rows.append(case[0])
                right.append(case[1] == (crop, variety))
    features, answer = np.array(rows), np.array(right)
    same_digits = features[:, -1] == 0
    x, y = features[same_digits, :-1], answer[same_digits]
    model = LogisticRegression(C=10.0, max_iter=5000)
    chance = cross_val_predict(model, x, y, cv=5, method="predict_proba")[:, 1]
    fitted = model.fit(x, y)
    print(
        dict(
            zip(
                name_book.SPELLING,
                [round(float(w), 2) for w in (*fitted.intercept_, *fitted.coef_[0])],
                strict=True,
            )
        )
    )
    for least in (0.5, 0.7, 0.8, 0.85, 0.9, 0.95):
        taken = chance >= least
        print(
            f"  decided from {least:.2f}: {taken.mean():.3f} of misspelt lines, {y[taken].mean():.4f}"
            f" of them right (cross-validated)"
        )


def _spelling_case(book: NameBook, query: Query) -> tuple[tuple[float, ...], tuple[str, str]] | None:
    if book._look_up(query) is not None:
        return None
    kept: list[tuple[float, ...]] = []
    original = name_book.spelling_features

    def watched(*arguments: Any) -> tuple[float, ...]:
        kept.append(original(*arguments))
        return kept[-1]

    setattr(name_book, "spelling_features", watched)  # noqa: B010
    try:
        match = book._by_spelling([query], query.crops)[0]
    finally:
        setattr(name_book, "spelling_features", original)  # noqa: B010
    return (kept[-1], match.candidates[0][:2]) if kept and match.candidates else None


def speed(catalog: Catalog) -> None:
    """100,000 lines, nearly all of them different."""
    parts = [messy_list(catalog, 10_000, seed)[0]["text"] for seed in range(200, 210)]
    texts = pd.concat(parts, ignore_index=True)
    started = time.perf_counter()
    read = read_stock(_table(texts), catalog)
    seconds = time.perf_counter() - started
    counts = read.lines["decision"].value_counts().to_dict()
    print(f"{len(texts):,} lines ({texts.nunique():,} different) in {seconds:.1f} s: {counts}")


def first_come(worth: NDArray[np.int64], wants: NDArray[np.int64], holds: NDArray[np.int64]) -> Plan:
    """Each order in turn takes the best of what is left: what a desk does by hand."""
    left = holds.copy()
    taken: list[tuple[int, int, int]] = []
    for order, wanted in enumerate(wants):
        need = int(wanted)
        for group in np.argsort(-worth[order], kind="stable"):
            if need <= 0 or worth[order, group] <= 0:
                break
            part = min(need, int(left[group]))
            if part:
                taken.append((order, int(group), part))
                left[group] -= part
                need -= part
    moved = np.array(taken, dtype=np.int64).reshape(-1, 3)
    value = int((worth[moved[:, 0], moved[:, 1]] * moved[:, 2]).sum())
    return Plan(moved[:, 0], moved[:, 1], moved[:, 2], value, value)


def invented_orders(catalog: Catalog, orders: int, lines: int, seed: int) -> tuple[Table, Table]:
    """An order list and a stock list of real varieties; popular ones are ordered far more often (Zipf)."""
    dice = random.Random(seed)
    varieties = catalog.varieties()
    crops = ["apple", "european-pear", "european-plum", "quince", "hazelnut"]
    known = [pair for pair in zip(varieties["crop"], varieties["variety"], strict=True) if pair[0] in crops]
    dice.shuffle(known)
    popular = [1.0 / (rank + 3) for rank in range(len(known))]
    roots = {
        "apple": ["M9", "M26", "MM106", "M25"],
        "european-pear": ["Quince A", "Quince C"],
        "european-plum": ["St Julien A", "Pixy"],
    }
    stock = []
    for _ in range(lines):
        crop, name = dice.choice(known)
        stock.append(
            {
                "name": name,
                "crop": crop,
                "rootstock": dice.choice(roots.get(crop, [""])),
                "count": str(dice.choice([0, 0, 1, 1, 2, 3])),
            }
        )
    sites = [
        "Wells, England",
        "Geneva, New York",
        "Hobart, Australia",
        "Lyon, France",
        "Minneapolis, Minnesota",
        "",
    ]
    wanted = []
    for number in range(orders):
        crop, name = dice.choices(known, popular)[0]
        wanted.append(
            {
                "order": f"B{number}",
                "name": f"{crop.split('-')[-1]} {name}",
                "count": str(dice.randint(1, 12)),
                "priority": str(dice.choice([1, 2, 2, 2, 3])),
                "site": dice.choice(sites),
                "trees": "apple:Discovery" if dice.random() < 0.3 else "",
            }
        )
    return _plain_table(pd.DataFrame(wanted, dtype=object)), _plain_table(pd.DataFrame(stock, dtype=object))


def orders(catalog: Catalog) -> None:
    """2,000 orders on 5,000 lines: the proven plan, and first come, first served on the same acceptances."""
    order_table, stock_table = invented_orders(catalog, 2000, 5000, 5)
    started = time.perf_counter()
    stock, waiting = read_stock(stock_table, catalog), read_orders(order_table, catalog)
    print(
        f"read in {time.perf_counter() - started:.1f} s: {len(waiting.lines)} orders,"
        f" {len(stock.lines)} lines, {int(waiting.lines['count'].sum())} trees wanted,"
        f" {int(stock.usable()['count'].sum())} in stock"
    )
    started = time.perf_counter()
    groups, _ = stock_groups(stock)
    acceptances(waiting, groups, catalog, 0.5)
    print(
        f"acceptances of {len(groups)} groups in {time.perf_counter() - started:.1f} s (climates of the"
        f" sites included)"
    )
    solving: list[float] = []

    def timed(*parts: Any) -> Plan:
        begun = time.perf_counter()
        plan = best_plan(*parts)
        solving.append(time.perf_counter() - begun)
        return plan

    worth: list[float] = []
    for label, plan_of in (("proven best plan", timed), ("first come, first served", first_come)):
        started = time.perf_counter()
        told = allocate(waiting, stock, catalog, plan_of=plan_of).summary
        seconds = time.perf_counter() - started
        proof = f", proven {told['proven']}, solver alone {solving[-1]:.2f} s" if plan_of is timed else ""
        print(
            f"  {label:<26} worth {told['value'] / 1000:.1f}, acceptance {told['acceptance']:.4f},"
            f" trees {told['trees_sent']},"
            f" order lines served {told['lines_with_trees']}, {seconds:.1f} s in all{proof}"
        )
        worth.append(float(told["value"]))
    compared("worth of 2,000 back orders served", worth[0], "first come, first served", worth[1], "points")


def _table(texts: pd.Series) -> Table:
    return _plain_table(pd.DataFrame({"name": list(texts)}, dtype=object))


def _plain_table(frame: pd.DataFrame) -> Table:
    return Table(
        frame=frame, rows=tuple(range(1, len(frame) + 1)), mapping={name: name for name in frame.columns}
    )


def main(words: Sequence[str]) -> None:
    """Run what is named, or all."""
    catalog = open_catalog()
    asked = [word for word in words if not word.startswith("-")] or ["names", "speed", "orders", "likeness"]
    fit = "--fit" in words
    for word in asked:
        print(f"== {word}")
        if word == "names":
            fit_names(catalog) if fit else names(catalog)
        elif word == "speed":
            speed(catalog)
        elif word == "orders":
            orders(catalog)
        elif word == "likeness":
            likeness_weights(catalog, fit)


if __name__ == "__main__":
    main(sys.argv[1:])
