"""Claims about the catalog file: built once, whole, of the right data, and never in the way."""

from __future__ import annotations

import errno
import json
import multiprocessing
import os
import shutil
import signal
import subprocess
import sys
import textwrap
import warnings
from multiprocessing.synchronize import Barrier
from pathlib import Path
from typing import Any

import duckdb
import pandas as pd
import pytest

from recommender.catalog import Catalog, CatalogNotice, build, open_catalog, store
from recommender.catalog.package import datasets_folder, paths_of, read_descriptor, tables_of
from recommender.errors import DataFaults, StorageFault, UnknownName

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def newer(monkeypatch: pytest.MonkeyPatch) -> None:
    """As if the code had changed since the catalog was built: another key, so another file."""
    monkeypatch.setattr(store, "code_key", lambda: "newer")


NEWER = "from recommender.catalog import store; store.code_key = lambda: 'newer'"


def files(cache: Path) -> list[str]:
    return sorted(path.name for path in cache.glob("*.duckdb"))


def run(code: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", textwrap.dedent(code)],
        capture_output=True,
        text=True,
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT), **environment},
        timeout=300,
        check=False,
    )


def test_second_opening_builds_nothing(small_data: Path, cache: Path) -> None:
    said: list[str] = []
    before = {name: (cache / name).stat().st_mtime_ns for name in files(cache)}
    open_catalog(small_data, cache, lambda what, share: said.append(what)).close()
    assert said == []
    assert {name: (cache / name).stat().st_mtime_ns for name in files(cache)} == before


def test_changed_data_need_another_file(small_data: Path, tmp_path: Path) -> None:
    folder = Path(shutil.copytree(small_data, tmp_path / "datasets"))
    first = store._file_name(folder)
    assert store._file_name(folder) == first
    with (folder / "traits" / "quince.csv").open("a", encoding="utf-8") as file:
        file.write("quince,Vranja,zone_min,5,,,usda-zone,from memory,memory,\n")
    second = store._file_name(folder)
    assert second != first
    assert second.rsplit("-", 1)[0] == first.rsplit("-", 1)[0]


@pytest.mark.usefixtures("newer")
def test_a_new_file_takes_the_place_of_the_old(small_data: Path, cache: Path) -> None:
    before = files(cache)
    open_catalog(small_data, cache).close()
    assert len(files(cache)) == 1
    assert files(cache) != before


def test_old_file_stays_while_someone_reads_it(
    small_data: Path, cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with open_catalog(small_data, cache) as old:
        monkeypatch.setattr(store, "code_key", lambda: "newer")
        open_catalog(small_data, cache).close()
        assert len(files(cache)) == 2
        assert not old.traits().empty


@pytest.mark.usefixtures("newer")
def test_file_open_in_another_process_stays(small_data: Path, cache: Path) -> None:
    code = f"""
        from pathlib import Path
        from recommender.catalog import open_catalog
        catalog = open_catalog(Path({str(small_data)!r}), Path({str(cache)!r}))
        print("open", flush=True)
        input()
        print(len(catalog.traits()), flush=True)
    """
    with subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(code)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    ) as reader:
        assert reader.stdout is not None
        assert reader.stdout.readline() == "open\n"
        open_catalog(small_data, cache).close()
        assert len(files(cache)) == 2
        rest, _ = reader.communicate("\n", timeout=60)
        assert int(rest) > 1000


def _open_at_once(data: Path, cache: Path, log: Path, barrier: Barrier) -> None:
    barrier.wait()

    def note(what: str, _share: float) -> None:
        with log.open("a", encoding="utf-8") as file:
            file.write(what + "\n")

    open_catalog(data, cache, note).traits()


