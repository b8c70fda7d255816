"""Search for input that breaks a reader, guided by which lines of the reader it reaches (atheris).

In: how long, and which readers. Out: a table, one row a reader: runs, and the input that broke it, if any,
which is kept as a file. atheris is no dependency of this project: `pip install atheris`, then run it as

    python -m tests.hardening.coverage_guided --seconds 60
    python -m tests.hardening.coverage_guided --seconds 600 "weather, .dly" "a stock line"

What breaks a reader is anything but an error of the one family (recommender/errors.py), or an answer that
takes longer than 25 seconds. Ends with 1 if there was any.
"""

from __future__ import annotations

import argparse
import contextlib
import re
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

KEPT = Path(__file__).parents[1] / "output" / "found"
_PATIENCE_S = 25
_MOST_MB = 3000
_LONGEST = 4096


def readers(folder: Path) -> dict[str, tuple[Callable[[bytes], object], bytes]]:
    """What each reader does with bytes, and a valid example; `folder` takes the files that are read."""
    from tests.hardening.readers import READERS, TEXTS

    def of_file(name: str, read: Callable[[Path], object]) -> Callable[[bytes], object]:
        path = folder / name

        def run(raw: bytes) -> object:
            path.write_bytes(raw)
            return read(path)

        return run

    def of_text(read: Callable[[str], object]) -> Callable[[bytes], object]:
        return lambda raw: read(raw.decode("utf-8", errors="replace"))

    found: dict[str, tuple[Callable[[bytes], object], bytes]] = {}
    for reader, (name, read, valid) in READERS.items():
        found[reader] = of_file(name, read), valid[:_LONGEST]
    for reader, (understand, example) in TEXTS.items():
        found[reader] = of_text(understand), example.encode()
    return found


def search(reader: str, seconds: int) -> None:
    """Search in this process until the time is over or something breaks; libFuzzer then ends the process."""
    import atheris

    with atheris.instrument_imports(include=["recommender"]):
        import recommender.atlas.sites
        import recommender.catalog
        import recommender.climate.weather
        import recommender.nursery.names
        import recommender.orchard.plan_file
        import recommender.swap.reading  # noqa: F401

    from recommender.errors import OrchardwrightError

    folder = Path(tempfile.mkdtemp(prefix="orchardwright-search-"))
    run, valid = readers(folder)[reader]
    seeds = folder / "seeds"
    seeds.mkdir()
    (seeds / "valid").write_bytes(valid)
    with contextlib.suppress(OrchardwrightError):
        run(valid)  # What is opened once is opened before the search.

    def one(raw: bytes) -> None:
        try:
            run(raw)
        except OrchardwrightError as told:
            if not str(told).strip():
                raise

    KEPT.mkdir(parents=True, exist_ok=True)
    options = [
        f"-max_total_time={seconds}", f"-timeout={_PATIENCE_S}", f"-rss_limit_mb={_MOST_MB}",
        f"-max_len={_LONGEST}", f"-artifact_prefix={KEPT}/{_slug(reader)}-", "-print_final_stats=1",
    ]  # fmt: skip
    atheris.Setup([sys.argv[0], *options, str(seeds)], one)
    atheris.Fuzz()


def _slug(reader: str) -> str:
    return re.sub(r"\W+", "-", reader).strip("-")


def searched(reader: str, seconds: int) -> tuple[int, str]:
    """How often the reader was run in a process of its own, and what broke it ("" if nothing did)."""
    done = subprocess.run(
        [sys.executable, "-m", __spec__.name, "--here", "--seconds", str(seconds), reader],
        capture_output=True,
        text=True,
        errors="replace",
        check=False,
    )
    told = done.stdout + done.stderr
    runs = re.search(r"number_of_executed_units:\s*(\d+)", told) or re.search(r"#(\d+)\s+DONE", told)
    if done.returncode == 0:
        return int(runs[1]) if runs else 0, ""
    kept = re.search(r"Test unit written to (\S.*)", told)
    why = re.search(r"(?m)^(?:=== Uncaught Python exception: ===\n)?(\w[\w.]*(?:Error|Exception)\b.*)$", told)
    said = why[1] if why else " ".join(told.split())[-300:]
    return int(runs[1]) if runs else 0, f"{said} ({kept[1] if kept else 'nothing kept'})"


def main() -> None:
    """Print the table; exit with 1 if a reader broke."""
    parser = argparse.ArgumentParser(description="Search for input that breaks a reader (needs atheris).")
    parser.add_argument("readers", nargs="*", help="only these; all if none is named")
    parser.add_argument("--seconds", type=int, default=60, help="for each reader")
    parser.add_argument("--here", action="store_true", help="one reader, in this process")
    asked = parser.parse_args()
    if asked.here:
        search(asked.readers[0], asked.seconds)
        return
    with tempfile.TemporaryDirectory() as folder:
        known = list(readers(Path(folder)))
    strangers = [reader for reader in asked.readers if reader not in known]
    if strangers:
        parser.error(f"no reader is called {strangers[0]}; known are: {'; '.join(known)}")
    broken = False
    for reader in asked.readers or known:
        runs, why = searched(reader, asked.seconds)
        broken |= bool(why)
        print(f"{reader:<24}{runs:>9,} runs  {why or 'nothing broke'}", flush=True)
    sys.exit(broken)


if __name__ == "__main__":
    main()
