"""Bloom and ripening offsets, stated against many reference varieties, put on one scale per crop.

Comes in: prepared evidence rows. Goes out: settled rows for `bloom_offset` and `ripening_offset`, the rows
that could not be placed and why, and the scale of each crop. Model (docs/settling-evidence.md):

    stated offset = effect(variety) - mean effect(reference varieties) + effect(source) + noise

solved by weighted least squares, robust to single outliers (Huber, then bisquare weights), for all
varieties of a crop and its near kin at once. Harvest dates of one source and place join with a free effect.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import sparse
from scipy.sparse.linalg import SuperLU, splu

from recommender.catalog.evidence import STANDINGS
from recommender.catalog.references import FAMILIES, Variety, known_names, place_in, references_in
from recommender.catalog.traits import trait
from recommender.catalog.voting import stated_value

OFFSET_TRAITS = ("bloom_offset", "ripening_offset")
KEY = ["crop", "variety", "trait"]
TYPICAL_NOISE_D = {"bloom_offset": 2.0, "ripening_offset": 5.0}
"""Standard deviation [d] of one paper's statement about another year and place; the floor of the residual."""
SOURCE_EFFECT_D = {"bloom_offset": 1.5, "ripening_offset": 3.0}
"""How far [d] a source's reference variety may have stood from its usual date in the years of that source."""
FREE_SOURCE_EFFECT_D = 1000.0
MIN_SHARED = 3
"""A source without a named reference joins if it shares that many varieties with those already placed."""
MIN_HARVEST_DATES = 5
EVERGREEN_OR_MIXED = ("avocado", "lemon", "lime", "fig")
"""Crops whose harvest dates are legal, year-round or of two crops a year: no scale is made of them."""
HUBER, HUBER_ROUNDS = 1.5, 5
BISQUARE = 4.685
"""Residuals in standard deviations: weights fall from 1.5 on, and after a few rounds vanish at 4.685."""
Z80 = 1.2816

SCALE_COLUMNS = [
    "crop",
    "trait",
    "zero_crop",
    "zero_variety",
    "n_observations",
    "n_varieties",
    "residual_sd",
    "n_components",
]


@dataclass(frozen=True)
class OnScale:
    """settled: settled rows; set_aside: reason by row label of the evidence; scales: `SCALE_COLUMNS`."""

    settled: pd.DataFrame
    set_aside: pd.Series
    scales: pd.DataFrame


@dataclass(eq=False)
class _Observation:
    row: int
    variety: Variety
    references: tuple[Variety, ...]
    group: str
    value: float
    weight: float
    half_range: float
    free: bool


@dataclass(frozen=True)
class Solution:
    """Effects [d] per node, their standard errors against `zero`, residuals [d] per observation."""

    effect: dict[Variety, float]
    error: dict[Variety, float]
    residual: np.ndarray
    sd: float


def solve(rows: pd.DataFrame, varieties: pd.DataFrame | None, names: pd.DataFrame | None) -> OnScale:
    """All offsets of prepared rows, each crop on its own scale (zero = its most used reference variety)."""
    if varieties is None:
        varieties = rows[["crop", "variety"]].drop_duplicates()
    known = known_names(varieties, names)
    accepted = set(zip(varieties["crop"], varieties["variety"], strict=True))
    reasons: dict[int, str] = {}
    settled: list[pd.DataFrame] = []
    scales: list[tuple[object, ...]] = []
    family = rows["crop"].map(lambda crop: FAMILIES.get(crop, crop))
    wanted = rows["trait"].isin([*OFFSET_TRAITS, "harvest_start"])
    rows = (
        rows[wanted]
        .assign(family=family[wanted])
        .sort_values([*KEY, "source_id", "value", "low", "high", "note"], kind="stable")
    )
    for name in OFFSET_TRAITS:
        part = rows[rows["trait"].eq(name)]
        if name == "ripening_offset":
            part = pd.concat([part, _harvest_rows(rows, part)])
        for its_family, group in part.groupby("family", sort=True):
            observations = _observations(group, known.get(str(its_family), {}), name, reasons)
            _settle_family(observations, group, name, accepted, reasons, settled, scales)
    columns = [*KEY, "kind", "value", "number", "low", "high", "unit", "standing", "agreement"]
    columns += ["n_evidence", "n_sources", "disagreement", "source_ids"]
    whole = pd.concat(settled, ignore_index=True) if settled else pd.DataFrame(columns=columns)
    stated = set(rows.index[rows["trait"].isin(OFFSET_TRAITS)])
    kept = {row: reason for row, reason in reasons.items() if row in stated}
    frame = pd.DataFrame(scales, columns=SCALE_COLUMNS).sort_values(["trait", "crop"], ignore_index=True)
    return OnScale(whole, pd.Series(kept, dtype="object"), frame)


