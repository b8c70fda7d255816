"""Files are written in one way, are nobody else's while they are written, and two processes lose nothing."""

from __future__ import annotations

import ast
import contextlib
import os
import stat
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pandas as pd
import pytest

from recommender import open_catalog
from recommender.atlas.folder import AtlasFolder
from recommender.atlas.questions import Atlas
from recommender.atlas.run import run
from recommender.catalog.derived import derived_tables
from recommender.catalog.store import state_of
from recommender.errors import BadInput
from recommender.files import write_whole, written_whole
from recommender.nursery.decisions import Decisions
from recommender.suitability.site_file import read_site_file
from recommender.swap.event_file import Event, event_path, open_event, save_event
from recommender.swap.offers import Offer, Request
from tests.hardening.at_once import at_once, confirm_ten, decide, make_tables

ROOT = Path(__file__).parents[2]
# Who may write a file otherwise than by `files.write_whole`, and why that is whole or nothing all the same.
WRITERS = {
    "files.py": "the one way itself",
    "cli.py": "nothing: os.devnull in place of a stream that is closed",
    "atlas/folder.py": "Parquet into the private file of `written_whole`",
    "drawing_files.py": "a chart into the private file of `written_whole`",
    "catalog/store.py": "the catalog beside its place, then renamed, with a digest",
    "catalog/derived.py": "the same for derived tables, in a private folder",
    "swap/event_file.py": "the journal of confirmations, each line with its own digest",
    "climate/download.py": "what arrives, beside its place, taken up again, then renamed, with a digest",
    "suitability/site_file.py": "an uploaded site file in a private folder, to be read",
    "climate/profile.py": "Parquet into memory",
    "nursery/result_files.py": "a workbook into memory",
    "swap/cards_pdf.py": "a PDF into memory",
    "orchard/sheet_pdf.py": "a PDF into memory",
}
_WRITES = {
    "write_text",
    "write_bytes",
    "mkstemp",
    "mkdtemp",
    "NamedTemporaryFile",
    "TemporaryDirectory",
    "write_table",
}
_MAY_WRITE = {"save", "output", "to_csv", "to_parquet", "to_json", "to_excel", "savefig", "dump"}
_FORK = pytest.mark.skipif(os.name != "posix", reason="rights and forks are POSIX's")


def _writes(call: ast.Call) -> bool:
    name = call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")
    words = [
        part.value for part in call.args if isinstance(part, ast.Constant) and isinstance(part.value, str)
    ]
    if name == "open":
        return any(set(word) <= set("rwabx+t") and set(word) & set("wax") for word in words)
    return name in _WRITES or (name in _MAY_WRITE and bool(call.args))


def test_every_file_is_written_in_one_way() -> None:
    found = set()
    for path in (ROOT / "recommender").rglob("*.py"):
        calls = [
            node
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            if isinstance(node, ast.Call)
        ]
        if any(_writes(call) for call in calls):
            found.add(str(path.relative_to(ROOT / "recommender")))
    assert found - set(WRITERS) == set()