def test_processes_that_start_together_build_once(small_data: Path, tmp_path: Path) -> None:
    context = multiprocessing.get_context("spawn")
    barrier, log = context.Barrier(3), tmp_path / "log"
    arguments = (small_data, tmp_path / "cache", log, barrier)
    workers = [context.Process(target=_open_at_once, args=arguments) for _ in range(3)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(120)
    assert [worker.exitcode for worker in workers] == [0, 0, 0]
    assert log.read_text(encoding="utf-8").splitlines().count("Done") == 1


@pytest.mark.parametrize("damage", ["half", "empty", "flipped", "not a database", "digest lost"])
def test_a_damaged_file_is_built_again_and_said_so(small_data: Path, cache: Path, damage: str) -> None:
    path = cache / files(cache)[0]
    content = path.read_bytes()
    middle = len(content) // 2
    if damage == "digest lost":
        path.with_suffix(".digest").unlink()
    else:
        changed = {
            "half": content[:middle],
            "empty": b"",
            "flipped": content[:middle] + bytes([content[middle] ^ 0xFF]) + content[middle + 1 :],
            "not a database": b"crop,variety\napple,Discovery\n",
        }[damage]
        path.write_bytes(changed)
    with pytest.warns(CatalogNotice, match="damaged"), open_catalog(small_data, cache) as again:
        assert not again.traits().empty
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        open_catalog(small_data, cache).close()


@pytest.mark.parametrize("name", ["cache", "n" * 300], ids=["behind a file", "too long a name"])
def test_cache_that_cannot_be_written_falls_back_to_a_temporary_folder(
    small_data: Path, tmp_path: Path, name: str
) -> None:
    blocked = tmp_path if len(name) > 255 else tmp_path / "a-file"
    (tmp_path / "a-file").write_text("in the way", encoding="utf-8")
    store.private_folder.cache_clear()
    with pytest.warns(CatalogNotice, match="temporary"):
        catalog = open_catalog(small_data, blocked / name)
    with catalog:
        assert not catalog.traits().empty
        assert catalog.path.parent == store.private_folder()
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        open_catalog(small_data, blocked / name).close()
    assert (tmp_path / "a-file").read_text(encoding="utf-8") == "in the way"
    store.private_folder.cache_clear()


def test_read_only_cache_falls_back_too(
    small_data: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import filelock

    cache = tmp_path / "cache"
    real = filelock.FileLock.acquire

    def refuse(self: filelock.FileLock, *args: Any, **more: Any) -> object:
        if Path(self.lock_file).parent == cache:
            raise OSError(errno.EROFS, "Read-only file system")
        return real(self, *args, **more)

    monkeypatch.setattr(filelock.FileLock, "acquire", refuse)
    store.private_folder.cache_clear()
    with pytest.warns(CatalogNotice, match="Read-only file system"):
        open_catalog(small_data, cache).close()
    store.private_folder.cache_clear()


def test_nowhere_to_write_is_a_clear_fault(
    small_data: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    blocked = tmp_path / "a-file"
    blocked.write_text("", encoding="utf-8")

    def refuse(**_more: object) -> str:
        raise OSError(errno.EROFS, "Read-only file system")

    monkeypatch.setattr(store.tempfile, "mkdtemp", refuse)
    store.private_folder.cache_clear()
    with pytest.raises(StorageFault, match="neither"):
        open_catalog(small_data, blocked / "cache")


def test_cache_of_a_home_nobody_has_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ORCHARDWRIGHT_CACHE", "~nobody-of-that-name/x")
    with pytest.raises(StorageFault, match="ORCHARDWRIGHT_CACHE names a home folder that is not known"):
        store.default_cache()


def test_data_that_the_database_refuses_are_told(
    small_data: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object) -> None:
        raise duckdb.ParserException("syntax error")

    monkeypatch.setattr(build, "build_database", refuse)
    with pytest.raises(StorageFault, match=r"make no catalog \(syntax error\)") as caught:
        open_catalog(small_data, tmp_path / "cache")
    assert caught.value.where == str(small_data)
    assert files(tmp_path / "cache") == []


def test_full_disk_keeps_the_old_file_and_says_so(small_data: Path, cache: Path) -> None:
    before = {name: (cache / name).read_bytes() for name in files(cache)}
    limit = 1_000_000
    assert all(len(content) > limit for content in before.values())
    done = run(
        f"""
        import resource
        from pathlib import Path
        from recommender.catalog import open_catalog
        {NEWER}
        from recommender.errors import StorageFault
        resource.setrlimit(resource.RLIMIT_FSIZE, ({limit}, {limit}))
        try:
            open_catalog(Path({str(small_data)!r}), Path({str(cache)!r}))
        except StorageFault as fault:
            print(fault)
        """
    )
    assert "could not be written" in done.stdout, done.stderr
    assert "Free some space" in done.stdout
    assert {name: (cache / name).read_bytes() for name in files(cache)} == before
    assert sorted(path.name for path in cache.iterdir() if "building" in path.name) == []


def test_killed_while_building_leaves_the_old_file_and_no_half_one(
    small_data: Path, cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    old = files(cache)
    done = run(
        f"""
        import os, signal
        from pathlib import Path
        from recommender.catalog import build, open_catalog
        {NEWER}
        real, written = build._write_table, []
        def write(connection, name, frame):
            real(connection, name, frame)
            written.append(name)
            if len(written) == 8:
                os.kill(os.getpid(), signal.SIGKILL)
        build._write_table = write
        open_catalog(Path({str(small_data)!r}), Path({str(cache)!r}))
        """
    )
    assert done.returncode == -signal.SIGKILL
    assert files(cache) == old
    assert any("building" in path.name for path in cache.iterdir())
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        open_catalog(small_data, cache).close()
        monkeypatch.setattr(store, "code_key", lambda: "newer")
        with open_catalog(small_data, cache) as catalog:
            assert not catalog.traits().empty
    assert [path.name for path in cache.iterdir() if "building" in path.name] == []


def test_broken_data_raise_all_faults_and_leave_the_old_file(tmp_path: Path, small_data: Path) -> None:
    folder, cache = Path(shutil.copytree(small_data, tmp_path / "datasets")), tmp_path / "cache"
    open_catalog(folder, cache).close()
    before = files(cache)
    (folder / "traits" / "quince.csv").write_bytes(b"crop;variety\nquince;\xff\xfe\n")
    (folder / "traits" / "medlar.csv").write_bytes(b"")
    with pytest.raises(DataFaults) as caught:
        open_catalog(folder, cache)
    assert "quince.csv" in str(caught.value)
    assert "medlar.csv" in str(caught.value)
    assert files(cache) == before


def test_catalog_is_read_only_and_closed_to_the_outside(catalog: Catalog) -> None:
    connection = catalog._connection
    assert connection is not None
    with pytest.raises(duckdb.Error, match="read-only"):
        connection.execute("DELETE FROM settled")
    with pytest.raises(duckdb.Error, match=r"(?i)disabled|permission"):
        connection.execute("SELECT * FROM read_csv('/etc/passwd')")
    with pytest.raises(duckdb.Error, match="locked"):
        connection.execute("SET enable_external_access = true")


def test_a_frame_may_be_changed_without_harm(catalog: Catalog) -> None:
    first = catalog.traits()
    first["crop"] = "changed"
    assert "changed" not in set(catalog.traits()["crop"])


def test_unknown_table_names_the_nearest(catalog: Catalog) -> None:
    with pytest.raises(UnknownName) as caught:
        catalog.table("setled")
    assert "settled" in caught.value.suggestions
    with pytest.raises(UnknownName):
        catalog.table('settled" WHERE true; --')


def test_closed_catalog_says_so(small_data: Path, cache: Path) -> None:
    catalog = open_catalog(small_data, cache)
    catalog.close()
    catalog.close()
    with pytest.raises(StorageFault, match="closed"):
        catalog.traits()


def test_wide_traits_have_one_row_per_variety_and_the_columns_promised(catalog: Catalog) -> None:
    wide = catalog.traits()
    varieties = catalog.varieties().sort_values(["crop", "variety"], ignore_index=True)
    assert wide["variety"].tolist() == varieties["variety"].tolist()
    assert wide["crop"].tolist() == varieties["crop"].tolist()
    for name in ("zone_min", "chill_hours", "bloom_offset", "ploidy", "heat_to_bloom"):
        assert {name, f"{name}_low", f"{name}_high", f"{name}_standing"} <= set(wide)
    for name in ("self_fertility", "s_alleles", "sport_of", "disease:apple-scab", "use"):
        assert {name, f"{name}_agreement", f"{name}_standing"} <= set(wide)
    missing = wide["zone_min"].isna()
    assert (wide.loc[missing, "zone_min_standing"] == "unknown").all()
    assert not (wide.loc[~missing, "zone_min_standing"] == "unknown").any()


def test_origins_from_memory_reach_no_score(catalog: Catalog) -> None:
    """Scores and estimates read the wide traits: there an origin stands only if a source states it."""
    key = ["crop", "variety"]
    wide, varieties = catalog.traits().set_index(key), catalog.varieties().set_index(key)
    remembered = varieties["basis"].eq("from memory").reindex(wide.index)
    assert (varieties["origin"].notna().reindex(wide.index) & remembered).any()
    assert wide.loc[remembered, ["origin", "year"]].isna().all(axis=None)
    stated = varieties.loc[~varieties["basis"].eq("from memory"), "origin"].dropna()
    assert wide["origin"].dropna().to_dict() == stated.to_dict()


def test_wide_and_long_say_the_same(catalog: Catalog) -> None:
    wide = catalog.traits()
    for name in ("chill_hours", "ripening_offset"):
        long = catalog.settled_all().query("trait == @name")
        assert wide[name].notna().sum() == len(long)
        assert wide[name].sum() == pytest.approx(long["number"].sum())


def test_every_row_of_the_data_is_in_the_catalog_or_rejected(catalog: Catalog) -> None:
    """Lines are counted here by the csv module, apart from the reader under test."""
    import csv

    folder = datasets_folder()
    rejected = catalog.table("rejected")
    lost_rows = rejected[rejected["effect"].eq("row")].drop_duplicates(["file", "row"])
    for item in tables_of(read_descriptor(folder)):
        name = item["name"].replace("-", "_")
        table = catalog.table("evidence" if name == "traits" else name)
        for file in paths_of(item):
            with (folder / file).open(encoding="utf-8", newline="") as text:
                in_file = sum(1 for row in csv.reader(text) if row) - 1
            kept = int(table["_file"].eq(file).sum())
            assert in_file == kept + int(lost_rows["file"].eq(file).sum()), file


def test_account_of_the_build(catalog: Catalog) -> None:
    info = catalog.info
    assert info["schema_version"] == store.SCHEMA_VERSION
    assert info["counts"]["evidence"] == sum(
        each["rows_kept"] for each in info["files"] if each["file"].startswith("traits/")
    )
    assert info["counts"]["settled"] == len(catalog.settled_all())
    assert all(each["reason"] for each in info["set_aside"])
    assert json.dumps(info["counts"])
    assert pd.Timestamp(info["built_at"]).tzinfo is not None


def test_evidence_leads_to_its_source_and_line(catalog: Catalog) -> None:
    frame = catalog.evidence("quince")
    assert set(frame["crop"]) == {"quince"}
    assert frame["source_title"].notna().all()
    row = frame.iloc[0]
    line = (datasets_folder() / row["file"]).read_text(encoding="utf-8").splitlines()[row["row"] - 1]
    assert row["variety"] in line
    assert row["source_id"] in line


def test_modules_are_part_of_the_key() -> None:
    assert len(store.code_key()) == 64
    assert Path(build.__file__).parent == Path(store.__file__).parent
