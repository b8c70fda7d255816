"""The data dictionary: every table, column and trait of the open data in words, as Markdown.

In: datapackage.json and traits.csv. Out: `data_dictionary` (the text); run as a module it writes the file:
`python -m recommender.catalog.dictionary docs/data-dictionary.md`.
"""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from recommender.catalog.package import datasets_folder, paths_of, read_descriptor, read_package
from recommender.files import write_whole

HEAD = """# Data dictionary

Written from `datasets/datapackage.json` and `datasets/traits.csv` by
`python -m recommender.catalog.dictionary docs/data-dictionary.md`; change those, not this page.

Every row says how its value is known (`basis`: published, common practice, from memory, computed) and where
it was read (`source_id`, a key of `sources.csv`). A blank cell means not known. Cells that hold several
values join them with `|`. Temperatures are in degrees Celsius, lengths in metres, dates are month and day
(MM-DD).
"""

DERIVED = """## Tables made from these

Beside the catalog file lie tables worked out from it (`recommender/catalog/derived.py`; docs/pollination.md).
They are made when first asked for and again when data or code change; `site` needs a climate.

| file | table | one row | columns |
|---|---|---|---|
| `pollination` | `pollination` | an ordered pair of varieties whose crops cross | `female_crop`, `female`, \
`male_crop`, `male`, `result`, `reason` (its short name), `standing`, `overlap_days` (published bloom) [d] |
| `pollination` | `pollination_need` | a variety | `crop`, `variety`, `need`, `need_standing` |
| `pollination` | `pollination_findings` | a fault in the evidence | `file`, `row`, `crop`, `variety`, \
`severity`, `what`, `remedy` |
| `site` | `pollination` | as above | as above; `overlap_days` are those expected at the site |
| `site` | `bloom` | a variety | `crop`, `variety`, `early`, `middle`, `late` (MM-DD) and their `_day` of \
the season, `start_day`, `end_day`, `error_days`, `short_of_chill`, `told_by`, `standing` |
"""


def data_dictionary(folder: Path | None = None) -> str:
    """The dictionary of the data package in `folder` as Markdown."""
    folder = folder or datasets_folder()
    descriptor = read_descriptor(folder)
    package = read_package(folder)
    rows = package.counts.groupby("table")["rows_read"].sum()
    parts = [HEAD]
    for resource in descriptor["resources"]:
        parts.append(_table(resource, rows.get(resource["name"].replace("-", "_"))))
    parts.append(DERIVED)
    parts.append(_traits(package["trait_vocabulary"], package["traits"]["trait"].value_counts()))
    return "\n".join(parts)


def _table(resource: Mapping[str, Any], rows: int | None) -> str:
    paths = paths_of(resource)
    shown = f"`{paths[0]}`"
    if len(paths) > 1:
        shown = f"`{Path(paths[0]).parent.as_posix()}/<crop>.csv`, {len(paths)} files"
    count = f", {rows} rows" if rows is not None else ""
    lines = [f"## {resource['title']}", "", f"{shown}{count}. {resource['description']}", ""]
    schema = resource.get("schema")
    if schema is None:
        return "\n".join(lines)
    lines += ["| column | meaning | type | unit | allowed |", "|---|---|---|---|---|"]
    for item in schema["fields"]:
        cells = [f"`{item['name']}`", item["description"], item["type"], item.get("unit", ""), _allowed(item)]
        lines.append("| " + " | ".join(_cell(cell) for cell in cells) + " |")
    key = schema.get("primaryKey")
    if key:
        lines += ["", f"Key: {', '.join([key] if isinstance(key, str) else key)}."]
    return "\n".join([*lines, ""])


def _allowed(item: Mapping[str, Any]) -> str:
    limits = item.get("constraints", {})
    said = ["required"] if limits.get("required") else []
    if "enum" in limits:
        said.append(", ".join(limits["enum"]))
    if "minimum" in limits or "maximum" in limits:
        least, most = limits.get("minimum"), limits.get("maximum")
        said.append(f"{least} to {most}" if most is not None and least is not None else f"from {least}")
    if "separator" in item:
        said.append("joined by |")
    return "; ".join(said)


def _traits(vocabulary: pd.DataFrame, evidence: pd.Series) -> str:
    lines = [
        "## The traits",
        "",
        "| trait | meaning | kind | unit | allowed | rows |",
        "|---|---|---|---|---|---|",
    ]
    for row in vocabulary.fillna({"unit": "", "categories": ""}).itertuples():
        classes = str(row.categories).replace("|", ", ")
        allowed = f"{row.min:g} to {row.max:g}" if row.kind == "numeric" else classes
        meaning = f"{row.title}. {row.description}"
        cells = [f"`{row.trait}`", meaning, row.kind, row.unit, allowed, str(evidence.get(row.trait, 0))]
        lines.append("| " + " | ".join(_cell(cell) for cell in cells) + " |")
    return "\n".join([*lines, ""])


def _cell(text: object) -> str:
    return str(text).replace("|", "\\|")


def write_dictionary(path: Path, folder: Path | None = None) -> None:
    """Write the dictionary to `path`, whole or not at all."""
    write_whole(path, data_dictionary(folder))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="Write the data dictionary.")
    parser.add_argument("path", type=Path, help="the Markdown file to write")
    write_dictionary(parser.parse_args().path)
