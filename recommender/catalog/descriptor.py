"""What the program builds on in datapackage.json: shapes, names, links and the tables it cannot do without.

In: the content of the descriptor. Out: one line for each fault, none if it can be used. The Data Package
standard itself is checked by a test.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping
from pathlib import PurePosixPath
from typing import Annotated, Any

import pandas as pd
from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    model_validator,
)

from recommender.catalog.table_checks import NUMBERS

_LONGEST_NAME = 255
_NUMBERS_OF = {
    "traits": ("low", "high"),
    "trait-vocabulary": ("min", "max"),
    "varieties": ("year",),
    "crops": (
        "pollinator_distance_m", "chill_hours_low", "chill_hours_high", "base_temp_degC",
        "seedling_height_low_m", "seedling_height_high_m", "years_to_bear_low", "years_to_bear_high",
    ),
}  # fmt: skip
_TEXTS_OF = {
    "sources": ("source_id", "title", "author", "year", "url", "kind", "licence"),
    "crops": (
        "crop", "scientific_name", "family", "incompatibility", "ploidy", "pollen_vector",
        "typical_self_fertility", "evergreen", "crosses_with", "source_id", "basis", "memory_cells",
    ),
    "varieties": ("crop", "variety", "origin", "note", "basis", "source_id"),
    "names": ("crop", "name", "variety", "kind", "basis", "source_id"),
    "trait-vocabulary": ("trait", "title", "kind", "unit", "categories", "description"),
    "traits": ("crop", "variety", "trait", "value", "unit", "basis", "source_id", "note"),
}  # fmt: skip
# Tables that the catalog makes itself.
_TAKEN = {
    "build_info", "data_warnings", "estimates", "evidence", "file_counts", "offset_scales", "rejected",
    "set_aside", "settled",
}  # fmt: skip


def _inside(path: str) -> str:
    if not _stays_inside(path):
        raise ValueError("leads out of the folder, which the standard forbids")
    parts = PurePosixPath(path).parts
    if not path.isprintable() or any(len(part.encode()) > _LONGEST_NAME for part in parts):
        raise ValueError("cannot be the name of a file")
    return path


def _usable_pattern(pattern: str) -> str:
    try:
        re.compile(pattern)
        pd.Series([""], dtype="str").str.fullmatch(f"(?:{pattern})")
    except (ValueError, OverflowError, RecursionError, re.error) as problem:
        raise ValueError(f"is no pattern that can be searched for ({problem})") from None
    return pattern


def _as_list(value: Any) -> Any:
    return [value] if isinstance(value, str) else value


_Name = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9_-]*$")]
_FieldName = Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9_]*$")]
_FieldNames = Annotated[list[_FieldName], BeforeValidator(_as_list), Field(min_length=1)]
_Paths = Annotated[
    list[Annotated[str, AfterValidator(_inside)]], BeforeValidator(_as_list), Field(min_length=1)
]


class _Part(BaseModel):
    model_config = ConfigDict(strict=True, extra="ignore", allow_inf_nan=False)


class _Limits(_Part):
    required: bool = False
    enum: list[str] = []
    pattern: Annotated[str, AfterValidator(_usable_pattern)] = ""
    minimum: float = 0.0
    maximum: float = 0.0


class _Column(_Part):
    name: _FieldName
    type: str
    description: str
    constraints: _Limits = _Limits()

    @model_validator(mode="after")
    def _limits_of_its_type(self) -> _Column:
        wrong = {"enum", "pattern"} if self.type in NUMBERS else {"minimum", "maximum"}
        for limit in sorted(wrong & self.constraints.model_fields_set):
            raise ValueError(f"{self.name} is a {self.type}, which can have no {limit}")
        return self


class _Target(_Part):
    resource: str
    fields_: _FieldNames = Field(alias="fields")


class _Link(_Part):
    fields_: _FieldNames = Field(alias="fields")
    reference: _Target
    separator: str = Field(default="|", min_length=1)
    except_: list[str] = Field(default=[], alias="except")


class _Schema(_Part):
    fields_: list[_Column] = Field(alias="fields", min_length=1)
    primary_key: _FieldNames | None = Field(default=None, alias="primaryKey")
    foreign_keys: list[_Link] = Field(default=[], alias="foreignKeys")


class _File(_Part):
    name: _Name
    path: _Paths
    format: str = ""


class _Table(_File):
    columns: _Schema = Field(alias="schema")
    references: list[_Link] = []

    @property
    def names(self) -> list[str]:
        return [column.name for column in self.columns.fields_]

    @property
    def links(self) -> list[_Link]:
        return [*self.columns.foreign_keys, *self.references]


def _stays_inside(path: str) -> bool:
    """Whether a path is one of the Data Package standard: neither absolute nor with a step upwards.

    Source: Frictionless Data, "Data Resource": absolute paths and `../` are forbidden in `path`.
    """
    parts = PurePosixPath(path).parts
    return bool(parts) and parts[0] != "/" and ".." not in parts and "\\" not in path and ":" not in path


def descriptor_faults(content: Any) -> list[str]:
    """What a program needs of the descriptor and does not find, one line each."""
    resources = content.get("resources") if isinstance(content, dict) else None
    if not isinstance(resources, list) or not resources or not all(isinstance(r, dict) for r in resources):
        return ["It lists no resources"]
    faults: list[str] = []
    read: list[_File] = []
    for number, item in enumerate(resources, start=1):
        try:
            read.append((_Table if item.get("format") == "csv" else _File).model_validate(item))
        except ValidationError as problem:
            faults += _told(item.get("name"), number, problem)
    # What refers to a table that is itself broken would be told twice.
    return faults or [*_of_names(read), *_of_tables({t.name: t for t in read if isinstance(t, _Table)})]


def _told(name: object, number: int, problem: ValidationError) -> Iterator[str]:
    called = name if isinstance(name, str) and name else f"resource {number}"
    for each in problem.errors(include_url=False, include_context=False, include_input=False):
        place = ".".join(str(part) for part in each["loc"])
        what = each["msg"].removeprefix("Value error, ").removeprefix("Input ")
        yield f"{called}: {place}: {what}"


def _of_names(resources: list[_File]) -> Iterator[str]:
    counts = Counter(item.name.replace("-", "_") for item in resources)
    for name, times in counts.items():
        if times > 1:
            yield f"{name}: {times} resources have this name"
    for item in resources:
        if isinstance(item, _Table) and item.name.replace("-", "_") in _TAKEN:
            yield f"{item.name}: the catalog has a table of this name already"


def _of_tables(tables: Mapping[str, _Table]) -> Iterator[str]:
    for name in sorted(_TEXTS_OF.keys() - tables.keys()):
        yield f"It describes no table called {name}"
    for name, table in tables.items():
        yield from (f"{name}: {fault}" for fault in _of_columns(table))
        yield from (f"{name}: {fault}" for link in table.links for fault in _of_link(link, table, tables))


def _of_columns(table: _Table) -> Iterator[str]:
    for column, times in Counter(column.casefold() for column in table.names).items():
        if times > 1:
            yield f"the schema has the field {column} {times} times"
    key = table.columns.primary_key or []
    if len(set(key)) < len(key):
        yield "the primary key names a field twice"
    yield from _unknown(key, table, "the primary key")
    types = {column.name: column.type for column in table.columns.fields_}
    for needed, numeric in ((_NUMBERS_OF, True), (_TEXTS_OF, False)):
        for column in needed.get(table.name, ()):
            if (types.get(column) in NUMBERS) != numeric or column not in types:
                yield f"it needs a field {column} that is a {'number' if numeric else 'string'}"


def _of_link(link: _Link, table: _Table, tables: Mapping[str, _Table]) -> Iterator[str]:
    yield from _unknown(link.fields_, table, "a reference")
    target = tables.get(link.reference.resource)
    if target is None:
        yield f"it refers to {link.reference.resource}, which is not described as a table of format csv"
        return
    yield from _unknown(link.reference.fields_, target, f"a reference to {target.name}")
    if len(link.fields_) != len(link.reference.fields_):
        yield f"a reference to {target.name} has more fields on one side than on the other"


def _unknown(names: list[str], table: _Table, where: str) -> Iterator[str]:
    for name in names:
        if name not in table.names:
            yield f"{where} names the field {name}, which {table.name} has not"
