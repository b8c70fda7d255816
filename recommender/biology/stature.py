"""How big a tree gets, how far apart it stands, when it first bears and roughly how much, and what a pot
holds it to.

In: the wide traits frame, the crop table, the rootstock table, and the answers rootstock, soil, training,
container. Out: `tree_size`, one row a variety; `standard_height`, the full-size tree of a crop;
`height_in_container` and `container_for`. docs/stature.md states each rule with its source.

Published: percentages, heights and spacings of rootstocks, heights of seedling trees, years to bear, two
container sizes with the height of the tree in them. Common practice: how vigour, soil and training move a
tree inside its range.
"""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from recommender.biology.fertility import column, crop_column, numeric
from recommender.errors import BadInput, UnknownName

VIGOUR_FACTOR = {"weak": 0.8, "medium": 1.0, "strong": 1.15, "very-strong": 1.25}
"""Height of a variety beside a medium one on the same roots (common practice)."""
SOIL_FACTOR = {"unknown": 1.0, "loam": 1.0, "clay": 1.0, "sand": 0.85, "chalk": 0.85}
"""Thin or hungry ground makes smaller trees (common practice)."""
TRAINED_HEIGHT_M = {
    "open": np.inf,
    "spindle": 3.0,
    "espalier": 2.5,
    "fan": 2.5,
    "cordon": 2.2,
}
"""Height a trained tree is held to by pruning [m] (common practice)."""
SPREAD_OF_HEIGHT = {
    "columnar": 0.25,
    "upright": 0.7,
    "compact": 0.8,
    "upright-spreading": 0.85,
    "spreading": 1.0,
    "weeping": 1.0,
}
USUAL_SPREAD = 0.85
"""Width of the crown as a share of its height, by habit (common practice)."""
USUAL_RANGE = 0.15
"""Half width of the range round a single height: trees of one kind differ by as much (common practice)."""
DWARF_PERCENT, SEMI_DWARF_PERCENT = 50.0, 70.0
"""At most this share of a standard tree (standards table, size-class, rurikia-rootstocks)."""
CONTAINER_EXAMPLES = ((41.5, 1.5), (66.5, 1.8))
"""(litres, height in m): 38 to 45 L holds a tree to 1.2 to 1.8 m (growingfruit-containers); 57 to 76 L is
the final pot of a dwarf tree (bhg-dwarf-fruit), whose height there, 1.8 m, is common practice.
"""
LEAST_CONTAINER_L = 19.0
"""Smallest pot a fruit tree lives and bears in (growingfruit-containers)."""
FEWEST_STOCKS = 3
READ = (
    "crop", "variety", "vigour", "habit", "mature_height", "mature_height_low", "mature_height_high",
    "mature_height_standing", "bearing_years", "yield_class",
)  # fmt: skip
"""Columns of the wide traits that `tree_size` reads."""
_YIELD = ("low", "medium", "high")


def standard_height(crops: pd.DataFrame, rootstocks: pd.DataFrame) -> pd.DataFrame:
    """Height of a full-size tree per crop: crop, low, high [m], standing, stocks.

    Where at least three rootstocks have both a height and a percentage published, the height they imply
    (middle half of them) is used, standing estimated: seedling heights in lists are often those of pruned
    trees, and would contradict the percentages. Else the crop table's seedling height. NaN where there is
    neither.
    """
    height = rootstocks[["mature_height_low_m", "mature_height_high_m"]].mean(axis=1)
    percent = rootstocks[["size_percent_low", "size_percent_high"]].mean(axis=1)
    implied = (height / (percent / 100.0)).to_numpy(np.float64)
    by_crop: dict[str, list[float]] = {}
    for crops_of, value in zip(rootstocks["for_crops"].fillna(""), implied, strict=True):
        for crop in str(crops_of).split("|"):
            if np.isfinite(value):
                by_crop.setdefault(crop, []).append(value)
    rows = []
    for crop, low, high in zip(
        crops["crop"],
        numeric(crops, "seedling_height_low_m"),
        numeric(crops, "seedling_height_high_m"),
        strict=True,
    ):
        found = by_crop.get(crop, [])
        if len(found) >= FEWEST_STOCKS:
            quarter, three = np.quantile(found, [0.25, 0.75])
            rows.append((crop, quarter, three, "estimated", len(found)))
        else:
            known = np.isfinite([low, high])
            low, high = (low if known[0] else high * 0.8, high if known[1] else low * 1.25)
            rows.append((crop, low, high, "published" if known.any() else "unknown", len(found)))
    return pd.DataFrame(rows, columns=["crop", "low", "high", "standing", "stocks"])


