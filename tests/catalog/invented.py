"""Invented evidence for tests of settling: sources, crops, and rows made from a few words."""

from __future__ import annotations

import pandas as pd

from recommender.catalog.consensus import settle

SOURCES = pd.DataFrame(
    [
        ("paper-1", "paper"),
        ("paper-2", "paper"),
        ("paper-3", "paper"),
        ("register-1", "register"),
        ("extension-1", "extension"),
        ("extension-2", "extension"),
        *((f"nursery-{n}", "catalogue") for n in range(1, 12)),
        ("memory", "memory"),
    ],
    columns=["source_id", "kind"],
)
CROPS = pd.DataFrame(
    [
        ("apple", "gametophytic", "self-sterile"),
        ("quince", "none", "self-fertile"),
        ("sweet-cherry", "gametophytic", "self-sterile"),
        ("european-plum", "gametophytic", "partly-self-fertile"),
    ],
    columns=["crop", "incompatibility", "typical_self_fertility"],
)
COLUMNS = ["crop", "variety", "trait", "value", "low", "high", "unit", "basis", "source_id", "note"]
DEFAULTS: dict[str, object] = {
    "crop": "apple",
    "variety": "A",
    "value": "",
    "low": "",
    "high": "",
    "unit": "",
    "basis": "published",
    "note": "",
}


def rows(*facts: dict[str, object]) -> pd.DataFrame:
    return pd.DataFrame([{**DEFAULTS, **fact} for fact in facts], columns=COLUMNS)


def settled(*facts: dict[str, object]) -> pd.DataFrame:
    return settle(rows(*facts), SOURCES, CROPS).settled


def one(*facts: dict[str, object]) -> pd.Series:
    result = settled(*facts)
    assert len(result) == 1
    return result.iloc[0]


def fact(trait: str, value: object, source: str, **more: object) -> dict[str, object]:
    return {"trait": trait, "value": str(value), "source_id": source, **more}
