"""Bad input to the data package: each fault is told with file, row, column and remedy, and nothing is lost.

The package under test is a real cut of datasets/: the crops quince and medlar with all that belongs to them.
"""

from __future__ import annotations

import csv
import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import HealthCheck, Phase, assume, given, settings
from hypothesis import strategies as st

from recommender.catalog.package import (
    DataPackage,
    Fault,
    check_package,
    content_key,
    datasets_folder,
    paths_of,
    read_descriptor,
    read_fitted,
    read_package,
    tables_of,
)
from recommender.errors import BadInput, DataFaults, StorageFault

CROPS = ("medlar", "quince")
EVIDENCE = "traits/quince.csv"


def read_rows(path: Path) -> list[list[str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file))


def write_rows(path: Path, rows: list[list[str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows(rows)


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A sound package of two crops, cut from the shipped one."""
    shipped, folder = datasets_folder(), tmp_path_factory.mktemp("small")
    descriptor = read_descriptor(shipped)
    descriptor["resources"] = [item for item in descriptor["resources"] if item.get("format") == "csv"]
    (folder / "traits").mkdir()
    for item in descriptor["resources"]:
        if item["name"] == "traits":
            item["path"] = [f"traits/{crop}.csv" for crop in CROPS]
        for name in paths_of(item):
            shutil.copy(shipped / name, folder / name)
    by_crop = {"varieties": 0, "names": 0, "unsourced": 0, "regional_lists": 7}
    by_crop |= {"variety_regions": 0, "pollination_pairs": 0}
    for name, column in by_crop.items():
        header, *rows = read_rows(folder / f"{name}.csv")
        kept = [row for row in rows if row[column] in CROPS]
        write_rows(folder / f"{name}.csv", [header, *(kept or rows[:0])])
    # No cherries here, so no pairs of them either: the table leaves the descriptor with its rows.
    descriptor["resources"] = [
        item for item in descriptor["resources"] if item["name"] != "pollination-pairs"
    ]
    (folder / "pollination_pairs.csv").unlink()
    (folder / "datapackage.json").write_text(json.dumps(descriptor), encoding="utf-8")
    assert check_package(folder).faults == ()
    return folder


@pytest.fixture
def package(small: Path, tmp_path: Path) -> Path:
    """A copy of the small package that a test may spoil."""
    return Path(shutil.copytree(small, tmp_path / "package"))


def spoil(folder: Path, file: str, row: int, column: str, value: str) -> None:
    """Write `value` into the cell of that line and column."""
    rows = read_rows(folder / file)
    rows[row - 1][rows[0].index(column)] = value
    write_rows(folder / file, rows)


def line_where(folder: Path, file: str, **cells: str) -> int:
    """The first line of the file whose cells are these."""
    header, *rows = read_rows(folder / file)
    for line, row in enumerate(rows, start=2):
        if all(row[header.index(name)] == value for name, value in cells.items()):
            return line
    raise AssertionError(f"no row with {cells} in {file}")


def faults_at(result: DataPackage, file: str, row: int) -> list[Fault]:
    return [fault for fault in result.faults if (fault.file, fault.row) == (file, row)]


def assert_account(result: DataPackage) -> None:
    """Rows read are rows kept plus rows rejected, file by file, and each rejected row has its reason."""
    counts = result.counts
    assert (counts["rows_read"] == counts["rows_kept"] + counts["rows_rejected"]).all()
    reasons = {(fault.file, fault.row) for fault in result.faults if fault.effect == "row"}
    by_file = pd.Series([file for file, _ in reasons], dtype="object").value_counts()
    for row in counts.itertuples():
        assert by_file.get(row.file, 0) == row.rows_rejected


# ---------------------------------------------------------------- one row at fault: listed, the rest served


@pytest.mark.parametrize(
    ("trait", "column", "value", "said"),
    [
        ("zone_min", "value", "45", "outside what the trait can be"),
        ("zone_min", "value", "cold", "is not a number"),
        ("zone_min", "value", "nan", "is not a number"),
        ("zone_min", "value", "", "neither a value nor a bound"),
        ("zone_min", "low", "warm", "is not a number"),
        ("zone_min", "unit", "degC", "not the unit"),
        ("min_survival_temp", "value", "34", "outside what the trait can be"),
        ("self_fertility", "value", "self-fertil", "not a class"),
        ("self_fertility", "low", "3", "words, not a range"),
        ("use", "value", "fresh|soup", "not a class"),
        ("self_fertility", "basis", "hearsay", "allowed words"),
        ("self_fertility", "source_id", "nobody-1900", "is not in sources.csv"),
        ("self_fertility", "variety", "Smyrnaa", "is not in varieties.csv"),
        ("self_fertility", "trait", "self_fertil", "is not in traits.csv"),
        ("self_fertility", "crop", "quins", "is not in crops.csv"),
        ("self_fertility", "source_id", "  ", "The cell is blank"),
    ],
)
def test_a_wrong_cell_of_evidence_rejects_its_row_and_says_why(
    package: Path, trait: str, column: str, value: str, said: str
) -> None:
    row = line_where(package, EVIDENCE, trait=trait)
    spoil(package, EVIDENCE, row, column, value)
    after = read_package(package)
    told = [fault for fault in faults_at(after, EVIDENCE, row) if said in fault.what]
    assert [fault.column for fault in told] == [column]
    assert told[0].remedy
    assert after.counts["rows_rejected"].sum() == 1
    assert_account(after)


def test_a_strict_check_raises_with_the_place_of_the_fault(package: Path) -> None:
    row = line_where(package, EVIDENCE, trait="zone_min")
    spoil(package, EVIDENCE, row, "value", "45")
    with pytest.raises(DataFaults) as caught:
        check_package(package)
    (line,) = caught.value.faults
    assert line.startswith(f"{EVIDENCE}, row {row}, column value: “45”")


def test_an_orphan_variety_is_told_the_nearest_name(package: Path) -> None:
    row = line_where(package, EVIDENCE, variety="Smyrna")
    spoil(package, EVIDENCE, row, "variety", "Smirna")
    (fault,) = faults_at(read_package(package), EVIDENCE, row)
    assert "Smyrna" in fault.remedy


def test_a_day_that_is_not_in_the_calendar_is_no_date(package: Path) -> None:
    header, *rows = read_rows(package / EVIDENCE)
    rows.append(
        ["quince", "Smyrna", "harvest_start", "02-31", "", "", "", "from memory", "memory", "invented"]
    )
    write_rows(package / EVIDENCE, [header, *rows])
    (fault,) = read_package(package).faults
    assert (fault.row, fault.column) == (len(rows) + 1, "value")
    assert "MM-DD" in fault.what


def test_bounds_the_wrong_way_round_are_found(package: Path) -> None:
    row = line_where(package, EVIDENCE, trait="min_survival_temp")
    spoil(package, EVIDENCE, row, "value", "")
    spoil(package, EVIDENCE, row, "low", "-10")
    spoil(package, EVIDENCE, row, "high", "-20")
    assert [fault.what for fault in faults_at(read_package(package), EVIDENCE, row)] == ["is above high"]


def test_a_doubled_row_is_kept_once(package: Path) -> None:
    rows = read_rows(package / EVIDENCE)
    write_rows(package / EVIDENCE, [*rows, rows[5]])
    result = read_package(package)
    (fault,) = result.faults
    assert fault.row == len(rows) + 1
    assert "word for word" in fault.what
    assert_account(result)


def test_a_doubled_key_keeps_the_first_row(package: Path) -> None:
    rows = read_rows(package / "varieties.csv")
    again = [*rows[1][:-2], "from memory", "memory"]
    again[rows[0].index("origin")] = "ZZ"
    write_rows(package / "varieties.csv", [*rows, again])
    result = read_package(package)
    (fault,) = result.faults
    assert (fault.file, fault.row) == ("varieties.csv", len(rows) + 1)
    assert "crop and variety stand in an earlier row" in fault.what
    assert_account(result)


def test_a_synonym_that_is_an_accepted_name_is_rejected(package: Path) -> None:
    header, *rows = read_rows(package / "names.csv")
    rows.append(["quince", "Champion", "Smyrna", "synonym", "from memory", "memory"])
    write_rows(package / "names.csv", [header, *rows])
    (fault,) = read_package(package).faults
    assert (fault.column, fault.row) == ("name", len(rows) + 1)


def test_a_wrong_optional_cell_of_a_keyed_table_is_set_aside_and_its_row_kept(package: Path) -> None:
    row = line_where(package, "varieties.csv", crop="quince", variety="Smyrna")
    spoil(package, "varieties.csv", row, "year", "18987")
    result = read_package(package)
    (fault,) = result.faults
    assert (fault.file, fault.row, fault.column, fault.effect) == ("varieties.csv", row, "year", "cell")
    kept = result["varieties"].set_index("variety").loc["Smyrna"]
    assert pd.isna(kept["year"])
    assert result.counts["rows_rejected"].sum() == 0


def test_evidence_of_a_rejected_source_is_rejected_with_it(package: Path) -> None:
    header, *rows = read_rows(package / EVIDENCE)
    source = next(
        row[header.index("source_id")] for row in rows if row[header.index("source_id")] != "memory"
    )
    spoil(package, "sources.csv", line_where(package, "sources.csv", source_id=source), "kind", "rumour")
    result = read_package(package)
    assert not result["traits"]["source_id"].eq(source).any()
    assert_account(result)


@pytest.mark.parametrize("extra", [["one too many"], None], ids=["too many fields", "too few fields"])
def test_a_row_of_the_wrong_length_is_rejected_alone(package: Path, extra: list[str] | None) -> None:
    rows = read_rows(package / EVIDENCE)
    rows[3] = [*rows[3], *extra] if extra else rows[3][:-1]
    write_rows(package / EVIDENCE, rows)
    result = read_package(package)
    (fault,) = result.faults
    assert (fault.file, fault.row) == (EVIDENCE, 4)
    assert "fields" in fault.what
    assert_account(result)


def test_rows_below_a_cell_with_a_line_break_keep_their_true_line(package: Path) -> None:
    rows = read_rows(package / EVIDENCE)
    rows[1][-1] = "first line\nsecond line"
    rows[5][rows[0].index("source_id")] = "nobody-1900"
    write_rows(package / EVIDENCE, rows)
    (fault,) = read_package(package).faults
    assert fault.row == 7
    assert read_package(package)["traits"]["note"].str.contains("second line").any()


def test_all_faults_are_told_at_once(package: Path) -> None:
    spoil(package, EVIDENCE, 3, "source_id", "nobody-1900")
    spoil(package, EVIDENCE, 9, "basis", "hearsay")
    spoil(package, "stations.csv", 4, "lat", "190")
    (package / "planting.csv").unlink()
    with pytest.raises(DataFaults) as caught:
        read_package(package)
    text = str(caught.value)
    for place in (f"{EVIDENCE}, row 3", f"{EVIDENCE}, row 9", "stations.csv, row 4", "planting.csv"):
        assert place in text


# ---------------------------------------------------------------- a whole file at fault: the build refuses


def latin(folder: Path) -> None:
    path = folder / "varieties.csv"
    text = path.read_text(encoding="utf-8").splitlines(keepends=True)
    text[2] = "quince,Gélbe Quitte,,,,from memory,memory\n"
    path.write_bytes("".join(text[:3]).encode("cp1252"))


def retext(folder: Path, change: Callable[[str], str], encoding: str = "utf-8") -> None:
    path = folder / EVIDENCE
    path.write_bytes(change(path.read_text(encoding="utf-8")).encode(encoding))


def unclosed(text: str) -> str:
    lines = text.splitlines(keepends=True)
    lines[7] = '"' + lines[7]
    return "".join(lines)


@pytest.mark.parametrize(
    ("damage", "file", "row", "said"),
    [
        (lambda f: (f / EVIDENCE).unlink(), EVIDENCE, 0, "missing"),
        (lambda f: (f / EVIDENCE).write_bytes(b""), EVIDENCE, 0, "empty"),
        (lambda f: (f / EVIDENCE).write_bytes(b"\n \n"), EVIDENCE, 0, "empty"),
        (lambda f: retext(f, lambda t: t.splitlines()[0] + "\n"), EVIDENCE, 0, "header but no rows"),
        (lambda f: retext(f, lambda t: t.replace("trait,value", "trait,valeu", 1)), EVIDENCE, 1, "value"),
        (lambda f: retext(f, lambda t: t.replace("value,low", "value,value", 1)), EVIDENCE, 1, "twice"),
        (latin, "varieties.csv", 3, "Windows-1252"),
        (lambda f: retext(f, str, "utf-16"), EVIDENCE, 0, "UTF-16"),
        (lambda f: retext(f, lambda t: t.replace("\n", "\n\0", 5)), EVIDENCE, 2, "NUL"),
        (lambda f: retext(f, unclosed), EVIDENCE, 8, "not closed"),
    ],
    ids=["missing", "empty", "blank", "rowless", "column", "double", "cp1252", "utf-16", "nul", "quotes"],
)
def test_a_file_that_cannot_be_used_stops_the_build_with_one_clear_message(
    package: Path, damage: Callable[[Path], None], file: str, row: int, said: str
) -> None:
    damage(package)
    with pytest.raises(DataFaults) as caught:
        read_package(package)
    told = [line for line in caught.value.faults if line.startswith(file) and said in line]
    assert told
    assert f"row {row}" in told[0] or row == 0
    assert str(caught.value).count("\n") == len(caught.value.faults)


def test_a_mark_of_byte_order_before_utf8_is_harmless(package: Path) -> None:
    path = package / EVIDENCE
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert read_package(package).faults == ()


def test_a_misspelt_column_is_told_its_right_name(package: Path) -> None:
    retext(package, lambda text: text.replace("source_id", "sourceid", 1))
    with pytest.raises(DataFaults, match="Rename it to source_id"):
        read_package(package)


def test_a_table_nobody_described_is_told_in_a_strict_check(package: Path) -> None:
    (package / "wishes.csv").write_text("a,b\n1,2\n", encoding="utf-8")
    assert [fault.file for fault in read_package(package).faults] == ["wishes.csv"]
    with pytest.raises(DataFaults, match=r"wishes\.csv"):
        check_package(package)


@pytest.mark.parametrize("content", ["", "{", "[]", '{"resources": [{"name": "crops"}]}'])
def test_a_broken_descriptor_is_one_clear_fault(package: Path, content: str) -> None:
    (package / "datapackage.json").write_text(content, encoding="utf-8")
    with pytest.raises(DataFaults, match=r"datapackage\.json"):
        read_package(package)


def test_a_folder_without_data_is_a_storage_fault(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ORCHARDWRIGHT_DATASETS", str(tmp_path / "nowhere"))
    with pytest.raises(StorageFault, match="ORCHARDWRIGHT_DATASETS"):
        datasets_folder()
    with pytest.raises(StorageFault):
        read_package(tmp_path / "nowhere")


@pytest.mark.parametrize(
    ("named", "said"),
    [
        ("n" * 300, "cannot be read .File name too long"),
        ("~nobody-of-that-name/x", "home folder that is not"),
    ],
)
def test_a_folder_that_cannot_be_reached_is_told(
    named: str, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ORCHARDWRIGHT_DATASETS", named)
    with pytest.raises(StorageFault, match=said) as caught:
        datasets_folder()
    assert named in caught.value.where


def test_the_folder_can_be_named_by_the_environment(small: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ORCHARDWRIGHT_DATASETS", str(small))
    assert datasets_folder() == small


# ---------------------------------------------------------------- the key of the content


def test_the_key_follows_the_content_and_nothing_else(package: Path) -> None:
    key = content_key(package)
    os.utime(package / EVIDENCE, (1, 1))
    (package / "notes.txt").write_text("not a table", encoding="utf-8")
    assert content_key(package) == key
    row = line_where(package, EVIDENCE, trait="zone_min")
    spoil(package, EVIDENCE, row, "value", "5.5")
    assert content_key(package) != key


def test_the_key_sees_a_row_move_from_one_file_to_another(package: Path) -> None:
    first, second = (read_rows(package / f"traits/{crop}.csv") for crop in CROPS)
    key = content_key(package)
    write_rows(package / "traits/medlar.csv", [*first, second[-1]])
    write_rows(package / "traits/quince.csv", second[:-1])
    assert content_key(package) != key


# ---------------------------------------------------------------- any cell, any text

# One example reads a whole package, so a failing one is shown as it was drawn instead of being shrunk.
READS_A_PACKAGE = settings(
    deadline=None,
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
CELL_TEXT = st.one_of(
    st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=20),
    st.floats(-1e5, 1e5, allow_nan=False).map(lambda number: f"{number:g}"),
    st.sampled_from(
        ["", " ", "0", "-40", "from memory", "memory", "quince", "Smyrna", "all", "*", "a|b", "=1+1"]
    ),
)


@settings(READS_A_PACKAGE, max_examples=8)
@given(data=st.data())
def test_any_single_changed_cell_is_reported_or_stands_as_written(small: Path, data: st.DataObject) -> None:
    descriptor = read_descriptor(small)
    resource = data.draw(st.sampled_from(tables_of(descriptor)), label="table")
    file = data.draw(st.sampled_from(paths_of(resource)), label="file")
    rows = read_rows(small / file)
    index = data.draw(st.integers(1, len(rows) - 1), label="row")
    column = data.draw(st.sampled_from(rows[0]), label="column")
    value = data.draw(CELL_TEXT, label="value")
    position = rows[0].index(column)
    assume(rows[index][position] != value)
    original = (small / file).read_bytes()
    rows[index][position] = value
    try:
        write_rows(small / file, rows)
        result = read_package(small)
    finally:
        (small / file).write_bytes(original)

    assert_account(result)
    row = index + 1
    told = faults_at(result, file, row)
    if told:
        assert all(fault.what and fault.remedy for fault in told)
        return
    table = result[resource["name"].replace("-", "_")]
    kept = table.loc[table["_file"].eq(file) & table["_row"].eq(row), column]
    assert len(kept) == 1
    cell = kept.iloc[0]
    if not value.strip():
        assert pd.isna(cell)
    elif isinstance(cell, str):
        assert cell == value
    else:
        assert float(cell) == float(value)


CONSTRAINED = [
    ("sources.csv", "kind"),
    ("crops.csv", "evergreen"),
    ("crops.csv", "source_id"),
    ("varieties.csv", "source_id"),
    ("names.csv", "kind"),
    ("traits.csv", "kind"),
    (EVIDENCE, "crop"),
    (EVIDENCE, "variety"),
    (EVIDENCE, "trait"),
    (EVIDENCE, "low"),
    (EVIDENCE, "source_id"),
    ("rootstocks.csv", "for_crops"),
    ("bloom_critical_temps.csv", "kill10_degC"),
    ("cautions.csv", "crop"),
    ("cautions.csv", "severity"),
    ("regional_lists.csv", "variety"),
    ("stations.csv", "tmax_07"),
    ("stations.csv", "hardiness_zone"),
    ("frost_dates.csv", "median_last_spring"),
    ("chill_by_place.csv", "unit"),
]


@settings(READS_A_PACKAGE, max_examples=8)
@given(data=st.data())
def test_an_impossible_cell_is_reported_at_its_own_file_row_and_column(
    small: Path, data: st.DataObject
) -> None:
    file, column = data.draw(st.sampled_from(CONSTRAINED))
    rows = read_rows(small / file)
    index = data.draw(st.integers(1, len(rows) - 1))
    value = data.draw(st.text("☃xyz", min_size=3, max_size=8)) + "☃"
    original = (small / file).read_bytes()
    rows[index][rows[0].index(column)] = value
    try:
        write_rows(small / file, rows)
        result = read_package(small)
    finally:
        (small / file).write_bytes(original)
    told = [fault for fault in faults_at(result, file, index + 1) if fault.column == column]
    assert told
    assert any(value in fault.value for fault in told)
    assert_account(result)


def test_a_table_of_fitted_parameters_that_is_missing_or_short_is_told(tmp_path: Path) -> None:
    with pytest.raises(StorageFault, match=r"ripening_parameters\.csv cannot be read") as missing:
        read_fitted("ripening_parameters.csv", ("crop",), tmp_path)
    assert missing.value.where == str(tmp_path)
    (tmp_path / "ripening_parameters.csv").write_text("crop,carry\napple,0.2\n", encoding="utf-8")
    with pytest.raises(BadInput, match="has no column error_d, ripe_days") as short:
        read_fitted("ripening_parameters.csv", ("crop", "ripe_days", "error_d"), tmp_path)
    assert short.value.where == str(tmp_path / "ripening_parameters.csv")
    assert list(read_fitted("ripening_parameters.csv", ("crop", "carry"), tmp_path)["crop"]) == ["apple"]
