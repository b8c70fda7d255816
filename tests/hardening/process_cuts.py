"""Work of many files that is killed in the middle: the build, an atlas, a download. Used by `power_cuts`.

In: how often, and a seed. Out: a row of the table of `power_cuts`. Each piece of work runs in a process of
its own, which says when its imports are over and is killed at a random moment of what follows.
"""

from __future__ import annotations

import hashlib
import multiprocessing
import os
import random
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from multiprocessing.connection import Connection
from pathlib import Path

import pandas as pd

from tests.hardening.row import Row

Work = Callable[..., None]
_SITES = pd.DataFrame(
    {
        "name": ["Withy Hollow", "Geneva", "Hobart", "Gulf"],
        "region": "",
        "country": "",
        "lat": [50.9, 42.9, -43.0, 30.5],
        "lon": [-3.1, -77.0, 147.0, -87.9],
        "elevation_m": [60.0, 150.0, 50.0, 30.0],
        "population": [300, 13_000, 200_000, 10],
    }
)
_BODY = b"".join(b"%07d " % n for n in range(250_000))
_PIECES = 40


def _begin(work: Work, told: Connection, *arguments: object) -> None:
    """In the new process: import what the work needs, say so, do it."""
    import recommender.atlas.run
    import recommender.climate.download  # noqa: F401

    told.send("begun")
    work(*arguments)


def _killed(work: Work, arguments: tuple[object, ...], after_s: float) -> bool:
    """Do the work in a process of its own and kill it `after_s` after it began; whether it was under way."""
    context = multiprocessing.get_context("spawn")
    here, there = context.Pipe()
    child = context.Process(target=_begin, args=(work, there, *arguments))
    child.start()
    there.close()
    try:
        here.recv()
    except EOFError:
        child.join()
        raise RuntimeError("the work ended before it began") from None
    child.join(after_s)
    under_way = child.is_alive()
    child.kill()
    child.join()
    return under_way


def _seconds(work: Work, *arguments: object) -> float:
    begun = time.perf_counter()
    work(*arguments)
    return time.perf_counter() - begun


def _build(datasets: str, cache: str) -> None:
    from recommender.catalog import open_catalog

    open_catalog(Path(datasets), Path(cache)).close()


def _varieties(datasets: Path, cache: Path) -> int:
    from recommender.catalog import open_catalog

    with open_catalog(datasets, cache) as catalog:
        return len(catalog.varieties())


def cut_build(times: int, seed: int, datasets: Path) -> Row:
    """The catalog must be absent or sound after each kill, and a later opening must find every variety."""
    from recommender.catalog.store import state_of

    chance = random.Random(seed)
    under_way = broken = 0
    with tempfile.TemporaryDirectory() as held:
        cache = Path(held)
        whole_s = _seconds(_build, str(datasets), held)
        rows = _varieties(datasets, cache)
        for _ in range(times):
            for made in cache.glob("*.duckdb"):
                made.unlink()
            under_way += _killed(_build, (str(datasets), held), chance.uniform(0.0, whole_s))
            broken += any(state_of(path) != "sound" for path in cache.glob("*.duckdb"))
        lost = int(_varieties(datasets, cache) != rows)
    return Row("build of the catalog", times, under_way, lost, broken)


def _atlas(folder: str, datasets: str) -> None:
    from recommender.atlas.run import run

    os.environ["ORCHARDWRIGHT_DATASETS"] = datasets
    run(folder, _SITES, workers=0, block=1, years=2, crops=("quince",), warming=(0.0, 2.0))


def _scores(folder: Path) -> pd.DataFrame:
    """All scores of an atlas, of finished parts only; raises where a finished part does not read."""
    from recommender.atlas.folder import AtlasFolder

    atlas = AtlasFolder(folder)
    frames = []
    for part in atlas.parts():
        if atlas.done(part) is None:
            continue
        name = f"scores/{part.folder}/crop=quince/{part.stem}.parquet"
        climates = atlas.read(f"climates/{part.folder}/{part.stem}.parquet")
        frame = atlas.read(name).to_pandas().astype({"variety": str, "verdict": str})
        frames.append(frame.assign(warming=part.warming, climates=climates.num_rows))
    if not frames:
        return pd.DataFrame()
    return pd.concat(frames).sort_values(["warming", "site", "variety"], ignore_index=True)