@_FORK
@pytest.mark.parametrize("mask", [0o000, 0o022, 0o077])
def test_rights_do_not_hang_on_who_else_writes(
    mask: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The mask of rights is one for the process: threads that read it at once must not keep another's."""
    real = os.umask

    def slow(wanted: int) -> int:
        held = real(wanted)
        time.sleep(0.001)  # Another thread's turn comes here, seldom or, as now, always.
        return held

    before = os.umask(mask)
    try:
        monkeypatch.setattr("os.umask", slow)
        with ThreadPoolExecutor(16) as pool:
            list(pool.map(lambda n: write_whole(tmp_path / f"{n}", "x"), range(40)))
        monkeypatch.undo()
        rights = {stat.S_IMODE(path.stat().st_mode) for path in tmp_path.iterdir()}
        assert rights == {0o666 & ~mask}
        assert os.umask(mask) == mask
    finally:
        os.umask(before)


@_FORK
def test_unfinished_files_are_private_and_in_the_folder_of_the_finished(tmp_path: Path) -> None:
    before = os.umask(0o000)
    try:
        with written_whole(tmp_path / "plan.json") as temporary:
            assert temporary.parent == tmp_path
            assert stat.S_IMODE(temporary.stat().st_mode) == 0o600
        seen: list[int] = []

        def watched() -> dict[str, pd.DataFrame]:
            return {"a": pd.DataFrame({"a": [1]})}

        from recommender.catalog import derived

        real = derived.digest_of

        def look(path: Path) -> str:
            seen.append(stat.S_IMODE(path.parent.stat().st_mode))
            return real(path)

        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(derived, "digest_of", look)
            derived_tables(open_catalog(), "rights", "1", watched).unlink()
        assert seen == [0o700]
        save_event(event_path("Spring swap", tmp_path / "data" / "events"), Event("Spring swap"))
        memory = Decisions(tmp_path / "kept" / "decisions.csv")
        memory.remember("katy", ("apple", "Katy"))
        memory.save()
        for folder in (tmp_path / "data" / "events", tmp_path / "kept"):
            assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    finally:
        os.umask(before)


def test_an_uploaded_site_file_is_gone_after_it_was_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    for raw in (b'[site]\nplace = "Geneva"\n', b"[site]\nnonsense = [\n"):
        with contextlib.suppress(BadInput):
            read_site_file(raw, "../../site.toml")
        assert list(tmp_path.iterdir()) == []


def test_two_processes_that_decide_and_confirm_lose_nothing(tmp_path: Path) -> None:
    decisions, event = tmp_path / "decisions.csv", tmp_path / "e.swap.json"
    offers = tuple(Offer(id=f"O{n}", person="Wren", variety="Discovery", crop="apple") for n in range(20))
    save_event(event, Event("e", offers, tuple(Request(id=f"R{n}", person=f"P{n}") for n in range(20))))
    works = [
        (decide, str(decisions), "wren"),
        (decide, str(decisions), "moss"),
        (confirm_ten, str(event), 0),
        (confirm_ten, str(event), 10),
    ]
    assert at_once(works) == [0, 0, 0, 0]
    assert len(Decisions(decisions)) == 30
    assert sorted(int(each.offer[1:]) for each in open_event(event).confirmed) == list(range(20))


def test_threads_that_begin_one_atlas_at_once_keep_each_others_warmings(tmp_path: Path) -> None:
    """Two runs of one folder: each asks for a warming of its own; both are worked, neither is lost."""
    site = {"name": ["Withy Hollow"], "region": [""], "country": [""], "lat": [50.9], "lon": [-3.1]}
    sites = pd.DataFrame({**site, "elevation_m": [60.0], "population": [300]})
    gate = threading.Barrier(2)

    def begin(warming: float) -> None:
        gate.wait()
        run(tmp_path / "atlas", sites, workers=0, years=2, crops=("quince",), warming=(warming,))

    with ThreadPoolExecutor(2) as pool:
        list(pool.map(begin, (0.0, 2.0)))
    folder = AtlasFolder(tmp_path / "atlas")
    assert folder.about().warming == (0.0, 2.0)
    assert len(Atlas(tmp_path / "atlas").change("quince", 2.0)) == 1
    assert all(folder.done(part) for part in folder.parts())


def test_two_processes_that_make_derived_tables_share_one_file(tmp_path: Path) -> None:
    open_catalog().close()
    cache = os.environ["ORCHARDWRIGHT_CACHE"]
    outs = [str(tmp_path / name) for name in ("a", "b")]
    assert at_once([(make_tables, cache, out) for out in outs]) == [0, 0]
    made = {Path(out).read_text(encoding="utf-8") for out in outs}
    assert len(made) == 1
    assert state_of(Path(made.pop())) == "sound"
