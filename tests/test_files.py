"""Files are written whole or not at all."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path

import pytest

from recommender.errors import StorageFault
from recommender.files import one_at_a_time, write_whole, written_whole
from recommender.nursery.decisions import Decisions


def test_a_failure_while_writing_keeps_the_old_file_and_leaves_no_rest(tmp_path: Path) -> None:
    path = tmp_path / "plan.json"
    write_whole(path, "old")

    def half(temporary: Path) -> None:
        temporary.write_text("half of the new")
        raise ValueError("half way")

    with pytest.raises(ValueError, match="half way"), written_whole(path) as temporary:
        half(temporary)
    assert path.read_text() == "old"
    assert [each.name for each in tmp_path.iterdir()] == ["plan.json"]


def test_a_full_disk_is_told_with_the_remedy_and_the_old_file_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "cards.pdf"
    write_whole(path, b"old")

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(StorageFault, match="No space left on device") as told:
        write_whole(path, b"new", "Free some space")
    assert "Free some space" in str(told.value)
    assert path.read_bytes() == b"old"
    assert len(list(tmp_path.iterdir())) == 1


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(StorageFault, match=r"list\.csv"):
        write_whole(tmp_path / "nowhere" / "list.csv", "a")


@pytest.mark.skipif(os.name != "posix", reason="rights of files are POSIX's")
def test_the_half_written_file_is_private_and_the_whole_one_has_the_rights_of_a_new_file(
    tmp_path: Path,
) -> None:
    path = tmp_path / "list.csv"
    old = os.umask(0o022)
    try:
        with written_whole(path) as temporary:
            assert stat.S_IMODE(temporary.stat().st_mode) == 0o600
            temporary.write_text("a")
        assert stat.S_IMODE(path.stat().st_mode) == 0o644
        path.chmod(0o640)
        write_whole(path, "b")
        assert stat.S_IMODE(path.stat().st_mode) == 0o640
    finally:
        os.umask(old)


@pytest.mark.skipif(os.name != "posix", reason="links need rights on Windows")
@pytest.mark.parametrize("there", [True, False])
def test_a_link_is_followed_and_stays(tmp_path: Path, there: bool) -> None:
    (tmp_path / "kept").mkdir()
    target, link = tmp_path / "kept" / "list.csv", tmp_path / "link.csv"
    if there:
        target.write_text("old")
    link.symlink_to(target)
    with one_at_a_time(link, "the list", "Wait"):
        assert (tmp_path / "kept" / "list.csv.lock").exists()
        write_whole(link, "new")
    assert link.is_symlink()
    assert target.read_text() == "new"
    assert {each.name for each in tmp_path.iterdir()} == {"kept", "link.csv"}


@pytest.mark.skipif(os.name != "posix", reason="links need rights on Windows")
def test_decisions_are_kept_behind_a_link(tmp_path: Path) -> None:
    link = tmp_path / "link.csv"
    link.symlink_to(tmp_path / "decisions.csv")
    kept = Decisions(link)
    kept.remember("Withy Wonder", ("apple", "Discovery"))
    kept.save()
    assert link.is_symlink()
    assert Decisions(tmp_path / "decisions.csv").find("Withy Wonder") == ("apple", "Discovery")


@pytest.mark.skipif(os.name != "posix", reason="pipes with a name are POSIX's")
@pytest.mark.parametrize(("kind", "words"), [("pipe", "a device or a pipe"), ("folder", "a folder")])
@pytest.mark.parametrize("by_link", [False, True])
def test_what_is_no_file_is_refused_and_stays(tmp_path: Path, kind: str, words: str, by_link: bool) -> None:
    path = tmp_path / "there"
    if kind == "pipe":
        os.mkfifo(path)
    else:
        path.mkdir()
    if by_link:
        path = tmp_path / "link"
        path.symlink_to(tmp_path / "there")
    before = {each.name: each.lstat().st_mode for each in tmp_path.iterdir()}
    with pytest.raises(StorageFault, match=f"is {words}, not a file"):
        write_whole(path, "new")
    with pytest.raises(StorageFault, match=f"is {words}, not a file"):
        Decisions(path)
    with pytest.raises(StorageFault, match=words), one_at_a_time(path, "the list", "Wait"):
        pass
    assert {each.name: each.lstat().st_mode for each in tmp_path.iterdir()} == before


@pytest.mark.parametrize("name", ["a" * 249 + ".json", "é" * 125 + ".csv", "a." + "b" * 250])
def test_a_name_as_long_as_a_folder_takes_is_written(tmp_path: Path, name: str) -> None:
    write_whole(tmp_path / name, "new")
    assert [each.name for each in tmp_path.iterdir()] == [name]