def stock_row(rootstocks: pd.DataFrame, name: str, crop: str | None = None) -> pd.Series:
    """The row of a rootstock; full stops, blanks and case do not matter ("m9"). Raises UnknownName,
    BadInput.
    """
    from rapidfuzz import process

    def bare(text: str) -> str:
        return re.sub(r"[\s.\-]", "", text).casefold()

    names, wanted = rootstocks["rootstock"].to_list(), bare(name)
    hits = [k for k, known in enumerate(names) if bare(known) == wanted]
    if not hits:
        near = [match[0] for match in process.extract(name, names, limit=3, score_cutoff=50)]
        raise UnknownName("rootstock", name, near)
    row = rootstocks.iloc[hits[0]]
    if crop is not None and crop not in str(row["for_crops"]).split("|"):
        raise BadInput(
            f"{row['rootstock']} serves {str(row['for_crops']).replace('|', ', ')}, not {crop}",
            remedy=f"Ask `orchardwright rootstocks {crop}` for those that are",
        )
    return row


def tree_size(
    traits: pd.DataFrame,
    crops: pd.DataFrame,
    rootstocks: pd.DataFrame,
    *,
    planting: pd.DataFrame | None = None,
    rootstock: str | None = None,
    soil: str = "unknown",
    training: str = "open",
    container_L: float | None = None,
    standard: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """One row a variety, in the order of `traits`.

    Columns: crop, variety, height_low, height_high, spread, spacing [m], size_percent_low,
    size_percent_high [% of a full-size tree of the variety], size_class, years_low, years_high [years to
    first crop], yield_class (of the tree, rough), standing, why.
    rootstock: a name of the rootstock table, or None for a tree on the crop's usual or own roots. soil:
    unknown, sand, loam, clay, chalk. training: open, spindle, espalier, fan, cordon. container_L: pot
    volume [L]. standard: `standard_height` of both tables, if at hand. A tree on a rootstock with a
    published percentage stays within it: vigour and soil act on the standard tree the percentage is taken
    of. Raises UnknownName or BadInput.
    """
    _checked(soil, training, container_L)
    crop_of = column(traits, "crop")
    stock = None
    if rootstock is not None and len(traits):
        for crop in sorted(set(crop_of)):
            stock = stock_row(rootstocks, rootstock, str(crop))
    full_low, full_high, standing = _full_size(
        traits, standard_height(crops, rootstocks) if standard is None else standard, soil
    )
    low, high, percent_low, percent_high, why = _on_stock(full_low, full_high, stock)
    standing = np.where(np.isfinite(low), standing, "unknown").astype(object)
    if stock is None:
        low, high, standing = _as_published(traits, low, high, standing)
    ceiling = np.full(len(traits), TRAINED_HEIGHT_M[training])
    if container_L is not None:
        ceiling = np.minimum(ceiling, height_in_container(container_L))
    low, high = np.minimum(low, ceiling), np.minimum(high, ceiling)
    held = ceiling < np.inf
    if held.any():
        why = f"{why}, held to {ceiling[0]:.1f} m by {'the pot' if container_L is not None else 'pruning'}"
    spread = high * _spread(traits)
    years_low, years_high = _years(traits, crops, stock)
    return pd.DataFrame(
        {
            "crop": crop_of,
            "variety": column(traits, "variety"),
            "height_low": low.round(2),
            "height_high": high.round(2),
            "spread": spread.round(2),
            "spacing": _spacing(crop_of, spread, stock, planting, bool(held.any())).round(2),
            "size_percent_low": percent_low,
            "size_percent_high": percent_high,
            "size_class": _size_class(percent_high, len(traits)),
            "years_low": years_low,
            "years_high": years_high,
            "yield_class": _tree_yield(traits, high),
            "standing": standing,
            "why": why,
        },
        index=traits.index,
    )


def _checked(soil: str, training: str, container_L: float | None) -> None:
    if soil not in SOIL_FACTOR:
        raise UnknownName("soil", soil, list(SOIL_FACTOR))
    if training not in TRAINED_HEIGHT_M:
        raise UnknownName("training", training, list(TRAINED_HEIGHT_M))
    if container_L is not None and not container_L > 0:
        raise BadInput(f"A container of {container_L} litres", remedy="Give its volume in litres, above 0")


def _full_size(
    traits: pd.DataFrame, table: pd.DataFrame, soil: str
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(low, high, standing) of each variety as a full-size tree [m]; table: `standard_height`."""
    crop_of = column(traits, "crop")
    vigour = pd.Series(column(traits, "vigour")).map(VIGOUR_FACTOR).fillna(1.0).to_numpy(np.float64)
    factor = vigour * SOIL_FACTOR[soil]
    low = pd.to_numeric(pd.Series(crop_column(table, crop_of, "low")), errors="coerce").to_numpy(np.float64)
    high = pd.to_numeric(pd.Series(crop_column(table, crop_of, "high")), errors="coerce").to_numpy(np.float64)
    return low * factor, high * factor, crop_column(table, crop_of, "standing")


def _on_stock(
    low: np.ndarray, high: np.ndarray, stock: pd.Series | None
) -> tuple[np.ndarray, np.ndarray, float, float, str]:
    if stock is None:
        return low, high, 100.0, 100.0, "full size, on usual or own roots"
    percent_low, percent_high = float(stock["size_percent_low"]), float(stock["size_percent_high"])
    name = str(stock["rootstock"])
    if np.isfinite(percent_low) and np.isfinite(percent_high):
        # One percentage each: both ends of the range are shares of one full-size tree, its middle.
        middle = (low + high) / 2.0
        return (
            middle * percent_low / 100.0,
            middle * percent_high / 100.0,
            percent_low,
            percent_high,
            f"{percent_low:g} to {percent_high:g} % of a full-size tree on {name}",
        )
    own_low, own_high = float(stock["mature_height_low_m"]), float(stock["mature_height_high_m"])
    if np.isfinite(own_low) or np.isfinite(own_high):
        own_low = own_low if np.isfinite(own_low) else own_high * (1 - USUAL_RANGE)
        own_high = own_high if np.isfinite(own_high) else own_low * (1 + USUAL_RANGE)
        return (
            np.full(len(low), own_low),
            np.full(len(low), own_high),
            np.nan,
            np.nan,
            f"published height on {name}",
        )
    return low, high, np.nan, np.nan, f"full size; nobody has published how far {name} dwarfs"


def _as_published(
    traits: pd.DataFrame, low: np.ndarray, high: np.ndarray, standing: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The variety's own published height where no rootstock is named."""
    own = numeric(traits, "mature_height")
    own_low = np.where(
        np.isfinite(numeric(traits, "mature_height_low")), numeric(traits, "mature_height_low"), own
    )
    own_high = np.where(
        np.isfinite(numeric(traits, "mature_height_high")), numeric(traits, "mature_height_high"), own
    )
    known = np.isfinite(own)
    flat = known & (own_high - own_low < 0.01)
    own_low = np.where(flat, own * (1 - USUAL_RANGE), own_low)
    own_high = np.where(flat, own * (1 + USUAL_RANGE), own_high)
    stated = column(traits, "mature_height_standing")
    return (
        np.where(known, own_low, low),
        np.where(known, own_high, high),
        np.where(known, np.where(stated == "", "published", stated), standing),
    )


def _spread(traits: pd.DataFrame) -> np.ndarray:
    habit = pd.Series(column(traits, "habit"))
    return habit.map(SPREAD_OF_HEIGHT).fillna(USUAL_SPREAD).to_numpy(np.float64)


def _spacing(
    crop_of: np.ndarray,
    spread: np.ndarray,
    stock: pd.Series | None,
    planting: pd.DataFrame | None,
    held: bool,
) -> np.ndarray:
    """Distance to the next tree [m]: published for the stock, else for the crop, else the spread of the
    crown.
    """
    if held:
        return spread
    if stock is not None:
        ends = [float(stock["spacing_low_m"]), float(stock["spacing_high_m"])]
        if np.isfinite(ends).any():
            return np.full(len(crop_of), np.nanmean(ends))
        return spread
    if planting is None:
        return spread
    rows = planting.loc[planting["quantity"].eq("tree_spacing")]
    middle = rows[["low", "high"]].mean(axis=1)
    middle = middle.fillna(pd.to_numeric(rows["value"], errors="coerce"))
    by_group = middle.groupby(rows["crop_group"]).median()
    wanted = pd.Series(crop_of, dtype=object)
    found = wanted.map(by_group).fillna((wanted + " standard").map(by_group))
    plums = wanted.isin(["european-plum", "japanese-plum"])
    found = found.where(~(plums & found.isna()), by_group.get("plum", np.nan))
    persimmons = wanted.isin(["asian-persimmon", "american-persimmon"])
    found = found.where(~(persimmons & found.isna()), by_group.get("persimmon", np.nan))
    values = found.to_numpy(np.float64)
    return np.where(np.isfinite(values), values, spread)


def _size_class(percent: float, n: int) -> np.ndarray:
    word = "standard" if not percent <= SEMI_DWARF_PERCENT else "semi-dwarf"
    if percent <= DWARF_PERCENT:
        word = "dwarf"
    return np.full(n, "" if np.isnan(percent) else word, dtype=object)


def _years(
    traits: pd.DataFrame, crops: pd.DataFrame, stock: pd.Series | None
) -> tuple[np.ndarray, np.ndarray]:
    """Years to the first crop: of the rootstock, else of the variety, else of the crop."""
    crop_of = column(traits, "crop")
    low, high = (
        pd.to_numeric(
            pd.Series(crop_column(crops, crop_of, f"years_to_bear_{end}")), errors="coerce"
        ).to_numpy(np.float64)
        for end in ("low", "high")
    )
    own = numeric(traits, "bearing_years")
    low, high = np.where(np.isfinite(own), own, low), np.where(np.isfinite(own), own, high)
    if stock is not None and np.isfinite(float(stock["years_to_bear_low"])):
        low = np.full(len(traits), float(stock["years_to_bear_low"]))
        top = float(stock["years_to_bear_high"])
        high = np.full(len(traits), top if np.isfinite(top) else low[0])
    return low, high


def _tree_yield(traits: pd.DataFrame, height: np.ndarray) -> np.ndarray:
    """Rough yield of a tree: by its height (2.5 m and 5 m divide), a class up or down by the variety."""
    size = np.digitize(height, [2.5, 5.0])
    own = pd.Series(column(traits, "yield_class")).map({"low": -1, "medium": 0, "high": 1}).fillna(0)
    klass = np.clip(size + own.to_numpy(np.int64), 0, 2)
    words = np.array(_YIELD, dtype=object)[klass]
    return np.where(np.isfinite(height), words, "unknown")


def height_in_container(litres: float) -> float:
    """Height a pot of that volume holds a fruit tree to [m].

    Roots fill a volume and the crown a height, so height goes with the cube root of the volume, set by the
    middle of `CONTAINER_EXAMPLES`. Raises BadInput for a volume at or below 0.

    >>> round(height_in_container(41.5), 1)
    1.5
    """
    if not litres > 0:
        raise BadInput(f"A container of {litres} litres", remedy="Give its volume in litres, above 0")
    return float(_CUBE_ROOT_FACTOR * litres ** (1 / 3))


def container_for(height_m: float) -> float:
    """Volume of the pot [L] in which a tree reaches that height [m]; never below the smallest that works.

    >>> container_for(0.8)
    19.0
    """
    if not height_m > 0:
        raise BadInput(f"A height of {height_m} m", remedy="Give the height in metres, above 0")
    return float(max(LEAST_CONTAINER_L, (height_m / _CUBE_ROOT_FACTOR) ** 3))


_CUBE_ROOT_FACTOR = float(np.mean([height / litres ** (1 / 3) for litres, height in CONTAINER_EXAMPLES]))
