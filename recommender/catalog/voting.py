"""Weighted medians of numbers, weighted votes of classes, unions of sets: each variety and trait at once.

Comes in: prepared evidence rows that decide (one standing per variety and trait). Goes out: settled rows
(crop, variety, trait, kind, value, number, low, high, unit, agreement, disagreement, only_biology).
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from recommender.catalog.traits import CATEGORY, NUMERIC, SET, Trait, trait

KEY = ["crop", "variety", "trait"]
BIOLOGY = "(biology of the crop)"
_EPSILON = 1e-9
_COLUMNS = [
    *KEY,
    "kind",
    "value",
    "number",
    "low",
    "high",
    "unit",
    "agreement",
    "disagreement",
    "only_biology",
]


def no_rows() -> pd.DataFrame:
    """An empty frame of settled rows."""
    frame = pd.DataFrame({column: pd.Series(dtype="object") for column in _COLUMNS})
    return frame.astype({"number": "float64", "low": "float64", "high": "float64", "agreement": "float64"})


def join_texts(first: pd.Series, second: pd.Series) -> pd.Series:
    """Two texts joined by a semicolon where both say something (aligned by position)."""
    left, right = first.fillna("").to_numpy(dtype=object), second.fillna("").to_numpy(dtype=object)
    both = [f"{a}; {b}" if a and b else a or b for a, b in zip(left, right, strict=True)]
    return pd.Series(both, index=first.index, dtype="object")


def stated_value(rows: pd.DataFrame) -> pd.Series:
    """What an evidence row states, as text: its value, else its range or bound."""
    value, low, high = rows["value"], rows["low"], rows["high"]
    both = low + " to " + high
    bound = ("at least " + low).where(low.ne(""), "at most " + high)
    return value.where(value.ne(""), both.where(low.ne("") & high.ne(""), bound))


def _one_catalogue_among_many(sources: pd.DataFrame, key: list[str]) -> np.ndarray:
    """Weights where n catalogues on one variety and trait count as √n of them: they copy one another."""
    catalogue = sources["kind"].eq("catalogue")
    count = catalogue.groupby([sources[column] for column in key]).transform("sum").to_numpy()
    weight = sources["weight"].to_numpy(dtype="float64")
    return np.where(catalogue, weight / np.sqrt(np.maximum(count, 1)), weight)


def weighted_quantiles(
    group: np.ndarray, value: np.ndarray, weight: np.ndarray, share: float, n_groups: int
) -> np.ndarray:
    """Weighted quantile of `value` per group; at an exact tie the mean of the two neighbours.

    group: (n,) codes 0 .. n_groups-1; value, weight: (n,). Returns (n_groups,), NaN for an empty group.
    """
    result = np.full(n_groups, np.nan)
    if value.size == 0:
        return result
    order = np.lexsort((weight, value, group))
    group, value, weight = group[order], value[order], weight[order]
    total = np.bincount(group, weights=weight, minlength=n_groups)
    cumulative = np.cumsum(weight)
    starts = np.searchsorted(group, np.arange(n_groups), side="left")
    before = np.where(starts > 0, cumulative[np.maximum(starts - 1, 0)], 0.0)
    within = (cumulative - before[group]) / total[group]
    present = np.flatnonzero(total > 0)
    last = np.searchsorted(group, present, side="right") - 1
    for slack, part in ((-_EPSILON, 0.5), (_EPSILON, 0.5)):
        reached = within >= share + slack
        position = np.full(n_groups, value.size)
        np.minimum.at(position, group[reached], np.flatnonzero(reached))
        chosen = np.minimum(position[present], last)
        result[present] = np.where(np.isnan(result[present]), 0.0, result[present]) + part * value[chosen]
    return result


def settle_numbers(rows: pd.DataFrame) -> pd.DataFrame:
    """Weighted medians with spread. Ranges count as ranges; a bound only where it contradicts the rest.

    A harvest date is settled around the circular middle of its dates, so that December and January are near.
    """
    if rows.empty:
        return no_rows()
    rows = rows.assign(stated=stated_value(rows))
    sources = _numeric_sources(rows)
    keys, group = _codes(sources)
    n = len(keys)
    specs = [trait(name) for name in keys["trait"]]
    floor = np.array([spec.floor for spec in specs])
    weight = sources["weight"].to_numpy()
    low, mid, high = (sources[column].to_numpy() for column in ("low", "mid", "high"))
    low, mid, high = _around_the_year(specs, group, low, mid, high, weight)

    point = ~np.isnan(mid)
    at_least, at_most = ~point & ~np.isnan(low), ~point & ~np.isnan(high)
    spread_group = np.concatenate([group[point]] * 3)
    spread_value = np.concatenate([low[point], mid[point], high[point]])
    spread_weight = np.concatenate([weight[point] * part for part in (0.25, 0.5, 0.25)])
    first = weighted_quantiles(spread_group, spread_value, spread_weight, 0.5, n)
    unsettled = np.isnan(first)[group]
    pulls = (at_least & (unsettled | (low > first[group]))) | (at_most & (unsettled | (high < first[group])))
    bound = np.where(at_least, low, high)
    all_group = np.concatenate([spread_group, group[pulls]])
    all_value = np.concatenate([spread_value, bound[pulls]])
    all_weight = np.concatenate([spread_weight, weight[pulls]])
    settled = weighted_quantiles(all_group, all_value, all_weight, 0.5, n)

    half = floor * np.sqrt(1.0 + 1.0 / np.bincount(group, weights=weight, minlength=n))
    lower = np.minimum(weighted_quantiles(all_group, all_value, all_weight, 0.1, n), settled - half)
    upper = np.maximum(weighted_quantiles(all_group, all_value, all_weight, 0.9, n), settled + half)
    only_bounds = np.isnan(first)
    some_least = np.bincount(group[at_least], minlength=n) > 0
    some_most = np.bincount(group[at_most], minlength=n) > 0
    lower = np.where(only_bounds & some_most & ~some_least, settled - 3.0 * half, lower)
    upper = np.where(only_bounds & some_least & ~some_most, settled + 3.0 * half, upper)

    tolerance = 2.0 * floor[group]
    outside = np.where(
        point,
        (low > settled[group] + tolerance) | (high < settled[group] - tolerance),
        np.where(at_least, low > settled[group] + tolerance, high < settled[group] - tolerance),
    )
    result = keys.assign(kind=NUMERIC, value="", number=settled, unit="", only_biology=False)
    total = np.bincount(group, weights=weight, minlength=n)
    result["agreement"] = 1.0 - np.bincount(group[outside], weights=weight[outside], minlength=n) / total
    least = np.array([spec.least for spec in specs])
    most = np.array([spec.most for spec in specs])
    circular = np.array([spec.date for spec in specs])
    number = np.where(circular, (settled - 1.0) % 365.0 + 1.0, settled)
    result["number"] = number
    result["low"] = np.where(circular, lower + number - settled, np.maximum(lower, least))
    result["high"] = np.where(circular, upper + number - settled, np.minimum(upper, most))
    said = sources["stated"] + ": " + sources["source_id"] + " (" + sources["kind"] + ")"
    result["disagreement"] = _texts(group[outside], said[outside], n)
    note = np.where(only_bounds, np.where(some_most & ~some_least, "only known to be at most", ""), "")
    note = np.where(only_bounds & some_least & ~some_most, "only known to be at least", note)
    result["disagreement"] = join_texts(result["disagreement"], pd.Series(note, index=result.index))
    told = sources["told"].to_numpy() != ""
    result["disagreement"] = join_texts(result["disagreement"], _texts(group[told], sources["told"][told], n))
    return result[_COLUMNS]


def _numeric_sources(rows: pd.DataFrame) -> pd.DataFrame:
    """One row per source: its distinct statements averaged, points and bounds apart."""
    value, low, high = (rows[f"{column}_number"] for column in ("value", "low", "high"))
    mid = value.where(value.notna(), (low + high) / 2.0)
    wraps = rows["trait"].isin({name for name in rows["trait"].unique() if trait(name).date}) & (low > high)
    mid = mid.where(~(wraps & value.isna()), (low + high + 365.0) / 2.0)
    point = mid.notna()
    frame = rows[[*KEY, "source_id", "kind", "weight", "stated", "told"]].assign(
        mid=mid,
        low=low.where(low.notna() | ~point, mid),
        high=(high + np.where(wraps, 365.0, 0.0)).where(high.notna() | ~point, mid),
        side=np.where(point, 0, np.where(low.notna(), 1, 2)),
    )
    frame = frame.sort_values(["weight", "stated"], ascending=[False, True])
    distinct = [*KEY, "source_id", "side", "mid", "low", "high"]
    frame = frame.drop_duplicates(distinct)
    for column in ("mid", "low", "high"):
        frame[f"w_{column}"] = frame[column] * frame["weight"]
    per = frame.groupby([*KEY, "source_id", "side"], sort=True)
    result = per.agg(
        kind=("kind", "first"),
        total=("weight", "sum"),
        weight=("weight", "max"),
        stated=("stated", "first"),
        told=("told", "max"),
        n=("mid", "size"),
        **{f"w_{column}": (f"w_{column}", "sum") for column in ("mid", "low", "high")},
        **{column: (column, "first") for column in ("mid", "low", "high")},
    ).reset_index()
    for column in ("mid", "low", "high"):
        mean = result[f"w_{column}"] / result["total"]
        result[column] = np.where(result["n"].eq(1) | result[column].isna(), result[column], mean)
    result["weight"] = _one_catalogue_among_many(result, KEY)
    return result


def _around_the_year(
    specs: list[Trait],
    group: np.ndarray,
    low: np.ndarray,
    mid: np.ndarray,
    high: np.ndarray,
    weight: np.ndarray,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Days of the year shifted to within half a year of the circular mean of their group."""
    dates = np.array([spec.date for spec in specs])[group]
    angle = 2.0 * np.pi * np.where(np.isnan(mid), 0.0, mid) / 365.0
    use = dates & ~np.isnan(mid)
    n = len(specs)
    sine = np.bincount(group[use], weights=(np.sin(angle) * weight)[use], minlength=n)
    cosine = np.bincount(group[use], weights=(np.cos(angle) * weight)[use], minlength=n)
    centre = np.round((np.arctan2(sine, cosine) / (2.0 * np.pi) * 365.0) % 365.0, 6)
    shift = np.zeros(len(mid))
    shift[use] = -365.0 * np.round((mid[use] - centre[group][use]) / 365.0)
    return low + shift, mid + shift, high + shift


