"""One file over HTTPS into a cache: polite, resumable, checked, and never half written.

In: a web address and a target path. Out: the path of the whole file, with a note beside it of where it came
from, its size and its SHA-256. Nothing here knows of weather. No call is made unless `fetch` is called.
"""

from __future__ import annotations

import hashlib
import json
import os
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import requests
from filelock import FileLock, Timeout

from recommender.errors import OrchardwrightError, StorageFault
from recommender.files import write_whole

#: Names the program to the server, as public data services ask.
USER_AGENT = "orchardwright/0.1 (fruit variety recommender; one connection; python-requests)"
#: Bytes taken at a time. When a connection breaks, the piece under way is lost, so pieces are small.
_CHUNK = 8 * 1024


class FetchFault(OrchardwrightError):
    """Something could not be had over the network; what was in the cache is kept.

    transient: trying later may help (no network, timeout, a busy server), as against a file that does not
    exist.
    """

    exit_code = 4

    def __init__(self, what: str, *, where: str = "", remedy: str = "", transient: bool = False) -> None:
        self.transient = transient
        super().__init__(what, where=where, remedy=remedy)


@dataclass(frozen=True)
class Manners:
    """How patiently and how often a server is asked.

    timeouts [s]: to connect, and between two pieces of data. tries: in all. wait [s]: before the second try;
    doubled before each further one; pause [s]: between two files. max_bytes: a larger file is refused.
    """

    connect_timeout: float = 10.0
    read_timeout: float = 30.0
    tries: int = 4
    wait: float = 2.0
    longest_wait: float = 60.0
    pause: float = 1.0
    max_bytes: int = 200 * 1024 * 1024


@dataclass(frozen=True)
class CachedFile:
    """A whole file in the cache. from_cache: no network was used; stale: older than asked, but no newer could
    be had.
    """

    path: Path
    url: str
    sha256: str
    size: int
    fetched_at: str
    from_cache: bool = False
    stale: bool = False


class _TryAgain(Exception):
    """Inside `fetch` only: this try failed in a way that another may mend."""

    def __init__(self, why: str, wait: float | None = None) -> None:
        self.why, self.wait = why, wait
        super().__init__(why)


def fetch(
    url: str,
    target: Path,
    *,
    manners: Manners | None = None,
    max_age_days: float = 30.0,
    refresh: bool = False,
    check: Callable[[Path], None] | None = None,
    sleep: Callable[[float], None] = time.sleep,
) -> CachedFile:
    """The file at `url`, from the cache if it is whole and young enough, else over the network.

    check: called on the whole file before it enters the cache; an OrchardwrightError from it refuses the
    file. A broken download is kept beside the target as .part and taken up again where it stopped. Raises
    FetchFault: no network, timeout, no such file, garbage. StorageFault: the cache cannot be written.
    """
    manners = manners or Manners()
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with FileLock(f"{target}.lock", timeout=300):
            kept = None if refresh else cached(target, url)
            if kept is not None and _age_days(kept) <= max_age_days:
                return kept
            try:
                _download(url, target, manners, check, sleep)
            except FetchFault as fault:
                kept = cached(target, url)
                if kept is None or not fault.transient:
                    raise
                return CachedFile(kept.path, url, kept.sha256, kept.size, kept.fetched_at, True, stale=True)
            fresh = cached(target, url)
    except Timeout as error:
        raise StorageFault(
            "Another run is fetching the same file and does not finish",
            where=str(target),
            remedy="Wait for it, or end it",
        ) from error
    except OSError as error:
        raise StorageFault(
            f"The cache cannot be written: {error.strerror or error}",
            where=str(target.parent),
            remedy="Free some room, or name another folder with --cache",
        ) from error
    if fresh is None:
        raise StorageFault(
            "The file changed while it was put into the cache", where=str(target), remedy="Try again"
        )
    return CachedFile(fresh.path, url, fresh.sha256, fresh.size, fresh.fetched_at)


def cached(target: Path, url: str) -> CachedFile | None:
    """The file in the cache if it came from `url` and still has the recorded SHA-256, else None."""
    note = _read_note(_note_path(target))
    if note.get("url") != url or not target.is_file() or note.get("sha256") != sha256_of(target):
        return None
    return CachedFile(
        target, url, note["sha256"], int(note["size"]), str(note["fetched_at"]), from_cache=True
    )


