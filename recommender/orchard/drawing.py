"""The plot drawn to scale as plain shapes, which the PDF, the HTML sheet and the page draw alike.

In comes a `Plan`; out go `Shape`s in metres, x to the right and y up the page. docs/spacing.md says what each
sign means; nothing is told by colour alone.
"""

from __future__ import annotations

from base64 import b64encode
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

import numpy as np

from recommender import units as convert
from recommender.orchard.plan import Plan
from recommender.orchard.plot import Plot
from recommender.wording import Units, length_words, plain

if TYPE_CHECKING:
    from recommender.charts import Paper

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
HEAVY = ("wall", "fence")
"""Drawn with a heavy line, since they often lie on the plot's own edge."""


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


def drawn(plan: Plan, units: Units = "metric") -> Drawing | None:
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
            f"{number}, {plain(tree.variety)}, {length_words(tree.x, units)} from the left and "
            f"{length_words(tree.y, units)} from the lower edge"
        )
    corners = [np.array(shape.points) for shape in shapes]
    radii = [shape.radius for shape in shapes]
    low = np.min([c.min(axis=0) - r for c, r in zip(corners, radii, strict=True)], axis=0) - 0.5
    high = np.max([c.max(axis=0) + r for c, r in zip(corners, radii, strict=True)], axis=0) + 0.5
    shapes += _scale_and_north(plot, low, high, units)
    low = low - np.array([0.0, (high - low).max() * 0.07])
    return Drawing(
        tuple(shapes),
        (float(low[0]), float(low[1])),
        (float(high[0]) + float((high - low).max()) * 0.14, float(high[1])),
        f"Plot of {length_words(float(np.ptp(plot.outline[:, 0])), units)} by "
        f"{length_words(float(np.ptp(plot.outline[:, 1])), units)}. Trees: {'; '.join(said)}.",
    )


def _points(array: np.ndarray) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in array)


def _scale_and_north(plot: Plot, low: np.ndarray, high: np.ndarray, units: Units) -> list[Shape]:
    """A bar of a round length below the plot, and an arrow to the north beside its upper edge."""
    span = float((high - low).max())
    per, unit = (convert.METRES_PER_FOOT, "ft") if units == "imperial" else (1.0, "m")
    round_lengths = (100, 50, 20, 10, 5, 2, 1)
    length = next((step for step in round_lengths if step * per <= float(high[0] - low[0]) / 3), 1)
    at = (float(low[0]) + 0.02 * span, float(low[1]) - 0.03 * span)
    end = (at[0] + length * per, at[1])
    north = plot.to_north() * span * 0.04
    middle = np.array([float(high[0]) + span * 0.07, float(high[1]) - span * 0.09])
    tip, tail = middle + north, middle - north
    wings = [tip - 0.4 * north + sign * 0.3 * np.array([-north[1], north[0]]) for sign in (1.0, -1.0)]
    return [
        Shape("scale", "line", (at, end)),
        *(
            Shape("scale", "line", ((x, at[1] - 0.008 * span), (x, at[1] + 0.008 * span)))
            for x in (at[0], end[0])
        ),
        Shape("scale", "text", ((end[0] + span * 0.05, at[1]),), 0.0, f"{length} {unit}"),
        Shape("scale", "line", (_pair(tail), _pair(tip))),
        Shape("scale", "line", (_pair(wings[0]), _pair(tip), _pair(wings[1]))),
        Shape("scale", "text", (_pair(middle + north * 1.6),), 0.0, "N"),
    ]


def _pair(point: np.ndarray) -> tuple[float, float]:
    return float(point[0]), float(point[1])


def svg(drawing: Drawing, width_px: int = 640, paper: Paper = "light") -> str:
    """The drawing as an SVG element with its words as title. paper: what it is drawn on."""
    ground, ink = ("#16181a", "#ece9e0") if paper == "dark" else ("#fbfaf6", "#22261f")
    (x0, y0), (x1, y1) = drawing.low, drawing.high
    scale = width_px / (x1 - x0)
    height = round((y1 - y0) * scale)

    def at(point: tuple[float, float]) -> tuple[float, float]:
        return round((point[0] - x0) * scale, 1), round((y1 - point[1]) * scale, 1)

    parts, words = [], []
    for shape in drawing.shapes:
        stroke, fill, dash = LOOKS[shape.kind]
        stroke = ink if stroke == LOOKS["plot"][0] else stroke
        style = f'stroke="{stroke}" fill="{fill}" fill-opacity="0.25"' + (
            f' stroke-dasharray="{dash}"' if dash else ""
        )
        style += ' stroke-width="3"' if shape.kind in HEAVY else ""
        places = [at(point) for point in shape.points]
        if shape.form == "circle":
            (x, y), r = places[0], round(shape.radius * scale, 1)
            parts.append(f'<circle cx="{x}" cy="{y}" r="{r}" {style}/>')
        elif shape.form != "text":
            joined = " ".join(f"{x},{y}" for x, y in places)
            name = "polygon" if shape.form == "area" else "polyline"
            parts.append(f'<{name} points="{joined}" {style}/>')
        if shape.words:
            x, y = np.mean(places, axis=0)
            half = 3.2 * len(shape.words)
            x = min(max(float(x), half), width_px - half)
            size = 14 if shape.form == "text" else 12
            words.append(
                f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="middle" dominant-baseline="central" '
                f'font-size="{size}" fill="{ink}" stroke="{ground}" stroke-width="3" '
                f'paint-order="stroke">{escape(shape.words)}</text>'
            )
    # Words last, on a pale ground, so that no crown or line hides them.
    parts += words
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width_px} {height}" role="img" '
        f'style="max-width:100%;height:auto"><title>{escape(drawing.words)}</title>{"".join(parts)}</svg>'
    )


def image(drawing: Drawing, width_px: int = 640, paper: Paper = "light") -> str:
    """The drawing as an HTML image that carries it within itself, with its words in place of the picture."""
    held = b64encode(svg(drawing, width_px, paper).encode("utf-8")).decode("ascii")
    return (
        f'<img alt="{escape(drawing.words)}" width="{width_px}" style="max-width:100%;height:auto" '
        f'src="data:image/svg+xml;base64,{held}">'
    )
