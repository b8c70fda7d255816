"""Rows that break no rule and are kept, but deserve a second look by whoever tends the data.

In: the sound tables of the package. Out: a frame file, row, column, value, what,
for the build report.
"""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from recommender.catalog.csv_table import FILE, ROW

COLUMNS = ["file", "row", "column", "value", "what"]

FAR = 6.0
"""A number further from the middle of its crop than this many times the usual distance is far away."""
_LEAST_USUAL = 0.04
"""The usual distance counts as at least this share of the range of the trait, so flat crops warn less."""
_FEWEST = 12


def second_look(tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Names that lead nowhere, zones that contradict each other, numbers far from their crop."""
    traits = tables["traits"]
    found = [
        _names_leading_nowhere(tables),
        _zones_crossed(traits),
        _far_from_the_crop(traits, tables["trait_vocabulary"]),
    ]
    return pd.concat(found, ignore_index=True).sort_values(["file", "row"], ignore_index=True)[COLUMNS]


def _as_warnings(rows: pd.DataFrame, column: str, value: pd.Series, what: pd.Series | str) -> pd.DataFrame:
    return pd.DataFrame(
        {"file": rows[FILE], "row": rows[ROW], "column": column, "value": value.astype("str"), "what": what},
        columns=COLUMNS,
    )


def _names_leading_nowhere(tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    vocabulary = tables["trait_vocabulary"]
    naming = vocabulary.loc[vocabulary["kind"].eq("names"), "trait"]
    traits = tables["traits"]
    rows = traits.loc[traits["trait"].isin(naming), [FILE, ROW, "crop", "value"]]
    parts = rows["value"].str.split("|", regex=False).explode()
    rows = rows.loc[parts.index].assign(part=parts)
    other = rows["part"].str.extract(r"^([a-z]+(?:-[a-z]+)*):(.*)$")
    crop, name = other[0].fillna(rows["crop"]), other[1].fillna(rows["part"])
    accepted = tables["varieties"]["crop"] + ":" + tables["varieties"]["variety"]
    synonyms = tables["names"]["crop"] + ":" + tables["names"]["name"]
    lost = ~(crop + ":" + name).isin({*accepted, *synonyms})
    return _as_warnings(rows[lost], "value", rows.loc[lost, "part"], "names no variety of the package")


def _zones_crossed(traits: pd.DataFrame) -> pd.DataFrame:
    number = pd.to_numeric(
        traits["value"].where(traits["trait"].isin(["zone_min", "zone_max"])), errors="coerce"
    )
    rows = traits.assign(number=number).dropna(subset=["number"])
    warmest = (
        rows[rows["trait"].eq("zone_max")].groupby(["crop", "variety"])["number"].max().rename("warmest")
    )
    coldest = rows[rows["trait"].eq("zone_min")].join(warmest, on=["crop", "variety"])
    crossed = coldest[coldest["number"] > coldest["warmest"]]
    return _as_warnings(crossed, "value", crossed["value"], "the coldest zone is warmer than the warmest one")


def _far_from_the_crop(traits: pd.DataFrame, vocabulary: pd.DataFrame) -> pd.DataFrame:
    """Numbers whose distance from the median of their crop and trait is many times the median distance."""
    bounds = traits[["low", "high"]].mean(axis=1)
    number = pd.to_numeric(traits["value"].where(traits["unit"].notna()), errors="coerce").fillna(bounds)
    rows = traits.assign(number=number).dropna(subset=["number"])
    groups = rows.groupby(["crop", "trait"])["number"]
    middle = groups.transform("median")
    distance = (rows["number"] - middle).abs()
    usual = distance.groupby([rows["crop"], rows["trait"]]).transform("median")
    span = (vocabulary["max"] - vocabulary["min"]).set_axis(vocabulary["trait"])
    usual = usual.clip(lower=rows["trait"].map(span) * _LEAST_USUAL)
    far = (distance > FAR * usual) & (groups.transform("size") >= _FEWEST)
    rows = rows[far]
    what = (
        "is far from the other "
        + rows["trait"]
        + " of the crop (median "
        + middle[far].round(1).astype("str")
        + ")"
    )
    return _as_warnings(rows, "value", rows["number"], what)