def settle_classes(rows: pd.DataFrame) -> pd.DataFrame:
    """Weighted votes. Ordered classes settle on the median class, others on the class with most weight.

    "early-mid" votes half for early and half for mid; a median between two classes is written the same way.
    """
    if rows.empty:
        return no_rows()
    claimed = rows["claimed"] if "claimed" in rows else rows["value"]
    rows = rows.assign(claimed=claimed.fillna(rows["value"]))
    votes = _votes(rows)
    keys, group = _codes(votes)
    n = len(keys)
    total = np.bincount(group, weights=votes["vote"], minlength=n)
    specs = {name: trait(name) for name in keys["trait"].unique()}
    ordered = keys["trait"].map({name: bool(spec.order) for name, spec in specs.items()}).to_numpy(dtype=bool)
    place = votes["place"].to_numpy(dtype="float64")
    vote = votes["vote"].to_numpy()
    core = ~np.isnan(place)
    core_total = np.bincount(group[core], weights=vote[core], minlength=n)

    others = votes[~core].groupby([*KEY, "class"], sort=True)["vote"].sum().reset_index()
    others["vote"] = others["vote"].round(9)
    others = others.sort_values([*KEY, "vote", "class"], ascending=[True, True, True, False, True])
    best_other = keys.merge(others.drop_duplicates(KEY), on=KEY, how="left")
    other_total = best_other["vote"].fillna(0.0).to_numpy()

    median = weighted_quantiles(group[core], place[core], vote[core], 0.5, n)
    by_order = ordered & (core_total >= other_total)
    value = best_other["class"].to_numpy(dtype=object)
    support = other_total.copy()
    per_place = np.zeros((n, 10))
    np.add.at(per_place, (group[core], place[core].astype(int)), vote[core])
    names = keys["trait"].to_numpy()
    for index in np.flatnonzero(by_order):
        value[index], chosen = _class_at(specs[names[index]], float(median[index]))
        support[index] = per_place[index, chosen].sum()
    sums = np.bincount(group[core], weights=(place * vote)[core], minlength=n)
    mean = sums / np.maximum(core_total, _EPSILON)
    result = keys.assign(kind=CATEGORY, value=value, low=np.nan, high=np.nan, unit="")
    numbers = pd.to_numeric(pd.Series(value, index=keys.index), errors="coerce")
    whole = keys["trait"].map({name: spec.whole for name, spec in specs.items()}).to_numpy(dtype=bool)
    result["number"] = np.where(whole, numbers, np.where(by_order, mean + 1.0, np.nan))
    result.loc[whole, ["low", "high"]] = np.stack([numbers[whole], numbers[whole]], axis=1)
    result["kind"] = np.where(whole, NUMERIC, CATEGORY)
    result["agreement"] = np.clip(support / total, 0.0, 1.0)
    result["disagreement"], result["only_biology"] = _dissent(rows, result)
    return result[_COLUMNS]