def sha256_of(path: Path) -> str:
    """SHA-256 of a file, as hexadecimal digits."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _note_path(target: Path) -> Path:
    return target.with_name(f"{target.name}.from.json")


def _read_note(path: Path) -> dict[str, Any]:
    try:
        note = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}  # no note, or a damaged one: the file beside it counts as unknown and is fetched anew
    return note if isinstance(note, dict) else {}


def _write_note(path: Path, note: dict[str, Any]) -> None:
    write_whole(path, json.dumps(note, indent=1) + "\n")


def _age_days(kept: CachedFile) -> float:
    try:
        then = datetime.fromisoformat(kept.fetched_at)
    except ValueError:
        return float("inf")
    return (datetime.now(UTC) - then).total_seconds() / 86400.0


def _download(
    url: str,
    target: Path,
    manners: Manners,
    check: Callable[[Path], None] | None,
    sleep: Callable[[float], None],
) -> None:
    part = target.with_name(f"{target.name}.part")
    wait, why = manners.wait, ""
    with requests.Session() as session:
        # Identity encoding: sizes and ranges then count the bytes of the file itself.
        session.headers.update({"User-Agent": USER_AGENT, "Accept-Encoding": "identity"})
        for turn in range(manners.tries):
            if turn:
                sleep(min(wait, manners.longest_wait))
                wait *= 2.0
            try:
                headers = _one_try(session, url, part, manners)
                break
            except _TryAgain as failed:
                why = failed.why
                if failed.wait is not None:
                    wait = max(wait, failed.wait)
        else:
            raise FetchFault(
                f"{why}, {manners.tries} times",
                where=url,
                remedy="Check the network and try later; what has arrived is kept and taken up again. Without"
                " a network the built-in climate serves: orchardwright climate --place, or --lat --lon",
                transient=True,
            )
    if check is not None:
        try:
            check(part)
        except OrchardwrightError as fault:
            part.unlink(missing_ok=True)
            _note_path(part).unlink(missing_ok=True)
            raise FetchFault(
                f"What the server sent is not the file that was asked for: {fault.what}",
                where=url,
                remedy="Check the address of the server; nothing was kept of it",
            ) from fault
    note = {
        "url": url,
        "sha256": sha256_of(part),
        "size": part.stat().st_size,
        "fetched_at": datetime.now(UTC).isoformat(timespec="seconds"),
        "etag": headers.get("ETag"),
        "last_modified": headers.get("Last-Modified"),
    }
    part.replace(target)
    _write_note(_note_path(target), note)
    _note_path(part).unlink(missing_ok=True)


def _one_try(session: requests.Session, url: str, part: Path, manners: Manners) -> dict[str, str]:
    """One request; the rest of a broken download is asked for if the server's file is still the same."""
    note = _read_note(_note_path(part))
    validator = note.get("etag") or note.get("last_modified")
    start = part.stat().st_size if part.exists() and note.get("url") == url and validator else 0
    asked = {"Range": f"bytes={start}-", "If-Range": str(validator)} if start else {}
    try:
        with session.get(
            url, headers=asked, stream=True, timeout=(manners.connect_timeout, manners.read_timeout)
        ) as answer:
            _accept_status(answer, url, part, start)
            resumed = answer.status_code == 206
            if resumed and not answer.headers.get("Content-Range", "").startswith(f"bytes {start}-"):
                part.unlink(missing_ok=True)
                raise _TryAgain("The server sent another part of the file than was asked for")
            validators = {
                "etag": _strong(answer.headers.get("ETag")),
                "last_modified": answer.headers.get("Last-Modified"),
            }
            _write_note(_note_path(part), {"url": url, **validators})
            _receive(answer, part, start if resumed else 0, manners)
            return {key: answer.headers[key] for key in ("ETag", "Last-Modified") if key in answer.headers}
    except requests.Timeout as error:
        raise _TryAgain("The server did not answer in time") from error
    except (
        requests.exceptions.InvalidURL,
        requests.exceptions.MissingSchema,
        requests.exceptions.InvalidSchema,
    ) as error:
        raise FetchFault(
            "This is no web address", where=url, remedy="Give one that starts with https://"
        ) from error
    except requests.exceptions.ChunkedEncodingError as error:
        raise _TryAgain("The file broke off before its end") from error
    except requests.ConnectionError as error:
        late = "timed out" in str(error)
        raise _TryAgain(
            "The server did not answer in time" if late else "The server could not be reached"
        ) from error
    except requests.RequestException as error:
        raise _TryAgain(f"The request failed ({type(error).__name__})") from error


def _strong(etag: str | None) -> str | None:
    """A weak ETag may not be used to put parts of a file together (RFC 9110, 13.1.5)."""
    return None if etag is None or etag.startswith("W/") else etag


def _accept_status(answer: requests.Response, url: str, part: Path, start: int) -> None:
    code = answer.status_code
    if code in (200, 206):
        return
    if code == 416 and start:
        part.unlink(missing_ok=True)
        raise _TryAgain("The server's file is not the one that was begun")
    if code in (408, 425, 429) or code >= 500:
        after = answer.headers.get("Retry-After", "")
        raise _TryAgain(f"The server is not ready (HTTP {code})", float(after) if after.isdigit() else None)
    if code in (404, 410):
        raise FetchFault(
            f"The server has no such file (HTTP {code})",
            where=url,
            remedy="Choose another station or check the address",
        )
    raise FetchFault(f"The server refused the file (HTTP {code})", where=url, remedy="Check the address")


def _receive(answer: requests.Response, part: Path, start: int, manners: Manners) -> None:
    """Write what arrives; a file shorter than announced is an error to be tried again, a longer one is
    refused.
    """
    length = answer.headers.get("Content-Length", "")
    whole = start + int(length) if length.isdigit() else None
    if whole is not None and whole > manners.max_bytes:
        raise FetchFault("The file is too large", where=answer.url, remedy="Check the address of the server")
    size = start
    with part.open("ab" if start else "wb") as file:
        for piece in answer.iter_content(_CHUNK):
            size += len(piece)
            if size > manners.max_bytes:
                raise FetchFault(
                    "The file is too large", where=answer.url, remedy="Check the address of the server"
                )
            file.write(piece)
        file.flush()
        os.fsync(file.fileno())
    if whole is not None and size != whole:
        raise _TryAgain(f"The file broke off after {size} of {whole} bytes")
    if size == 0:
        raise _TryAgain("The server sent an empty file")