def cut_atlas(times: int, seed: int, datasets: Path) -> Row:
    """What a killed run had finished must read and stay; runs that go on must end as one run does."""
    from recommender.catalog import open_catalog

    chance = random.Random(seed)
    under_way = lost = broken = 0
    with tempfile.TemporaryDirectory() as held:
        whole, folder = Path(held) / "whole", Path(held) / "0"
        os.environ["ORCHARDWRIGHT_DATASETS"] = str(datasets)
        open_catalog().close()
        whole_s = _seconds(_atlas, str(whole), str(datasets))
        right, done = _scores(whole), 0
        for kill in range(times):
            under_way += _killed(_atlas, (str(folder), str(datasets)), chance.uniform(0.0, whole_s))
            try:
                there = _scores(folder) if (folder / "atlas.json").exists() else pd.DataFrame()
            except Exception as problem:
                print(f"atlas: {problem}")
                broken += 1
                continue
            lost += len(there) < done
            done = len(there)
            if done == len(right):
                lost += not there.equals(right)
                folder, done = Path(held) / str(kill + 1), 0
        _atlas(str(folder), str(datasets))
        lost += not _scores(folder).equals(right)
    return Row("run of an atlas", times, under_way, lost, broken)


@contextmanager
def _server() -> Iterator[str]:
    """Two megabytes in forty pieces, and the rest of them for who asks for the rest."""

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def log_message(self, *args: object) -> None:
            """Keep the table's output quiet."""

        def do_GET(self) -> None:
            asked = self.headers.get("Range", "")
            start = int(asked.removeprefix("bytes=").rstrip("-")) if asked else 0
            self.send_response(206 if asked else 200)
            if asked:
                self.send_header("Content-Range", f"bytes {start}-{len(_BODY) - 1}/{len(_BODY)}")
            self.send_header("Content-Length", str(len(_BODY) - start))
            self.send_header("ETag", '"one"')
            self.end_headers()
            size = len(_BODY) // _PIECES
            try:
                for at in range(start, len(_BODY), size):
                    self.wfile.write(_BODY[at : at + size])
                    self.wfile.flush()
                    time.sleep(0.002)
            except OSError:
                self.close_connection = True

    class Server(ThreadingHTTPServer):
        def handle_error(self, request: object, client_address: object) -> None:
            """Who asked was killed."""

    http = Server(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=http.serve_forever, args=(0.05,), daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{http.server_port}/station.csv.gz"
    finally:
        http.shutdown()
        http.server_close()


def _download(url: str, target: str) -> None:
    from recommender.climate.download import fetch

    fetch(url, Path(target))


def cut_download(times: int, seed: int) -> Row:
    """A file in the cache must be whole; a later call must take up what is there and end with it all."""
    from recommender.climate.download import cached

    chance = random.Random(seed)
    under_way = lost = broken = 0
    right = hashlib.sha256(_BODY).hexdigest()
    with tempfile.TemporaryDirectory() as held, _server() as url:
        target = Path(held) / "station.csv.gz"
        whole_s = _seconds(_download, url, str(target))
        for _ in range(times):
            target.unlink(missing_ok=True)
            under_way += _killed(_download, (url, str(target)), chance.uniform(0.0, whole_s))
            kept = cached(target, url)
            broken += kept is not None and kept.sha256 != right
            if chance.random() < 0.5:
                _download(url, str(target))
                lost += target.read_bytes() != _BODY
        _download(url, str(target))
        lost += target.read_bytes() != _BODY
    return Row("weather download", times, under_way, lost, broken)