def _harvest_rows(rows: pd.DataFrame, offsets: pd.DataFrame) -> pd.DataFrame:
    """Harvest dates that can carry an offset: of a source and place with enough varieties of the crop."""
    dates = rows[rows["trait"].eq("harvest_start") & ~rows["crop"].isin(EVERGREEN_OR_MIXED)]
    stated = pd.MultiIndex.from_frame(offsets[["crop", "variety", "source_id"]])
    dates = dates[~pd.MultiIndex.from_frame(dates[["crop", "variety", "source_id"]]).isin(stated)]
    places = {note: place_in(note) for note in dates["note"].unique()}
    dates = dates.assign(place=dates["note"].map(places))
    counts = dates.groupby(["crop", "source_id", "place"])["variety"].transform("nunique")
    return dates[counts >= MIN_HARVEST_DATES]


def _observations(
    rows: pd.DataFrame, known: dict[str, Variety], name: str, reasons: dict[int, str]
) -> list[_Observation]:
    """One observation per source and variety; values from memory only where nothing better is stated."""
    best = rows.groupby(["crop", "variety"])["tier"].transform("min")
    for row in rows.index[rows["tier"].gt(best)]:
        reasons[row] = "overruled by a value of better standing"
    rows = rows[rows["tier"].eq(best)]
    parsed: dict[tuple[str, str], tuple[Variety, ...] | None] = {}
    result: list[_Observation] = []
    seen: dict[tuple[object, ...], int] = {}
    columns = ["crop", "variety", "trait", "source_id", "note", "weight"]
    columns += ["value_number", "low_number", "high_number"]
    place = rows["place"].fillna("") if "place" in rows else pd.Series("", index=rows.index)
    for row, spot, values in zip(
        rows.index, place, rows[columns].itertuples(index=False, name=None), strict=True
    ):
        crop, variety, its_trait, source, note, weight, value, low, high = values
        middle = value if not np.isnan(value) else (low + high) / 2.0
        if np.isnan(middle):
            if its_trait == name:
                reasons[row] = "a bound without a second bound gives no offset"
            continue
        half = 0.0 if np.isnan(low) or np.isnan(high) else abs(high - low) / 2.0
        if its_trait == "harvest_start":
            group = f"{crop}|{source}|{spot}"
            references: tuple[Variety, ...] = ()
            free = True
        else:
            if (crop, note) not in parsed:
                parsed[crop, note] = references_in(note, crop, known)
            found = parsed[crop, note]
            if found == ():
                reasons[row] = "the reference variety of its own source; zero by definition"
                continue
            if found == ((crop, variety),):
                reasons[row] = "counted from itself"
                continue
            references, free = found or (), found is None
            group = f"{crop}|{source}|" + ("+".join(":".join(each) for each in references) or "no reference")
        same = (crop, variety, group, middle, half)
        if same in seen:
            earlier = result[seen[same]]
            earlier.weight = max(earlier.weight, weight)
            continue
        seen[same] = len(result)
        result.append(_Observation(row, (crop, variety), references, group, middle, weight, half, free))
    per_source = Counter((each.variety, each.group) for each in result)
    for each in result:
        each.weight /= per_source[each.variety, each.group]
    return result


def _settle_family(
    observations: list[_Observation],
    rows: pd.DataFrame,
    name: str,
    accepted: set[Variety],
    reasons: dict[int, str],
    settled: list[pd.DataFrame],
    scales: list[tuple[object, ...]],
) -> None:
    for crop in sorted({each.variety[0] for each in observations}):
        zero = _zero_variety(observations, crop)
        if zero is None:
            for each in observations:
                if each.variety[0] == crop:
                    reasons[each.row] = "no reference variety is named and too few varieties are shared"
            continue
        joined, n_components = _placed(observations, zero)
        joined_ids = {id(each) for each in joined}
        mine = [each for each in joined if each.variety[0] == crop]
        for each in observations:
            if each.variety[0] == crop and id(each) not in joined_ids:
                reasons[each.row] = f"not connected with the scale of the crop (zero: {zero[1]})"
        if not mine:
            continue
        solution = solve_effects(joined, zero, name)
        residual = {id(each): r for each, r in zip(joined, solution.residual, strict=True)}
        frame = _settled_rows(mine, rows, solution, residual, zero, name)
        settled.append(
            frame[[pair in accepted for pair in zip(frame["crop"], frame["variety"], strict=True)]]
        )
        scales.append((crop, name, *zero, len(mine), len(frame), round(solution.sd, 2), n_components))


