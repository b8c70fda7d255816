"""The plot drawn to scale as plain shapes, which the PDF, the HTML sheet and the page draw alike.

In comes a `Plan`; out go `Shape`s in metres, x to the right and y up the page. docs/spacing.md says what each
sign means; nothing is told by colour alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

import numpy as np

from recommender.orchard.plan import Plan
from recommender.orchard.plot import Plot
from recommender.wording import length_words, plain

LOOKS = {
    "plot": ("#22261f", "none", ""),
    "crown": ("#2f6b3c", "#2f6b3c", ""),
    "trunk": ("#22261f", "#22261f", ""),
    "tree": ("#565b50", "none", "4 3"),
    "path": ("#a08c5b", "none", ""),
    "fence": ("#565b50", "none", "6 2"),
    "wall": ("#22261f", "none", ""),
    "building": ("#565b50", "#d9d5c8", ""),
    "overhead line": ("#b5482f", "none", "8 3 2 3"),
    "underground line": ("#0072B2", "none", "2 3"),
    "septic tank": ("#565b50", "#e8d9b0", ""),
    "septic field": ("#565b50", "#e8d9b0", "3 3"),
    "scale": ("#22261f", "none", ""),
}
"""Stroke, fill and dashes by kind."""


@dataclass(frozen=True)
class Shape:
    """kind: a key of LOOKS. form: circle, line, area or text. points (k, 2) [m]; radius [m]; words: label."""

    kind: str
    form: str
    points: tuple[tuple[float, float], ...]
    radius: float = 0.0
    words: str = ""


@dataclass(frozen=True)
class Drawing:
    """Shapes within low and high corners [m]. words: the same in sentences for those who cannot see it."""

    shapes: tuple[Shape, ...]
    low: tuple[float, float]
    high: tuple[float, float]
    words: str


def drawn(plan: Plan) -> Drawing | None:
    """The plot of a plan with its trees numbered in the plan's order; None where it has no plot."""
    if plan.plot is None:
        return None
    plot = Plot(**plan.plot)
    shapes = [Shape("plot", "area", _points(plot.outline))]
    for obstacle in plot.obstacles:
        at = tuple((float(x), float(y)) for x, y in obstacle.at)
        form = "area" if obstacle.area else ("circle" if len(at) == 1 else "line")
        radius = (obstacle.spread_m or 4.0) / 2 if obstacle.kind == "tree" else 0.3
        label = plain(obstacle.name.partition(":")[2] or obstacle.kind)
        shapes.append(Shape(obstacle.kind, form, at, radius, label))
    said = []
    for number, tree in enumerate(plan.trees, start=1):
        if tree.x is None or tree.y is None:
            continue
        at = ((tree.x, tree.y),)
        shapes.append(Shape("crown", "circle", at, tree.spread_m / 2))
        shapes.append(Shape("trunk", "text", at, 0.0, str(number)))
        said.append(
            f"{number}, {plain(tree.variety)}, {length_words(tree.x)} from the left and "
            f"{length_words(tree.y)} from the lower edge"
        )
    corners = [np.array(shape.points) for shape in shapes]
    radii = [shape.radius for shape in shapes]
    low = np.min([c.min(axis=0) - r for c, r in zip(corners, radii, strict=True)], axis=0) - 0.5
    high = np.max([c.max(axis=0) + r for c, r in zip(corners, radii, strict=True)], axis=0) + 0.5
    shapes += _scale_and_north(plot, low, high)
    low = low - np.array([0.0, 1.0])
    return Drawing(
        tuple(shapes),
        (float(low[0]), float(low[1])),
        (float(high[0]) + max(float(high[0] - low[0]) * 0.06, 0.8), float(high[1])),
        f"Plot of {length_words(float(np.ptp(plot.outline[:, 0])))} by "
        f"{length_words(float(np.ptp(plot.outline[:, 1])))}. Trees: {'; '.join(said)}.",
    )


def _points(array: np.ndarray) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in array)


def _scale_and_north(plot: Plot, low: np.ndarray, high: np.ndarray) -> list[Shape]:
    span = float(high[0] - low[0])
    length = next((step for step in (50, 20, 10, 5, 2, 1) if step <= span / 3), 1)
    at = (float(low[0]) + 0.5, float(low[1]) - 0.2)
    end = (at[0] + length, at[1])
    tip = plot.to_north() * max(span * 0.06, 0.8)
    base = np.array([float(high[0]) + max(span * 0.03, 0.4), at[1] + 0.2])
    return [
        Shape("scale", "line", (at, end)),
        Shape("scale", "text", ((end[0] + span * 0.05, at[1]),), 0.0, f"{length} m"),
        Shape("scale", "line", (_pair(base), _pair(base + tip))),
        Shape("scale", "text", (_pair(base + tip * 1.5),), 0.0, "N"),
    ]


def _pair(point: np.ndarray) -> tuple[float, float]:
    return float(point[0]), float(point[1])


def svg(drawing: Drawing, width_px: int = 640) -> str:
    """The drawing as an SVG element with its words as title."""
    (x0, y0), (x1, y1) = drawing.low, drawing.high
    scale = width_px / (x1 - x0)
    height = round((y1 - y0) * scale)

    def at(point: tuple[float, float]) -> tuple[float, float]:
        return round((point[0] - x0) * scale, 1), round((y1 - point[1]) * scale, 1)

    parts = []
    for shape in drawing.shapes:
        stroke, fill, dash = LOOKS[shape.kind]
        style = f'stroke="{stroke}" fill="{fill}" fill-opacity="0.25"' + (
            f' stroke-dasharray="{dash}"' if dash else ""
        )
        places = [at(point) for point in shape.points]
        if shape.form == "circle":
            (x, y), r = places[0], round(shape.radius * scale, 1)
            parts.append(f'<circle cx="{x}" cy="{y}" r="{r}" {style}/>')
        elif shape.form == "text":
            x, y = places[0]
            parts.append(
                f'<text x="{x}" y="{y}" text-anchor="middle" dominant-baseline="central" font-size="14" '
                f'fill="{LOOKS["trunk"][0]}">{escape(shape.words)}</text>'
            )
        else:
            joined = " ".join(f"{x},{y}" for x, y in places)
            name = "polygon" if shape.form == "area" else "polyline"
            parts.append(f'<{name} points="{joined}" {style}/>')
        if shape.words and shape.form != "text":
            x, y = np.mean(places, axis=0)
            parts.append(
                f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="middle" font-size="12" fill="#565b50">'
                f"{escape(shape.words)}</text>"
            )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width_px} {height}" role="img" '
        f'style="max-width:100%;height:auto"><title>{escape(drawing.words)}</title>{"".join(parts)}</svg>'
    )
