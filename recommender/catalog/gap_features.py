"""What may tell a trait that nobody published: relatives, related traits, origin, age. One table of features.

In come the wide traits (V rows, sorted by crop and variety) and the varieties' notes; out go `Kin` (who
descends from whom) and `Known`: every trait as a number, apart from its crop's usual value. Regional lists
and the sources of evidence are left out on purpose: they would let the answer of the validation leak in.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from recommender.catalog.traits import NUMERIC, SEASONS, TRAITS, trait

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]

# Values are drawn towards those of all crops as if so many varieties of the crop had the latter.
CROP_PRIOR = 3.0
# A crop with fewer known values than this lends the scatter of all crops.
FEWEST_FOR_SCATTER = 8
# Countries with at least this many varieties stand for themselves, the others together.
FEWEST_OF_COUNTRY = 10
# Species and groups that a parentage or a note may name (hardy or tender blood); matched as whole words.
BLOOD: dict[str, tuple[str, ...]] = {
    "crab or Siberian": ("crab", "baccata", "siberian", "manchurian", "dolgo", "malinda"),
    "American plum": ("americana", "nigra", "besseyi", "sand cherry", "american plum"),
    "ussurian": ("ussuriensis", "ussurian", "harbin"),
    "Japanese": ("salicina", "pyrifolia", "satsuma"),
    "low-chill": ("low-chill", "low chill", "subtropical", "florida"),
    "hybrid": ("hybrid",),
    "seedling": ("open-pollinated", "unknown", "seedling", "chance"),
}
_SPECIAL = {"use", "incompatible_with", "pollinated_by"}
_USES = ("fresh", "cooking", "cider", "drying", "canning", "juice")


def plain(text: object) -> str:
    """A name without accents, case, apostrophes and surplus blanks, for matching parents."""
    folded = unicodedata.normalize("NFKD", str(text)).encode("ascii", "ignore").decode().casefold()
    return re.sub(r"[^a-z0-9]+", " ", folded.replace("'", "")).strip()


@dataclass(frozen=True, eq=False)
class Kin:
    """Descent within the catalog: parents (V, 2) and sport_of (V,) as rows, -1 where not in the catalog;
    family (V,): a number that varieties share which must never be split between training and test."""

    parents: Rows
    sport_of: Rows
    family: Rows


def kin_of(frame: pd.DataFrame, names: pd.DataFrame | None = None) -> Kin:
    """Who descends from whom. frame: crop, variety, parentage, sport_of; names: crop, name, variety.

    A family is a variety with its sports, full siblings (the same two named parents) and theirs.
    """
    size = len(frame)
    crop = frame["crop"].astype(str).to_numpy()
    at: dict[tuple[str, str], int] = {}
    if names is not None:
        accepted = {
            (str(c), str(v)): row for row, (c, v) in enumerate(zip(crop, frame["variety"], strict=True))
        }
        for own, name, variety in names[["crop", "name", "variety"]].itertuples(index=False):
            row = accepted.get((str(own), str(variety)))
            if row is not None:
                at.setdefault((str(own), plain(name)), row)
    for row, (own, variety) in enumerate(zip(crop, frame["variety"], strict=True)):
        at[own, plain(variety)] = row
    parents = np.full((size, 2), -1, dtype=np.intp)
    sport = np.full(size, -1, dtype=np.intp)
    family = list(range(size))

    def root(row: int) -> int:
        while family[row] != row:
            family[row] = family[family[row]]
            row = family[row]
        return row

    siblings: dict[tuple[str, tuple[str, ...]], int] = {}
    columns = [_texts(frame, "parentage"), _texts(frame, "sport_of")]
    for row, (own, cross, mother) in enumerate(zip(crop, *columns, strict=True)):
        if mother:
            found = at.get((own, plain(mother)), -1)
            if found not in (-1, row):
                sport[row] = found
                family[root(row)] = root(found)
        if not cross:
            continue
        named = [part for part in re.split(r"\s+x\s+", cross) if part.strip()][:2]
        for side, part in enumerate(named):
            found = at.get((own, plain(part)), -1)
            if found != row:
                parents[row, side] = found
        if len(named) == 2 and not any(word in cross for word in BLOOD["seedling"]):
            key = (own, tuple(sorted(map(plain, named))))
            family[root(row)] = root(siblings.setdefault(key, row))
    return Kin(parents, sport, np.array([root(row) for row in range(size)], dtype=np.intp))


def _texts(frame: pd.DataFrame, name: str) -> list[str]:
    if name not in frame:
        return [""] * len(frame)
    column = frame[name].astype(object)
    return [str(value) for value in column.where(column.notna(), "")]


def as_number(frame: pd.DataFrame, name: str) -> Floats:
    """A trait (V,) as a number: as it stands, or the place of its class in the order of classes (a compound
    class lies half-way); NaN where missing, where another class stands, or where it is only estimated."""
    if name not in frame:
        return np.full(len(frame), np.nan)
    about = trait(name)
    if about.kind == NUMERIC:
        values = np.asarray(pd.to_numeric(frame[name], errors="coerce"), dtype=float)
    else:
        places = {each: float(place) for place, each in enumerate(about.order)}
        for compound, (one, other) in about.between.items():
            places[compound] = (places[one] + places[other]) / 2.0
        values = np.asarray(frame[name].map(places), dtype=float)
    standing = f"{name}_standing"
    if standing in frame:
        values = np.where(frame[standing].to_numpy(dtype=object) == "estimated", np.nan, values)
    return values


def in_crop(crop: Rows, values: Floats) -> tuple[Floats, Floats]:
    """Usual value and scatter (C,) of the known values (V,) by crop number (V,), each drawn towards that of
    all crops; what no crop knows is 0 with a scatter of 1."""
    known = np.isfinite(values)
    count = int(crop.max()) + 1 if len(crop) else 0
    if not known.any():
        return np.zeros(count), np.ones(count)
    n = np.bincount(crop[known], minlength=count).astype(float)
    groups = pd.Series(values[known]).groupby(crop[known])
    middle = groups.median().reindex(range(count)).fillna(0.0).to_numpy(dtype=float)
    overall = float(np.median(middle[n > 0]))
    usual = (n * middle + CROP_PRIOR * overall) / (n + CROP_PRIOR)
    apart = values[known] - usual[crop[known]]
    pooled = float(np.sqrt(np.mean(apart**2))) or 1.0
    squares = np.bincount(crop[known], weights=apart**2, minlength=count)
    scatter = np.sqrt((squares + FEWEST_FOR_SCATTER * pooled**2) / (n + FEWEST_FOR_SCATTER))
    return usual, np.maximum(scatter, 1e-6)


@dataclass(frozen=True, eq=False)
class Known:
    """Everything known as features. names (T,), figures (V, T): traits as numbers; standard (V, T): apart
    from the crop's usual value in its scatter; fixed (V, F): origin, year, blood, uses; crop (V,): number."""

    names: tuple[str, ...]
    figures: Floats
    standard: Floats
    fixed: Floats
    fixed_names: tuple[str, ...]
    crop: Rows
    crops: tuple[str, ...]
    kin: Kin

    def column(self, name: str) -> int:
        """Place of a trait in `names`."""
        return self.names.index(name)


