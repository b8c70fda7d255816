"""Make anew what the pages say of the data: the data dictionary, the quality report, the README's shortlist.

Usage: python docs/renew.py, after any change of `datasets/`. Tests hold the pages against the data.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
COMMANDS = (
    ("-m", "recommender.catalog.dictionary", "docs/data-dictionary.md"),
    ("-m", "recommender.cli", "quality", "--page", "docs/data-quality.md"),
    ("docs/readme_shortlist.py",),
)

if __name__ == "__main__":
    for command in COMMANDS:
        subprocess.run([sys.executable, *command], cwd=ROOT, check=True)
