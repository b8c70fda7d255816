"""The database reaches nothing but its own file, and what is typed is compared, never run."""

from __future__ import annotations

import ast
import shutil
from pathlib import Path

import duckdb
import pandas as pd
import pytest

from recommender import open_catalog
from recommender.atlas.folder import AtlasFolder
from recommender.atlas.questions import Atlas
from recommender.atlas.run import run
from recommender.catalog import Catalog, sealed
from recommender.catalog.derived import derived_tables, read_derived
from recommender.cli import main
from recommender.errors import BadInput, OrchardwrightError, StorageFault, UnknownName
from recommender.nursery.decisions import Decisions
from recommender.nursery.names import read_lines

ROOT = Path(__file__).parents[2]
SQL = (
    "'; DROP TABLE varieties; --",
    '"; DROP TABLE varieties; --',
    "' OR '1'='1",
    "x' UNION SELECT * FROM sources --",
    "Discovery'; ATTACH 'x.db'; --",
    "%",
    "_" * 5,
    "$1",
    "?",
    "read_text('/etc/hostname')",
)
FORBIDDEN = (
    "SET enable_external_access = true",
    "SET lock_configuration = false",
    "SET allowed_directories = ['/']",
    "SELECT * FROM read_text('{outside}')",
    "SELECT * FROM read_csv('{outside}')",
    "SELECT * FROM glob('{folder}/../*')",
    "COPY (SELECT 1) TO '{folder}/../written.csv'",
    "ATTACH '{folder}/../other.duckdb'",
    "INSTALL httpfs",
    "LOAD httpfs",
    "SELECT * FROM read_parquet('http://127.0.0.1:9/a.parquet')",
)


@pytest.fixture(scope="module")
def catalog() -> Catalog:
    return open_catalog()


@pytest.mark.parametrize("opened", ["to read", "to write", "over a folder"])
@pytest.mark.parametrize("wanted", FORBIDDEN)
def test_a_connection_reaches_nothing_else(wanted: str, opened: str, tmp_path: Path) -> None:
    folder, outside = tmp_path / "folder", tmp_path / "outside.csv"
    folder.mkdir()
    outside.write_text("a\n1\n", encoding="utf-8")
    sealed.to_write(folder / "a.duckdb").close()
    before = sorted(tmp_path.rglob("*"))
    connection = {
        "to read": lambda: sealed.to_read(folder / "a.duckdb"),
        "to write": lambda: sealed.to_write(folder / "a.duckdb"),
        "over a folder": lambda: sealed.over_folder(folder),
    }[opened]()
    with connection, pytest.raises(duckdb.Error):
        connection.execute(wanted.format(outside=outside, folder=folder))
    assert sorted(tmp_path.rglob("*")) == before


def test_the_folder_itself_is_read_however_it_is_called(tmp_path: Path) -> None:
    for name in ("plain", "a [1] * ? 'quoted' ü", "'; SELECT 1; --"):
        folder = tmp_path / name
        folder.mkdir()
        pd.DataFrame({"a": [1]}).to_parquet(folder / "a.parquet")
        with sealed.over_folder(folder) as connection:
            path = str((folder / "a.parquet").resolve())
            assert connection.execute("SELECT a FROM read_parquet($path)", {"path": [path]}).fetchall() == [
                (1,)
            ]


def test_no_connection_is_opened_elsewhere() -> None:
    for path in (ROOT / "recommender").rglob("*.py"):
        if path.name == "sealed.py":
            continue
        for call in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(call, ast.Call):
                opened = ast.unparse(call.func)
                assert not opened.startswith("duckdb."), f"{path.name}:{call.lineno} calls {opened}"


def test_the_catalog_cannot_be_written(catalog: Catalog) -> None:
    for statement in ("DROP TABLE varieties", "DELETE FROM evidence", "CREATE TABLE x (a INTEGER)"):
        with pytest.raises(duckdb.Error):
            catalog._query(statement)
    assert "varieties" in catalog.tables()


@pytest.mark.parametrize("typed", SQL)
def test_sql_for_a_name_finds_nothing_and_changes_nothing(typed: str, catalog: Catalog) -> None:
    before = len(catalog.varieties()), catalog.tables()
    for ask in (
        lambda: catalog.resolve(typed, "apple"),
        lambda: catalog.resolve_crop(typed),
        lambda: catalog.settled("apple", typed),
        lambda: catalog.evidence("apple", typed),
        lambda: catalog.table(typed),
        lambda: read_derived(catalog.path, typed),
    ):
        # BadInput where no letter of it is one of a name.
        with pytest.raises((UnknownName, BadInput)):
            ask()
    # A line of a stock list may hold such letters beside a name; it is read, and no more.
    assert len(read_lines([typed, f"apple Discovery {typed}"], catalog).lines) <= 2
    with open_catalog() as again:
        assert (len(again.varieties()), again.tables()) == before