def traits_as_numbers(frame: pd.DataFrame) -> list[str]:
    """Traits of the frame that are numbers or ordered classes, diseases included."""
    found = [name for name in map(str, frame) if f"{name}_standing" in frame and name not in _SPECIAL]
    return [name for name in found if trait(name).kind == NUMERIC or len(trait(name).order) > 1]


def known_of(
    frame: pd.DataFrame, varieties: pd.DataFrame | None = None, names: pd.DataFrame | None = None
) -> Known:
    """All features of the varieties of `frame` (the wide traits); varieties: crop, variety, note."""
    columns = traits_as_numbers(frame)
    codes, crops = pd.factorize(frame["crop"], sort=True)
    crop = codes.astype(np.intp)
    values = (
        np.column_stack([as_number(frame, name) for name in columns])
        if columns
        else np.empty((len(frame), 0))
    )
    standard = np.empty_like(values)
    for at in range(values.shape[1]):
        usual, scatter = in_crop(crop, values[:, at])
        standard[:, at] = (values[:, at] - usual[crop]) / scatter[crop]
    fixed, fixed_names = _fixed(frame, varieties)
    return Known(
        tuple(columns), values, np.clip(standard, -4.0, 4.0), fixed, fixed_names, crop,
        tuple(map(str, crops)), kin_of(frame, names),
    )  # fmt: skip


