"""The ground to plant on: its outline, what stands in the way, and how far a tree keeps from each thing.

In come answers (a rectangle or a polygon, obstacles) and published clearances; out go the points where a tree
of a given height and crown may stand. Clearances are common advice, not law: docs/spacing.md lists them.
"""

from __future__ import annotations

from typing import Any, ClassVar, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field, model_validator

from recommender.orchard.facts import Fact, Facts
from recommender.suitability.answers import Answers

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Point = tuple[float, float]
Kind = Literal[
    "tree",
    "path",
    "fence",
    "wall",
    "building",
    "overhead line",
    "underground line",
    "septic tank",
    "septic field",
]
UNKNOWN_TREE_SPREAD_m = 4.0
"""Crown of a standing tree nobody has measured (common practice)."""
FLAT = ("espalier", "cordon", "fan")
"""Ways of growing that go along a wall or fence."""
TALL_m = 12.19
"""40 ft: above it the wider distance to buildings holds (takingroot-placement)."""


class Obstacle(BaseModel):
    """Something that stands on or beside the plot.

    at: one point, the two or more points of a line, or three or more corners of an area [m]; `area` says
    which of the two the points mean. height_m: of the wires, or of the standing tree; spread_m: its crown.
    name: "crop:variety" of a standing tree, so that its pollen counts with its distance. trained: trees grown
    flat (espaliers, cordons, fans) go along it; for a fence, a wall or a building.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    kind: Kind
    at: tuple[Point, ...] = Field(min_length=1)
    height_m: float | None = Field(default=None, gt=0, le=100)
    spread_m: float | None = Field(default=None, gt=0, le=60)
    name: str = ""
    trained: bool = False

    @model_validator(mode="after")
    def _can_carry_trees(self) -> Obstacle:
        if self.trained and self.kind not in ("fence", "wall", "building"):
            raise ValueError(
                f"Trees cannot be trained along a {self.kind} | Choose a fence, a wall or a building"
            )
        if self.trained and len(self.at) < 2:
            raise ValueError(f"The {self.kind} for trained trees is one point | Give both of its ends")
        return self

    @property
    def area(self) -> bool:
        """Whether the points are corners of an area; lines and pipes never are."""
        return len(self.at) >= 3 and self.kind in ("building", "septic field", "septic tank")


class Plot(Answers):
    """The plot. Either width_m and depth_m, or corners [m], counter-clockwise or clockwise.

    x runs to the right, y up the page. north_deg: compass bearing the page's upper edge faces, 0 where north
    is up, 90 where east is. obstacles: see `Obstacle`. Raises BadInput naming the answer.
    """

    section: ClassVar[str] = "plot"

    width_m: float | None = Field(default=None, gt=0, le=2000)
    depth_m: float | None = Field(default=None, gt=0, le=2000)
    corners: tuple[Point, ...] = ()
    north_deg: float = Field(default=0.0, ge=-360, le=360)
    obstacles: tuple[Obstacle, ...] = ()

    @model_validator(mode="after")
    def _one_outline(self) -> Plot:
        by_sides = self.width_m is not None and self.depth_m is not None
        if by_sides == bool(self.corners) or (self.width_m is None) != (self.depth_m is None):
            raise ValueError("The plot has no single outline | Give width_m and depth_m, or corners")
        if self.corners and len(self.corners) < 3:
            raise ValueError(f"{len(self.corners)} corners make no area | Give three or more")
        if self.corners and abs(_signed_area(np.array(self.corners))) < 1e-6:
            raise ValueError("The corners lie on one line | Give the corners in order round the plot")
        if self.corners and _crosses_itself(np.array(self.corners)):
            raise ValueError("The outline crosses itself | Give the corners in order round the plot")
        return self

    @property
    def outline(self) -> Floats:
        """(k, 2) corners [m]."""
        if self.corners:
            return np.array(self.corners, dtype=float)
        w, d = float(self.width_m or 0), float(self.depth_m or 0)
        return np.array([(0.0, 0.0), (w, 0.0), (w, d), (0.0, d)])

    @property
    def area_m2(self) -> float:
        """Area of the outline [m2]."""
        return abs(_signed_area(self.outline))

    def trained_along(self, style: str) -> bool:
        """Whether trees grown in that style go along a wall or fence, so that the ground is no limit."""
        return style in FLAT and any(obstacle.trained for obstacle in self.obstacles)

    def to_north(self) -> Floats:
        """(2,) unit vector on the page that points north."""
        turn = np.radians(self.north_deg)
        return np.array([-np.sin(turn), np.cos(turn)])


def _signed_area(corners: Floats) -> float:
    x, y = corners[:, 0], corners[:, 1]
    return float(0.5 * (x * np.roll(y, -1) - np.roll(x, -1) * y).sum())


def _crosses_itself(corners: Floats) -> bool:
    n = len(corners)

    def side(a: Floats, b: Floats, c: Floats) -> float:
        return float((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))

    for i in range(n):
        for j in range(i + 2, n):
            if i == 0 and j == n - 1:
                continue
            a, b, c, d = corners[i], corners[(i + 1) % n], corners[j], corners[(j + 1) % n]
            if side(a, b, c) * side(a, b, d) < 0 and side(c, d, a) * side(c, d, b) < 0:
                return True
    return False


def inside(points: Floats, corners: Floats) -> Flags:
    """(p,) whether each point lies in the polygon (even-odd rule)."""
    x, y = points[:, 0, None], points[:, 1, None]
    ax, ay = corners[None, :, 0], corners[None, :, 1]
    bx, by = np.roll(corners, -1, axis=0).T[:, None, :]
    between = (ay > y) != (by > y)
    with np.errstate(divide="ignore", invalid="ignore"):
        crossing = ax + (y - ay) / (by - ay) * (bx - ax)
    return np.asarray((between & (x < crossing)).sum(axis=1) % 2 == 1)


def distance(points: Floats, line: Floats, closed: bool) -> Floats:
    """(p,) distance of each point to a line of points [m], closed to a ring where told."""
    if len(line) == 1:
        return np.asarray(np.hypot(*(points - line[0]).T))
    ends = np.roll(line, -1, axis=0) if closed else line[1:]
    starts = line if closed else line[:-1]
    along = ends - starts
    length = np.maximum((along**2).sum(axis=1), 1e-12)
    offset = points[:, None, :] - starts[None, :, :]
    share = np.clip((offset * along[None]).sum(axis=2) / length[None], 0.0, 1.0)
    nearest = starts[None] + share[:, :, None] * along[None]
    return np.asarray(np.sqrt(((points[:, None, :] - nearest) ** 2).sum(axis=2)).min(axis=1))


class Clearances:
    """How far a tree keeps from what, from the published figures; `rules` lists each with its source."""

    def __init__(self, facts: Facts) -> None:
        self._facts: dict[str, Fact] = {
            "building": facts.get("distance_building", "tree up to 25 ft tall"),
            "tall beside building": facts.get("distance_building", "tree over 40 ft tall"),
            "path": facts.get("distance_paving_fence", "all"),
            "septic tank": facts.get("distance_septic_tank", "all"),
            "septic field": facts.get("distance_septic_drainfield", "all", "greenyplace-leach"),
            "underground line": facts.get("distance_underground_line", "all", "smu-tree-planting"),
            "below wires": facts.get("overhead_line_clearance", "all"),
            "beside wires": facts.get("distance_power_line_walk_house", "subtropical fruit"),
            "tall for wires": facts.get("overhead_line_tree_height_max", "all"),
        }

    @property
    def rules(self) -> dict[str, Fact]:
        """The figures used, by what they keep clear of."""
        return dict(self._facts)

    def needed(self, obstacle: Obstacle, height: float, spread: float, spacing: float) -> float:
        """Least distance of a trunk to the obstacle [m]; the crown never reaches over a building or path."""
        kind, half = obstacle.kind, spread / 2.0
        if kind == "tree":
            own = obstacle.spread_m if obstacle.spread_m is not None else UNKNOWN_TREE_SPREAD_m
            return (spacing + own) / 2.0
        if kind == "building":
            tall = height > TALL_m
            return max(self._m("tall beside building" if tall else "building"), half)
        if kind in ("path", "fence", "wall"):
            return max(self._m("path"), half)
        if kind == "septic tank":
            return self._m("septic tank")
        if kind == "septic field":
            return max(self._m("septic field"), height)
        if kind == "underground line":
            return self._m("underground line")
        below = obstacle.height_m is not None and height + self._m("below wires") <= obstacle.height_m
        if below and height <= self._m("tall for wires"):
            return 0.0
        return max(self._m("beside wires"), half + self._m("below wires"))

    def boundary(self) -> float:
        """Least distance of a trunk to the plot's edge [m]; a crown may be pruned back at a fence."""
        return self._m("path")

    def _m(self, name: str) -> float:
        return self._facts[name].metres()[1]


