"""The warmth of the places where crops are published to bear, or only just.

In come the rows of `crop_limits.csv` that name a place, and the climate engine; out goes the same file with
their values made anew: mean degree days above 10 degC of the year [K d], as the ranking counts them.

    python datasets/build/build_crop_limits.py
"""

from __future__ import annotations

import sys
from functools import cache
from pathlib import Path

import pandas as pd

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from recommender.climate.normals import normals_at  # noqa: E402
from recommender.climate.profile import build_profile  # noqa: E402
from recommender.files import write_whole  # noqa: E402

TARGET = ROOT / "datasets" / "crop_limits.csv"


@cache
def warmth_at(lat: float, lon: float) -> int:
    """Mean degree days above 10 degC of the year [K d] at a point on land."""
    return round(float(build_profile(normals_at(lat, lon)).gdd10.mean()))


def main() -> None:
    """Write the file anew, sorted as it was."""
    rows = pd.read_csv(TARGET, dtype=str, keep_default_na=False)
    for row in rows.index[rows["place"].ne("")]:
        lat, lon = float(str(rows.loc[row, "lat"])), float(str(rows.loc[row, "lon"]))
        rows.loc[row, "value"] = str(warmth_at(lat, lon))
    write_whole(TARGET, rows.to_csv(index=False, lineterminator="\n"))


if __name__ == "__main__":
    main()
