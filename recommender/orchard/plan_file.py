"""Plans saved and opened again, also after the data were rebuilt or by a later version.

In comes a `Plan` or a path; out goes a JSON file, or a `Reopened` plan with a sentence for everything that
the present data say differently. The plan itself is never changed by opening it.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from pydantic import ValidationError

from recommender.errors import BadInput, UnknownName
from recommender.files import json_of, write_whole
from recommender.orchard.network import matrix_at
from recommender.orchard.plan import SCHEMA, VERSION, Plan, PlannedTree
from recommender.orchard.telling import facts_of
from recommender.wording import plain, trait_label

if TYPE_CHECKING:
    from recommender.catalog.catalog import Catalog

LARGEST_BYTES = 5_000_000
"""A plan file longer than this is none (our choice)."""
LARGEST_NUMBER = 1e12
"""No number among the answers of a plan is larger (our choice)."""


@dataclass(frozen=True)
class Reopened:
    """A plan from a file. changes: what the present data or the present version say differently."""

    plan: Plan
    changes: tuple[str, ...]


def plan_text(plan: Plan) -> str:
    """The plan as JSON text."""
    return json.dumps(plan.record(), ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def schema_text() -> str:
    """The JSON Schema of a plan file."""
    return json.dumps(Plan.model_json_schema(by_alias=True), ensure_ascii=False, indent=2) + "\n"


def save_plan(plan: Plan, path: Path | str) -> None:
    """Write the plan; what was there before is kept until the new file is whole. Raises StorageFault."""
    write_whole(Path(path), plan_text(plan))


def open_plan(path: Path | str, catalog: Catalog | None = None) -> Reopened:
    """Read a plan and compare it with the catalog, if one is given.

    Raises BadInput for a file that is no plan, is damaged, or was saved by a later version.
    """
    path = Path(path)
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise BadInput(
            f"The plan cannot be read: {error.strerror or error}", where=str(path), remedy="Check the path"
        ) from None
    return read_plan(raw, str(path), catalog)


def read_plan(raw: bytes, name: str, catalog: Catalog | None = None) -> Reopened:
    """The same from a file's bytes; `name` is what an error calls it."""
    if len(raw) > LARGEST_BYTES:
        raise BadInput(
            f"The file is {len(raw) // 1_000_000:,} MB long, too long for a plan",
            where=name,
            remedy="Choose a file saved as a plan",
        )
    try:
        held = json_of(raw)
    except ValueError as error:
        raise BadInput(
            f"The plan is not JSON in UTF-8: {error}", where=name, remedy="Choose a file saved as a plan"
        ) from None
    plan = plan_from(held, name)
    changes = () if catalog is None else tuple(changed(plan, catalog))
    return Reopened(plan, changes)


def plan_from(held: Any, where: str = "plan") -> Plan:
    """A plan from plain JSON types. Raises BadInput."""
    if not isinstance(held, dict) or held.get("schema") != SCHEMA:
        raise BadInput("The file is no saved plan", where=where, remedy="Choose a file saved as a plan")
    version = held.get("version")
    if not isinstance(version, int) or isinstance(version, bool) or version < 1:
        raise BadInput("The plan does not say its version", where=where, remedy="Save the plan again")
    if version > VERSION:
        raise BadInput(
            f"The plan was saved by a later version (format {version}, this one reads up to {VERSION})",
            where=where,
            remedy="Bring Orchardwright up to date",
        )
    for section in ("site", "goals", "planting", "plot"):
        if not _within_bounds(held.get(section)):
            raise BadInput(
                f"The plan is damaged at {section}: a number is too large",
                where=where,
                remedy="Save the plan again",
            )
    try:
        return Plan.model_validate(held)
    except ValidationError as error:
        problem = error.errors()[0]
        place = ".".join(str(part) for part in problem["loc"])
        raise BadInput(
            f"The plan is damaged at {place}: {problem['msg']}", where=where, remedy="Save the plan again"
        ) from None


