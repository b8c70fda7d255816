"""What is taken for a whole crop where nothing is published of the variety: summer warmth, hardiness, early
blossom.

In comes `crop_limits.csv`, whose every row names its source; out goes one frame, one row a crop. Each figure
enters with a wide error and gives way to any published value of the variety itself.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from recommender.catalog.package import datasets_folder
from recommender.suitability.sourced import fault_of, read_sourced, unusable
from recommender.suitability.zones import ZONE_MARGIN_K, zone_bound

TABLE = "crop_limits.csv"
COLUMNS = ("crop", "quantity", "place", "lat", "lon", "value", "unit", "basis", "source_id", "note")
UNITS = {
    "coldest_stood": "degC",
    "hardy_zone": "usda-zone",
    "edge_at": "K d",
    "crops_at": "K d",
    "degree_days": "K d",
    "early_blossom": "1 = yes",
}
"""The quantities and the unit of each: coldest night stood, zone sold for, degree days above 10 degC at a
place where the crop is at its edge and at one where it crops, degree days published as its need, and whether
it blossoms as soon as spring allows."""

# The need is taken from this many of the coolest places where a crop is published to crop: one alone may be
# an odd record (chosen by us).
COOLEST = 2
# Where no published place is at a crop's edge, it fails at this share of the warmth of the coolest place
# where it crops (chosen by us; the five crops with both kinds of place have 0.53 to 0.73, measured against
# the warmth where they crop well).
FAILS_AT_SHARE = 0.6
# For a crop that somebody added to the data without a row here: a middling fruit tree, as little as that says
# (chosen by us). No crop of the open data needs it.
MIDDLING = {"warmth_fails": 600.0, "warmth_good": 1100.0, "hardiness": -20.0}


def crop_defaults(folder: Path | None = None) -> pd.DataFrame:
    """One row a crop (index): warmth_fails and warmth_good [degree days above 10 degC, K d], hardiness
    [degC], NaN where nothing is published, and early (bool).

    Raises DataFaults, which names file, row and column.
    """
    return _settled(folder or datasets_folder())


@lru_cache(maxsize=4)
def _settled(folder: Path) -> pd.DataFrame:
    rows = read_limits(folder)
    values = {name: rows[rows["quantity"].eq(name)] for name in UNITS}
    zones = values["hardy_zone"]
    stood = pd.concat(
        [
            values["coldest_stood"].set_index("crop")["value"],
            pd.Series(zone_bound(zones["value"]) - ZONE_MARGIN_K, index=zones["crop"]),
        ]
    )
    enough = pd.concat([values["crops_at"], values["degree_days"]]).groupby("crop")["value"]
    edge = values["edge_at"].groupby("crop")["value"].mean()
    crops = pd.Index(sorted(rows["crop"].unique()), name="crop")
    settled = pd.DataFrame(
        {
            "warmth_fails": edge.reindex(crops).fillna(FAILS_AT_SHARE * enough.min().reindex(crops)),
            "warmth_good": enough.apply(lambda each: each.nsmallest(COOLEST).mean()).reindex(crops),
            "hardiness": stood.groupby(level=0).mean().reindex(crops),
            "early": crops.isin(values["early_blossom"]["crop"]),
        },
        index=crops,
    )
    backwards = settled[settled["warmth_fails"] >= settled["warmth_good"]].index
    if len(backwards):
        at = rows[rows["crop"].eq(backwards[0]) & rows["quantity"].eq("edge_at")]
        what = "is as warm as where the crop bears well"
        raise unusable(TABLE, [fault_of(row, "value", what) for row in at.to_dict("records")])
    return settled


def read_limits(folder: Path) -> pd.DataFrame:
    """crop_limits.csv with its values as numbers, all rows sound. Raises DataFaults with every fault."""
    rows = read_sourced(folder, TABLE, COLUMNS, _wrong)
    return rows.assign(value=pd.to_numeric(rows["value"]))


def _wrong(row: Mapping[Any, Any]) -> list[tuple[str, str]]:
    wrong = []
    if not np.isfinite(pd.to_numeric(str(row["value"]), errors="coerce")):
        wrong.append(("value", "is not a number"))
    if row["quantity"] not in UNITS:
        wrong.append(("quantity", f"is none of {', '.join(UNITS)}"))
    elif row["unit"] != UNITS[row["quantity"]]:
        wrong.append(("unit", f"is not the unit of {row['quantity']}"))
    return wrong


def defaults_for(crop: pd.Series) -> pd.DataFrame:
    """The defaults in the order of `crop` (V,). Warmth of a crop without a row is a middling fruit tree's;
    hardiness is NaN where nothing is published, since the crop's own rated varieties may say it."""
    frame = crop_defaults()[list(MIDDLING)].reindex(crop.to_numpy()).astype(float)
    for name in ("warmth_fails", "warmth_good"):
        frame[name] = frame[name].fillna(MIDDLING[name])
    return frame.reset_index(drop=True)


def early_crops() -> frozenset[str]:
    """Crops that blossom as soon as spring allows, so that waking in a mild spell costs them flowers; the
    others wait for warmth."""
    table = crop_defaults()
    return frozenset(table.index[table["early"]])
