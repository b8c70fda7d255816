"""Sports and near-identical varieties, so that a shortlist is not ten sports of one variety.

In come the wide traits in the order of the varieties; out goes a group number for each and why two belong
together. Two varieties are one group if one is published as a sport of the other (chains are followed, also
over a variety the catalog does not hold), if one carries the other's name with a word the trade uses for a
strain (Red, Spur, Compact ...) and nothing published tells them apart, or if both come of the same named
cross and agree in everything published of both, in at least four traits.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from recommender.catalog.gap_features import BLOOD, plain
from recommender.suitability.expectations import number, text

Rows = NDArray[np.intp]

# Words before or after a variety's name that mark a strain of it (common practice; "Early" and "Late" are
# left out: they mostly name seedlings).
STRAIN_WORDS = frozenset(
    {
        "red",
        "double red",
        "royal",
        "spur",
        "compact",
        "dwarf",
        "super",
        "improved",
        "crimson",
        "striped",
        "dark",
        "strain",
    }
)
# How far apart two figures of one group may lie, in the trait's unit.
SAME_WITHIN: dict[str, float] = {
    "zone_min": 1.0,
    "chill_hours": 150.0,
    "bloom_offset": 3.0,
    "ripening_offset": 8.0,
    "bloom_to_harvest": 10.0,
    "mature_height": 1.0,
}
SAME_CLASS = (
    "bloom_season",
    "ripening_season",
    "self_fertility",
    "fruit_size",
    "vigour",
    "flesh_colour",
    "s_alleles",
    "use",
)
FEWEST_SHARED = 4
_SPLIT = re.compile(r"\s+x\s+")


@dataclass(frozen=True, eq=False)
class Groups:
    """leader (V,): row of the first variety of each one's group (its own row if it stands alone); why: row ->
    in words, how it belongs there; known (V,): whether that is published."""

    leader: Rows
    why: dict[int, str]
    published: NDArray[np.bool_]


def groups_of(frame: pd.DataFrame) -> Groups:
    """Group the varieties of the wide traits `frame` (V rows)."""
    size = len(frame)
    crop, name = frame["crop"].astype(str).tolist(), frame["variety"].astype(str).tolist()
    at = {(own, plain(each)): row for row, (own, each) in enumerate(zip(crop, name, strict=True))}
    leader = list(range(size))
    why: dict[int, str] = {}
    published = np.zeros(size, dtype=bool)

    def root(row: int) -> int:
        while leader[row] != row:
            leader[row] = leader[leader[row]]
            row = leader[row]
        return row

    def join(row: int, other: int) -> None:
        one, two = root(row), root(other)
        leader[max(one, two)] = min(one, two)

    away: dict[tuple[str, str], int] = {}
    for row, mother in enumerate(text(frame, "sport_of")):
        if not mother:
            continue
        key = (crop[row], plain(mother))
        found = at.get(key)
        if found == row:
            continue
        join(row, found if found is not None else away.setdefault(key, row))
        why[row], published[row] = f"a sport of {mother}", True
    figures, classes = _published(frame)
    for row, mother_row in strains(frame).tolist():
        if row not in why:
            join(row, mother_row)
            why[row] = f"by its name a strain of {name[mother_row]} (estimated)"
    for rows in _same_cross(frame, crop):
        for place, row in enumerate(rows):
            for other in rows[:place]:
                count, same = _shared(figures, classes, row, other)
                if same and count >= FEWEST_SHARED and row not in why:
                    join(row, other)
                    why[row] = f"of the same cross as {name[other]} and alike in {count} traits (estimated)"
    return Groups(np.array([root(row) for row in range(size)], dtype=np.intp), why, published)


def strains(frame: pd.DataFrame) -> Rows:
    """Pairs of rows (strain, mother) (N, 2): one carries the other's name with a strain word, and nothing
    published of the two differs."""
    crop, name = frame["crop"].astype(str).tolist(), frame["variety"].astype(str).tolist()
    at = {(own, plain(each)): row for row, (own, each) in enumerate(zip(crop, name, strict=True))}
    figures, classes = _published(frame)
    found = []
    for row in range(len(frame)):
        mother = _strain_of(crop[row], plain(name[row]), at)
        if mother is not None and mother != row and _shared(figures, classes, row, mother)[1]:
            found.append((row, mother))
    return np.array(found, dtype=np.intp).reshape(-1, 2)


def _published(
    frame: pd.DataFrame,
) -> tuple[dict[str, NDArray[np.float64]], dict[str, NDArray[np.object_]]]:
    """The figures and the classes (V,) by which two varieties are told apart."""
    return (
        {trait: number(frame, trait) for trait in SAME_WITHIN},
        {trait: text(frame, trait) for trait in SAME_CLASS},
    )


def _strain_of(crop: str, name: str, at: dict[tuple[str, str], int]) -> int | None:
    """Row of the variety whose name is this one's without its strain word, if the crop has it."""
    words = name.split()
    for count in (1, 2):
        if len(words) <= count:
            break
        for mark, rest in ((words[:count], words[count:]), (words[-count:], words[:-count])):
            if " ".join(mark) in STRAIN_WORDS:
                found = at.get((crop, " ".join(rest)))
                if found is not None:
                    return found
    return None


def _shared(
    figures: dict[str, NDArray[np.float64]], classes: dict[str, NDArray[np.object_]], one: int, other: int
) -> tuple[int, bool]:
    """In how many traits both have something published, and whether they agree in all of them."""
    count = 0
    for trait, values in figures.items():
        apart = abs(values[one] - values[other])
        if np.isfinite(apart):
            count += 1
            if apart > SAME_WITHIN[trait]:
                return count, False
    for values_of_class in classes.values():
        if values_of_class[one] and values_of_class[other]:
            count += 1
            if values_of_class[one] != values_of_class[other]:
                return count, False
    return count, True


def _same_cross(frame: pd.DataFrame, crop: list[str]) -> list[list[int]]:
    """Rows that come of the same two named parents."""
    crosses: dict[tuple[str, tuple[str, ...]], list[int]] = {}
    for row, cross in enumerate(text(frame, "parentage")):
        parents = _SPLIT.split(str(cross)) if cross else []
        if len(parents) == 2 and not any(word in str(cross) for word in BLOOD["seedling"]):
            key = (crop[row], tuple(sorted(map(plain, parents))))
            crosses.setdefault(key, []).append(row)
    return [rows for rows in crosses.values() if len(rows) > 1]


def one_each(leader: Rows) -> tuple[NDArray[np.bool_], dict[int, list[int]]]:
    """For rows in ranked order with their group numbers (V,): which stand first of their group, and, by the
    place of that first, the places of the others."""
    first: dict[int, int] = {}
    keep = np.zeros(len(leader), dtype=bool)
    others: dict[int, list[int]] = {}
    for place, group in enumerate(leader.tolist()):
        if group in first:
            others.setdefault(first[group], []).append(place)
        else:
            first[group] = place
            keep[place] = True
    return keep, others
