"""What an atlas costs: scores a second a core end to end, processes, memory, and the whole gazetteer.

Run: python -m benchmarks.atlas [--sites 256] [--write docs/atlas.md]

One block of places is worked from nothing, which gives the price of climates, and again from its kept
climates, which gives the price of scores. Memory and the gain of a second process are measured on copies of
that block under other numbers: more places than that would take hours and show the same. Rates are of CPU
time, so that other work on the machine counts little; the gain of a second process is told by
CPU time and by the clock, which asks for two idle cores.
"""

from __future__ import annotations

import argparse
import math
import os
import platform
import re
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow.parquet as pq

from benchmarks.record import compared
from recommender import Goals, Site, open_catalog, rank
from recommender.atlas.climates import key_of
from recommender.atlas.folder import AtlasFolder, Part
from recommender.atlas.run import run, worked
from recommender.atlas.sites import country_sites
from recommender.atlas.work import ready_plan, work

PLACES_IN = "GB"
MEMORY_PAIRS = (1e5, 1e6, 1e7)
BLOCKS_FOR_PROCESSES = 24
SMALL_BLOCK, SMALL_PARTS = 32, 16
CHECKED_SITES = 3
MACHINES = (1, 10, 100)
CORES = 16
MARK = re.compile(r"(<!-- measured -->\n).*?(<!-- end -->)", re.DOTALL)


def sample(count: int) -> pd.DataFrame:
    """Places spread over a country."""
    places = country_sites(PLACES_IN)
    return places.iloc[np.linspace(0, len(places) - 1, count).astype(int)].reset_index(drop=True)


