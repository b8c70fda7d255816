"""Files are written whole or not at all."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path

import pytest

from recommender.errors import StorageFault
from recommender.files import write_whole, written_whole


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
