"""An event survives: a power cut at any moment of a save, and two organisers at once."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import textwrap
import time
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from recommender.errors import BadInput, StorageFault
from recommender.suitability.site import Site
from recommender.swap.event_file import (
    Event,
    EventChanged,
    confirm,
    event_path,
    events_kept,
    open_event,
    save_event,
    take_back,
)
from recommender.swap.offers import Offer, Request
from recommender.swap.people import Confirmed, SwapSettings

EVENT = Event(
    "Withy Hollow",
    offers=tuple(Offer(id=f"O{k}", person="Wren", variety="Discovery", crop="apple") for k in range(200)),
    requests=tuple(Request(id=f"R{k}", person=f"P{k}", crops=("apple",), take=2) for k in range(200)),
    settings=SwapSettings(on=date(2027, 2, 13), site=Site(lat=51.15, lon=-2.85), region="GB"),
)


def test_an_event_comes_back_as_it_was_saved(tmp_path: Path) -> None:
    path = event_path("Withy Hollow", tmp_path)
    saved = confirm(path, save_event(path, EVENT), [Confirmed("O1", "R1", 1, 0.5, "why")])
    assert open_event(path) == saved
    assert saved.confirmed == (Confirmed("O1", "R1", 1, 0.5, "why"),)
    assert events_kept(tmp_path) == ["Withy Hollow"]


def test_the_second_organiser_is_told_and_nothing_is_overwritten(tmp_path: Path) -> None:
    path = event_path("swap", tmp_path)
    save_event(path, EVENT)
    first, second = open_event(path), open_event(path)
    agreed = confirm(path, first, [Confirmed("O1", "R1")])
    before = path.read_bytes()
    for act in (
        lambda: save_event(path, replace(second, name="Other")),
        lambda: confirm(path, second, [Confirmed("O1", "R2")]),
        lambda: take_back(path, second, []),
    ):
        with pytest.raises(EventChanged, match="Somebody else saved"):
            act()
    assert path.read_bytes() == before
    assert open_event(path) == agreed


def test_a_new_event_does_not_overwrite_one_of_the_same_name(tmp_path: Path) -> None:
    path = event_path("swap", tmp_path)
    save_event(path, EVENT)
    with pytest.raises(EventChanged):
        save_event(path, Event("swap"))


def test_a_name_cannot_lead_out_of_the_folder(tmp_path: Path) -> None:
    assert event_path("../../etc/passwd", tmp_path).parent == tmp_path
    assert event_path("Ä b", tmp_path) != event_path("ä-b", tmp_path)
    with pytest.raises(BadInput):
        event_path("../..", tmp_path)


def test_confirmations_taken_back_stay_back(tmp_path: Path) -> None:
    path = event_path("swap", tmp_path)
    event = confirm(path, save_event(path, EVENT), [Confirmed("O1", "R1"), Confirmed("O2", "R2")])
    event = take_back(path, event, [Confirmed("O1", "R1")])
    assert [match.offer for match in open_event(path).confirmed] == ["O2"]


@pytest.mark.parametrize("raw", [b"", b"{", b"[]", b'{"format": "other"}', b"\xff\xfe"])
def test_a_file_that_is_no_event_is_refused(tmp_path: Path, raw: bytes) -> None:
    path = tmp_path / "x.swap.json"
    path.write_bytes(raw)
    with pytest.raises(BadInput, match="cannot be read"):
        open_event(path)
    assert path.read_bytes() == raw


def test_an_unwritable_folder_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(StorageFault):
        save_event(tmp_path / "file" / "x.swap.json", EVENT)


_CUT = """
    import os, signal, sys
    from pathlib import Path
    from recommender.swap import event_file
    from recommender.swap.people import Confirmed

    path, name, before = Path(sys.argv[1]), sys.argv[2], sys.argv[3] == "before"
    event = event_file.open_event(path)
    home = os if hasattr(os, name) else event_file
    real, calls = getattr(home, name), []

    def cut(*given, **named):
        calls.append(given)
        if len(calls) == int(sys.argv[4]):
            if not before:
                real(*given, **named)
            os.kill(os.getpid(), signal.SIGKILL)
        return real(*given, **named)

    setattr(home, name, cut)
    event_file.confirm(path, event, [Confirmed("O2", "R2")])
"""


@pytest.mark.parametrize("when", ["before", "after"])
@pytest.mark.parametrize(
    ("step", "call"),
    [("fsync", 1), ("fsync", 2), ("fsync", 3), ("fsync", 4), ("replace", 1), ("flush_folder", 1)],
)
def test_a_power_cut_at_any_step_keeps_what_was_confirmed(
    tmp_path: Path, step: str, call: int, when: str
) -> None:
    path = event_path("swap", tmp_path)
    confirm(path, save_event(path, EVENT), [Confirmed("O1", "R1")])
    done = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(_CUT), str(path), step, when, str(call)],
        cwd=Path(__file__).parents[2],
        check=False,
        capture_output=True,
    )
    assert done.returncode == -signal.SIGKILL, done.stderr.decode()
    event = open_event(path)
    assert Confirmed("O1", "R1") in event.confirmed
    # Once the journal is on disk the new confirmation is there too.
    if (step, call, when) != ("fsync", 1, "before"):
        assert Confirmed("O2", "R2") in event.confirmed
    again = confirm(path, event, [Confirmed("O3", "R3")])
    assert open_event(path) == again


_LOOP = """
    import sys
    from pathlib import Path
    from recommender.swap.event_file import confirm, open_event
    from recommender.swap.people import Confirmed

    path = Path(sys.argv[1])
    for k in range(200):
        confirm(path, open_event(path), [Confirmed(f"O{k}", f"R{k}")])
        print(k, flush=True)
"""


@pytest.mark.parametrize("wait_s", [0.02, 0.11, 0.23])
def test_whatever_was_told_as_confirmed_is_there_after_a_kill(tmp_path: Path, wait_s: float) -> None:
    path = event_path("swap", tmp_path)
    save_event(path, EVENT)
    process = subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(_LOOP), str(path)],
        cwd=Path(__file__).parents[2],
        stdout=subprocess.PIPE,
    )
    assert process.stdout is not None
    told = [process.stdout.readline()]
    time.sleep(wait_s)
    os.kill(process.pid, signal.SIGKILL)
    told += process.stdout.readlines()
    process.wait()
    confirmed = {match.offer for match in open_event(path).confirmed}
    assert {f"O{int(line)}" for line in told if line.endswith(b"\n")} <= confirmed


def test_a_half_written_line_does_not_swallow_the_next(tmp_path: Path) -> None:
    path = event_path("swap", tmp_path)
    save_event(path, EVENT)
    journal = path.with_name(path.name + ".journal")
    journal.write_bytes(b'0123456789abcdef {"version": 1, "off')
    event = open_event(path)
    assert event.confirmed == ()
    assert confirm(path, event, [Confirmed("O1", "R1")]).confirmed == (Confirmed("O1", "R1"),)
    assert not journal.exists()


def test_confirmations_only_in_the_journal_are_not_lost_to_a_stale_save(tmp_path: Path) -> None:
    """One organiser's confirmation reached the journal only; the other, with the event open, then saves."""
    path = event_path("swap", tmp_path)
    stale = save_event(path, EVENT)
    subprocess.run(
        [sys.executable, "-c", textwrap.dedent(_CUT), str(path), "replace", "before", "1"],
        cwd=Path(__file__).parents[2],
        check=False,
    )
    with pytest.raises(EventChanged):
        save_event(path, replace(stale, name="Other"))
    assert open_event(path).confirmed == (Confirmed("O2", "R2"),)
