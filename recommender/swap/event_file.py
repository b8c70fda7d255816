"""A swap event kept in one file: what was offered and asked, the settings, and what is confirmed.

In: a path and an `Event`. Out: the same event when it is opened again, whatever happened in between.
- A save replaces the file in one step (a temporary file in the same folder, flushed to disk, then renamed).
- A confirmation is first added to a journal beside the file, flushed to disk; only then is the event saved.
  If the power fails in between, the next opening reads the journal again. A half-written last line is left
  out: it was never reported as confirmed.
- The folder is made so that nobody else of the machine may look into it: it holds people's names.
- Each save counts the version up. Whoever saves from an older version is told, and nothing is overwritten.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

from recommender.errors import BadInput, OrchardwrightError, StorageFault
from recommender.files import flush_folder, json_of, one_at_a_time, real_file, write_whole
from recommender.swap.offers import Offer, Request
from recommender.swap.people import Confirmed, SwapSettings, with_ids

FORMAT = "orchardwright swap event 1"
SUFFIX = ".swap.json"
_REMEDY = "Check the disk and your permissions; what was saved before is kept"
MOST_BYTES = 50_000_000


class EventChanged(StorageFault):
    """Somebody else saved the event since it was opened; nothing was overwritten."""


@dataclass(frozen=True)
class Event:
    """version: how often it was saved; stamp: what the file held when it was read, "" if there was none."""

    name: str
    offers: tuple[Offer, ...] = ()
    requests: tuple[Request, ...] = ()
    settings: SwapSettings = field(default_factory=SwapSettings)
    confirmed: tuple[Confirmed, ...] = ()
    version: int = 0
    stamp: str = ""


def events_folder() -> Path:
    """Where the app keeps events: ORCHARDWRIGHT_EVENTS, else the user's data folder."""
    named = os.environ.get("ORCHARDWRIGHT_EVENTS")
    if named:
        return Path(named)
    from platformdirs import user_data_dir

    return Path(user_data_dir("orchardwright")) / "events"


def event_path(name: str, folder: Path | None = None) -> Path:
    """The file of an event by its name; a name cannot lead out of the folder. Raises BadInput."""
    slug = re.sub(r"[^\w]+", "-", name.casefold()).strip("-_")[:60]
    if not slug:
        raise BadInput("The event has no name", remedy="Write one, such as Withy Hollow spring swap")
    mark = "" if slug == name.casefold() else f"-{hashlib.sha256(name.encode()).hexdigest()[:6]}"
    return (folder or events_folder()) / f"{slug}{mark}{SUFFIX}"


def events_kept(folder: Path | None = None) -> list[str]:
    """Names of the events in a folder, in alphabetical order; files that cannot be read are passed over."""
    names = []
    for path in (folder or events_folder()).glob(f"*{SUFFIX}"):
        with contextlib.suppress(OrchardwrightError):
            names.append(open_event(path).name)
    return sorted(names)


def open_event(path: Path) -> Event:
    """The event in a file, with every confirmation of its journal. Raises StorageFault, BadInput."""
    with one_at_a_time(path, "the event", _REMEDY):
        return _read(path)


def save_event(path: Path, event: Event) -> Event:
    """Save an event; returns it with its new version.

    Raises EventChanged where the file was saved by somebody else since `event` was read; StorageFault where
    it cannot be written (what was there stays).
    """
    event = replace(
        event, offers=tuple(with_ids(event.offers, "O")), requests=tuple(with_ids(event.requests, "R"))
    )
    with one_at_a_time(path, "the event", _REMEDY):
        _unchanged(path, event)
        return _write(path, event)


def confirm(path: Path, event: Event, matches: Sequence[Confirmed]) -> Event:
    """Confirm matches: on return they are on disk for good. Raises as `save_event`."""
    held = {(match.offer, match.request) for match in event.confirmed}
    agreed = tuple(match for match in matches if (match.offer, match.request) not in held)
    with one_at_a_time(path, "the event", _REMEDY):
        _unchanged(path, event)
        if not event.stamp:
            event = _write(path, event)
        _journal(path, event.version, agreed)
        return _write(path, replace(event, confirmed=event.confirmed + agreed))


def take_back(path: Path, event: Event, matches: Sequence[Confirmed]) -> Event:
    """Take confirmations back. Raises as `save_event`."""
    gone = {(match.offer, match.request) for match in matches}
    left = tuple(match for match in event.confirmed if (match.offer, match.request) not in gone)
    return save_event(path, replace(event, confirmed=left))