def _class_at(spec: Trait, place: float) -> tuple[str, list[int]]:
    """Class at a (possibly half) place of the order; between neighbours, their compound or the lower one."""
    lower, upper = int(np.floor(place)), int(np.ceil(place))
    if lower == upper:
        return spec.order[lower], [lower]
    for name, pair in spec.between.items():
        if pair == (spec.order[lower], spec.order[upper]):
            return name, [lower, upper]
    return spec.order[lower], [lower]


def _votes(rows: pd.DataFrame) -> pd.DataFrame:
    """One row per source and class: its place in the order (NaN if it has none) and the source's share."""
    frame = rows[[*KEY, "source_id", "kind", "value", "weight"]].sort_values("weight", ascending=False)
    frame = frame.drop_duplicates([*KEY, "source_id", "value"])
    per = frame.groupby([*KEY, "source_id"], sort=True)["weight"]
    frame["share"] = frame["weight"] / per.transform("sum")
    frame["weight"] = per.transform("max")
    first = frame.drop_duplicates([*KEY, "source_id"])
    damped = first[[*KEY, "source_id"]].assign(source_weight=_one_catalogue_among_many(first, KEY))
    frame = frame.merge(damped, on=[*KEY, "source_id"])
    frame["vote"] = frame["source_weight"] * frame["share"]
    meaning = pd.DataFrame(
        [
            (name, word, each, spec.order.index(each) if each in spec.order else np.nan, 1.0 / len(parts))
            for name in frame["trait"].unique()
            for spec in [trait(name)]
            if spec.classes
            for word, parts in [*((c, (c,)) for c in spec.classes), *spec.between.items()]
            for each in parts
        ],
        columns=["trait", "value", "class", "place", "part"],
    )
    frame = frame.merge(meaning, on=["trait", "value"], how="left")
    frame["class"] = frame["class"].fillna(frame["value"])
    frame["vote"] = frame["vote"] * frame["part"].astype("float64").fillna(1.0)
    frame["place"] = frame["place"].astype("float64")
    return frame.sort_values([*KEY, "class", "source_id"]).reset_index(drop=True)


