"""Published planting figures by quantity and group, each with its standing and source.

In comes the planting table of the catalog; out go `Fact` objects. Every figure of spacing, calendar and
planting sheet is fetched here, so that none stands in code without its source.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from recommender import units as convert
from recommender.errors import BadInput
from recommender.wording import Units, day_words, length_words, number_words, plain

_UNITS = {
    "h": "hours",
    "h/d": "hours a day",
    "yr": "years",
    "degC": "°C",
    "percent": "%",
    "d": "days",
    "x_volume": "times the volume",
    "x_root_ball": "times the root ball",
    "x_root_spread": "times the root spread",
}
_LENGTHS = {"cm": 0.01, "m": 1.0}


@dataclass(frozen=True)
class Fact:
    """One figure. low, high: equal where one value is published; NaN where it is a word (`text`)."""

    quantity: str
    group: str
    low: float
    high: float
    text: str
    unit: str
    standing: str
    source_id: str
    note: str

    @property
    def middle(self) -> float:
        """Middle of the range, in `unit`."""
        return (self.low + self.high) / 2.0

    def metres(self) -> tuple[float, float]:
        """(low, high) [m]. Raises BadInput for a figure that is no length."""
        if self.unit not in _LENGTHS:
            raise BadInput(f"{self.quantity} is in {self.unit}, not a length", where="planting.csv")
        return self.low * _LENGTHS[self.unit], self.high * _LENGTHS[self.unit]

    def words(self, units: Units = "metric") -> str:
        """The figure for a reader: "5 to 10 cm", "2 to 3 times", "native soil"."""
        if np.isnan(self.low):
            return plain(self.text).replace("-", " ")
        if self.unit in _LENGTHS:
            return span_words(*self.metres(), units)
        if self.unit == "L":
            return volume_words(self.low, self.high, units)
        amount = _range(number_words(self.low), number_words(self.high))
        if self.unit == "pH":
            return f"a pH of {amount}"
        if self.unit == "count":
            return amount
        unit = _UNITS.get(self.unit, self.unit.replace("x_", "times the ").replace("_", " "))
        return f"{amount} {unit[:-1] if amount == '1' and unit.endswith('s') else unit}"


def span_words(low_m: float, high_m: float, units: Units = "metric") -> str:
    """A span of lengths as one would measure it: whole centimetres or inches, above a metre metres or feet.

    >>> span_words(0.051, 0.076), span_words(0.076, 0.102, "imperial"), span_words(0.914, 0.914)
    ('5 to 8 cm', '3 to 4 in', '90 cm')
    """
    if high_m >= 1.0:
        low, high = length_words(low_m, units), length_words(high_m, units)
        unit = high.rpartition(" ")[2]
        return low if low == high else f"{low.removesuffix(' ' + unit)} to {high}"
    step, unit = (0.0254, "in") if units == "imperial" else (0.01, "cm")
    return f"{_range(*(_measured(value / step) for value in (low_m, high_m)))} {unit}"


def _measured(value: float) -> str:
    if value < 3:
        return number_words(round(value * 2) / 2)
    return number_words(round(value) if value < 50 else 5 * round(value / 5))


def date_span(first: str, last: str, units: Units = "metric") -> str:
    """Two dates MM-DD as a reader writes a span of days.

    >>> date_span("09-04", "09-18"), date_span("09-28", "10-03"), date_span("09-04", "09-18", "imperial")
    ('4 to 18 September', '28 September to 3 October', 'September 4 to 18')
    """
    begin, end = day_words(first, units), day_words(last, units)
    if first[:2] != last[:2]:
        return f"{begin} to {end}"
    if units == "imperial":
        return f"{begin} to {int(last[3:])}"
    return f"{int(first[3:])} to {end}"


def volume_words(low_L: float, high_L: float, units: Units = "metric") -> str:
    """A span of volumes in litres or US gallons.

    >>> volume_words(20, 40), volume_words(20, 40, "imperial")
    ('20 to 40 L', '5 to 11 US gal')
    """
    per, unit = (convert.LITRES_PER_US_GALLON, "US gal") if units == "imperial" else (1.0, "L")
    return f"{_range(*(number_words(round(value / per)) for value in (low_L, high_L)))} {unit}"


def mass_words(low_kg: float, high_kg: float, units: Units = "metric") -> str:
    """A span of masses in kilograms or pounds.

    >>> mass_words(52, 72), mass_words(52, 72, "imperial")
    ('52 to 72 kg', '115 to 159 lb')
    """
    per, unit = (convert.KILOGRAMS_PER_POUND, "lb") if units == "imperial" else (1.0, "kg")
    return f"{_range(*(number_words(round(value / per)) for value in (low_kg, high_kg)))} {unit}"


def _range(low: str, high: str) -> str:
    return low if low == high else f"{low} to {high}"


class Facts:
    """Look-up over the planting table."""

    def __init__(self, planting: pd.DataFrame) -> None:
        self._table = planting

    def all(self, quantity: str) -> list[Fact]:
        """Every figure of a quantity, in the order of the table. Raises BadInput if there is none."""
        rows = self._table.loc[self._table["quantity"].eq(quantity)]
        if rows.empty:
            raise BadInput(
                f"The planting table has no “{quantity}”",
                where="planting.csv",
                remedy="Use the table that ships with the program, or add the row with its source",
            )
        return [_fact(row) for row in rows.to_dict("records")]

    def get(self, quantity: str, group: str | None = None, source_id: str | None = None) -> Fact:
        """One figure: of that group and source where told, else the first; group "all" stands in for a group
        that has none of its own. Raises BadInput."""
        found = self.all(quantity)
        for wanted in (group, "all"):
            hits = [
                fact
                for fact in found
                if (wanted is None or fact.group == wanted) and source_id in (None, fact.source_id)
            ]
            if hits:
                return hits[0]
        raise BadInput(
            f"The planting table has no “{quantity}” for {group or 'any group'}",
            where="planting.csv",
            remedy="Use the table that ships with the program, or add the row with its source",
        )


def _fact(row: Mapping[Hashable, Any]) -> Fact:
    def number(name: str) -> float:
        return float(pd.to_numeric(str(row[name]) if row[name] is not None else "nan", errors="coerce"))

    value, low, high = number("value"), number("low"), number("high")
    low = value if np.isnan(low) else low
    high = (low if np.isnan(value) else value) if np.isnan(high) else high
    return Fact(
        quantity=str(row["quantity"]),
        group=str(row["crop_group"]),
        low=high if np.isnan(low) else low,
        high=high,
        text="" if pd.isna(row["value"]) else str(row["value"]),
        unit=_text(row["unit"]),
        standing=_text(row["basis"]) or "unknown",
        source_id=_text(row["source_id"]),
        note=_text(row["note"]),
    )


def _text(value: object) -> str:
    return value if isinstance(value, str) else ""
