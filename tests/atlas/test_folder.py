"""The folder of an atlas is believed only where it is whole and of the atlas that is asked for."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from recommender.atlas import folder as layout
from recommender.atlas import run as running
from recommender.atlas import work as working
from recommender.atlas.folder import AtlasFolder, Part
from recommender.atlas.questions import Atlas
from recommender.atlas.run import Report, run
from recommender.errors import BadInput, OrchardwrightError, StorageFault
from recommender.files import json_of
from recommender.outputs import json_text

PLACES = pd.DataFrame(
    {
        "name": ["Withy Hollow", "Upper Withy", "Far Ford", "South Withy"],
        "region": "",
        "country": "",
        "lat": [50.9, 51.4, 52.1, -43.0],
        "lon": [-3.1, -2.6, -1.4, 147.0],
        "elevation_m": [60.0, 50.0, np.nan, 50.0],
        "population": [300, 200, 100, 20],
    }
)


def made(folder: Path, places: pd.DataFrame = PLACES[:2], **options: Any) -> Report:
    wanted: dict[str, Any] = {"workers": 0, "block": 1, "years": 2, "crops": ("quince",)}
    return run(folder, places, **{**wanted, **options})


def sound(folder: Path, warming: float = 0.0) -> pd.DataFrame:
    return Atlas(folder).sound_by_place("quince", warming)


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("atlas") / "whole"
    assert made(folder).parts == 2
    return folder


@pytest.fixture
def copied(whole: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(whole, tmp_path / "copied"))


@pytest.mark.parametrize("warming", [np.nan, np.inf, -10.1])
def test_a_warming_that_cannot_be_changes_nothing(copied: Path, warming: float) -> None:
    before = (copied / "atlas.json").read_bytes()
    with pytest.raises(BadInput, match="beyond 10 degrees"):
        made(copied, warming=(0.0, warming))
    assert (copied / "atlas.json").read_bytes() == before


def test_a_warming_of_almost_nought_is_nought(copied: Path) -> None:
    assert made(copied, warming=(-0.04,)).kept == 2
    assert Atlas(copied).about.warming == (0.0,)
    pd.testing.assert_frame_equal(sound(copied, -0.0), sound(copied))
    pd.testing.assert_frame_equal(sound(copied, 0.04), sound(copied))


@pytest.mark.parametrize("options", [{"places": PLACES[2:]}, {"block": 2}, {"years": 3}])
def test_kept_climates_of_something_else_are_not_believed(
    whole: Path, tmp_path: Path, options: dict[str, Any]
) -> None:
    shutil.copytree(whole / "climates", tmp_path / "copied" / "climates")
    made(tmp_path / "copied", **options)
    made(tmp_path / "fresh", **options)
    pd.testing.assert_frame_equal(sound(tmp_path / "copied"), sound(tmp_path / "fresh"))


def test_kept_climates_of_the_same_sites_serve_other_wishes(whole: Path, tmp_path: Path) -> None:
    shutil.copytree(whole / "climates", tmp_path / "copied" / "climates")
    made(tmp_path / "copied", preset="nursery")
    marks = [AtlasFolder(tmp_path / "copied").done(Part(0.0, block)) or {} for block in (0, 1)]
    assert [mark["stored"] for mark in marks] == [True, True]


@pytest.mark.parametrize("options", [{"places": PLACES[2:]}, {"preset": "nursery", "neighbours": "no"}])
def test_parts_of_another_atlas_are_not_done(copied: Path, tmp_path: Path, options: dict[str, Any]) -> None:
    (copied / "atlas.json").unlink()
    assert made(copied, **options).kept == 0
    made(tmp_path / "fresh", **options)
    pd.testing.assert_frame_equal(sound(copied), sound(tmp_path / "fresh"))


@pytest.mark.parametrize("held", [None, b"PAR1", b""])
def test_a_lost_or_cut_file_is_seen_and_made_again(whole: Path, copied: Path, held: bytes | None) -> None:
    path = AtlasFolder(copied).scores(Part(0.0, 1), "quince")
    path.unlink()
    if held is not None:
        path.write_bytes(held)
    assert Atlas(copied).share_done == 0.5
    assert len(sound(copied)) == 1
    assert made(copied).parts == 1
    pd.testing.assert_frame_equal(sound(copied), sound(whole))


def test_a_damaged_file_of_the_right_length_is_told_and_the_remedy_helps(whole: Path, copied: Path) -> None:
    path = AtlasFolder(copied).scores(Part(0.0, 1), "quince")
    path.write_bytes(b"\0" * path.stat().st_size)
    with pytest.raises(StorageFault, match="cannot be read") as told:
        sound(copied)
    assert "Remove the folder scores" in str(told.value)
    shutil.rmtree(copied / "scores")
    assert made(copied).parts == 2
    pd.testing.assert_frame_equal(sound(copied), sound(whole))


@pytest.mark.parametrize("name", ["site=5", "score=2", "name=x", "country=zz", "variety=Vranja"])
def test_names_of_folders_are_no_columns(whole: Path, tmp_path: Path, name: str) -> None:
    shutil.copytree(whole, tmp_path / name / "atlas")
    moved, here = Atlas(tmp_path / name / "atlas"), Atlas(whole)
    variety = here.varieties("quince")[0]
    all_verdicts = ("sound", "with care", "doubtful", "ruled out")
    pd.testing.assert_frame_equal(
        moved.where("quince", variety, 0.0, all_verdicts), here.where("quince", variety, 0.0, all_verdicts)
    )
    pd.testing.assert_frame_equal(sound(tmp_path / name / "atlas"), sound(whole))


def test_two_versions_are_not_mixed(copied: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (copied / "done" / "warming=0.0" / "block-00001.json").unlink()
    monkeypatch.setattr(working, "method_key", lambda: "another")
    with pytest.raises(BadInput, match="version of Orchardwright"):
        working.work(str(copied), 0.0, 1)
    monkeypatch.setattr(running, "method_key", lambda: "another")
    with pytest.raises(BadInput, match="another version"):
        made(copied)


def test_the_method_is_told_apart_by_its_data(small_data: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from recommender.atlas import method

    monkeypatch.setattr(method, "datasets_folder", lambda: small_data)
    keys = {method.method_key()}
    for content in (b"one", b"two"):
        (small_data / "climate_grid.parquet").write_bytes(content)
        keys.add(method.method_key())
    assert len(keys) == 3


def test_a_part_reads_the_sites_of_its_block(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(layout, "SITES_TOGETHER", 3)
    many = pd.concat([PLACES] * 4, ignore_index=True)
    about = layout.About("key", "key", 16, 1, "beginner", "yes", (), (0.0,), years=2, seed=1, block=5)
    atlas = AtlasFolder(tmp_path)
    atlas.begin(about, many, pd.DataFrame({"crop": ["quince"], "variety": ["Vranja"]}))
    for block in range(about.blocks):
        expected = many.iloc[block * 5 : block * 5 + 5].reset_index(drop=True)
        pd.testing.assert_frame_equal(atlas.sites_of(block, 5), expected)
    (tmp_path / "sites.parquet").write_bytes(b"PAR1")
    with pytest.raises(StorageFault, match="cannot be read"):
        atlas.sites_of(0, 5)


@pytest.mark.parametrize(
    "change",
    [
        {"of": "another"},
        {"bytes": None},
        {"bytes": {"../quince": 5}},
        {"bytes": {"quince": "long"}},
        {"without_climate": None},
        {"without_climate": [5]},
        {"without_climate": [{"site": 1}]},
        {"pairs": "many"},
    ],
)
def test_a_mark_that_no_run_writes_is_none(copied: Path, change: dict[str, object]) -> None:
    path = copied / "done" / "warming=0.0" / "block-00000.json"
    path.write_text(json_text({**json_of(path.read_bytes()), **change}), encoding="utf-8")
    assert AtlasFolder(copied).done(Part(0.0, 0)) is None
    assert Atlas(copied).share_done == 0.5
    path.write_text("[5]", encoding="utf-8")
    assert AtlasFolder(copied).done(Part(0.0, 0)) is None


@pytest.mark.parametrize("warming", [[0.0] * 2000, [0.01 * step for step in range(900)], [None]])
def test_warmings_that_no_run_writes_are_refused(copied: Path, warming: list[float | None]) -> None:
    held = json_of((copied / "atlas.json").read_bytes())
    (copied / "atlas.json").write_text(json_text({**held, "warming": warming}), encoding="utf-8")
    with pytest.raises(StorageFault, match="cannot be read"):
        Atlas(copied)


def test_what_cannot_be_written_is_told(copied: Path, tmp_path: Path) -> None:
    shutil.rmtree(copied / "done")
    (copied / "done").write_bytes(b"")
    with pytest.raises(StorageFault, match="cannot be finished"):
        made(copied)
    (copied / "atlas.json.lock").unlink(missing_ok=True)
    (copied / "atlas.json.lock").mkdir()
    with pytest.raises(StorageFault, match="This atlas cannot be read or written: Is a directory"):
        made(copied)
    for folder in (tmp_path / ("n" * 300), tmp_path / "copied" / "atlas.json" / "inside"):
        with pytest.raises(OrchardwrightError):
            made(folder)
        with pytest.raises(OrchardwrightError):
            Atlas(folder)
