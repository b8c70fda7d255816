"""The catalog file: built once from the open data, opened read-only, always of the data it is asked for.

Comes in: the folder of the open data and a cache folder. Goes out: a `Catalog` over one DuckDB file that
holds every table as read, the settled values, the wide table of traits and an account of the build.
The file's name carries a key of data, schema and code; it is written beside and put in place whole, under
a lock. A damaged file is noticed by its digest and built again.
"""

from __future__ import annotations

import atexit
import errno
import functools
import hashlib
import os
import shutil
import tempfile
import warnings
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from recommender.catalog.package import content_key, datasets_folder, folder_named_by
from recommender.errors import StorageFault

if TYPE_CHECKING:
    from recommender.catalog.catalog import Catalog

SCHEMA_VERSION = 2
"""Raise it when a table or column of the catalog file changes its name or meaning."""

ENV_CACHE = "ORCHARDWRIGHT_CACHE"
LOCK_TIMEOUT_S = 300.0
Progress = Callable[[str, float], None]
_OPEN: Counter[str] = Counter()
_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}


class CatalogNotice(UserWarning):
    """Something a user should know about the catalog file, though it works: rebuilt, or kept elsewhere."""


def open_catalog(
    datasets: Path | None = None, cache: Path | None = None, progress: Progress | None = None
) -> Catalog:
    """The catalog of the open data in `datasets`; builds its file in `cache` if there is none of them yet.

    cache: default the environment's ORCHARDWRIGHT_CACHE, else the user's cache folder. If it cannot be
    written, a private temporary folder serves for this run, and a `CatalogNotice` says so.
    progress: called with what is being done and how much of it is done (0 to 1), only while building.

    Raises DataFaults if the data cannot be used, StorageFault if the file can nowhere be read or written.
    """
    folder = Path(datasets) if datasets is not None else datasets_folder()
    name = _file_name(folder)
    place = Path(cache) if cache is not None else default_cache()
    for candidate in (place, *_private_folder_if_made()):
        if state_of(candidate / name) == "sound":
            return _opened(candidate / name)
    try:
        return _opened(_build_in(place, name, folder, progress))
    except _NotWritableError as problem:
        fallback = private_folder()
        warnings.warn(
            f"The cache folder cannot be written ({problem}); this run keeps its catalog in a temporary "
            f"folder and builds it anew. Set {ENV_CACHE} to a folder you can write to.",
            CatalogNotice,
            stacklevel=2,
        )
        try:
            return _opened(_build_in(fallback, name, folder, progress))
        except _NotWritableError as again:
            raise StorageFault(
                "The catalog can be written neither to the cache folder nor to a temporary one",
                where=f"{problem}; {again}",
                remedy=f"Set {ENV_CACHE} to a folder you can write to",
            ) from again


def default_cache() -> Path:
    """ORCHARDWRIGHT_CACHE, else the user's cache folder of this system. Raises StorageFault."""
    named = folder_named_by(ENV_CACHE)
    if named:
        return named
    from platformdirs import user_cache_dir

    return Path(user_cache_dir("orchardwright"))


def state_of(path: Path) -> str:
    """ "absent", "sound" (its digest matches) or "damaged"."""
    try:
        stated = path.with_suffix(".digest").read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError):
        stated = ""
    try:
        actual = digest_of(path)
    except FileNotFoundError:
        return "absent"
    except OSError:
        return "damaged" if _is_folder(path.parent) else "absent"
    return "sound" if actual == stated else "damaged"


def _is_folder(path: Path) -> bool:
    try:
        return path.is_dir()
    except OSError:
        return False


class _NotWritableError(Exception):
    """The folder cannot be written at all; carries the folder and the system's words."""


def _file_name(folder: Path) -> str:
    whose = hashlib.sha256(str(folder.resolve()).encode()).hexdigest()[:8]
    estimates = folder / "estimates.parquet"
    try:
        guessed = digest_of(estimates) if estimates.is_file() else ""
    except OSError as problem:
        raise StorageFault(
            f"{estimates.name} cannot be read ({problem.strerror or problem})",
            where=str(folder),
            remedy="Check its permissions",
        ) from problem
    made_of = f"{content_key(folder)}\0{guessed}\0{SCHEMA_VERSION}\0{code_key()}"
    key = hashlib.sha256(made_of.encode()).hexdigest()[:16]
    return f"catalog-{whose}-{key}.duckdb"


