"""A plot and what stands on it, as people type it into a table: points, lines and corners as "x y; x y".

In come texts and table rows in the reader's units; out go the plain answers of `Plot`. Raises BadInput naming
the row.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from recommender.errors import BadInput
from recommender.orchard.wishes import MOST_TREES
from recommender.wording import Units, metres, missing

_PAIR = re.compile(r"\s*([+-]?\d+(?:\.\d+)?)\s*[,\s]\s*([+-]?\d+(?:\.\d+)?)\s*")
EXAMPLE = "0 11; 5 11; 5 14"


def points_of(text: str, units: Units = "metric", where: str = "points") -> tuple[tuple[float, float], ...]:
    """Points [m] of a text such as "0 11; 5 11". Raises BadInput.

    >>> points_of("0 11; 5,11")
    ((0.0, 11.0), (5.0, 11.0))
    """
    out = []
    for part in str(text).replace("−", "-").strip().strip(";").split(";"):
        found = _PAIR.fullmatch(part)
        if found is None:
            raise BadInput(
                f"“{part.strip()[:40]}” is no point",
                where=where,
                remedy=f"Write how far right and how far up, and a semicolon between points: {EXAMPLE}",
            )
        out.append((float(metres(float(found[1]), units) or 0), float(metres(float(found[2]), units) or 0)))
    return tuple(out)


def text_of(points: Sequence[Sequence[float]], units: Units = "metric") -> str:
    """The points as `points_of` reads them."""
    per = float(metres(1.0, units) or 1.0)
    return "; ".join(f"{x / per:g} {y / per:g}" for x, y in points)


def obstacle_of(row: Mapping[str, Any], number: int, units: Units = "metric") -> dict[str, Any] | None:
    """The answers of one obstacle from a table row: what, where, high, wide, name, trained; None for an empty
    row. Raises BadInput naming the row."""
    what, where = row.get("what"), row.get("where")
    if (missing(what) or not what) and (missing(where) or not str(where).strip()):
        return None
    told = f"row {number} of what stands there"
    if missing(what) or not what:
        raise BadInput("It is not said what stands there", where=told, remedy="Choose what it is")
    if missing(where) or not str(where).strip():
        raise BadInput(
            f"It is not said where the {what} is", where=told, remedy=f"Write its points, such as {EXAMPLE}"
        )
    sizes = {
        name: metres(float(row[column]), units)
        for column, name in (("high", "height_m"), ("wide", "spread_m"))
        if not missing(row.get(column))
    }
    name = row.get("name")
    return {
        "kind": str(what),
        "at": points_of(str(where), units, told),
        **sizes,
        **({} if missing(name) or not str(name).strip() else {"name": str(name).strip()}),
        **({"trained": True} if row.get("trained") is True else {}),
    }


def plot_of(
    width: float | None,
    depth: float | None,
    corners: str,
    north_deg: float,
    rows: Sequence[Mapping[str, Any]],
    units: Units = "metric",
) -> dict[str, Any]:
    """The answers of `Plot`; empty where neither sides nor corners are told. width, depth: in the reader's
    units; corners go before them. Raises BadInput."""
    things = [thing for number, row in enumerate(rows, 1) if (thing := obstacle_of(row, number, units))]
    if corners.strip():
        sides: dict[str, Any] = {"corners": points_of(corners, units, "corners of the plot")}
    elif width and depth:
        sides = {"width_m": metres(width, units), "depth_m": metres(depth, units)}
    elif things or width or depth:
        raise BadInput(
            "The plot has no size yet",
            where="the ground",
            remedy="Give both of its sides, or its corners",
        )
    else:
        return {}
    return {
        **sides,
        **({"north_deg": north_deg} if north_deg else {}),
        **({"obstacles": tuple(things)} if things else {}),
    }


def quotas_of(rows: Sequence[Mapping[str, Any]]) -> tuple[dict[str, tuple[int, int]], dict[str, float]]:
    """Quotas and prices by crop from table rows crop, fewest, most, price. Raises BadInput naming the row."""
    quotas: dict[str, tuple[int, int]] = {}
    prices: dict[str, float] = {}
    for number, row in enumerate(rows, 1):
        crop = row.get("crop")
        least, most, price = (_figure(row.get(name)) for name in ("fewest", "most", "price"))
        if missing(crop) or not crop:
            if any(value is not None for value in (least, most, price)):
                raise BadInput(
                    "It is not said for which fruit the numbers are",
                    where=f"row {number} of numbers and prices",
                    remedy="Choose a fruit",
                )
            continue
        if least is not None or most is not None:
            low = 0 if least is None else int(least)
            high = MOST_TREES if most is None else int(most)
            if low > high:
                raise BadInput(
                    f"At least {low} and at most {high} trees cannot be",
                    where=f"row {number} of numbers and prices",
                    remedy="Write the smaller number first",
                )
            quotas[str(crop)] = (low, high)
        if price is not None:
            prices[str(crop)] = price
    return quotas, prices


def _figure(value: Any) -> float | None:
    return None if missing(value) else float(value)
