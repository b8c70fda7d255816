"""All benchmarks in one command, one table: ours, what a user would use instead, the ratio, and memory.

Run: python -m benchmarks [room ...] [--write benchmarks/RESULTS.md]

Each script runs in a process of its own, one after the other, so that its peak memory is its own. A script
that finds that the two ways disagree, or fails, is named, and the command ends with 1.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import re
import subprocess
import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from benchmarks.record import ROWS

# Script and its arguments, by room.
ROOMS: dict[str, tuple[str, ...]] = {
    "catalog": ("benchmarks.catalog_build",),
    "climate": ("benchmarks.climate",),
    "bloom": ("benchmarks.phenology",),
    "pollination": ("benchmarks.pollination",),
    "ranking": ("benchmarks.ranking",),
    "planting": ("benchmarks.selection", "--trees", "8"),
    "nursery": ("benchmarks.nursery", "orders"),
    "swap": ("benchmarks.swap", "2000"),
    "atlas": ("benchmarks.atlas", "--sites", "128"),
}
# Runs a script as its own process would and tells its peak memory in the last line of standard error.
_RUN = (
    "import resource, runpy, sys\n"
    "sys.argv = sys.argv[1:]\n"
    "try:\n"
    "    runpy.run_module(sys.argv[0], run_name='__main__', alter_sys=True)\n"
    "finally:\n"
    "    sys.stderr.write(f'\\npeak {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss}\\n')\n"
)
LESS_IS_BETTER = ("s", "ms")


def run(room: str, words: tuple[str, ...]) -> tuple[list[dict[str, Any]], str]:
    """The rows of a room, each with its memory [MB], and what went wrong ("" if nothing)."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "rows.jsonl"
        done = subprocess.run(
            [sys.executable, "-c", _RUN, *words],
            env={**os.environ, ROWS: str(path), "OMP_NUM_THREADS": "1"},
            text=True,
            stderr=subprocess.PIPE,
            check=False,
        )
        lines = path.read_text(encoding="utf-8").splitlines() if path.exists() else []
    peak = re.findall(r"^peak (\d+)$", done.stderr, re.MULTILINE)
    memory = int(peak[-1]) / 1024.0 if peak else float("nan")
    fault = "" if done.returncode == 0 else done.stderr.strip()[-400:] or "it ended with an error"
    return [{"room": room, "memory": memory, **json.loads(line)} for line in lines], fault


def ratio(row: dict[str, Any]) -> float:
    """How many times as good ours is: as fast, or as much."""
    ours, theirs = float(row["ours"]), float(row["theirs"])
    if min(ours, theirs) <= 0.0:
        return float("nan")
    return theirs / ours if row["unit"] in LESS_IS_BETTER else ours / theirs


def figure(value: float) -> str:
    """A figure with three digits that say something."""
    return f"{value:,.0f}" if abs(value) >= 100.0 else f"{value:.3g}"


def table(rows: list[dict[str, Any]]) -> str:
    """The rows as Markdown, with the machine and the date."""
    lines = [
        "# Results of the benchmarks",
        "",
        f"Written by `python -m benchmarks --write benchmarks/RESULTS.md` on {datetime.now(UTC):%Y-%m-%d}:",
        f"{machine()}, {platform.system()}, Python {platform.python_version()}.",
        "",
        "One process and one thread each. Both ways of a row are measured in the same run on the same input,",
        "and scripts end with an error where their answers differ. Seconds depend on the machine; compare",
        "the ratios. A ratio above 1 means that ours is faster, or serves more. Memory is the peak of the",
        "room's process, with the plain way in it.",
        "",
        "| room | what | ours | instead | theirs | ratio | memory |",
        "|---|---|---:|---|---:|---:|---:|",
    ]
    for row in rows:
        lines.append(
            f"| {row['room']} | {row['what']} | {figure(row['ours'])} {row['unit']} | {row['instead']} "
            f"| {figure(row['theirs'])} {row['unit']} | {figure(ratio(row))} | {row['memory']:,.0f} MB |"
        )
    return "\n".join(lines) + "\n"


def machine() -> str:
    """The processor's name and number of cores."""
    try:
        names = re.findall(r"model name\s*:\s*(.+)", Path("/proc/cpuinfo").read_text(encoding="utf-8"))
    except OSError:
        names = []
    return f"{names[0] if names else platform.machine()}, {os.cpu_count()} cores"


def main() -> int:
    """Run what is named, or all; 1 if a script failed."""
    parser = argparse.ArgumentParser(description="All benchmarks, one table.")
    parser.add_argument("rooms", nargs="*", metavar="room", help=", ".join(ROOMS))
    parser.add_argument("--write", type=Path)
    asked = parser.parse_args()
    if unknown := set(asked.rooms) - set(ROOMS):
        parser.error(f"no room is called {', '.join(sorted(unknown))}; rooms are {', '.join(ROOMS)}")
    rows: list[dict[str, Any]] = []
    faults: dict[str, str] = {}
    for room in asked.rooms or ROOMS:
        print(f"== {room}", flush=True)
        found, fault = run(room, ROOMS[room])
        rows += found
        if fault:
            faults[room] = fault
    print(f"\n{table(rows)}")
    for room, fault in faults.items():
        print(f"{room} FAILED: {fault}")
    if asked.write is not None and not faults:
        asked.write.write_text(table(rows), encoding="utf-8")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