def laid_out(folder: Path, first: Path, sites: int, block: int) -> None:
    """An atlas of copies of the first block's places, their climates kept and nothing scored."""
    held = AtlasFolder(first)
    places = held.sites().drop(columns="site")
    copies = pd.concat([places] * -(-sites // len(places)), ignore_index=True).head(sites)
    copies.insert(0, "site", range(sites))
    about = held.about()
    about = type(about)(**{**vars(about), "sites": sites, "block": block, "sites_key": f"copies {sites}"})
    atlas = AtlasFolder(folder)
    atlas.begin(about, copies, held.read("varieties.parquet").to_pandas())
    ready = ready_plan(about.data_key, about.preset, about.neighbours, about.crops)
    source = held.read(f"climates/warming=0.0/{Part(0.0, 0).stem}.parquet")
    for number in range(about.blocks):
        count = min(block, sites - number * block)
        table = source.slice(0, count)
        numbered = table.set_column(0, "site", [np.arange(number * block, number * block + count)])
        key = key_of(ready, about.data_key, about.years, about.seed, atlas.sites_of(number, block), 0.0)
        numbered = numbered.replace_schema_metadata({"key": key})
        atlas.write(f"climates/warming=0.0/{Part(0.0, number).stem}.parquet", numbered, compression="zstd")


def end_to_end(folder: Path) -> dict[str, float]:
    """Pairs a second of CPU time of one block, climates kept: reading, scoring, writing, marking."""
    rates = []
    atlas = AtlasFolder(folder)
    about = atlas.about()
    for number in range(min(about.blocks, 6)):
        start, wall = time.process_time(), time.perf_counter()
        report = work(str(folder), 0.0, number)
        rates.append((report["pairs"] / (time.process_time() - start), time.perf_counter() - wall, report))
    middle = sorted(rates, key=lambda each: each[0])[len(rates) // 2]
    return {
        "rate": middle[0],
        "score": middle[2]["pairs"] / middle[2]["score_cpu_s"],
        "write": middle[2]["pairs"] / middle[2]["write_cpu_s"],
    }


def fresh(folder: Path) -> tuple[float, float]:
    """Most memory [MB] of a fresh process that works every part of an atlas, and its seconds of CPU time
    beside that work: what a worker needs to get going."""
    code = (
        "import sys, resource\n"
        "from recommender.atlas.folder import AtlasFolder\n"
        "from recommender.atlas.work import work\n"
        "for part in AtlasFolder(sys.argv[1]).parts(): work(sys.argv[1], part.warming, part.block)\n"
        "used = resource.getrusage(resource.RUSAGE_SELF)\n"
        "print(used.ru_maxrss, used.ru_utime + used.ru_stime)"
    )
    out = subprocess.run(
        [sys.executable, "-c", code, str(folder)], capture_output=True, text=True, check=True
    )
    memory, seconds = out.stdout.split()
    atlas = AtlasFolder(folder)
    worked = sum(cpu_of(atlas, part) for part in atlas.parts())
    return int(memory) / 1024.0, float(seconds) - worked


def cpu_of(atlas: AtlasFolder, part: Part) -> float:
    """Seconds of CPU time of a part that is done."""
    return float(sum((atlas.done(part) or {})[f"{name}_cpu_s"] for name in ("climate", "score", "write")))


def seconds_a_part(folder: Path, workers: int) -> float:
    """Wall-clock seconds a part with so many workers, from when each has brought its first."""
    parts, times = list(AtlasFolder(folder).parts()), []
    for _ in worked(folder, parts, workers, None):
        times.append(time.perf_counter())
    skip = 2 * workers
    return (times[-1] - times[skip - 1]) / (len(times) - skip)


def gain_of_two(room: Path, first: Path, block: int, parts: int, keep: bool) -> tuple[float, float]:
    """How many times as fast two processes are as one, with climates kept or worked out: by the clock, and
    from the CPU time of a part, which tells what two idle cores would give."""
    taken, cpu = [], []
    for workers in (1, 2):
        folder = room / f"by-{workers}"
        laid_out(folder, first, block * parts, block)
        if not keep:
            shutil.rmtree(folder / "climates")
        taken.append(seconds_a_part(folder, workers))
        atlas = AtlasFolder(folder)
        cpu.append(float(np.median([cpu_of(atlas, part) for part in atlas.parts()])))
        shutil.rmtree(folder)
    return taken[0] / taken[1], 2.0 * cpu[0] / cpu[1]


def apart_from_ranking(folder: Path) -> tuple[float, float]:
    """Greatest difference of scores from single-site ranking at a few sites, where verdicts must be the same;
    and scores a second when each site is ranked by itself, climate included."""
    atlas = AtlasFolder(folder)
    worst, places, spent, ranked = 0.0, atlas.sites(), 0.0, 0
    tables = [
        pq.read_table(path).to_pandas().assign(crop=path.parent.name.removeprefix("crop="))
        for path in (folder / "scores" / "warming=0.0").rglob("block-*.parquet")
    ]
    held = pd.concat([table.astype({"variety": str, "verdict": str}) for table in tables])
    for place in places.iloc[:: max(1, len(places) // CHECKED_SITES)].head(CHECKED_SITES).itertuples():
        answers = {"lat": place.lat, "lon": place.lon, "elevation_m": place.elevation_m}
        site = Site.model_validate({**answers, "neighbours_have_fruit_trees": "yes"})
        start = time.process_time()
        alone = rank(site, Goals(), open_catalog()).frame
        spent, ranked = spent + time.process_time() - start, ranked + len(alone)
        both = held[held["site"] == place.site].merge(alone, on=["crop", "variety"], suffixes=("", "_alone"))
        if len(both) != len(alone) or (both["verdict"] != both["verdict_alone"]).any():
            raise SystemExit(f"The atlas DIFFERS from the ranking of {place.name}")
        worst = max(worst, float((both["score"] - both["score_alone"]).abs().max()))
    return worst, ranked / spent


def measured(count: int) -> dict[str, Any]:
    """All figures."""
    places = sample(count)
    with tempfile.TemporaryDirectory() as scratch:
        room = Path(scratch)
        first = room / "first"
        report = run(first, places, workers=0, block=count)
        part = AtlasFolder(first).done(Part(0.0, 0)) or {}
        varieties, pairs = report.about.varieties, report.pairs
        figures: dict[str, Any] = {
            "varieties": varieties,
            "years": report.about.years,
            "block": count,
            "climate_ms": 1000.0 * part["climate_cpu_s"] / count,
            "without": pairs / cpu_of(AtlasFolder(first), Part(0.0, 0)),
            "climate_kb": size(first / "climates") / count / 1000.0,
            "scores_kb": size(first / "scores") / count / 1000.0,
        }
        figures["apart"], figures["one_by_one"] = apart_from_ranking(first)
        laid_out(room / "rate", first, 7 * count, count)
        figures |= end_to_end(room / "rate")
        figures["memory"] = {}
        for wanted in MEMORY_PAIRS:
            sites = max(1, round(wanted / varieties))
            laid_out(room / "memory", first, sites, count)
            figures["memory"][wanted], figures["start_s"] = fresh(room / "memory")
            shutil.rmtree(room / "memory")
        figures["gain"] = gain_of_two(room, first, SMALL_BLOCK, SMALL_PARTS, keep=False)
        figures["gain_kept"] = gain_of_two(room, first, count, BLOCKS_FOR_PROCESSES, keep=True)
    return figures


def size(folder: Path) -> int:
    """Bytes of all files below a folder."""
    return sum(path.stat().st_size for path in folder.rglob("*.parquet"))


def told(figures: dict[str, Any], places: int) -> str:
    """The figures as Markdown."""
    varieties = figures["varieties"]
    pairs = places * varieties
    climate_h = places * figures["climate_ms"] / 3.6e6
    score_h = pairs / figures["rate"] / 3600.0
    memory = ", ".join(f"{mb:.0f} MB at {wanted:.0e} pairs" for wanted, mb in figures["memory"].items())
    block, start = figures["block"], figures["start_s"]
    gb = [places * figures[name] / 1e6 for name in ("climate_kb", "scores_kb")]
    lines = [
        f"Measured on {datetime.now(UTC):%Y-%m-%d}, {machine()}, Python {platform.python_version()}, one "
        f"core unless said; {varieties:,} varieties, {figures['years']} years, {block} sites a part.",
        "",
        "| what | figure |",
        "|---|---|",
        f"| climate of one site, from its normals | {figures['climate_ms']:.0f} ms of CPU |",
        f"| scores a second a core, end to end, climates kept | {figures['rate']:,.0f} |",
        f"| of that, scoring alone | {figures['score']:,.0f} |",
        f"| of that, writing alone | {figures['write']:,.0f} |",
        f"| scores a second a core, end to end, climates worked out | {figures['without']:,.0f} |",
        f"| two processes against one, climates worked out | {gains(*figures['gain'])} |",
        f"| the same, climates kept | {gains(*figures['gain_kept'])} |",
        f"| most memory of a worker | {memory} |",
        f"| a worker gets going in | {start:.0f} s of CPU |",
        f"| kept climates, a site | {figures['climate_kb']:.1f} kB |",
        f"| scores, a site | {figures['scores_kb']:.1f} kB |",
        f"| scores against single-site ranking | {figures['apart']:.1e} apart at most, verdicts the same |",
        "",
        f"All {places:,} places of the gazetteer by {varieties:,} varieties are {pairs / 1e6:,.0f} million "
        f"scores: {climate_h:.1f} core hours of climate, once, and {score_h:.2f} core hours for each set of "
        f"wishes; {gb[0]:.1f} GB of climates and {gb[1]:.1f} GB of scores. Times below count whole parts, so "
        "many at once as there are cores, and the start of a worker.",
        "",
        f"| machines of {CORES} cores | first atlas | again, climates kept | core hours, first and again |",
        "|---:|---:|---:|---:|",
    ]
    for machines in MACHINES:
        # More cores than parts are of no use: blocks are then made smaller, so that each core has one.
        size_of_part = min(block, math.ceil(places / (machines * CORES)))
        rounds = math.ceil(math.ceil(places / size_of_part) / (machines * CORES))
        again = rounds * size_of_part * varieties / figures["rate"]
        first = again + rounds * size_of_part * figures["climate_ms"] / 1000.0
        lines.append(
            f"| {machines} | {spoken((start + first) / 3600.0)} | {spoken((start + again) / 3600.0)} "
            f"| {climate_h + score_h:.1f} and {score_h:.2f} |"
        )
    return "\n".join(lines) + "\n"


def gains(by_clock: float, by_cpu: float) -> str:
    """Both gains, and how busy the machine was with other work."""
    busy = os.getloadavg()[0]
    return f"{by_cpu:.2f} times by CPU time, {by_clock:.2f} by the clock (load {busy:.1f})"


def machine() -> str:
    """The processor's name, where the system tells it."""
    try:
        told_by_system = Path("/proc/cpuinfo").read_text(encoding="utf-8")
    except OSError:
        return platform.machine()
    names = re.findall(r"model name\s*:\s*(.+)", told_by_system)
    return f"{names[0]}, {len(names)} cores" if names else platform.machine()


def spoken(hours: float) -> str:
    """A time in words: seconds, minutes or hours."""
    if hours * 3600.0 < 90.0:
        return f"{hours * 3600.0:.0f} s"
    return f"{hours * 60.0:.0f} min" if hours < 2.0 else f"{hours:.1f} h"


def main() -> int:
    """Print the figures, and write them into a page if asked."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--sites", type=int, default=256)
    parser.add_argument("--write", type=Path)
    asked = parser.parse_args()
    key = str(open_catalog().info["data_key"])
    ready_plan(key, "beginner", "yes", ())
    figures = measured(asked.sites)
    text = told(figures, len(country_sites()))
    print(text)
    slow = "`rank`, place by place", figures["one_by_one"], "a second"
    compared("scores at many places, climates worked out", figures["without"], *slow)
    compared("scores at many places, climates kept", figures["rate"], *slow)
    print(
        f"memory of this process at most {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB"
    )
    if asked.write is not None:
        page = asked.write.read_text(encoding="utf-8")
        asked.write.write_text(MARK.sub(lambda found: found[1] + text + found[2], page), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
