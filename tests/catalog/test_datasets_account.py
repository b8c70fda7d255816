"""The shipped data: sound by our own check and by an independent one, and every row of it accounted for."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path

import pandas as pd
import pytest
from frictionless import Package

from recommender.catalog.dictionary import data_dictionary
from recommender.catalog.package import (
    DataPackage,
    check_package,
    datasets_folder,
    paths_of,
    read_descriptor,
    tables_of,
)

CHECKOUT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def package() -> DataPackage:
    return check_package()


def test_the_shipped_data_have_no_fault_at_all(package: DataPackage) -> None:
    assert package.faults == ()
    assert package.counts["rows_rejected"].sum() == 0


def test_every_row_of_every_file_is_in_the_tables(package: DataPackage) -> None:
    """Counted here with the csv module alone."""
    for resource in tables_of(read_descriptor(package.folder)):
        table = package[resource["name"].replace("-", "_")]
        for name in paths_of(resource):
            with (package.folder / name).open(encoding="utf-8", newline="") as file:
                lines = sum(1 for row in csv.reader(file) if row) - 1
            assert table["_file"].eq(name).sum() == lines
            assert package.counts.set_index("file").loc[name, "rows_read"] == lines


def test_frictionless_finds_the_package_valid() -> None:
    """The independent check: the standard's own library, over every row of every CSV file."""
    folder = datasets_folder()
    descriptor = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))
    descriptor["resources"] = [item for item in descriptor["resources"] if item.get("format") == "csv"]
    report = Package.from_descriptor(descriptor, basepath=str(folder)).validate()
    assert report.flatten(["title", "rowNumber", "fieldName", "message"]) == []
    assert report.valid
    assert {task.name for task in report.tasks} == {item["name"] for item in descriptor["resources"]}


def test_every_evidence_file_holds_the_crop_of_its_name(package: DataPackage) -> None:
    traits = package["traits"]
    assert ("traits/" + traits["crop"] + ".csv").eq(traits["_file"]).all()
    assert set(traits["crop"]) == set(package["crops"]["crop"])


def test_nothing_published_leans_on_the_source_called_memory(package: DataPackage) -> None:
    """`published` needs a source that is not memory, and what is from memory names no publication."""
    for name, table in package.tables.items():
        if "basis" not in table or "source_id" not in table:
            continue
        only_memory = table["source_id"].eq("memory")
        assert not (only_memory & table["basis"].eq("published")).any(), name
        assert table.loc[only_memory, "basis"].isin(["from memory", "common practice"]).all(), name


def test_every_variety_is_known_by_evidence_or_by_where_it_is_named(package: DataPackage) -> None:
    varieties = package["varieties"].set_index(["crop", "variety"])
    told = pd.MultiIndex.from_frame(package["traits"][["crop", "variety"]].drop_duplicates())
    listed = pd.MultiIndex.from_frame(package["regional_lists"][["crop", "variety"]].drop_duplicates())
    waiting = pd.MultiIndex.from_frame(package["unsourced"][["crop", "variety"]].drop_duplicates())
    unheard = varieties[~varieties.index.isin(told.append([listed, waiting]))]
    assert len(unheard) <= 5


def test_two_accepted_names_of_a_crop_differ_in_more_than_case_accents_and_spacing(
    package: DataPackage,
) -> None:
    varieties = package["varieties"]
    plain = (
        varieties["variety"]
        .str.normalize("NFKD")
        .str.replace(r"[^\w]|[\u0300-\u036f]|_", "", regex=True)
        .str.casefold()
    )
    assert not (varieties["crop"] + ":" + plain).duplicated().any()


def test_the_warnings_keep_their_rows(package: DataPackage) -> None:
    """A second look is no rejection: names that lead nowhere are listed, and still in the table."""
    warned = package.warnings
    assert warned["what"].str.contains("names no variety").any()
    traits = package["traits"].set_index(["_file", "_row"])
    assert traits.index.isin(list(zip(warned["file"], warned["row"], strict=True))).sum() > 0


def test_the_files_are_sorted_and_plain(package: DataPackage) -> None:
    """So that a change reads well: UTF-8, unix line ends, one key in order."""
    for name in package.counts["file"]:
        raw = (package.folder / name).read_bytes()
        assert b"\r" not in raw
        assert raw.endswith(b"\n")
    for name, rows in package["traits"].groupby("_file"):
        keys = list(rows[["variety", "trait", "source_id"]].itertuples(index=False, name=None))
        assert keys == sorted(keys), name


def test_the_readme_of_the_data_counts_every_table(package: DataPackage) -> None:
    told: dict[str, int] = {}
    page = (package.folder / "README.md").read_text(encoding="utf-8")
    for names, counts in re.findall(r"^\| (`.*`) \| .* \| (\d.*) \|$", page, re.MULTILINE):
        rows = (int(count.replace(",", "")) for count in re.findall(r"\d[\d,]*\d|\d", counts))
        told |= zip(re.findall(r"`([^`]+)`", names), rows, strict=True)
    files = package.counts["file"].str.replace(r"^traits/.*", "traits/<crop>.csv", regex=True)
    assert told == package.counts.groupby(files)["rows_read"].sum().to_dict()


def test_the_data_dictionary_is_up_to_date() -> None:
    written = (CHECKOUT / "docs" / "data-dictionary.md").read_text(encoding="utf-8")
    assert written == data_dictionary(), "run: python docs/renew.py"
