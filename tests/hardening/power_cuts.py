"""Kill a process at random moments of every kind of write and look at what is left.

In: how often. Out: a table, one row a kind of write: kills, kills that met a write under way, acknowledged
writes that were lost, files that could not be read. Run it as

    python -m tests.hardening.power_cuts --times 200

A child process writes version 1, 2, 3 and so on of a file and acknowledges each; it is killed (SIGKILL) at
a random moment. Then the file must be whole and hold the last version acknowledged, or the one after it.
Work of many files (the build, an atlas, a download) stands in `process_cuts`. That nothing else writes a file
of its own way: tests/hardening/test_writes.py.
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pandas as pd

from tests.hardening.process_cuts import cut_atlas, cut_build, cut_download
from tests.hardening.row import Row

Writer = Callable[[Path, int], None]
Reader = Callable[[Path], int]


@dataclass(frozen=True)
class Kind:
    """A kind of write: `write(folder, n)` makes version n, `read(folder)` gives the version that is there."""

    name: str
    write: Writer
    read: Reader


def swap_confirmations() -> Kind:
    """Each version confirms one more match of an event; none confirmed may be lost."""
    from recommender.swap.event_file import Event, confirm, event_path, open_event, save_event
    from recommender.swap.offers import Offer, Request
    from recommender.swap.people import Confirmed

    event = Event(
        "power cut",
        offers=tuple(Offer(id=f"O{k}", person="Wren", variety="Discovery", crop="apple") for k in range(400)),
        requests=tuple(Request(id=f"R{k}", person=f"P{k}", crops=("apple",)) for k in range(400)),
    )

    def write(folder: Path, n: int) -> None:
        path = event_path("power cut", folder)
        if not path.exists():
            save_event(path, event)
        confirm(path, open_event(path), [Confirmed(f"O{n}", f"R{n}")])

    def read(folder: Path) -> int:
        path = event_path("power cut", folder)
        confirmed = [match.offer for match in open_event(path).confirmed] if path.exists() else []
        if confirmed != [f"O{k}" for k in range(1, len(confirmed) + 1)]:
            raise AssertionError(f"confirmations with a hole: {confirmed}")
        return len(confirmed)

    return Kind("swap event, confirm", write, read)


def nursery_decisions() -> Kind:
    """Each version remembers one more name."""
    from recommender.nursery.decisions import Decisions

    def write(folder: Path, n: int) -> None:
        memory = Decisions(folder / "decisions.csv")
        memory.remember(f"name {n}", ("apple", "Discovery"))
        memory.save()

    return Kind("nursery decisions", write, lambda folder: len(Decisions(folder / "decisions.csv")))


def result_tables(ending: str) -> Kind:
    """Each version is a table of as many rows; a half-written one would not be read or be shorter."""
    from recommender.nursery.result_files import write_tables

    def write(folder: Path, n: int) -> None:
        frame = pd.DataFrame({"version": [n] * 50, "row": range(50)})
        write_tables({"lines": frame}, folder / f"result{ending}")

    def read(folder: Path) -> int:
        path = folder / f"result{ending}"
        if not path.exists():
            return 0
        frame = pd.read_csv(path) if ending == ".csv" else pd.read_excel(path)
        if len(frame) != 50 or (frame["version"] != frame["version"].iloc[0]).any():
            raise AssertionError(f"{path.name} is mixed or cut short")
        return int(frame["version"].iloc[0])

    return Kind(f"desk results, {ending}", write, read)


def whole_file() -> Kind:
    """Two megabytes by `files.write_whole`, which plans, sheets, calendars and profiles go through."""
    from recommender.files import write_whole

    def read(folder: Path) -> int:
        path = folder / "whole"
        if not path.exists():
            return 0
        words = path.read_text().split()
        if len(words) != 250_000 or len(set(words)) != 1:
            raise AssertionError("the file is mixed or cut short")
        return int(words[0])

    return Kind(
        "any whole file, 2 MB",
        lambda folder, n: write_whole(folder / "whole", f"{n:07d} " * 250_000),
        read,
    )


def saved_plan() -> Kind:
    """The demo plan with another time to solve, saved again and again."""
    from recommender.catalog.package import datasets_folder
    from recommender.orchard.plan_file import open_plan, save_plan

    plan = open_plan(datasets_folder() / "demo" / "withy-hollow-plan.json").plan

    def read(folder: Path) -> int:
        path = folder / "plan.json"
        return int(open_plan(path).plan.solve_seconds) if path.exists() else 0

    return Kind(
        "saved plan",
        lambda folder, n: save_plan(
            plan.model_copy(update={"solve_seconds": float(n)}), folder / "plan.json"
        ),
        read,
    )


def derived_tables() -> Kind:
    """Each version is a table of its own name; the one before goes only when the next is in place."""
    from types import SimpleNamespace

    from recommender.catalog.derived import derived_tables as make
    from recommender.catalog.store import state_of

    def write(folder: Path, n: int) -> None:
        catalog: Any = SimpleNamespace(path=folder / "catalog.duckdb")
        make(catalog, "cut", f"{n:06d}", lambda: {"rows": pd.DataFrame({"version": [n] * 20_000})})

    def read(folder: Path) -> int:
        # By digest: DuckDB opened here would leave threads in the processes forked from this one.
        there = sorted(folder.glob("catalog.cut-*.duckdb"))
        if any(state_of(path) != "sound" for path in there):
            raise AssertionError("a file of derived tables is not sound")
        return max((int(path.stem.rpartition("-")[2]) for path in there), default=0)

    return Kind("derived tables", write, read)


def cut(kind: Kind, times: int, seed: int, up_to_s: float = 0.04) -> Row:
    """Kill a writer of this kind `times` times at random moments."""
    chance = random.Random(seed)
    row = Row(kind.name, times, 0, 0, 0)
    with tempfile.TemporaryDirectory() as held:
        folder = Path(held)
        for _ in range(times):
            start = kind.read(folder)
            acknowledged, under_way = _killed(
                lambda n: kind.write(folder, n), start, chance.uniform(0.0, up_to_s)
            )
            row = replace(row, under_way=row.under_way + under_way)
            try:
                there = kind.read(folder)
            except Exception as problem:
                print(f"{kind.name}: {problem}", file=sys.stderr)
                return replace(row, broken=row.broken + 1)
            row = replace(row, lost=row.lost + (there < acknowledged))
    return row


def _killed(write: Callable[[int], None], start: int, after_s: float) -> tuple[int, bool]:
    """Fork a child that writes start + 1, start + 2, …; kill it.

    Gives the last version acknowledged, and whether the next was begun.
    """
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reader)
        n = start
        while True:
            n += 1
            os.write(writer, b"b")  # begun
            write(n)
            os.write(writer, b"d")  # done
    os.close(writer)
    os.read(reader, 1)
    time.sleep(after_s)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    told = b""
    while part := os.read(reader, 65536):
        told += part
    os.close(reader)
    return start + told.count(b"d"), not told.endswith(b"d")


def kinds() -> list[Kind]:
    """Every kind of write that a person's work depends on."""
    return [
        swap_confirmations(),
        nursery_decisions(),
        result_tables(".csv"),
        result_tables(".xlsx"),
        saved_plan(),
        whole_file(),
        derived_tables(),
    ]