@pytest.mark.parametrize(
    "command",
    [
        ("show", "{}"),
        ("show", "{}", "--crop", "apple"),
        ("show", "Discovery", "--crop", "{}"),
        ("sources", "{}"),
        ("pollinators", "{}", "--crop", "apple"),
        ("rank", "--place", "{}"),
        ("stock", "standin", "{}", "--stock", str(ROOT / "datasets" / "demo" / "nursery-stock.csv")),
    ],
    ids=lambda command: " ".join(command[:3])[:40],
)
def test_sql_for_an_argument_is_told_as_a_name(
    command: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as end:
        main([part.format(SQL[0]) for part in command])
    told = capsys.readouterr()
    assert end.value.code in (0, 1, 2)
    assert "Traceback" not in told.err
    assert "Error" not in told.err
    assert told.out + told.err


@pytest.fixture(scope="module")
def atlas(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An atlas of one place."""
    folder = tmp_path_factory.mktemp("atlas") / "one"
    site = {"name": ["Withy Hollow"], "region": [""], "country": [""], "lat": [50.9], "lon": [-3.1]}
    frame = pd.DataFrame({**site, "elevation_m": [60.0], "population": [300]})
    run(folder, frame, workers=0, years=2, crops=("quince",), warming=(0.0,))
    return folder


def test_sql_for_a_question_to_an_atlas(atlas: Path) -> None:
    asked = Atlas(atlas)
    for typed in SQL:
        for ask in (lambda: asked.where("quince", typed), lambda: asked.sound_by_place(typed)):  # noqa: B023
            with pytest.raises(UnknownName):
                ask()
        assert len(asked.where("quince", "Vranja", verdicts=(typed,))) == 0


def test_an_atlas_that_leads_out_of_its_folder_is_not_followed(atlas: Path, tmp_path: Path) -> None:
    """An atlas may come from anyone: its table of varieties names the folder that is read."""
    folder = tmp_path / "sent" / "atlas"
    shutil.copytree(atlas, folder)
    scores = next((folder / "scores").rglob("block-00000.parquet"))
    outside = tmp_path / "sent" / "crop=x"
    outside.mkdir()
    shutil.copy(scores, outside / "block-00000.parquet")
    for crop in ("../../../../sent/crop=x", "x/../../../../../sent/crop=x"):
        (folder / "scores" / "warming=0.0" / f"crop={crop.partition('/')[0]}").mkdir(exist_ok=True)
        pd.DataFrame({"crop": [crop], "variety": ["Vranja"]}).to_parquet(folder / "varieties.parquet")
        with pytest.raises(OrchardwrightError):
            Atlas(folder).where(crop, "Vranja")


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("block", 0), ("block", -1), ("sites", 10**15), ("sites", "many"), ("warming", []),
        ("warming", ["x"]),
        ("crops", ["../x"]), ("crops", 3), ("years", 0), ("neighbours", "perhaps"), ("format", 1),
    ],
)  # fmt: skip
def test_an_account_of_an_atlas_that_cannot_be_is_told(
    name: str, value: object, atlas: Path, tmp_path: Path
) -> None:
    from recommender.files import json_of
    from recommender.outputs import json_text

    held = json_of((atlas / "atlas.json").read_bytes())
    (tmp_path / "atlas.json").write_text(json_text({**held, name: value}), encoding="utf-8")
    with pytest.raises(OrchardwrightError):
        Atlas(tmp_path)


def test_an_atlas_without_a_part_of_it_is_told(atlas: Path, tmp_path: Path) -> None:
    folder = tmp_path / "atlas"
    shutil.copytree(atlas, folder)
    (folder / "varieties.parquet").unlink()
    with pytest.raises(StorageFault):
        Atlas(folder).crops()
    pd.DataFrame({"fruit": ["quince"]}).to_parquet(folder / "varieties.parquet")
    with pytest.raises(StorageFault):
        Atlas(folder).crops()
    with pytest.raises(StorageFault):
        AtlasFolder(tmp_path).sites()


def test_decisions_keep_sql_as_a_name(tmp_path: Path) -> None:
    path = tmp_path / "decisions.csv"
    memory = Decisions(path)
    for typed in SQL:
        memory.remember(f"apple {typed}", ("apple", "Discovery"))
    memory.save()
    assert all(Decisions(path).find(f"apple {typed}") == ("apple", "Discovery") for typed in SQL)


def test_derived_tables_are_read_as_they_were_written(catalog: Catalog, tmp_path: Path) -> None:
    path = derived_tables(catalog, "sealed", "1", lambda: {"names": pd.DataFrame({"name": list(SQL)})})
    assert list(read_derived(path, "names")["name"]) == list(SQL)
    with pytest.raises(UnknownName):
        read_derived(path, 'names"; DROP TABLE names; --')
    path.unlink()