def allowed(
    points: Floats,
    plot: Plot,
    clearances: Clearances,
    height: float,
    spread: float,
    spacing: float,
    edge: float | None = None,
    along_supports: bool = False,
) -> Flags:
    """(p,) where a tree of that height, crown and spacing [m] may stand.

    edge: distance to the plot's edge [m], the fence's clearance if not told. along_supports: the trees are
    grown along the obstacles marked so, which then need no clearance.
    """
    outline = plot.outline
    free = inside(points, outline)
    keep = clearances.boundary() if edge is None else edge
    free &= distance(points, outline, True) >= keep - 1e-9
    for obstacle in plot.obstacles:
        shape = np.array(obstacle.at, dtype=float)
        needed = clearances.needed(obstacle, height, spread, spacing)
        if needed <= 0 or (along_supports and obstacle.trained):
            continue
        away = distance(points, shape, obstacle.area)
        if obstacle.area:
            away = np.where(inside(points, shape), 0.0, away)
        free &= away >= needed - 1e-9
    return free


def grid(plot: Plot, step: float, most: int = 6000) -> tuple[Floats, float]:
    """Points of a square grid over the plot (p, 2) and the step used [m]; coarser where it would be too
    many."""
    low, high = plot.outline.min(axis=0), plot.outline.max(axis=0)
    span = np.maximum(high - low, step)
    step = max(step, float(np.sqrt(span.prod() / most)))
    axes: list[Any] = [np.arange(low[k] + step / 2, high[k], step) for k in (0, 1)]
    x, y = np.meshgrid(*axes)
    return np.column_stack((x.ravel(), y.ravel())), step
