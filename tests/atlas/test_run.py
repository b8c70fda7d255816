"""An atlas holds what single-site ranking says, whole after a stop, a worker's death, or work done twice."""

from __future__ import annotations

import os
import signal
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import duckdb
import numpy as np
import pandas as pd
import pytest

from recommender import Goals, Site, open_catalog, rank
from recommender.atlas import run as running
from recommender.atlas.folder import AtlasFolder, Part
from recommender.atlas.questions import Atlas
from recommender.atlas.run import Report, run
from recommender.climate.normals import normals_at
from recommender.climate.profile import build_profile
from recommender.errors import BadInput, StorageFault, UnknownName

if TYPE_CHECKING:
    from distributed import Client

YEARS, CROPS = 4, ("apple", "quince")
SITES = pd.DataFrame(
    {
        "name": ["Geneva", "Gulf", "At sea", "Winnipeg", "Hobart"],
        "region": "",
        "country": "",
        "lat": [42.87, 30.52, 45.0, 50.0, -43.0],
        "lon": [-76.99, -87.9, -40.0, -97.2, 147.0],
        "elevation_m": [138.0, 30.0, np.nan, 230.0, 50.0],
        "population": [13000, 10, 0, 700000, 200000],
    }
)


def made(folder: Path, **options: Any) -> Report:
    wanted: dict[str, Any] = {"workers": 0, "block": 2, "years": YEARS, "crops": CROPS, "warming": (0.0, 2.0)}
    return run(folder, SITES, **{**wanted, **options})


def scores_in(folder: Path) -> pd.DataFrame:
    files = str(folder / "scores" / "*" / "*" / "block-*.parquet")
    return duckdb.execute(
        "SELECT warming::DOUBLE AS warming, crop, site, variety::VARCHAR AS variety, score, "
        "verdict::VARCHAR AS verdict FROM read_parquet(?, hive_partitioning = true) ORDER BY ALL",
        [files],
    ).df()