def main() -> None:
    """Print the table; exit with 1 if anything was lost or broken."""
    from recommender.catalog.package import datasets_folder

    parser = argparse.ArgumentParser(description="Kill writers at random moments; nothing may be lost.")
    parser.add_argument("--times", type=int, default=200, help="kills for each kind of write")
    parser.add_argument("--builds", type=int, default=None, help="kills of the build, if not as many")
    parser.add_argument("--works", type=int, default=None, help="of an atlas and of downloads, likewise")
    parser.add_argument("--datasets", type=Path, default=None, help="open data to build from, if not these")
    parser.add_argument("--seed", type=int, default=20261125)
    asked = parser.parse_args()
    rows = [cut(kind, asked.times, asked.seed) for kind in kinds()]
    datasets = asked.datasets or datasets_folder()
    works = asked.times if asked.works is None else asked.works
    rows.append(cut_download(works, asked.seed))
    rows.append(cut_atlas(works, asked.seed, datasets))
    rows.append(cut_build(asked.times if asked.builds is None else asked.builds, asked.seed, datasets))
    print(f"{'write':<24}{'kills':>7}{'under way':>11}{'lost':>6}{'broken':>8}")
    for row in rows:
        print(f"{row.kind:<24}{row.kills:>7}{row.under_way:>11}{row.lost:>6}{row.broken:>8}")
    sys.exit(any(row.lost or row.broken for row in rows))


if __name__ == "__main__":
    main()
