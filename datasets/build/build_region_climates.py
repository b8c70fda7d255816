"""The climate of every region that has a published list and of every place where varieties were described.

In come `regional_lists.csv`, `variety_regions.csv`, `places.parquet` and the climate engine; out goes
`region_climates.csv`, one row a point: a list's own point, or up to five large towns of a state or country,
at least 140 km apart. Its figures are those of `track_record.climate_of`, so that a site can be compared with
them.

    python datasets/build/build_region_climates.py
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(Path(__file__).parent)]
from build_variety_regions import NAMES  # noqa: E402

from recommender.climate.normals import normals_at  # noqa: E402
from recommender.climate.profile import build_profile  # noqa: E402
from recommender.suitability.track_record import FIGURES, climate_of  # noqa: E402

DATASETS = ROOT / "datasets"
TARGET = DATASETS / "region_climates.csv"
TOWNS, APART_DEGREES = 5, 1.3
# Lists that cover several states, or whose name does not begin with the state's.
COVERS = {
    "northeast-us-zone5a": "US-MA|US-ME|US-NH|US-NY|US-VT",
    "southwest-low-desert": "US-AZ|US-CA|US-NV",
    "nsw-north-coast": "AU-NSW",
    "australia-lake-macquarie": "AU-NSW",
    "australia-brisbane": "AU-QLD",
    "australia-tasmania": "AU-TAS",
}


def covered(region: str, country: str) -> str:
    """The states or the country that a list speaks of, as ISO codes joined by |."""
    if region in COVERS:
        return COVERS[region]
    for name, code in sorted(NAMES.items(), key=lambda item: -len(item[0])):
        if code.startswith(f"{country}-") and region.startswith(name.lower().replace(" ", "-")):
            return code
    return country


def figures(lat: float, lon: float) -> dict[str, float]:
    """The figures of one point."""
    values = climate_of(build_profile(normals_at(lat, lon)))
    return dict(zip(FIGURES, np.round(values, 3).tolist(), strict=True))


def towns(places: pd.DataFrame, code: str) -> list[tuple[str, float, float]]:
    """Large towns of a state or country (name, lat, lon), spread out."""
    chosen = places[places["country_code"] == code[:2]]
    if "-" in code:
        chosen = chosen[chosen["region"].isin([name for name, known in NAMES.items() if known == code])]
    found: list[tuple[str, float, float]] = []
    for name, lat, lon in chosen.nlargest(400, "population")[["name", "lat", "lon"]].itertuples(index=False):
        here = (name, lat / 1000.0, lon / 1000.0)
        narrow = np.cos(np.radians(here[1]))
        if all(np.hypot(here[1] - a, (here[2] - o) * narrow) > APART_DEGREES for _, a, o in found):
            found.append(here)
        if len(found) == TOWNS:
            break
    return found


def main() -> int:
    """Write the table in one step."""
    lists = pd.read_csv(DATASETS / "regional_lists.csv", keep_default_na=False)
    lists = lists.drop_duplicates(["region", "lat", "lon"])
    rows: list[dict[str, object]] = []
    for region, country, lat, lon, zone in lists[["region", "country", "lat", "lon", "usda_zone"]].itertuples(
        index=False
    ):
        found = figures(lat, lon)
        if zone != "":
            found["zone"] = (found["zone"] + float(zone)) / 2.0
        rows.append(
            {
                "place": region,
                "covers": covered(region, country),
                "point": region,
                "lat": lat,
                "lon": lon,
                **found,
            }
        )
    described = pd.read_csv(DATASETS / "variety_regions.csv", keep_default_na=False)
    origins = pd.read_csv(DATASETS / "varieties.csv", dtype=str, keep_default_na=False)["origin"]
    places = pd.read_parquet(DATASETS / "places.parquet")
    for code in sorted(set(described["place"]) | set(origins) - {""}):
        for town, lat, lon in towns(places, code):
            rows.append(
                {"place": code, "covers": code, "point": town, "lat": lat, "lon": lon, **figures(lat, lon)}
            )
    frame = pd.DataFrame(rows).sort_values(["place", "point", "lat", "lon"])
    partial = TARGET.with_suffix(".csv.partial")
    frame.to_csv(partial, index=False, lineterminator="\n")
    partial.replace(TARGET)
    sys.stdout.write(f"{len(frame)} points of {frame['place'].nunique()} places\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