@functools.lru_cache(maxsize=1)
def code_key() -> str:
    """Digest of the modules that make the catalog, so that changed code never serves an old file."""
    digest = hashlib.sha256()
    for path in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(path.name.encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()


def digest_of(path: Path) -> str:
    """Digest of a file, as it stands in the .digest beside it."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "blake2b").hexdigest()


def _build_in(place: Path, name: str, folder: Path, progress: Progress | None) -> Path:
    """Build the file in `place` unless another process just did. Raises _NotWritableError, StorageFault."""
    from filelock import FileLock, Timeout

    path = place / name
    lock = FileLock(place / "catalog.lock", timeout=LOCK_TIMEOUT_S)
    try:
        place.mkdir(parents=True, exist_ok=True)
        lock.acquire()
    except Timeout as problem:
        raise StorageFault(
            "Another process has been building the catalog for five minutes",
            where=str(lock.lock_file),
            remedy="End that process, then try again",
        ) from problem
    except OSError as problem:
        raise _fault_or_not_writable(problem, place) from problem
    try:
        state = state_of(path)
        if state == "sound":
            return path
        if state == "damaged":
            warnings.warn(
                f"The catalog file was damaged or half written and is built again ({path}).",
                CatalogNotice,
                stacklevel=3,
            )
        for leftover in place.glob("*.building*"):
            leftover.unlink(missing_ok=True)
        _write(path, folder, progress)
        _remove_old(path)
        return path
    finally:
        lock.release()


def _write(path: Path, folder: Path, progress: Progress | None) -> None:
    """Build beside `path`, then put digest and file in place. What stood there before stays if this fails."""
    import duckdb

    from recommender.catalog.build import build_database

    temporary = path.with_name(path.name + ".building")
    digest = path.with_name(path.name + ".building-digest")
    try:
        with temporary.open("wb"):
            pass
        temporary.unlink()
    except OSError as problem:
        raise _fault_or_not_writable(problem, path.parent) from problem
    try:
        build_database(temporary, folder, SCHEMA_VERSION, progress)
        _sync(temporary)
        digest.write_text(digest_of(temporary) + "\n", encoding="ascii")
        _sync(digest)
        digest.replace(path.with_suffix(".digest"))
        temporary.replace(path)
    except (OSError, duckdb.OperationalError, duckdb.FatalException, duckdb.InternalException) as problem:
        raise StorageFault(
            f"The catalog could not be written ({_words(problem)}); nothing that was there before is lost",
            where=str(path.parent),
            remedy=f"Free some space there (20 MB will do), or set {ENV_CACHE} to another folder",
        ) from problem
    except duckdb.Error as problem:
        raise StorageFault(
            f"The open data make no catalog ({_words(problem)}); nothing that was there before is lost",
            where=str(folder),
            remedy="Put the open data back as they were published",
        ) from problem
    finally:
        for each in (temporary, digest, temporary.with_name(temporary.name + ".wal")):
            each.unlink(missing_ok=True)


def _words(problem: Exception) -> str:
    text = problem.strerror if isinstance(problem, OSError) and problem.strerror else str(problem)
    return " ".join(text.split())[:200]


def _fault_or_not_writable(problem: OSError, place: Path) -> Exception:
    if problem.errno in _FULL:
        return StorageFault(
            "The disk is full; the catalog could not be written",
            where=str(place),
            remedy=f"Free some space there (20 MB will do), or set {ENV_CACHE} to another folder",
        )
    return _NotWritableError(f"{place}: {problem.strerror or problem}")


def _sync(path: Path) -> None:
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def _remove_old(path: Path) -> None:
    """Remove files of other keys of the same data folder, unless someone has them open."""
    prefix = path.name.rsplit("-", 1)[0]
    for old in path.parent.glob(f"{prefix}-*.duckdb"):
        if old != path and not _in_use(old):
            for each in (old, old.with_suffix(".digest")):
                try:
                    each.unlink(missing_ok=True)
                except OSError:
                    # Open elsewhere, on a system that forbids removing it: the next build tries again.
                    continue


def _in_use(path: Path) -> bool:
    if _OPEN[str(path)] > 0:
        return True
    try:
        import fcntl
    except ImportError:
        return False  # Windows: removing an open file fails, which _remove_old expects
    try:
        with path.open("rb+") as file:
            fcntl.lockf(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return True
    return False


def _opened(path: Path) -> Catalog:
    from recommender.catalog.catalog import Catalog

    return Catalog(path, _OPEN)


@functools.lru_cache(maxsize=1)
def private_folder() -> Path:
    """A temporary folder of this process only, removed when it ends. Raises StorageFault."""
    try:
        folder = Path(tempfile.mkdtemp(prefix="orchardwright-"))
    except OSError as problem:
        raise StorageFault(
            "The catalog can be written neither to the cache folder nor to a temporary one",
            where=str(problem.strerror or problem),
            remedy=f"Set {ENV_CACHE} to a folder you can write to",
        ) from problem
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder


def _private_folder_if_made() -> tuple[Path, ...]:
    return (private_folder(),) if private_folder.cache_info().currsize else ()
