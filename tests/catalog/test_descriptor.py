"""A datapackage.json made to harm is told fault by fault, before anything is built on it.

Each case is the shipped descriptor with one thing changed.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from recommender.catalog.package import content_key, datasets_folder, read_package
from recommender.errors import DataFaults


def _name(descriptor: dict[str, Any], name: str) -> dict[str, Any]:
    return next(item for item in descriptor["resources"] if item["name"] == name)


def _schema(descriptor: dict[str, Any], name: str = "names") -> dict[str, Any]:
    schema: dict[str, Any] = _name(descriptor, name)["schema"]
    return schema


def _limits(descriptor: dict[str, Any], column: str, name: str = "names") -> dict[str, Any]:
    field = next(item for item in _schema(descriptor, name)["fields"] if item["name"] == column)
    limits: dict[str, Any] = field.setdefault("constraints", {})
    return limits


def _add_parquet(descriptor: dict[str, Any]) -> None:
    descriptor["resources"].append({"name": "places", "path": "places.parquet", "format": "parquet"})
    _schema(descriptor)["foreignKeys"][0]["reference"]["resource"] = "places"


HOSTILE: dict[str, tuple[Callable[[dict[str, Any]], object], str]] = {
    "NUL in a path": (
        lambda d: _name(d, "names").update(path="na\0mes.csv"),
        "names: path.0: cannot be the name",
    ),
    "a line end in a path": (
        lambda d: _name(d, "names").update(path=["\n.csv"]),
        "cannot be the name of a file",
    ),
    "a path of 300 letters": (
        lambda d: _name(d, "names").update(path="n" * 300),
        "cannot be the name of a file",
    ),
    "a path upwards": (lambda d: _name(d, "names").update(path="../names.csv"), "leads out of the folder"),
    "no path": (lambda d: _name(d, "names").update(path=[]), "names: path"),
    "CSV in capitals": (
        lambda d: _name(d, "crops").update(format="CSV"),
        "refers to crops, which is not described",
    ),
    "a format that is a list": (lambda d: _name(d, "crops").update(format=["csv"]), "crops: format"),
    "a reference to a parquet file": (_add_parquet, "refers to places, which is not described as a table"),
    "a reference from no field": (
        lambda d: _schema(d)["foreignKeys"][0].update(fields=["crop", "sort"]),
        "names the field sort, which names",
    ),
    "a reference to no field": (
        lambda d: _schema(d)["foreignKeys"][0]["reference"].update(fields=["crop", "sort"]),
        "names the field sort, which varieties has not",
    ),
    "a reference of two fields to one": (
        lambda d: _schema(d)["foreignKeys"][0].update(fields="crop"),
        "more fields on one side",
    ),
    "a reference that is text": (lambda d: _schema(d).update(foreignKeys=["crop"]), "foreignKeys.0"),
    "no traits": (lambda d: d["resources"].remove(_name(d, "traits")), "no table called traits"),
    "no resources": (lambda d: d["resources"].clear(), "lists no resources"),
    "a table twice": (lambda d: d["resources"].append(_name(d, "names")), "2 resources have this name"),
    "a table of the catalog": (
        lambda d: d["resources"].append({**_name(d, "sources"), "name": "build-info"}),
        "of this name already",
    ),
    "a quote in a name": (lambda d: _name(d, "planting").update(name='a"; DROP TABLE crops; --'), ": name: "),
    "a name that is a number": (lambda d: _name(d, "planting").update(name=5), ": name: "),
    "no schema": (lambda d: _name(d, "names").pop("schema"), "names: schema: "),
    "no fields": (lambda d: _schema(d)["fields"].clear(), "names: schema.fields: "),
    "a field that is text": (lambda d: _schema(d)["fields"].append("note"), "names: schema.fields.6: "),
    "a field name that is a number": (
        lambda d: _schema(d)["fields"][0].update(name=5),
        "schema.fields.0.name: ",
    ),
    "a field without a type": (lambda d: _schema(d)["fields"][0].pop("type"), "schema.fields.0.type: "),
    "a field twice": (
        lambda d: _schema(d)["fields"].append({**_schema(d)["fields"][0], "name": "CROP"}),
        "the field crop 2 times",
    ),
    "a field that is needed": (
        lambda d: _schema(d, "traits")["fields"].pop(4),
        "needs a field low that is a number",
    ),
    "a number as text": (
        lambda d: _schema(d, "traits")["fields"][4].update(type="string", constraints={}),
        "needs a field low that is a number",
    ),
    "constraints that are text": (
        lambda d: _schema(d)["fields"][0].update(constraints="required"),
        "constraints: ",
    ),
    "a pattern that is none": (lambda d: _limits(d, "name").update(pattern="("), "pattern: is no pattern"),
    "a pattern too long": (lambda d: _limits(d, "name").update(pattern="x{9999}"), "pattern: is no pattern"),
    "classes that are a number": (lambda d: _limits(d, "kind").update(enum=5), "enum: "),
    "classes that are numbers": (lambda d: _limits(d, "kind").update(enum=[5]), "enum.0: "),
    "a bound that is text": (lambda d: _limits(d, "low", "traits").update(minimum="x"), "minimum: "),
    "a bound of a text": (lambda d: _limits(d, "name").update(minimum=5), "which can have no minimum"),
    "a pattern of a number": (
        lambda d: _limits(d, "low", "traits").update(pattern="x"),
        "can have no pattern",
    ),
    "a key that is a number": (lambda d: _schema(d).update(primaryKey=5), "names: schema.primaryKey: "),
    "a key of no field": (
        lambda d: _schema(d).update(primaryKey=["sort"]),
        "the primary key names the field sort",
    ),
    "a key of a field twice": (
        lambda d: _schema(d).update(primaryKey=["crop", "crop"]),
        "names a field twice",
    ),
}


@pytest.mark.parametrize("case", HOSTILE)
def test_a_descriptor_made_to_harm_is_told(case: str, tmp_path: Path) -> None:
    spoil_it, said = HOSTILE[case]
    descriptor = json.loads((datasets_folder() / "datapackage.json").read_text(encoding="utf-8"))
    spoil_it(descriptor)
    (tmp_path / "datapackage.json").write_text(json.dumps(descriptor), encoding="utf-8")
    for read in (content_key, read_package):
        with pytest.raises(DataFaults, match=r"datapackage\.json is broken") as caught:
            read(tmp_path)
        assert said in str(caught.value)