def _stamp(raw: bytes) -> str:
    """What a file held, in few letters."""
    return hashlib.sha256(raw).hexdigest()


def _unchanged(path: Path, event: Event) -> None:
    there = _read(path) if path.exists() else None
    if (there.stamp if there else "") == event.stamp:
        return
    if there is None:
        raise EventChanged(
            "The event's file is gone since you opened it",
            where=str(path),
            remedy="Save it under a new name, or put the file back",
        )
    raise EventChanged(
        f"Somebody else saved this event (version {there.version}) since you opened version {event.version}; "
        "nothing was overwritten",
        where=str(path),
        remedy="Open it again and repeat your change",
    )


def _write(path: Path, event: Event) -> Event:
    saved = replace(event, version=event.version + 1)
    raw = json.dumps(_plain(saved), ensure_ascii=False, indent=1).encode("utf-8")
    write_whole(path, raw)
    # Every line of the journal is in the file now.
    _journal_path(path).unlink(missing_ok=True)
    return replace(saved, stamp=_stamp(raw))


def _journal_path(path: Path) -> Path:
    target = real_file(path)
    return target.with_name(target.name + ".journal")


def _journal(path: Path, version: int, matches: Sequence[Confirmed]) -> None:
    # A line that a power cut left half written must not swallow the next one.
    lines = b"\n"
    for match in matches:
        held = json.dumps({"version": version, **asdict(match)}, ensure_ascii=False)
        lines += f"{_stamp(held.encode())[:16]} {held}\n".encode()
    with _journal_path(path).open("ab") as file:
        file.write(lines)
        file.flush()
        os.fsync(file.fileno())
    flush_folder(path.parent)


def _journal_bytes(path: Path) -> bytes:
    try:
        return _journal_path(path).read_bytes()
    except FileNotFoundError:
        return b""


def _journalled(raw: bytes, version: int) -> list[Confirmed]:
    """Confirmations of a journal that were agreed on this version and did not reach the file."""
    found = []
    for line in raw.split(b"\n"):
        mark, _, held = line.partition(b" ")
        if _stamp(held)[:16].encode() != mark:
            continue
        entry = json.loads(held)
        if entry.pop("version") == version:
            found.append(Confirmed(**entry))
    return found


def _read(path: Path) -> Event:
    if not path.exists():
        raise BadInput(
            "There is no such event", where=str(path), remedy="Choose one that is kept, or save one"
        )
    if path.stat().st_size > MOST_BYTES:
        raise BadInput("The event's file is larger than 50 MB", where=str(path), remedy="Choose another file")
    raw = path.read_bytes()
    try:
        held = json_of(raw)
        if not isinstance(held, dict) or held.get("format") != FORMAT:
            raise ValueError("it is not a swap event")
        event = _event(held)
    except (ValueError, TypeError, KeyError, OrchardwrightError) as error:
        raise BadInput(
            f"The event cannot be read: {error}",
            where=str(path),
            remedy="Choose a file that the swap page saved",
        ) from None
    journal = _journal_bytes(path)
    held_pairs = {(match.offer, match.request) for match in event.confirmed}
    agreed = [
        match
        for match in _journalled(journal, event.version)
        if (match.offer, match.request) not in held_pairs
    ]
    # The journal is part of what the file says: whoever opened it before the journal grew is told.
    return replace(event, confirmed=event.confirmed + tuple(agreed), stamp=_stamp(raw + journal))


def _plain(event: Event) -> dict[str, Any]:
    return {
        "format": FORMAT,
        "name": event.name,
        "version": event.version,
        "settings": event.settings.model_dump(mode="json", exclude_defaults=True)
        | {"on": str(event.settings.on)},
        "offers": [offer.model_dump(mode="json", exclude_defaults=True) for offer in event.offers],
        "requests": [request.model_dump(mode="json", exclude_defaults=True) for request in event.requests],
        "confirmed": [asdict(match) for match in event.confirmed],
    }


def _event(held: dict[str, Any]) -> Event:
    settings = dict(held["settings"])
    if settings.get("site"):
        from recommender.suitability.site import Site

        settings["site"] = Site(**settings["site"])
    return Event(
        name=str(held["name"]),
        version=int(held["version"]),
        settings=SwapSettings(**settings),
        offers=tuple(Offer(**offer) for offer in held["offers"]),
        requests=tuple(Request(**request) for request in held["requests"]),
        confirmed=tuple(Confirmed(**match) for match in held["confirmed"]),
    )
