"""How long the app makes people wait: the first run on a fresh machine, and ten people at once.

In comes nothing but the app, which this script serves on a free port of this machine with an empty cache;
out goes a table of waits. A person here is a websocket client that speaks Streamlit's own protocol and never
stops to think, so the figures are the server's at its worst, without the time a browser takes to draw
(tests/browser/ drives a real one; ten browsers on the same two cores would measure themselves).

Usage: python benchmarks/load.py [--people 10]
"""

from __future__ import annotations

import argparse
import asyncio
import os
import socket
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlencode

import websockets
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg

ROOT = Path(__file__).resolve().parents[1]
_PLACES = (
    "Bristol, England", "Geneva, New York", "Hobart, Australia", "Lyon, France", "Hamburg, Germany",
    "Portland, Oregon", "Dunedin, New Zealand", "Krakow, Poland", "Bilbao, Spain", "Halifax, Nova Scotia",
)  # fmt: skip
_CROPS = ("Apple", "European pear", "European plum", "Quince", "Hazelnut")
_PATIENCE_S = 120.0
Steps = list[tuple[str, str, dict[str, object]]]


@dataclass(frozen=True)
class Wait:
    """What a person did, and how long it took until the page stood still [s]."""

    step: str
    seconds: float


class Person:
    """One visitor with a session of their own."""

    def __init__(self, port: int) -> None:
        self._url = f"ws://127.0.0.1:{port}/_stcore/stream"
        self._origin = f"http://127.0.0.1:{port}"

    async def visit(self, steps: Steps) -> list[Wait]:
        """Go through the steps (what, page, answers) in one session, each begun when the last has ended."""
        waits = []
        async with websockets.connect(
            self._url,
            subprotocols=[websockets.Subprotocol("streamlit")],
            origin=websockets.Origin(self._origin),
            max_size=None,
        ) as line:
            for what, page, answers in steps:
                message = BackMsg()
                message.rerun_script.query_string = urlencode(answers, doseq=True)
                message.rerun_script.page_name = page
                began = time.perf_counter()
                await line.send(message.SerializeToString())
                await asyncio.wait_for(_finished(line), _PATIENCE_S)
                waits.append(Wait(what, time.perf_counter() - began))
        return waits


async def _finished(line: websockets.ClientConnection) -> None:
    async for raw in line:
        told = ForwardMsg()
        told.ParseFromString(raw if isinstance(raw, bytes) else raw.encode())
        if told.WhichOneof("type") == "delta" and told.delta.new_element.HasField("exception"):
            raise RuntimeError(told.delta.new_element.exception.message)
        if told.WhichOneof("type") == "script_finished":
            return


def _errands(number: int) -> tuple[Steps, Steps]:
    """What a person does: a list, a round of the pages, then back by a link with one answer more."""
    place, crop = _PLACES[number % len(_PLACES)], _CROPS[number % len(_CROPS)]
    first: Steps = [
        ("first list for a place", "choose", {"place": place}),
        ("page: catalog", "catalog", {"q": "discovery"}),
        ("page: about", "about", {}),
        ("page: the list again", "choose", {"place": place}),
    ]
    return first, [("list of one fruit", "choose", {"place": place, "crop": crop})]


async def _all(port: int, number: int) -> list[Wait]:
    return [wait for steps in _errands(number) for wait in await Person(port).visit(steps)]


async def _together(port: int, people: int) -> list[Wait]:
    held = await asyncio.gather(*(_all(port, number) for number in range(people)))
    return [wait for waits in held for wait in waits]


def _table(title: str, waits: list[Wait]) -> None:
    print(f"\n{title}\n  {'step':28} {'median':>8} {'p90':>8} {'longest':>8}")
    for step in [*dict.fromkeys(wait.step for wait in waits), "all of them"]:
        seconds = sorted(wait.seconds for wait in waits if step in (wait.step, "all of them"))
        late = seconds[min(len(seconds) - 1, round(0.9 * len(seconds)))]
        print(f"  {step:28} {statistics.median(seconds):7.2f}s {late:7.2f}s {seconds[-1]:7.2f}s")


def _serve(port: int, cache: Path) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", "recommender.cli", "app", "--no-browser", "--port", str(port)]
    around = {**os.environ, "ORCHARDWRIGHT_CACHE": str(cache), "OMP_NUM_THREADS": "1"}
    quiet = subprocess.DEVNULL
    return subprocess.Popen(command, cwd=ROOT, env=around, stdout=quiet, stderr=quiet, start_new_session=True)


def _answering(port: int) -> None:
    until = time.monotonic() + 60
    while time.monotonic() < until:
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/_stcore/health", timeout=2):
                return
        except OSError:
            time.sleep(0.1)
    raise TimeoutError("The app did not answer within a minute")


def main() -> None:
    """Serve the app with an empty cache and print how long people wait."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--people", type=int, default=10)
    people = parser.parse_args().people
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    load = f", load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else ""
    print(f"{os.cpu_count()} cores{load} before the start (other work on the machine makes the waits longer)")
    with tempfile.TemporaryDirectory(prefix="orchardwright-load-") as cache:
        began = time.perf_counter()
        app = _serve(port, Path(cache))
        try:
            _answering(port)
            up = time.perf_counter() - began
            (first,) = asyncio.run(Person(port).visit([("first page, catalog built", "choose", {})]))
            print("\nFresh machine, empty cache")
            print(f"  app answers                  {up:7.2f}s")
            print(f"  catalog built, first page    {first.seconds:7.2f}s")
            print(f"  together                     {time.perf_counter() - began:7.2f}s")
            _table("One person alone", asyncio.run(_all(port, 0)))
            _table("The same person again", asyncio.run(_all(port, 0)))
            _table(f"{people} people at once", asyncio.run(_together(port, people)))
        finally:
            os.killpg(app.pid, 15)
            app.wait(timeout=30)


if __name__ == "__main__":
    main()
