"""Make an atlas: hand its parts to the cores of this machine or of a cluster, a few at a time.

In come a folder and sites; out goes the finished folder and a `Report`. Dask carries the work: processes on
this machine by default, or whatever workers an existing scheduler has, which must see the same folder. A
worker that dies loses the part it was at and no more; the scheduler hands it to another. Parts that are done
are not done again, so a run that was stopped goes on.
"""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from recommender.atlas.folder import MOST_IN_A_BLOCK, SITES_IN_A_BLOCK, About, AtlasFolder, Part, sites_key
from recommender.atlas.method import method_key
from recommender.atlas.sites import COLUMNS
from recommender.atlas.work import ready_plan, work
from recommender.climate.profile import DEFAULT_SEED, DEFAULT_YEARS
from recommender.errors import BadInput, StorageFault
from recommender.suitability.site import YesNo

if TYPE_CHECKING:
    from distributed import Client, LocalCluster

Progress = Callable[[str, float], None]
# Parts waiting at a worker beside the one it is at: enough never to idle, few enough to bound memory.
AHEAD = 2
# So often a part may take its worker down before the run gives up on it.
DEATHS_ALLOWED = 3
ANSWERS_WITHIN = "20s"
WORKERS_WITHIN_S = 60.0
# Ctrl-C reaches every process of a terminal; the run alone hears it, and ends its workers. Each is told, for
# one may be started anew.
_DEAF_TO_CTRL_C = "import signal; signal.signal(signal.SIGINT, signal.SIG_IGN)"
# What Dask raises where nobody answers, where a transport or TLS is not set up, and where another kind of
# server answers, whose first bytes it takes for a length.
_NO_ANSWER = (OSError, ValueError, TimeoutError, TypeError, ImportError, RuntimeError, MemoryError)


@dataclass(frozen=True)
class Report:
    """What a run did. parts: worked now; kept: done before; pairs: scores written now; without_climate: site,
    name and why; seconds: of climate, score and write, summed over the workers."""

    folder: Path
    about: About
    parts: int
    kept: int
    sites: int
    pairs: int
    seconds: dict[str, float]
    without_climate: list[dict[str, Any]] = field(default_factory=list)


def run(
    folder: Path | str,
    sites: pd.DataFrame,
    *,
    crops: Sequence[str] = (),
    preset: str = "beginner",
    neighbours: YesNo = "yes",
    warming: Sequence[float] = (0.0,),
    workers: int | None = None,
    scheduler: str | None = None,
    block: int = SITES_IN_A_BLOCK,
    years: int = DEFAULT_YEARS,
    progress: Progress | None = None,
) -> Report:
    """Score every variety at every site, into a folder.

    sites: as the functions of `sites` make them; crops: only these; neighbours: whether a pollen partner may
    be counted on near by, as in a site's answers (without, no variety that needs one is ever sound); warming:
    offsets [K], each an atlas of its own in the folder; workers: processes (all cores if None; 0 for this
    process alone, without Dask); scheduler: address of a running one, such as tcp://10.0.0.5:8786.
    Raises BadInput for options that cannot be, for a folder that holds another atlas or without Dask,
    StorageFault where a file cannot be written or a part could not be worked.
    """
    atlas, about, order = _begin(folder, sites, tuple(crops), preset, neighbours, warming, block, years)
    report = progress or (lambda what, share: None)
    todo = [part for part in atlas.parts() if atlas.done(part) is None]
    total = len(about.warming) * about.blocks
    done: list[dict[str, Any]] = []
    report(f"{total - len(todo)} of {total} parts are done", 1.0 - len(todo) / total)
    for result in worked(atlas.path, todo, workers, scheduler):
        done.append(result)
        pairs = sum(each["pairs"] for each in done)
        share = (total - len(todo) + len(done)) / total
        report(f"{share * total:.0f} of {total} parts, {pairs:,} scores", share)
    names = dict(zip(order["site"].tolist(), order["name"].tolist(), strict=True))
    missing = [
        {**each, "name": names.get(each["site"], "")}
        for part in atlas.parts()
        if part.warming == about.warming[0]
        for each in (atlas.done(part) or {}).get("without_climate", [])
    ]
    return Report(
        folder=atlas.path,
        about=about,
        parts=len(done),
        kept=total - len(todo),
        sites=len(order),
        pairs=sum(each["pairs"] for each in done),
        seconds={
            name: sum(each.get(f"{name}_s", 0.0) for each in done) for name in ("climate", "score", "write")
        },
        without_climate=missing,
    )


