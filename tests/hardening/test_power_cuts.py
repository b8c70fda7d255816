"""A kill at a random moment of any write loses nothing; the harness that says so would notice if it did."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from recommender.catalog.package import datasets_folder
from tests.hardening.power_cuts import Kind, cut

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="kills by SIGKILL")


def test_kills_at_random_moments_lose_nothing(small_data: Path) -> None:
    """A few of each kind; docs/hardening.md says how to kill each 200 times."""
    for path in (datasets_folder() / "demo", *datasets_folder().glob("*.parquet")):
        (small_data / path.name).symlink_to(path)
    few = ["--times", "6", "--works", "1", "--builds", "1", "--datasets", str(small_data)]
    done = subprocess.run(
        [sys.executable, "-m", "tests.hardening.power_cuts", *few],
        cwd=Path(__file__).parents[2],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "ORCHARDWRIGHT_DATASETS": str(small_data)},
    )
    assert done.returncode == 0, done.stdout + done.stderr
    table = [line for line in done.stdout.splitlines() if line.endswith(" 0       0")]
    assert len(table) == 10, done.stdout


def test_a_write_that_is_not_whole_is_noticed() -> None:
    def write(folder: Path, n: int) -> None:
        with (folder / "file").open("w") as file:
            for _ in range(20_000):
                file.write(f"{n:07d} ")
                file.flush()

    def read(folder: Path) -> int:
        path = folder / "file"
        if not path.exists():
            return 0
        words = path.read_text().split()
        assert len(words) == 20_000
        assert len(set(words)) == 1
        return int(words[0])

    assert cut(Kind("half written", write, read), 30, seed=5).broken == 1
