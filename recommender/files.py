"""Files written whole or not at all, and JSON that is read without harm.

In come a path and its content; out goes the file. The content is written to a private file in the same
folder, flushed to the disk and put in place by one rename, so that a crash, a full disk or a power cut leaves
either what was there before or the new file, never half of one.
"""

from __future__ import annotations

import codecs
import contextlib
import os
import tempfile
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from recommender.errors import StorageFault

# A process has one mask of rights, which can only be read by setting it.
_ONE_READS_THE_MASK = threading.Lock()
LOCK_WAIT_S = 20.0
_STEM_KEPT = 40
_LONGEST_ENDING = 20


def write_whole(path: Path, content: bytes | str, remedy: str = "Name a folder you may write to") -> None:
    """Write `content` (text as UTF-8) to `path`. Raises StorageFault; what was there before is kept."""
    raw = content.encode("utf-8") if isinstance(content, str) else content
    with written_whole(path, remedy) as temporary:
        temporary.write_bytes(raw)


@contextlib.contextmanager
def written_whole(path: Path, remedy: str = "Name a folder you may write to") -> Iterator[Path]:
    """A private file to write; at the end of the block it takes the place of `path`, or of the file that
    `path` is a link to. Raises StorageFault."""
    path = real_file(Path(path))
    try:
        # The ending stays, because writers choose a format by it; a name may be as long as a folder takes.
        ending = path.suffix if len(path.suffix) <= _LONGEST_ENDING else ""
        handle, name = tempfile.mkstemp(
            dir=path.parent, prefix=f".{path.stem[:_STEM_KEPT]}.", suffix=f".part{ending}"
        )
        os.close(handle)
        temporary = Path(name)
        try:
            yield temporary
            _flush(temporary, os.O_RDWR)
            temporary.chmod(_mode_for(path))
            temporary.replace(path)
            flush_folder(path.parent)
        except BaseException:
            temporary.unlink(missing_ok=True)
            raise
    except OSError as problem:
        raise StorageFault(
            f"“{path.name}” could not be written ({problem.strerror or problem}); what was there is kept",
            where=str(path),
            remedy=remedy,
        ) from problem


def real_file(path: Path) -> Path:
    """The file that `path` leads to through links, be it there or not. Raises StorageFault if a folder, a
    device or a pipe is there."""
    target = Path(os.path.realpath(path))
    # What may not be looked at is told by whoever reads or writes it.
    with contextlib.suppress(OSError):
        if target.is_file() or not target.exists():
            return target
        kind = "a folder" if target.is_dir() else "a device or a pipe"
        raise StorageFault(f"“{path.name}” is {kind}, not a file", where=str(path), remedy="Name a file")
    return target


@contextlib.contextmanager
def one_at_a_time(path: Path, what: str, remedy: str) -> Iterator[None]:
    """No other process writes to the file meanwhile, under whatever link; its folder is made, open to nobody
    else.

    what: the content in words, as "the event". Raises StorageFault if another holds it for LOCK_WAIT_S, or
    if it cannot be written.
    """
    from filelock import FileLock, Timeout

    target = real_file(path)
    try:
        private_folder(target.parent)
        with FileLock(target.with_name(target.name + ".lock"), timeout=LOCK_WAIT_S):
            yield
    except Timeout:
        raise StorageFault(
            f"Somebody else is saving {what}", where=str(path), remedy="Wait a moment and try again"
        ) from None
    except OSError as problem:
        raise StorageFault(
            f"{what[:1].upper()}{what[1:]} cannot be read or written: {problem.strerror or problem}",
            where=str(path),
            remedy=remedy,
        ) from None


def json_of(raw: bytes) -> Any:
    """What JSON in UTF-8 holds, in plain types.

    Raises ValueError for what is no JSON, NaN and Infinity among it, and for brackets nested too deep and
    letters that are none. A number such as 1e999 is inf all the same.
    """
    from pydantic_core import from_json

    return from_json(raw.removeprefix(codecs.BOM_UTF8), allow_inf_nan=False)


def flush_folder(folder: Path) -> None:
    """Have the system put the folder's list of names on the disk, where it can."""
    # Windows cannot open a folder; there the rename itself is what there is.
    with contextlib.suppress(OSError):
        _flush(folder, os.O_RDONLY)


def _flush(path: Path, how: int) -> None:
    handle = os.open(path, how)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _mode_for(path: Path) -> int:
    """The rights of the file that is replaced, else those a new file of this user gets."""
    with contextlib.suppress(FileNotFoundError):
        return path.stat().st_mode & 0o777
    with _ONE_READS_THE_MASK:
        mask = os.umask(0o077)
        os.umask(mask)
    return 0o666 & ~mask


def private_folder(path: Path) -> None:
    """Make a folder that nobody else may look into; one that is there keeps its rights. Raises OSError."""
    if not path.is_dir():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.mkdir(mode=0o700, exist_ok=True)
