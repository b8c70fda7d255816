"""Make anew, in their order, all that hangs on the evidence: places, estimates, weights, docs/validation.md.

    python datasets/build/refit.py

Run after evidence, the model of bloom and ripening or a criterion has changed. Each step is a command of its
own and may be run alone; this one stops at the first that fails. Nothing is fetched.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
STEPS = (
    "datasets/build/build_variety_regions.py",
    "datasets/build/build_region_climates.py",
    "datasets/build/build_estimates.py",
    "datasets/build/fit_weights.py",
)


def main() -> int:
    """Run the steps, telling how long each took."""
    # One thread: the arrays are small, and more threads only wait for each other.
    environment = {**os.environ, "OMP_NUM_THREADS": "1", "PYTHONPATH": str(ROOT)}
    for step in STEPS:
        begun = time.monotonic()
        done = subprocess.run([sys.executable, step], cwd=ROOT, env=environment, check=False)
        sys.stdout.write(f"{step}: {time.monotonic() - begun:.0f} s\n")
        sys.stdout.flush()
        if done.returncode:
            return done.returncode
    return 0


if __name__ == "__main__":
    sys.exit(main())
