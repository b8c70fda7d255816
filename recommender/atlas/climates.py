"""The climates of a block of sites, worked out together, and kept as Parquet to be scored again.

In come sites; out go `Climates` as the batch scoring takes them, and the same as a table. Most of an atlas's
time goes here: thirty winters hour by hour. Another preset, new weights or new traits that move neither bloom
nor harvest need none of it again.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from recommender.atlas.method import derived_key
from recommender.biology import bloom, bloom_model, bloom_parameters, ripening
from recommender.biology.bloom_model import bud_hours, keep_bud_weather
from recommender.climate import chill, downscaling, figures, generator, grid, heat, hourly, many
from recommender.climate.chill import dynamic_portions
from recommender.climate.many import build_profiles
from recommender.climate.normals import Normals, normals_at
from recommender.climate.profile import Profile
from recommender.errors import BadInput
from recommender.suitability import batch, criteria, dates, disease, track_record
from recommender.suitability.batch import Climates, Plan, SiteFeatures, features_of, stacked

_WORKED_BY = (
    bloom, bloom_model, bloom_parameters, ripening, chill, downscaling, figures, generator, grid, heat,
    hourly, many, batch, criteria, dates, disease, track_record,
)  # fmt: skip
AT_ONCE = 16
"""Sites whose hours are in memory together: some 5 MB each."""


def features_of_sites(
    normals: list[Normals], years: int, seed: int, warming: float, ready: Plan
) -> Iterator[SiteFeatures]:
    """What scores need of each site, a few sites at a time."""
    for first in range(0, len(normals), AT_ONCE):
        profiles = build_profiles(normals[first : first + AT_ONCE], years, seed, warming)
        _chill_together(profiles)
        for profile in profiles:
            yield features_of(profile, ready)


def _chill_together(profiles: list[Profile]) -> None:
    hours = [bud_hours(profile) for profile in profiles]
    portions = np.split(dynamic_portions(np.concatenate(hours), running=True), len(profiles))
    for profile, of_bud_year, running in zip(profiles, hours, portions, strict=True):
        keep_bud_weather(profile, of_bud_year, running)


def climates_of(
    sites: pd.DataFrame, years: int, seed: int, warming: float, ready: Plan
) -> tuple[NDArray[np.int64], Climates | None, list[dict[str, object]]]:
    """Numbers of the sites that have a climate, their climates (None if none has), and why others have
    none."""
    kept: list[int] = []
    normals: list[Normals] = []
    missing: list[dict[str, object]] = []
    points = sites[["lat", "lon", "elevation_m"]].to_numpy(dtype=np.float64)
    for number, (lat, lon, height) in zip(sites["site"].tolist(), points.tolist(), strict=True):
        try:
            normals.append(normals_at(lat, lon, height if np.isfinite(height) else None))
            kept.append(number)
        except BadInput as fault:
            missing.append({"site": number, "why": str(fault)})
    parts = []
    waiting: list[SiteFeatures] = []
    for features in features_of_sites(normals, years, seed, warming, ready):
        waiting.append(features)
        if len(waiting) == AT_ONCE:
            parts.append(stacked(waiting, ready))
            waiting = []
    if waiting:
        parts.append(stacked(waiting, ready))
    return np.array(kept, dtype=np.int64), _joined(parts) if parts else None, missing


def _joined(parts: list[Climates]) -> Climates:
    return Climates(
        **{
            part.name: np.concatenate([getattr(each, part.name) for each in parts])
            for part in fields(Climates)
        }
    )


def key_of(ready: Plan, data_key: str, years: int, seed: int, sites: pd.DataFrame, warming: float) -> str:
    """The same where the same climates would be worked out: of the data's key, the years and how much warmer
    [K], the sites, what moves bloom and harvest, and the code that works them out."""
    days = ready.days
    read = (
        days.bloom_of, days.harvest_of, days.needs.log_requirement, days.needs.need_factor,
        days.needs.error_d, days.ripe.days, days.ripe.error_d, days.ripe.window_start, days.kill10,
        days.kill90,
    )  # fmt: skip
    made = hashlib.sha256(f"{data_key} {derived_key()} {years} {seed} {warming:.1f}".encode())
    made.update(sites[["site", "lat", "lon", "elevation_m"]].to_numpy(dtype=np.float64).tobytes())
    for figure in read:
        made.update(np.ascontiguousarray(figure).tobytes())
    for module in _WORKED_BY:
        made.update(Path(str(module.__file__)).read_bytes())
    return made.hexdigest()[:16]


def to_table(sites: NDArray[np.int64], climates: Climates, key: str) -> pa.Table:
    """One row a site; what has many values a site is a list."""
    columns: dict[str, pa.Array] = {"site": pa.array(sites)}
    for part in fields(Climates):
        values = getattr(climates, part.name)
        if values.ndim == 1:
            columns[part.name] = pa.array(values)
        else:
            columns[part.name] = pa.FixedSizeListArray.from_arrays(pa.array(values.ravel()), values.shape[1])
    return pa.table(columns).replace_schema_metadata({"key": key})


def from_table(table: pa.Table, key: str) -> tuple[NDArray[np.int64], Climates] | None:
    """What `to_table` wrote; None where it was made for something else."""
    if (table.schema.metadata or {}).get(b"key") != key.encode():
        return None
    values = {}
    for part in fields(Climates):
        column = table.column(part.name).combine_chunks()
        if pa.types.is_fixed_size_list(column.type):
            flat = column.flatten().to_numpy(zero_copy_only=False)
            values[part.name] = flat.reshape(len(table), column.type.list_size)
        else:
            values[part.name] = column.to_numpy(zero_copy_only=False)
    return table.column("site").to_numpy(), Climates(**values)