def _begin(
    folder: Path | str,
    sites: pd.DataFrame,
    crops: tuple[str, ...],
    preset: str,
    neighbours: YesNo,
    warming: Sequence[float],
    block: int,
    years: int,
) -> tuple[AtlasFolder, About, pd.DataFrame]:
    from recommender import open_catalog

    if not warming or any(not abs(each) <= 10.0 for each in warming):
        raise BadInput("A warming lies beyond 10 degrees", remedy="Give offsets such as 0 and 2")
    if not 1 <= block <= MOST_IN_A_BLOCK:
        raise BadInput(f"A block of {block} sites cannot be", remedy="Give a number from 1 to 100,000")
    if missing := set(COLUMNS) - set(sites):
        raise BadInput(f"The sites have no column {', '.join(sorted(missing))}")
    catalog = open_catalog()
    names = tuple(sorted(catalog.resolve_crop(crop) for crop in crops))
    key = str(catalog.info["data_key"])
    ready = ready_plan(key, preset, neighbours, names)
    # Neighbours share the same part of the climate grid.
    order = sites[list(COLUMNS)].sort_values(["lat", "lon"], kind="stable", ignore_index=True)
    order.insert(0, "site", range(len(order)))
    about = About(
        data_key=key,
        sites_key=sites_key(order),
        sites=len(order),
        varieties=ready.size,
        preset=preset,
        neighbours=neighbours,
        crops=names,
        # Nought, not minus nought: it is the name of a folder.
        warming=tuple(sorted({round(float(each), 1) + 0.0 for each in warming})),
        years=years,
        seed=DEFAULT_SEED,
        block=block,
        method_key=method_key(),
    )
    atlas = AtlasFolder(folder)
    return atlas, atlas.begin(about, order, ready.names), order


def worked(
    folder: Path, todo: list[Part], workers: int | None, scheduler: str | None
) -> Iterator[dict[str, Any]]:
    """Reports of parts as they are worked: in this process, on this machine's cores, or by a scheduler."""
    if not todo:
        return
    where = str(folder.resolve())
    if workers == 0 and scheduler is None:
        for part in todo:
            yield work(where, part.warming, part.block)
        return
    with ExitStack() as stack:
        yield from _handed_out(_client(workers, scheduler, stack), where, todo)


def _client(workers: int | None, scheduler: str | None, stack: ExitStack) -> Client:
    """A client that ends with the stack, and the cluster it may have started."""
    try:
        import dask
        from distributed import Client, LocalCluster
    except ImportError:
        raise BadInput(
            "An atlas on several cores needs Dask",
            remedy="Install it with `pip install 'orchardwright[atlas]'`, or use one core: --workers 0",
        ) from None
    dask.config.set({"distributed.scheduler.allowed-failures": DEATHS_ALLOWED})
    if scheduler is not None:
        client = stack.enter_context(_client_of(scheduler))
        _wait_for_workers(client, scheduler)
        return client
    count = workers if workers is not None else os.cpu_count() or 1
    # An address of this machine alone, at any free port: other programs may have the usual one.
    with _deaf_to_ctrl_c():
        cluster = LocalCluster(
            n_workers=count,
            threads_per_worker=1,
            processes=True,
            dashboard_address="127.0.0.1:0",
            silence_logs=50,
            preload=[_DEAF_TO_CTRL_C],
        )
    stack.callback(_closed, cluster)
    return stack.enter_context(Client(cluster))


@contextmanager
def _deaf_to_ctrl_c() -> Iterator[None]:
    """Processes begun within ignore Ctrl-C from their first moment; so does this one, for those seconds."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before or signal.SIG_DFL)


def _client_of(scheduler: str) -> Client:
    """A client of a scheduler that runs. Raises BadInput where none answers."""
    from distributed import Client

    try:
        return Client(scheduler, timeout=ANSWERS_WITHIN)
    except _NO_ANSWER as problem:
        remedy = "Start one with `dask scheduler`, and workers with `dask worker ADDRESS`"
        if isinstance(problem, TypeError):
            remedy = "Give an address that begins with tcp://, or set up TLS (distributed.comm.tls)"
        raise BadInput(f"No scheduler answers at {scheduler}", remedy=remedy) from problem


def _wait_for_workers(client: Client, scheduler: str) -> None:
    try:
        client.wait_for_workers(1, timeout=WORKERS_WITHIN_S)
    except TimeoutError as problem:
        raise BadInput(
            f"No worker came to the scheduler at {scheduler} within {WORKERS_WITHIN_S:g} seconds",
            remedy=f"Start workers with `dask worker {scheduler}`, then give the same command again",
        ) from problem


def _closed(cluster: LocalCluster) -> None:
    # A worker that was killed at the very end is just being started anew, and its guard then complains that
    # it did not get to it. Every part is done by then, or another error is on its way.
    with suppress(RuntimeError, TimeoutError):
        cluster.close()


def _handed_out(client: Client, where: str, todo: Iterable[Part]) -> Iterator[dict[str, Any]]:
    """Results as they come; never more parts handed out than the workers can soon begin."""
    from distributed import KilledWorker, as_completed

    waiting = iter(todo)

    def hand_out(part: Part) -> Any:
        return client.submit(
            work, where, part.warming, part.block, pure=False, key=f"{part.folder}-{part.stem}"
        )

    room = AHEAD * max(1, len(client.scheduler_info()["workers"]))
    running = as_completed([hand_out(part) for _, part in zip(range(room), waiting, strict=False)])
    for future in running:
        try:
            result = future.result()
        except KilledWorker as problem:
            raise StorageFault(
                f"A part of the atlas took its worker down {DEATHS_ALLOWED} times",
                where=where,
                remedy="Give workers more memory or make blocks smaller; finished parts are kept",
            ) from problem
        yield result
        future.release()
        following = next(waiting, None)
        if following is not None:
            running.add(hand_out(following))
