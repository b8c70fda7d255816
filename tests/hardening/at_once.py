"""Work for several processes at once. Each imports no more than it needs, so that they truly overlap."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any


def at_once(works: Sequence[tuple[Any, ...]]) -> list[int]:
    """Do each work (a function and what it is told) in a process of its own; how each ended, 0 for well."""
    context = multiprocessing.get_context("spawn")
    processes = [context.Process(target=_do, args=work) for work in works]
    for process in processes:
        process.start()
    for process in processes:
        process.join(120)
    return [process.exitcode if process.exitcode is not None else -1 for process in processes]


def _do(work: Callable[..., None], *told: Any) -> None:
    work(*told)


def decide(path: str, who: str) -> None:
    """Remember fifteen names, each by reading and saving the file anew."""
    from recommender.nursery.decisions import Decisions

    for number in range(15):
        memory = Decisions(Path(path))
        memory.remember(f"{who} {number}", ("apple", "Discovery"))
        memory.save()


def confirm_ten(path: str, first: int) -> None:
    """Confirm ten matches, each again until nobody else was quicker."""
    from recommender.swap.event_file import EventChanged, confirm, open_event
    from recommender.swap.people import Confirmed

    for number in range(first, first + 10):
        while True:
            try:
                confirm(Path(path), open_event(Path(path)), [Confirmed(f"O{number}", f"R{number}")])
            except EventChanged:
                continue
            break


def make_tables(cache: str, out: str) -> None:
    """Make derived tables and write down where they lie."""
    import pandas as pd

    from recommender.catalog import open_catalog
    from recommender.catalog.derived import derived_tables, read_derived

    catalog = open_catalog(cache=Path(cache))
    path = derived_tables(catalog, "twice", "1", lambda: {"a": pd.DataFrame({"a": range(50_000)})})
    assert len(read_derived(path, "a")) == 50_000
    Path(out).write_text(str(path), encoding="utf-8")