def _zero_variety(observations: list[_Observation], crop: str) -> Variety | None:
    """Most used reference of the crop (its own varieties count double); else its most dated variety."""
    own = [each for each in observations if each.variety[0] == crop]
    uses: Counter[Variety] = Counter()
    for each in own:
        for reference in each.references:
            uses[reference] += 2 if reference[0] == crop else 1
    if not uses:
        groups = Counter(each.group for each in own)
        largest = min(groups, key=lambda group: (-groups[group], group))
        members = {each.variety for each in own if each.group == largest}
        uses = Counter(each.variety for each in own if each.variety in members)
        if len(own) < MIN_HARVEST_DATES:
            return None
    return min(uses, key=lambda variety: (-uses[variety], variety)) if uses else None


def _placed(observations: list[_Observation], zero: Variety) -> tuple[list[_Observation], int]:
    """The observations connected with the zero variety, and into how many components all of them fall.

    Named references connect. A source with a free effect joins when it shares `MIN_SHARED` varieties, the
    one sharing most first; if the zero variety has no named reference, its own largest source starts.
    """
    named = [each for each in observations if not each.free]
    free: dict[str, list[_Observation]] = {}
    for each in observations:
        if each.free:
            free.setdefault(each.group, []).append(each)
    placed: set[Variety] = {zero}
    joined: list[_Observation] = []

    def spread() -> None:
        held = {id(each) for each in joined}
        waiting = [each for each in named if id(each) not in held]
        while True:
            reached = [e for e in waiting if e.variety in placed or placed.intersection(e.references)]
            if not reached:
                return
            for each in reached:
                placed.update((each.variety, *each.references))
                joined.append(each)
            taken = {id(each) for each in reached}
            waiting = [each for each in waiting if id(each) not in taken]

    spread()
    if len(placed) == 1 and free:
        holding = [group for group, members in free.items() if zero in {each.variety for each in members}]
        if holding:
            start = min(holding, key=lambda group: (-len(free[group]), group))
            joined.extend(free.pop(start))
            placed.update(each.variety for each in joined)
    while free:
        shared = {group: len({e.variety for e in members} & placed) for group, members in free.items()}
        group = min(shared, key=lambda each: (-shared[each], each))
        if shared[group] < MIN_SHARED:
            break
        members = free.pop(group)
        joined.extend(members)
        placed.update(each.variety for each in members)
        spread()
    held = {id(each) for each in joined}
    left = [each for each in named if id(each) not in held]
    return joined, 1 + _count_components(left) + len(free)


def _count_components(observations: list[_Observation]) -> int:
    root: dict[Variety, Variety] = {}

    def find(node: Variety) -> Variety:
        while root.setdefault(node, node) != node:
            node = root[node]
        return node

    for each in observations:
        for reference in each.references:
            root[find(each.variety)] = find(reference)
    return len({find(node) for node in list(root)})