@pytest.fixture(scope="module")
def atlas(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("atlas") / "whole"
    report = made(folder)
    assert report.parts == 6
    assert report.kept == 0
    assert [(each["site"], each["name"]) for each in report.without_climate] == [(3, "At sea")]
    return folder


@pytest.mark.parametrize("warming", [0.0, 2.0])
def test_scores_and_verdicts_are_those_of_single_site_ranking(atlas: Path, warming: float) -> None:
    held, sites = scores_in(atlas), AtlasFolder(atlas).sites()
    assert len(sites) == len(SITES)
    for place in sites.to_dict("records"):
        rows = held[(held["site"] == place["site"]) & (held["warming"] == warming)]
        if place["name"] == "At sea":
            assert rows.empty
            continue
        lat, lon, height = (float(place[name]) for name in ("lat", "lon", "elevation_m"))
        normals = normals_at(lat, lon, height)
        site = Site(lat=lat, lon=lon, elevation_m=height, neighbours_have_fruit_trees="yes")
        profile = build_profile(normals, YEARS, warming_degC=warming)
        alone = rank(site, Goals(crops=CROPS), open_catalog(), profile).frame
        both = rows.merge(alone, on=["crop", "variety"], suffixes=("", "_alone"))
        assert len(both) == len(alone) == len(rows)
        assert np.abs(both["score"] - both["score_alone"]).max() <= 1e-6
        assert (both["verdict"] == both["verdict_alone"]).all()


def test_a_run_that_was_stopped_goes_on_and_ends_the_same(atlas: Path, tmp_path: Path) -> None:
    class Stopped(Exception):
        pass

    def stop(what: str, share: float) -> None:
        if share > 0.3:
            raise Stopped

    with pytest.raises(Stopped):
        made(tmp_path / "a", progress=stop)
    done = [part for part in AtlasFolder(tmp_path / "a").parts() if AtlasFolder(tmp_path / "a").done(part)]
    assert 0 < len(done) < 6
    # What a kill in the middle of a part leaves: a file half written under its private name, no mark.
    folder = tmp_path / "a" / "scores" / "warming=0.0" / "crop=apple"
    (folder / ".block-00002.part.parquet").write_bytes(b"PAR1 half")
    report = made(tmp_path / "a")
    assert report.kept == len(done)
    assert report.parts == 6 - len(done)
    pd.testing.assert_frame_equal(scores_in(tmp_path / "a"), scores_in(atlas))


def test_a_part_is_made_again_from_its_kept_climates(atlas: Path) -> None:
    before, folder = scores_in(atlas), AtlasFolder(atlas)
    part = Part(0.0, 1)
    first = folder.done(part)
    assert first is not None
    assert first["stored"] is False
    (atlas / "done" / part.folder / f"{part.stem}.json").unlink()
    for path in (atlas / "scores" / part.folder).rglob(f"{part.stem}.parquet"):
        path.unlink()
    assert made(atlas).parts == 1
    again = folder.done(part)
    assert again is not None
    assert again["stored"] is True
    # A kept file that is not whole is worked out anew, not believed.
    (atlas / "climates" / part.folder / f"{part.stem}.parquet").write_bytes(b"PAR1")
    (atlas / "done" / part.folder / f"{part.stem}.json").unlink()
    assert made(atlas).parts == 1
    pd.testing.assert_frame_equal(scores_in(atlas), before)


def test_a_folder_of_another_atlas_is_left_alone(atlas: Path) -> None:
    before = (atlas / "atlas.json").read_bytes()
    with pytest.raises(BadInput, match="other sites"):
        made(atlas, preset="nursery")
    with pytest.raises(BadInput, match="beyond 10 degrees"):
        made(atlas, warming=(20.0,))
    with pytest.raises(UnknownName, match="crop"):
        made(atlas, crops=("toast",))
    assert (atlas / "atlas.json").read_bytes() == before
    with pytest.raises(BadInput, match="no atlas"):
        Atlas(atlas / "scores")
    with pytest.raises(StorageFault, match="cannot be made"):
        made(atlas / "atlas.json" / "in a file")


def test_the_three_questions(atlas: Path) -> None:
    asked, held = Atlas(atlas), scores_in(atlas)
    now, later = held[held["warming"] == 0.0], held[held["warming"] == 2.0]
    assert asked.share_done == 1.0
    assert asked.crops() == ["apple", "quince"]
    sound = now[(now["crop"] == "apple") & (now["verdict"] == "sound")]
    variety = str(sound["variety"].mode().iloc[0])
    where = asked.where("apple", variety.upper())
    assert sorted(where["site"]) == sorted(sound.loc[sound["variety"] == variety, "site"])
    assert where["score"].is_monotonic_decreasing
    by_place = asked.sound_by_place("apple").set_index("site")["sound"]
    assert by_place.to_dict() == {
        site: int((sound["site"] == site).sum()) for site in sorted(now["site"].unique())
    }
    change = asked.change("apple", 2.0).set_index("site")
    warm = later[(later["crop"] == "apple") & (later["verdict"] == "sound")]
    assert change["sound_after"].sum() == len(warm)
    assert (change["change"] == change["sound_after"] - change["sound_before"]).all()
    moved = asked.change("apple", 2.0, by="variety")
    assert (moved["sound_after"] - moved["sound_before"] == moved["won"] - moved["lost"]).all()
    with pytest.raises(UnknownName, match="variety in this atlas"):
        asked.where("apple", "'; DROP TABLE sites --")
    with pytest.raises(UnknownName, match="crop in this atlas"):
        asked.sound_by_place("pear")
    with pytest.raises(BadInput, match="no years warmer"):
        asked.change("apple", 5.0)


def test_maps_show_the_places_and_say_so(atlas: Path) -> None:
    from recommender.charts_atlas import atlas_map

    asked = Atlas(atlas)
    for question, found in (("sound", asked.sound_by_place("apple")), ("change", asked.change("apple"))):
        picture = atlas_map(found, question, "Apples")
        assert picture is not None
        drawn = picture.chart.to_dict()
        ground, dots = drawn["layer"]
        assert len(dots["data"]["values"]) == len(SITES) - 1
        assert len(ground["data"]["values"][0]["geometry"]["coordinates"]) > 100
        assert "Geneva" in picture.alt_text or "Hobart" in picture.alt_text or "Gulf" in picture.alt_text
    assert atlas_map(asked.sound_by_place("apple").head(0), "sound", "None") is None


def test_the_commands_say_what_was_done_and_found(
    atlas: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from recommender.cli import main

    path = tmp_path / "list.csv"
    path.write_text("name,lat,lon\nWithy Hollow,50.9,-3.1\n", encoding="utf-8")
    with pytest.raises(SystemExit, match="0"):
        main(f"atlas run {tmp_path / 'b'} --list {path} --crop quince --workers 0".split())
    assert "scores at 1 sites" in capsys.readouterr().out
    with pytest.raises(SystemExit, match="0"):
        main(f"atlas query {tmp_path / 'b'} sound --crop quince".split())
    assert "Withy Hollow" in capsys.readouterr().out
    for wrong in (
        "atlas run x",
        f"atlas query {atlas} why --crop apple",
        f"atlas query {atlas} where --crop apple",
    ):
        with pytest.raises(SystemExit, match="2"):
            main(wrong.split())
    told = capsys.readouterr().err
    assert "Traceback" not in told
    assert "Give one of --country" in told


def test_what_a_run_says_can_be_copied_and_steers_no_terminal(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from recommender.cli import main

    path, folder = tmp_path / "list.csv", tmp_path / "my atlas"
    path.write_text(
        "name,lat,lon\nWithy\x1b[31m\u202e Hollow,50.9,-3.1\nBuoy\x1b[31m,45,-40\n", encoding="utf-8"
    )
    with pytest.raises(SystemExit, match="0"):
        main(["atlas", "run", str(folder), "--list", str(path), "--crop", "quince", "--workers", "0"])
    told = capsys.readouterr().out
    assert f"orchardwright atlas query '{folder}' sound --crop quince\n" in told
    assert "such as Buoy[31m: " in told
    with pytest.raises(SystemExit, match="0"):
        main(["atlas", "query", str(folder), "sound", "--crop", "quince"])
    told += capsys.readouterr().out
    assert "Withy[31m Hollow" in told
    assert not {"\x1b", "\u202e"} & set(told)


def test_what_starts_workers_hears_ctrl_c_again_afterwards() -> None:
    before = signal.getsignal(signal.SIGINT)
    with running._deaf_to_ctrl_c():
        assert signal.getsignal(signal.SIGINT) is signal.SIG_IGN
    assert signal.getsignal(signal.SIGINT) is before


def test_ctrl_c_ends_a_run_with_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from recommender.cli import main

    def stopped(*_: object, **__: object) -> Report:
        raise KeyboardInterrupt

    monkeypatch.setattr(running, "run", stopped)
    with pytest.raises(SystemExit, match="130"):
        main(["atlas", "run", str(tmp_path / "e"), "--country", "LU", "--workers", "0"])
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err == "Stopped. The same command goes on where this ended.\n"


def test_workers_that_die_lose_nothing(atlas: Path, tmp_path: Path) -> None:
    pytest.importorskip("distributed", reason="Dask is not installed (orchardwright[atlas])")
    killed: list[int] = []
    deaf: list[bool] = []

    def kill_one(what: str, share: float) -> None:
        """Kills a worker that is at work, once, as soon as parts come in."""
        if share > 0.1 and not killed:
            for pid in _children(os.getpid()):
                if b"spawn_main" in Path(f"/proc/{pid}/cmdline").read_bytes():
                    deaf.append(_ignores_ctrl_c(pid))
                    os.kill(pid, signal.SIGKILL)
                    killed.append(pid)
                    return

    if not Path("/proc/self/cmdline").exists():
        pytest.skip("Workers are found by /proc, which this system has not")
    report = made(tmp_path / "killed", workers=2, progress=kill_one)
    assert killed, "no worker was found to kill"
    assert deaf == [True]
    assert report.parts == 6
    pd.testing.assert_frame_equal(scores_in(tmp_path / "killed"), scores_in(atlas))


def _ignores_ctrl_c(pid: int) -> bool:
    status = Path(f"/proc/{pid}/status").read_text()
    ignored = next(line.split()[1] for line in status.splitlines() if line.startswith("SigIgn:"))
    return bool(int(ignored, 16) >> (signal.SIGINT - 1) & 1)


def _children(pid: int) -> list[int]:
    """Processes below a process, by /proc."""
    found = []
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = path.read_text().rpartition(")")[2].split()
        except OSError:
            continue
        if int(fields[1]) == pid:
            child = int(path.parent.name)
            found += [child, *_children(child)]
    return found


def test_a_scheduler_that_does_not_answer_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("distributed", reason="Dask is not installed (orchardwright[atlas])")
    monkeypatch.setattr(running, "ANSWERS_WITHIN", "1s")
    with pytest.raises(BadInput, match="No scheduler answers"):
        made(tmp_path / "c", scheduler="tcp://127.0.0.1:9")


@pytest.mark.parametrize(
    ("problem", "remedy"),
    [
        (TypeError("TLS expects a `ssl_context`"), "tcp://"),
        (ValueError("missing port number"), "dask scheduler"),
        # The first bytes of a web server's answer, taken for a length.
        (MemoryError("Unable to allocate 3.07 EiB"), "dask scheduler"),
    ],
)
def test_an_address_that_dask_cannot_use_is_told(
    problem: Exception, remedy: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    distributed = pytest.importorskip("distributed", reason="Dask is not installed (orchardwright[atlas])")

    # No client of Dask's: one that failed stays about and can hold up those made later in this process.
    def failing(*_: object, **__: object) -> None:
        raise problem

    monkeypatch.setattr(distributed, "Client", failing)
    with pytest.raises(BadInput, match="No scheduler answers at tls://a:1") as told:
        next(running.worked(tmp_path, [Part(0.0, 0)], None, "tls://a:1"))
    assert remedy in told.value.remedy


def test_a_scheduler_without_workers_is_told() -> None:
    class Idle:
        def wait_for_workers(self, count: int, timeout: float) -> None:
            assert (count, timeout) == (1, running.WORKERS_WITHIN_S)
            raise TimeoutError

    with pytest.raises(BadInput, match=r"No worker came .* Start workers with `dask worker tcp://a:1`"):
        running._wait_for_workers(cast("Client", Idle()), "tcp://a:1")


def test_without_dask_the_remedy_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import sys

    monkeypatch.setitem(sys.modules, "dask", None)
    with pytest.raises(BadInput, match="needs Dask"):
        made(tmp_path / "d", workers=2)