def _within_bounds(answers: Any) -> bool:
    if isinstance(answers, dict | list):
        return all(map(_within_bounds, answers.values() if isinstance(answers, dict) else answers))
    return not isinstance(answers, int | float) or abs(answers) <= LARGEST_NUMBER


def changed(plan: Plan, catalog: Catalog) -> list[str]:
    """What the present data say otherwise than when the plan was made, one sentence each."""
    if str(catalog.info["data_key"]) == plan.data_key:
        return []
    told = ["The data were rebuilt since this plan was made."]
    traits = catalog.traits().set_index(["crop", "variety"])
    stocks = set(catalog.rootstocks()["rootstock"])
    now: list[tuple[PlannedTree, tuple[str, str] | None]] = []
    for tree in plan.trees:
        key = _present(tree, catalog, told)
        now.append((tree, key))
        if tree.rootstock and tree.rootstock not in stocks:
            told.append(
                f"The rootstock {plain(tree.rootstock)} of {plain(tree.variety)} is no longer listed."
            )
        if key is not None:
            told += _values(tree, facts_of(_row(traits, key)))
    told += _partners(plan, now, catalog)
    if len(told) == 1:
        told.append("Nothing this plan rests on has changed.")
    return told


def _row(traits: pd.DataFrame, key: tuple[str, str]) -> pd.Series:
    at = traits.index.get_indexer(pd.MultiIndex.from_tuples([key]))
    return traits.iloc[int(at[0])]


def _present(tree: PlannedTree, catalog: Catalog, told: list[str]) -> tuple[str, str] | None:
    try:
        key = catalog.resolve(tree.variety, tree.crop)
    except UnknownName:
        told.append(f"{plain(tree.variety)} is no longer in the catalog.")
        return None
    if key != (tree.crop, tree.variety):
        told.append(f"{plain(tree.variety)} is now listed as {plain(key[1])}.")
    return key


def _values(tree: PlannedTree, facts: dict[str, str]) -> list[str]:
    said = []
    for name in sorted(set(tree.facts) | set(facts)):
        before, after = tree.facts.get(name), facts.get(name)
        if before != after:
            what = f"{plain(tree.variety)}: {trait_label(name).lower()}"
            if before is None:
                said.append(f"{what} was not known and is now {plain(after)}.")
            elif after is None:
                said.append(f"{what} was {plain(before)} and is no longer known.")
            else:
                said.append(f"{what} was {plain(before)} and is now {plain(after)}.")
    return said


def _listed(crop: str, variety: str, catalog: Catalog) -> tuple[str, str] | None:
    try:
        return catalog.resolve(variety, crop)
    except UnknownName:
        return None


def _partners(
    plan: Plan, now: list[tuple[PlannedTree, tuple[str, str] | None]], catalog: Catalog
) -> list[str]:
    known = [(tree, key) for tree, key in now if key is not None]
    if not known:
        return []
    donors = [_listed(p.crop, p.variety, catalog) for tree, _ in known for p in tree.pollinated_by]
    wanted = dict.fromkeys([*(key for _, key in known), *(key for key in donors if key is not None)])
    matrix = matrix_at(plan, list(wanted), catalog)
    likely, needs = matrix.likely_partner(), matrix.needs_partner()
    said = []
    for tree, key in known:
        row = matrix.position(*key)
        if not needs[row] or not tree.pollinated_by:
            continue
        partners = [_listed(p.crop, p.variety, catalog) for p in tree.pollinated_by]
        still = [key is not None and bool(likely[row, matrix.position(*key)]) for key in partners]
        if not np.any(still):
            said.append(f"{plain(tree.variety)} is no longer served by any tree of this plan.")
        elif not np.all(still):
            lost = [p.variety for p, ok in zip(tree.pollinated_by, still, strict=True) if not ok]
            said.append(f"{plain(tree.variety)} is no longer served by {plain(lost[0])}.")
    return said