def solve_effects(observations: list[_Observation], zero: Variety, name: str, rounds: int = 12) -> Solution:
    """Effects of all varieties against `zero` [d], by iteratively reweighted least squares.

    Source effects are held near zero (or left free) by a ridge of `SOURCE_EFFECT_D`.
    """
    nodes = sorted(
        {zero, *(e.variety for e in observations), *(r for e in observations for r in e.references)}
    )
    groups = sorted({each.group for each in observations})
    at = {node: index for index, node in enumerate(nodes)}
    group_at = {group: len(nodes) + index for index, group in enumerate(groups)}
    n = len(nodes) + len(groups)
    cells: list[tuple[int, int, float]] = []
    for index, each in enumerate(observations):
        cells.append((index, at[each.variety], 1.0))
        cells.extend((index, at[reference], -1.0 / len(each.references)) for reference in each.references)
        cells.append((index, group_at[each.group], 1.0))
    row, column, content = zip(*cells, strict=True)
    design = sparse.csr_array((content, (row, column)), shape=(len(observations), n))
    value = np.array([each.value for each in observations])
    weight = np.array([each.weight for each in observations])
    noise = TYPICAL_NOISE_D[name]
    half = np.array([each.half_range for each in observations])
    variance = noise**2 / weight + half**2 / 3.0
    ridge = np.zeros(n)
    for each in observations:
        size = FREE_SOURCE_EFFECT_D if each.free else SOURCE_EFFECT_D[name]
        ridge[group_at[each.group]] = 1.0 / size**2
    ridge[: len(nodes)] = 1e-9
    ridge[at[zero]] = 1e9
    robust = np.ones(len(observations))
    solution = np.zeros(n)
    for turn in range(rounds):
        inverse_variance = robust / variance
        weighted = sparse.diags_array(inverse_variance) @ design
        normal = splu(sparse.csc_array(design.T @ weighted + sparse.diags_array(ridge)))
        updated = normal.solve(design.T @ (inverse_variance * value))
        residual = value - design @ updated
        scaled = np.abs(residual) / np.sqrt(variance)
        if turn < HUBER_ROUNDS:
            robust = np.minimum(1.0, HUBER / np.maximum(scaled, 1e-12))
        else:
            robust = np.maximum(1.0 - (scaled / BISQUARE) ** 2, 0.0) ** 2 + 1e-4
        moved = float(np.max(np.abs(updated - solution)))
        solution = updated
        if turn > HUBER_ROUNDS and moved < 1e-3:
            break
    freedom = max(len(observations) - n, 1)
    scale = max(
        1.0, float(np.sqrt(np.sum(robust * residual**2 / variance) / freedom)) if freedom > 1 else 1.0
    )
    error = scale * np.sqrt(_inverse_diagonal(normal, n))
    sd = float(np.sqrt(np.average(residual**2, weights=weight)))
    effects = {
        node: round(float(solution[index] - solution[at[zero]]), 4) + 0.0 for node, index in at.items()
    }
    errors = {node: float(error[index]) for node, index in at.items()}
    return Solution(effects, errors, residual, sd)


def _inverse_diagonal(normal: SuperLU, n: int) -> np.ndarray:
    """Diagonal of the inverse, few columns at a time: one large solve would wait for threads when busy."""
    diagonal = np.empty(n)
    for start in range(0, n, 16):
        columns = np.arange(start, min(start + 16, n))
        unit = np.zeros((n, len(columns)))
        unit[columns, columns - start] = 1.0
        diagonal[columns] = normal.solve(unit)[columns, columns - start]
    return np.maximum(diagonal, 0.0)


def _settled_rows(
    mine: list[_Observation],
    rows: pd.DataFrame,
    solution: Solution,
    residual: dict[int, float],
    zero: Variety,
    name: str,
) -> pd.DataFrame:
    """Settled rows of one crop: effect, 80 % interval, agreement, sources that say otherwise."""
    spec = trait(name)
    source = rows["source_id"].to_dict()
    kind = rows["kind"].to_dict()
    tier = rows["tier"].to_dict()
    stated = stated_value(rows).to_dict()
    its_trait = rows["trait"].to_dict()
    by_variety: dict[Variety, list[_Observation]] = {}
    for each in mine:
        by_variety.setdefault(each.variety, []).append(each)
    zero_crop = mine[0].variety[0]
    if zero[0] == zero_crop and zero not in by_variety:
        by_variety[zero] = []
    records = []
    for variety, seen in sorted(by_variety.items()):
        number = solution.effect[variety]
        if not spec.least <= number <= spec.most:
            continue
        half = max(Z80 * solution.error[variety], spec.floor)
        outside = [each for each in seen if abs(residual[id(each)]) > 2.0 * spec.floor]
        total = sum(each.weight for each in seen)
        agreement = 1.0 - sum(each.weight for each in outside) / total if total else 1.0
        said = [f"{stated[e.row]}: {source[e.row]} ({kind[e.row]})" for e in outside]
        if seen and all(its_trait[each.row] == "harvest_start" for each in seen):
            said.append("from harvest dates, put on the scale")
        ids = sorted({source[each.row] for each in seen})
        if variety == zero:
            half = min(half, spec.floor)
            said.append("zero of the scale")
        records.append(
            (
                *variety,
                name,
                "numeric",
                "",
                number,
                number - half,
                number + half,
                f"d from {zero[1]}",
                STANDINGS[min((tier[each.row] for each in seen), default=0)],
                agreement,
                len(seen),
                len(ids),
                "; ".join(said),
                "|".join(ids),
            )
        )
    columns = [*KEY, "kind", "value", "number", "low", "high", "unit", "standing", "agreement"]
    columns += ["n_evidence", "n_sources", "disagreement", "source_ids"]
    return pd.DataFrame(records, columns=columns)