def _dissent(rows: pd.DataFrame, result: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    """Text of the sources that say otherwise, and whether nothing but the crop's biology says so."""
    both = rows[[*KEY, "source_id", "kind", "value", "claimed"]].merge(
        result[[*KEY, "value"]], on=KEY, suffixes=("", "_settled")
    )
    agrees = both["value"].eq(both["value_settled"]) & both["claimed"].eq(both["value"])
    against = both[~agrees & both["source_id"].ne(BIOLOGY)].drop_duplicates([*KEY, "source_id", "claimed"])
    said = against["claimed"] + ": " + against["source_id"] + " (" + against["kind"] + ")"
    keyed = said.groupby([against[column] for column in KEY]).agg(lambda each: "; ".join(sorted(each)))
    text = result[KEY].merge(keyed.rename("text").reset_index(), on=KEY, how="left")["text"].fillna("")
    voted = (
        both[both["source_id"].eq(BIOLOGY)][KEY]
        .drop_duplicates()
        .assign(voted="against the biology of the crop")
    )
    voted_text = result[KEY].merge(voted, on=KEY, how="left")["voted"].fillna("")
    text.index = voted_text.index = result.index
    supported = both[both["value"].eq(both["value_settled"]) & both["source_id"].ne(BIOLOGY)]
    has_support = pd.MultiIndex.from_frame(result[KEY]).isin(pd.MultiIndex.from_frame(supported[KEY]))
    only_biology = voted_text.ne("") & ~has_support
    return join_texts(text, voted_text), only_biology


def settle_sets(rows: pd.DataFrame) -> pd.DataFrame:
    """Members named by at least a quarter of the weight, joined by `|`; agreement is their mean share."""
    if rows.empty:
        return no_rows()
    frame = rows[[*KEY, "source_id", "kind", "value", "weight"]].copy()
    frame["member"] = frame["value"].str.split("|")
    frame = frame.explode("member")
    frame["member"] = frame["member"].str.strip()
    frame = frame.sort_values("weight", ascending=False).drop_duplicates([*KEY, "source_id", "member"])
    sources = frame.drop_duplicates([*KEY, "source_id"])[[*KEY, "source_id", "kind", "weight"]]
    sources = sources.assign(source_weight=_one_catalogue_among_many(sources, KEY))
    total = sources.groupby(KEY)["source_weight"].sum().rename("total").reset_index()
    frame = frame.merge(sources[[*KEY, "source_id", "source_weight"]], on=[*KEY, "source_id"])
    members = frame.groupby([*KEY, "member"], sort=True)["source_weight"].sum().reset_index()
    members = members.merge(total, on=KEY)
    members["share"] = members["source_weight"] / members["total"]
    best = members.groupby(KEY)["share"].transform("max")
    kept = members[(members["share"] >= 0.25 - _EPSILON) | members["share"].eq(best)]
    per = kept.groupby(KEY, sort=True)
    result = per.agg(value=("member", "|".join), agreement=("share", "mean")).reset_index()
    dropped = members.merge(kept[[*KEY, "member"]], on=[*KEY, "member"], how="left", indicator=True)
    dropped = dropped[dropped["_merge"].eq("left_only")]
    said = dropped.groupby(KEY)["member"].agg(lambda each: "seldom: " + ", ".join(each)).rename("text")
    result["disagreement"] = result.merge(said.reset_index(), on=KEY, how="left")["text"].fillna("")
    result = result.assign(kind=SET, number=np.nan, low=np.nan, high=np.nan, unit="", only_biology=False)
    return result[_COLUMNS]


def _codes(frame: pd.DataFrame) -> tuple[pd.DataFrame, np.ndarray]:
    """Distinct keys (sorted) and the code of each row's key."""
    per = frame.groupby(KEY, sort=True)
    keys = per.size().reset_index()[KEY]
    return keys, per.ngroup().to_numpy()


def _texts(group: np.ndarray, texts: pd.Series, n_groups: int) -> pd.Series:
    said = (
        pd.Series(texts.to_numpy(), dtype="object")
        .groupby(group)
        .agg(lambda each: "; ".join(sorted(set(each))))
    )
    return said.reindex(range(n_groups)).fillna("")
