"""Where each tree stands: apart as its roots want, clear of what is there, tall ones to the pole side.

In come the trees with height, crown and spacing, who serves whom, and the `Plot`; out goes a `Layout`.
Trees are set row by row from the pole side, tallest first, then exchanged while that lessens shade or brings
a donor within reach. docs/spacing.md states the rules.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from recommender.biology.fertility import crop_column
from recommender.orchard.facts import Fact, Facts
from recommender.orchard.plot import Clearances, Flags, Floats, Plot, allowed, grid
from recommender.wording import length_words, list_words, plain

STEP_m = 0.25
MOST_GENEROUS = 1.5
"""Trees with room to spare stand at most this much further apart than they need."""
ROWS = ("hedge", "espalier", "cordon", "fan", "spindle")
ROW_DISTANCE_m = {"hedge": 3.0, "espalier": 2.0, "cordon": 1.8, "fan": 2.0, "spindle": 3.5}
"""From row to row of trained trees, so that one can work and light comes in (common practice)."""
IN_ROW_m = {"hedge": 1.5, "espalier": 3.5, "cordon": 0.8, "fan": 4.0, "spindle": 1.5}
"""In the row, where the grower says nothing (common practice)."""
USUAL_REACH_m = 18.0


@dataclass(frozen=True, eq=False)
class Layout:
    """x, y (n,) [m], NaN for a tree without a place. shade (n,): share of each crown in the noon shade of the
    others at the equinox. reach (n,): distance to the nearest donor [m], NaN where none is needed. notes:
    sentences about what had to give."""

    x: Floats
    y: Floats
    shade: Floats
    donor_distance: Floats
    notes: tuple[str, ...] = ()
    rules: dict[str, Fact] = field(default_factory=dict)

    @property
    def placed(self) -> Flags:
        """(n,) which trees have a place."""
        return np.isfinite(self.x)


def noon_shade(x: Floats, y: Floats, height: Floats, spread: Floats, lat: float, to_pole: Floats) -> Floats:
    """(n,) share of each crown's height in the shade of the others, at noon on the equinox, summed.

    The sun then stands 90 degrees less the latitude high on the equator side, so a tree of height h shades
    up to h tan(latitude) away. to_pole (2,): unit vector towards the nearer pole.
    """
    at = np.column_stack((x, y))
    apart = at[None, :, :] - at[:, None, :]  # from i to j
    equatorward = -(apart @ to_pole)
    across = np.abs(apart @ np.array([-to_pole[1], to_pole[0]]))
    slope = max(np.tan(np.radians(min(abs(lat), 80.0))), 1e-6)
    top = height[None, :] - np.maximum(equatorward, 0.0) / slope
    width = (spread[:, None] + spread[None, :]) / 2.0
    side = np.clip(1.0 - across / np.maximum(width, 1e-9), 0.0, 1.0)
    share = np.clip(top / np.maximum(height[:, None], 1e-9), 0.0, 1.0) * side
    share = np.where(equatorward > 1e-9, share, 0.0)
    np.fill_diagonal(share, 0.0)
    return np.asarray(np.nan_to_num(share).sum(axis=1))


def reach_of(crops: pd.DataFrame, crop: list[str]) -> Floats:
    """(n,) how far a donor may stand [m]: the crop table's distance, 18 m (rhs-fruit-pollination) for crops
    without one."""
    values = crop_column(crops, np.array(crop, dtype=object), "pollinator_distance_m")
    found = pd.to_numeric(pd.Series(values, dtype=object), errors="coerce").to_numpy(float)
    return np.where(np.isfinite(found), found, USUAL_REACH_m)


def lay_out(
    trees: pd.DataFrame,
    donors: Flags,
    needs: Flags,
    plot: Plot,
    facts: Facts,
    *,
    lat: float,
    style: str = "open",
    row_spacing_m: float | None = None,
    standing_donors: Flags | None = None,
) -> Layout:
    """Positions for n trees.

    trees: columns height_high, spread, spacing, reach [m], one row a tree. donors (n, n): column serves row;
    needs (n,): must have one. standing_donors (n, s): which of the plot's named standing trees serve it.
    style: open (each by itself), or in rows: hedge, espalier, cordon, fan, spindle. row_spacing_m: from row
    to row, for those. A tree for which there is no room keeps NaN.
    """
    clearances = Clearances(facts)
    height = trees["height_high"].to_numpy(float)
    spread = trees["spread"].to_numpy(float)
    spacing = trees["spacing"].to_numpy(float)
    to_pole = plot.to_north() * (1.0 if lat >= 0 else -1.0)
    rows = style in ROWS
    points = _row_points(plot, style, row_spacing_m, spacing) if rows else grid(plot, STEP_m)[0]
    step = STEP_m if rows else grid(plot, STEP_m)[1]
    edge = 0.5 if rows else None
    free = np.array(
        [allowed(points, plot, clearances, height[k], spread[k], spacing[k], edge) for k in range(len(trees))]
    ).reshape(len(trees), len(points))
    order = np.lexsort((-spacing, -height))
    at = _best_fit(points, free, spacing, order, to_pole)
    chosen = np.where(at >= 0, at, 0)
    x = np.where(at >= 0, points[chosen, 0], np.nan) if len(points) else np.full(len(trees), np.nan)
    y = np.where(at >= 0, points[chosen, 1], np.nan) if len(points) else np.full(len(trees), np.nan)
    if (at >= 0).all() and len(trees) > 1:
        at = _exchanged(points, free, at, spacing, height, spread, trees, donors, needs, lat, to_pole)
        x, y = points[at, 0], points[at, 1]
    away = _donor_distance(x, y, donors, plot, standing_donors)
    shade = np.where(np.isfinite(x), noon_shade(x, y, height, spread, lat, to_pole), np.nan)
    notes = _notes(trees, at, away, needs, shade)
    return Layout(
        x, y, shade, np.where(needs, away, np.nan), notes, {**clearances.rules, "step": _step(step)}
    )


def tight_words(variety: str, in_row_m: float, stock_spacing_m: float) -> str:
    """What planting closer than the rootstock's range costs; empty where it is not closer.

    stock_spacing_m: least distance usual on that stock [m], NaN where none is known.
    """
    if not in_row_m < stock_spacing_m:
        return ""
    return (
        f"{plain(variety)} stands {length_words(in_row_m)} from the next; on its roots a tree usually has "
        f"{length_words(stock_spacing_m)} or more. That works as a hedge if it is pruned every summer as "
        "well as in winter, fed and watered more, and it bears less a tree (common practice)."
    )


def _step(step: float) -> Fact:
    return Fact("grid_step", "all", step, step, "", "m", "common practice", "", "places are sought on a grid")


def _row_points(plot: Plot, style: str, row_spacing_m: float | None, spacing: Floats) -> Floats:
    """Points along rows that run from pole to equator, which gives both sides of a row the same light."""
    across = row_spacing_m if row_spacing_m is not None else ROW_DISTANCE_m[style]
    points, _ = grid(plot, STEP_m)
    north = plot.to_north()
    # The page's own axes carry the rows where north is not straight up.
    straight = abs(north[1]) >= abs(north[0])
    column = points[:, 0] if straight else points[:, 1]
    first = column.min() + 0.5
    number = np.round((column - first) / across)
    near = np.abs(column - (first + number * across)) <= STEP_m / 2 + 1e-9
    on_row = near & (number >= 0)
    out = points[on_row].copy()
    out[:, 0 if straight else 1] = first + number[on_row] * across
    return out


def _first_fit(
    points: Floats, free: Flags, spacing: Floats, order: NDArray[np.intp], rank: Floats
) -> NDArray:
    """Row by row: each tree in turn at the first free point far enough from those already set; -1: none."""
    at = np.full(len(spacing), -1, dtype=np.intp)
    sequence = np.argsort(rank, kind="stable")
    for tree in order:
        open_ = free[tree].copy()
        for other in np.flatnonzero(at >= 0):
            apart = np.hypot(*(points - points[at[other]]).T)
            open_ &= apart >= (spacing[tree] + spacing[other]) / 2.0 - 1e-9
        found = sequence[open_[sequence]]
        if len(found):
            at[tree] = found[0]
    return at


def _best_fit(
    points: Floats, free: Flags, spacing: Floats, order: NDArray[np.intp], to_pole: Floats
) -> NDArray[np.intp]:
    """The most generous spacing at which all find room; if none does, the order that sets the most."""
    if not len(points):
        return np.full(len(spacing), -1, dtype=np.intp)
    poleward = points @ to_pole
    sideways = points @ np.array([to_pole[1], -to_pole[0]])
    rank = -poleward * 1e4 + sideways
    best = _first_fit(points, free, spacing, order, rank)
    orders = [order, np.argsort(-spacing, kind="stable"), np.argsort(spacing, kind="stable")]
    for again in orders[1:]:
        if (best >= 0).all():
            break
        tried = _first_fit(points, free, spacing, again, rank)
        best = tried if (tried >= 0).sum() > (best >= 0).sum() else best
    if not (best >= 0).all():
        return best
    for factor in np.arange(1.05, MOST_GENEROUS + 0.01, 0.05):
        tried = _first_fit(points, free, spacing * factor, order, rank)
        if not (tried >= 0).all():
            break
        best = tried
    return best


def _exchanged(
    points: Floats,
    free: Flags,
    at: NDArray[np.intp],
    spacing: Floats,
    height: Floats,
    spread: Floats,
    trees: pd.DataFrame,
    donors: Flags,
    needs: Flags,
    lat: float,
    to_pole: Floats,
) -> NDArray[np.intp]:
    """Pairs of trees change places while that lessens shade or brings donors nearer."""
    reach = trees["reach"].to_numpy(float)
    want = (spacing[:, None] + spacing[None, :]) / 2.0
    np.fill_diagonal(want, 0.0)

    def cost(places: NDArray[np.intp]) -> float:
        x, y = points[places].T
        apart = np.hypot(x[:, None] - x[None, :], y[:, None] - y[None, :])
        if (apart < want - 1e-9).any() or not free[np.arange(len(places)), places].all():
            return np.inf
        nearest = np.where(donors, apart, np.inf).min(axis=1)
        too_far = needs & np.isfinite(nearest) & (nearest > reach)
        worth = noon_shade(x, y, height, spread, lat, to_pole).sum()
        return float(worth + 10.0 * too_far.sum() + 0.001 * np.where(np.isfinite(nearest), nearest, 0).sum())

    best, value = at, cost(at)
    better = True
    while better:
        better = False
        for i in range(len(at)):
            for j in range(i + 1, len(at)):
                tried = best.copy()
                tried[[i, j]] = best[[j, i]]
                now = cost(tried)
                if now < value - 1e-9:
                    best, value, better = tried, now, True
    return best


def _donor_distance(x: Floats, y: Floats, donors: Flags, plot: Plot, standing: Flags | None) -> Floats:
    apart = np.hypot(x[:, None] - x[None, :], y[:, None] - y[None, :])
    nearest = np.where(donors, np.nan_to_num(apart, nan=np.inf), np.inf).min(axis=1, initial=np.inf)
    named = [obstacle for obstacle in plot.obstacles if obstacle.kind == "tree" and obstacle.name]
    if standing is not None and named:
        where = np.array([np.mean(obstacle.at, axis=0) for obstacle in named])
        to_them = np.hypot(x[:, None] - where[None, :, 0], y[:, None] - where[None, :, 1])
        nearest = np.minimum(
            nearest, np.where(standing, np.nan_to_num(to_them, nan=np.inf), np.inf).min(axis=1)
        )
    return np.where(np.isfinite(nearest), nearest, np.nan)


def _notes(
    trees: pd.DataFrame, at: NDArray[np.intp], away: Floats, needs: Flags, shade: Floats
) -> tuple[str, ...]:
    names = [plain(name) for name in trees["variety"]]
    notes = []
    homeless = [names[k] for k in np.flatnonzero(at < 0)]
    if homeless:
        notes.append(f"There is no room left for {list_words(homeless)}.")
    far = np.flatnonzero(needs & np.isfinite(away) & (away > trees["reach"].to_numpy(float)))
    for k in far:
        notes.append(
            f"{names[k]} stands {length_words(away[k])} from its nearest donor; bees carry pollen about "
            f"{length_words(trees['reach'].iloc[k])}."
        )
    dark = np.flatnonzero(np.nan_to_num(shade) > 0.5)
    if len(dark):
        notes.append(f"{list_words([names[k] for k in dark])} will stand partly in shade at noon in spring.")
    return tuple(notes)
