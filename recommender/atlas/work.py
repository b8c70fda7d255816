"""One part of an atlas: the climates and scores of one block of sites at one warming.

In comes the folder and the part; out go its files, and a small report. A part may be worked twice, by two
processes at once even: each file is put in place whole, and both write the same.
"""

from __future__ import annotations

import time
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from recommender.atlas.climates import climates_of, from_table, key_of, to_table
from recommender.atlas.folder import About, AtlasFolder, Part
from recommender.atlas.method import method_key
from recommender.errors import BadInput, StorageFault
from recommender.suitability.batch import Plan, Scores, plan, scored
from recommender.suitability.goals import Goals
from recommender.suitability.site import YesNo
from recommender.suitability.verdicts import VERDICTS

_WORDS = pa.array(VERDICTS)
FILES_AT_ONCE = 8


@lru_cache(maxsize=2)
def ready_plan(data_key: str, preset: str, neighbours: YesNo, crops: tuple[str, ...]) -> Plan:
    """The catalog made ready, once in a process. Raises BadInput where this machine holds other data."""
    from recommender import open_catalog

    catalog = open_catalog()
    if catalog.info["data_key"] != data_key:
        raise BadInput(
            "The open data here are not those the atlas was begun with",
            remedy="Give every worker the same version of Orchardwright and the same datasets",
        )
    return plan(catalog, Goals.model_validate({"preset": preset, "crops": crops}), neighbours)


def work(folder: str, warming: float, block: int) -> dict[str, Any]:
    """Work one part, unless it is done, and report: sites, pairs, seconds of each stage, sites without a
    climate. Raises StorageFault, BadInput."""
    atlas, part = AtlasFolder(folder), Part(warming, block)
    done = atlas.done(part)
    if done is not None:
        return {**done, "again": True}
    about = atlas.about()
    if about.method_key != method_key():
        raise BadInput(
            "The version of Orchardwright here is not the one the atlas was begun with",
            remedy="Give every worker the same version and the same datasets, or name another folder",
        )
    ready = ready_plan(about.data_key, about.preset, about.neighbours, about.crops)
    start = time.perf_counter(), time.process_time()
    sites, climates, missing, stored = _climates(atlas, about, part, ready)
    made = time.perf_counter(), time.process_time()
    crops: tuple[str, ...] = ()
    report: dict[str, Any] = {"sites": len(sites), "pairs": 0, "without_climate": missing, "stored": stored}
    scored_at = made
    if climates is not None:
        scores = scored(climates, ready)
        scored_at = time.perf_counter(), time.process_time()
        crops = write_scores(atlas, part, sites, scores, ready)
        report["pairs"] = scores.score.size
    end = time.perf_counter(), time.process_time()
    for name, since, until in (
        ("climate", start, made),
        ("score", made, scored_at),
        ("write", scored_at, end),
    ):
        report[f"{name}_s"] = round(until[0] - since[0], 4)
        report[f"{name}_cpu_s"] = round(until[1] - since[1], 4)
    atlas.finish(part, report, crops)
    return report


def _climates(
    atlas: AtlasFolder, about: About, part: Part, ready: Plan
) -> tuple[np.ndarray, Any, list[dict[str, object]], bool]:
    """Numbers of sites, their climates, the sites without one, and whether they were kept from before."""
    name = str(Path("climates") / part.folder / f"{part.stem}.parquet")
    rows = atlas.sites_of(part.block, about.block)
    key = key_of(ready, about.data_key, about.years, about.seed, rows, part.warming)
    if (atlas.path / name).exists():
        try:
            held = from_table(atlas.read(name), key)
        except (StorageFault, KeyError, ValueError):
            held = None
        if held is not None:
            at_sea = rows.loc[~rows["site"].isin(held[0]), "site"]
            return *held, [{"site": int(site), "why": "No climate is known there"} for site in at_sea], True
    sites, climates, missing = climates_of(rows, about.years, about.seed, part.warming, ready)
    if climates is not None:
        atlas.write(name, to_table(sites, climates, key), compression="zstd", use_dictionary=False)
    return sites, climates, missing, False


def write_scores(
    atlas: AtlasFolder, part: Part, sites: np.ndarray, scores: Scores, ready: Plan
) -> tuple[str, ...]:
    """A file a crop, variety after variety: site, variety, score (float32), verdict. Which crops they are."""
    crop = ready.names["crop"].to_numpy(dtype=object)
    order = np.argsort(crop, kind="stable")
    starts = np.flatnonzero(np.r_[True, crop[order][1:] != crop[order][:-1]])
    score = np.ascontiguousarray(scores.score.T, dtype=np.float32)
    verdict = np.ascontiguousarray(scores.verdict.T)
    count = len(sites)
    numbers = sites.astype(np.int32)

    def written(rows: np.ndarray) -> None:
        names = pa.array(ready.names["variety"].iloc[rows].tolist())
        of = np.repeat(np.arange(len(rows), dtype=np.int16), count)
        table = pa.table(
            {
                "site": np.tile(numbers, len(rows)),
                "variety": pa.DictionaryArray.from_arrays(pa.array(of), names),
                "score": score[rows].ravel(),
                "verdict": pa.DictionaryArray.from_arrays(pa.array(verdict[rows].ravel()), _WORDS),
            }
        )
        name = atlas.scores(part, crop[rows[0]]).relative_to(atlas.path)
        atlas.write(str(name), table, compression="lz4", use_dictionary=["site", "variety", "verdict"])

    # Each file waits for the disk; side by side they wait together.
    with ThreadPoolExecutor(FILES_AT_ONCE) as pool:
        list(pool.map(written, np.split(order, starts[1:])))
    return tuple(crop[order[starts]].tolist())