def _fixed(frame: pd.DataFrame, varieties: pd.DataFrame | None) -> tuple[Floats, tuple[str, ...]]:
    note = pd.Series([""] * len(frame))
    if varieties is not None and "note" in varieties:
        told = varieties.set_index(["crop", "variety"])["note"]
        told = told[~told.index.duplicated()]
        note = (
            told.reindex(pd.MultiIndex.from_frame(frame[["crop", "variety"]]))
            .fillna("")
            .reset_index(drop=True)
        )
    words = [
        f"{own} {cross} {name}".casefold()
        for own, cross, name in zip(
            note.astype(str), _texts(frame, "parentage"), frame["variety"], strict=True
        )
    ]
    columns: dict[str, Floats] = {}
    origin = _texts(frame, "origin")
    counts = pd.Series(origin).value_counts()
    for country, count in counts.items():
        if count >= FEWEST_OF_COUNTRY and country:
            columns[f"from {country}"] = np.array([value == country for value in origin], dtype=float)
    columns["origin not told"] = np.array([not value for value in origin], dtype=float)
    for blood, kinds in BLOOD.items():
        pattern = re.compile("|".join(rf"\b{re.escape(kind)}" for kind in kinds))
        columns[blood] = np.array([bool(pattern.search(text)) for text in words], dtype=float)
    year = (
        np.asarray(pd.to_numeric(frame["year"], errors="coerce"), dtype=float)
        if "year" in frame
        else np.full(len(frame), np.nan)
    )
    columns["year"] = np.clip(np.nan_to_num((year - 1950.0) / 50.0), -4.0, 2.0)
    columns["year not told"] = (~np.isfinite(year)).astype(float)
    uses = _texts(frame, "use")
    for use in _USES:
        columns[f"for {use}"] = np.array([use in value.split("|") for value in uses], dtype=float)
    columns["use not told"] = np.array([not value for value in uses], dtype=float)
    colour = _texts(frame, "skin_colour")
    for shade in ("red", "yellow", "green"):
        columns[f"{shade} skin"] = np.array([shade in value for value in colour], dtype=float)
    return np.column_stack(list(columns.values())), tuple(columns)


def features(known: Known, target: int, own: Floats) -> Floats:
    """Features (V, F) for one target trait.

    own (V,): the target's standardised values that may be seen, NaN elsewhere. A variety's features never
    hold its own value of the target: only its parents', its offspring's and its other traits.
    """
    others = np.delete(known.standard, target, axis=1)
    seen = np.isfinite(others)
    useful = seen.sum(axis=0) >= 15
    others, seen = others[:, useful], seen[:, useful]
    middle, parents_known = _mean_of(own, known.kin.parents)
    young, young_known = _mean_of_offspring(own, known.kin)
    return np.column_stack(
        [np.nan_to_num(others), seen.astype(float), middle, parents_known, young, young_known, known.fixed]
    )


def _mean_of(own: Floats, parents: Rows) -> tuple[Floats, Floats]:
    """Sum over the two parents of what each is known to add to a child, and how many are known (V,)."""
    value = np.where(parents >= 0, own[np.maximum(parents, 0)], np.nan)
    count = np.isfinite(value).sum(axis=1).astype(float)
    return np.nansum(value, axis=1) / 2.0, count / 2.0


def _mean_of_offspring(own: Floats, kin: Kin) -> tuple[Floats, Floats]:
    size = len(own)
    total, count = np.zeros(size), np.zeros(size)
    for side in (0, 1):
        child = np.flatnonzero((kin.parents[:, side] >= 0) & np.isfinite(own))
        np.add.at(total, kin.parents[child, side], own[child])
        np.add.at(count, kin.parents[child, side], 1.0)
    return total / (count + 1.0), np.minimum(count, 3.0) / 3.0


__all__ = [
    "SEASONS",
    "TRAITS",
    "Kin",
    "Known",
    "as_number",
    "features",
    "in_crop",
    "kin_of",
    "known_of",
    "plain",
]
