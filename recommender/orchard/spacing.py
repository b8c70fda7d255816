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
from recommender.orchard.plot import Clearances, Flags, Floats, Plot, allowed, grid, inside

STEP_m = 0.25
MOST_GENEROUS = 1.5
"""Trees with room to spare stand at most this much further apart than they need."""
ROWS = ("hedge", "espalier", "cordon", "fan", "spindle")
ROW_DISTANCE_m = {"hedge": 3.0, "espalier": 2.0, "cordon": 1.8, "fan": 2.0, "spindle": 3.5}
"""From row to row of trained trees, so that one can work and light comes in (common practice)."""
IN_ROW_m = {"hedge": 1.5, "espalier": 3.5, "cordon": 0.8, "fan": 4.0, "spindle": 1.5}
"""In the row, where the grower says nothing (common practice)."""
USUAL_REACH_m = 18.0
FROM_WALL_m = 0.25
"""Trunk to wall, for air and for the growing stem (common practice)."""
LEAST_SUN = -0.5
"""How far a wall may look away from the sun: 1 faces it, 0 looks east or west, -1 looks to the pole."""


@dataclass(frozen=True, eq=False)
class Layout:
    """x, y (n,) [m], NaN for a tree without a place. shade (n,): share of each crown in the noon shade of the
    others at the equinox. donor_distance (n,): to the nearest donor [m], NaN where none is needed."""

    x: Floats
    y: Floats
    shade: Floats
    donor_distance: Floats
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
    points, step = grid(plot, STEP_m)
    wall = plot.trained_along(style)
    sun = None
    if wall:
        points, sun = _wall_points(plot, to_pole)
    elif rows:
        points = _row_points(plot, points, style, row_spacing_m)
    order = np.lexsort((-spacing, -height))
    # Whole crowns within the plot where there is room for that, else up to the clearance of a fence.
    edges: tuple[tuple[float | None, ...], ...]
    edges = (
        ((0.2 if wall else 0.5,) * len(trees),)
        if rows
        else (tuple(np.maximum(spread / 2.0, clearances.boundary())), (None,) * len(trees))
    )
    for edge in edges:
        free = np.array(
            [
                allowed(points, plot, clearances, height[k], spread[k], spacing[k], edge[k], wall)
                for k in range(len(trees))
            ]
        ).reshape(len(trees), len(points))
        at = _best_fit(points, free, spacing, order, to_pole, sun)
        if (at >= 0).all():
            break
    chosen = np.where(at >= 0, at, 0)
    x = np.where(at >= 0, points[chosen, 0], np.nan) if len(points) else np.full(len(trees), np.nan)
    y = np.where(at >= 0, points[chosen, 1], np.nan) if len(points) else np.full(len(trees), np.nan)
    if (at >= 0).all() and len(trees) > 1:
        at = _exchanged(points, free, at, spacing, height, spread, trees, donors, needs, lat, to_pole)
        x, y = points[at, 0], points[at, 1]
    away = _donor_distance(x, y, donors, plot, standing_donors)
    shade = np.where(np.isfinite(x), noon_shade(x, y, height, spread, lat, to_pole), np.nan)
    return Layout(x, y, shade, np.where(needs, away, np.nan), {**clearances.rules, "step": _step(step)})


def _step(step: float) -> Fact:
    return Fact("grid_step", "all", step, step, "", "m", "common practice", "", "places are sought on a grid")


def _wall_points(plot: Plot, to_pole: Floats) -> tuple[Floats, Floats]:
    """Points along the walls and fences for trained trees, and how much each faces the sun, -1 to 1.

    Sides that look to the pole are left out where there is another.
    """
    found, facing = [np.zeros((0, 2))], [np.zeros(0)]
    for obstacle in plot.obstacles:
        if not obstacle.trained:
            continue
        line = np.array(obstacle.at, dtype=float)
        ends = np.roll(line, -1, axis=0) if obstacle.area else line[1:]
        for start, end in zip(line, ends, strict=False):
            length = float(np.hypot(*(end - start)))
            if length < 1e-6:
                continue
            along = (end - start) / length
            steps = np.arange(FROM_WALL_m, length - FROM_WALL_m + 1e-9, STEP_m)
            for side in (1.0, -1.0):
                normal = side * np.array([-along[1], along[0]])
                points = start + steps[:, None] * along + FROM_WALL_m * normal
                out = ~inside(points, line) if obstacle.area else np.ones(len(points), dtype=bool)
                found.append(points[out & inside(points, plot.outline)])
                facing.append(np.full(len(found[-1]), -float(normal @ to_pole)))
    points, sun = np.concatenate(found), np.concatenate(facing)
    bright = sun >= LEAST_SUN
    return (points[bright], sun[bright]) if bright.any() else (points, sun)


def _row_points(plot: Plot, points: Floats, style: str, row_spacing_m: float | None) -> Floats:
    """Points along rows that run from pole to equator, which gives both sides of a row the same light."""
    across = row_spacing_m if row_spacing_m is not None else ROW_DISTANCE_m[style]
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
    points: Floats,
    free: Flags,
    spacing: Floats,
    order: NDArray[np.intp],
    to_pole: Floats,
    sun: Floats | None = None,
) -> NDArray[np.intp]:
    """The most generous spacing at which all find room; if none does, the order that sets the most.

    sun (p,): of points along walls, whose sunniest are taken first.
    """
    if not len(points):
        return np.full(len(spacing), -1, dtype=np.intp)
    poleward = points @ to_pole
    sideways = points @ np.array([to_pole[1], -to_pole[0]])
    rank = -poleward * 1e4 + sideways if sun is None else -sun * 1e4 + sideways
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
