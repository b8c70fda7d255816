"""A pandera schema from the schema of a resource in datapackage.json, and its checks in plain words.

In: a Frictionless table schema. Out: `frame_schema` (a pandera DataFrameSchema for the typed table) and
`explain` (what was wrong with a cell, and the remedy).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandera.pandas as pa


def frame_schema(schema: Mapping[str, Any]) -> pa.DataFrameSchema:
    """The pandera schema: required cells, classes, ranges, patterns and the primary key."""
    key = schema.get("primaryKey")
    return pa.DataFrameSchema(
        {item["name"]: _column(item) for item in schema["fields"]},
        unique=[key] if isinstance(key, str) else key,
        report_duplicates="exclude_first",
    )


def _column(item: Mapping[str, Any]) -> pa.Column:
    limits = item.get("constraints", {})
    checks = []
    if "enum" in limits:
        checks.append(pa.Check.isin(limits["enum"], error="enum"))
    if "pattern" in limits:
        pattern = f"(?:{limits['pattern']})"
        checks.append(pa.Check(lambda cells: cells.str.fullmatch(pattern).fillna(True), error="pattern"))
    if "minimum" in limits:
        checks.append(pa.Check.ge(limits["minimum"], error="minimum"))
    if "maximum" in limits:
        checks.append(pa.Check.le(limits["maximum"], error="maximum"))
    return pa.Column(None, checks=checks, nullable=not limits.get("required", False))


def explain(item: Mapping[str, Any], check: str, key: Sequence[str]) -> tuple[str, str]:
    """What a failed check means and what to do. `check` is the name pandera reports."""
    limits = item.get("constraints", {})
    unit = f" {item['unit']}" if item.get("unit") else ""
    if check == "not_nullable":
        return "The cell is blank", f"Fill in {item['name']}: {item['description']}"
    if check == "multiple_fields_uniqueness" or check == "field_uniqueness":
        return f"The same {' and '.join(key)} stand in an earlier row", "Keep one of the two rows"
    if check.startswith("enum"):
        return "is not one of the allowed words", f"Use one of: {', '.join(limits['enum'])}"
    if check.startswith("minimum"):
        return f"is below {limits['minimum']}{unit}", "Check the unit and the sign"
    if check.startswith("maximum"):
        return f"is above {limits['maximum']}{unit}", "Check the unit and the sign"
    return "is not written as it should be", f"{item['description']}; the form is {limits.get('pattern', '')}"
