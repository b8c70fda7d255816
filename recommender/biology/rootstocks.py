"""Which rootstocks suit the ground, and which a variety cannot be grafted on.

In: the rootstock table, its facts one per source, the crop and the answers about the ground. Out:
`rootstocks_for`, one row a rootstock, best first, each with its reasons; `graft_match`, how a variety takes
on each.

A rootstock is as good as its weakest published answer to what was asked: susceptible makes it doubtful,
moderate or unpublished calls for care. Where sources contradict each other the worse one counts, and the
row says so.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from recommender.biology.stature import standard_height
from recommender.errors import UnknownName

SOILS = ("unknown", "sand", "loam", "clay", "chalk")
WETNESS = ("unknown", "wet", "normal", "dry")
DISEASES = {
    "fire-blight": "fire_blight",
    "crown-rot": "crown_rot_phytophthora",
    "woolly-aphid": "woolly_apple_aphid",
    "nematodes": "nematodes",
}
"""What can be asked for, and the column that answers."""
_ASKED_FOR = {
    "wet_soil": "wet ground",
    "drought": "drought",
    "calcareous": "chalk (lime)",
    "replant": "ground where the same fruit grew before (replant)",
    "fire_blight": "fire blight",
    "crown_rot_phytophthora": "crown rot (Phytophthora)",
    "woolly_apple_aphid": "woolly apple aphid",
    "nematodes": "root-knot nematodes",
}
_WORTH = {"resistant": 1.0, "tolerant": 0.9, "moderate": 0.5, "susceptible": 0.1}
_UNPUBLISHED = 0.4
VERDICTS = ("sound", "with care", "doubtful", "ruled out")
COLUMNS = [
    "rootstock",
    "verdict",
    "score",
    "why",
    "watch",
    "height_low",
    "height_high",
    "size_percent_low",
    "size_percent_high",
    "spacing",
    "years_low",
    "years_high",
    "staking",
    "suckers",
    "zone_min",
    "graft",
    "standing",
    "source_id",
]


def asked(
    soil: str = "unknown",
    wetness: str = "unknown",
    *,
    replant: bool = False,
    diseases: Sequence[str] = (),
) -> list[str]:
    """The columns of the rootstock table that answer what is asked of the ground. Raises UnknownName."""
    if soil not in SOILS:
        raise UnknownName("soil", soil, SOILS)
    if wetness not in WETNESS:
        raise UnknownName("wetness", wetness, WETNESS)
    wanted = []
    if soil == "chalk":
        wanted.append("calcareous")
    if wetness == "wet":
        wanted += ["wet_soil", "crown_rot_phytophthora"]
    if wetness == "dry" or (soil == "sand" and wetness == "unknown"):
        wanted.append("drought")
    if soil == "clay" and wetness == "unknown":
        wanted.append("wet_soil")
    if replant:
        wanted.append("replant")
    for disease in diseases:
        if disease not in DISEASES:
            raise UnknownName("disease", disease, list(DISEASES))
        wanted.append(DISEASES[disease])
    return list(dict.fromkeys(wanted))


def rootstocks_for(
    crop: str,
    rootstocks: pd.DataFrame,
    crops: pd.DataFrame,
    *,
    soil: str = "unknown",
    wetness: str = "unknown",
    replant: bool = False,
    diseases: Sequence[str] = (),
    container: bool = False,
    max_height_m: float | None = None,
    zone: float | None = None,
    variety: pd.Series | None = None,
    facts: pd.DataFrame | None = None,
    names: pd.DataFrame | None = None,
    standard: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Rootstocks of a crop, best first; columns `COLUMNS`.

    zone: USDA half-zone as a number (5.0 = 5a). max_height_m [m]: a tree that stays lower is wanted.
    variety: its row of the traits frame, to look at graft incompatibility. facts: rootstock facts one per
    source, to notice where sources contradict. standard: `standard_height` of both tables, if at hand. Empty
    where no rootstock of the crop is known. Raises UnknownName.
    """
    if crop not in set(crops["crop"]):
        raise UnknownName("crop", crop)
    wanted = asked(soil, wetness, replant=replant, diseases=diseases)
    rows = rootstocks.loc[[crop in str(text).split("|") for text in rootstocks["for_crops"].fillna("")]]
    heights = standard_height(crops, rootstocks) if standard is None else standard
    full = heights.loc[heights["crop"].eq(crop), ["low", "high"]].to_numpy(np.float64).mean().item()
    disputed = _disputed(facts, set(rows["rootstock"]), wanted)
    graft = graft_match(rows, crop, variety, names)
    out = []
    # Plain values: a row of a frame costs far more to read, and here every stock of every crop is read.
    for row, (match, graft_words) in zip(rows.to_dict("records"), graft, strict=True):
        out.append(_judged(row, wanted, disputed, full, container, max_height_m, zone, match, graft_words))
    frame = pd.DataFrame(out, columns=COLUMNS)
    place = frame["verdict"].map({word: k for k, word in enumerate(VERDICTS)})
    order = np.lexsort((frame["rootstock"].to_numpy(dtype=str), -frame["score"].to_numpy(np.float64), place))
    return frame.iloc[order].reset_index(drop=True)


def _disputed(
    facts: pd.DataFrame | None, stocks: set[str], wanted: Sequence[str]
) -> dict[tuple[str, str], str]:
    """(rootstock, wanted column) -> the worst value, where sources print different ones."""
    if facts is None or not wanted:
        return {}
    printed: dict[tuple[str, str], list[str]] = {}
    for stock, trait, value in zip(facts["rootstock"], facts["trait"], facts["value"], strict=True):
        if trait in wanted and stock in stocks and value in _WORTH:
            printed.setdefault((stock, trait), []).append(value)
    return {
        key: min(values, key=lambda value: _WORTH[value])
        for key, values in printed.items()
        if len(set(values)) > 1
    }


def _judged(
    row: Mapping[Any, Any],
    wanted: list[str],
    disputed: dict[tuple[str, str], str],
    full: float,
    container: bool,
    max_height_m: float | None,
    zone: float | None,
    match: str,
    graft_words: str,
) -> tuple[object, ...]:
    good: list[str] = []
    watch: list[str] = []
    worth: list[float] = []
    for name in wanted:
        value = disputed.get((row["rootstock"], name), row[name])
        words = _ASKED_FOR[name]
        if not isinstance(value, str) or value not in _WORTH:
            worth.append(_UNPUBLISHED)
            watch.append(f"nobody has published how it takes {words}")
            continue
        worth.append(_WORTH[value])
        text = f"{value} {'of' if value == 'tolerant' else 'to'} {words}"
        if (row["rootstock"], name) in disputed:
            text += " by the worse of two sources"
        (good if _WORTH[value] >= 0.9 else watch).append(text)
    low, high = _height(row, full)
    if container:
        fits = row["container_suitable"] == "yes" or high <= 2.5
        worth.append(1.0 if fits else 0.3)
        (good if fits else watch).append("small enough for a pot" if fits else "too strong for a pot")
    if max_height_m is not None and np.isfinite(high):
        fits = low <= max_height_m
        worth.append(1.0 if high <= max_height_m else 0.6 if fits else 0.1)
        (good if fits else watch).append(f"grows to {low:.1f} to {high:.1f} m")
    ruled_out = match == "incompatible"
    if zone is not None and np.isfinite(row["zone_min"]):
        hardy = zone >= row["zone_min"]
        worth.append(1.0 if hardy else 0.0)
        (good if hardy else watch).append(
            f"roots hardy to zone {row['zone_min']:g}"
            if hardy
            else f"roots hardy to zone {row['zone_min']:g} only"
        )
        ruled_out |= not hardy
    if graft_words:
        (good if match == "compatible" else watch).append(graft_words)
        worth.append({"compatible": 1.0, "incompatible": 0.0}.get(match, 0.5))
    worst = min(worth, default=0.9)
    verdict = "sound" if worst >= 0.9 else "with care" if worst >= 0.4 else "doubtful"
    ends = [end for end in (row["spacing_low_m"], row["spacing_high_m"]) if np.isfinite(end)]
    spacing = sum(ends) / len(ends) if ends else np.nan
    return (
        row["rootstock"],
        "ruled out" if ruled_out else verdict,
        round(float(np.mean(worth)) if worth else 0.9, 3),
        "; ".join(good),
        "; ".join(watch),
        low,
        high,
        row["size_percent_low"],
        row["size_percent_high"],
        float(spacing),
        row["years_to_bear_low"],
        row["years_to_bear_high"],
        _text(row["staking"]),
        _text(row["suckers"]),
        row["zone_min"],
        match,
        _text(row["basis"]) or "unknown",
        _text(row["source_id"]),
    )


def _text(value: object) -> str:
    return value if isinstance(value, str) else ""


def _height(row: Mapping[Any, Any], full: float) -> tuple[float, float]:
    """Height of a tree of medium vigour on the stock [m]: its percentage, else its published height."""
    low, high = float(row["size_percent_low"]), float(row["size_percent_high"])
    if np.isfinite(low) and np.isfinite(high) and np.isfinite(full):
        return round(full * low / 100.0, 2), round(full * high / 100.0, 2)
    low, high = float(row["mature_height_low_m"]), float(row["mature_height_high_m"])
    return (low if np.isfinite(low) else high), (high if np.isfinite(high) else low)


def graft_match(
    stocks: pd.DataFrame, crop: str, variety: pd.Series | None, names: pd.DataFrame | None = None
) -> list[tuple[str, str]]:
    """(compatible | incompatible | doubtful | unknown, sentence) of the variety on each rootstock row, in
    order.

    Pear on quince by the variety's published `graft_on_quince`; otherwise by the names and groups the stock's
    `graft_incompatible_with` lists. variety None: only what concerns the whole crop.
    """
    name = "" if variety is None else str(variety["variety"])
    known_as = _also_known_as(crop, name, names)
    on_quince = _text(variety.get("graft_on_quince")) if variety is not None else ""
    out = []
    for stock, listed in zip(stocks["rootstock"], stocks["graft_incompatible_with"].fillna(""), strict=True):
        if str(stock).startswith("Quince") and crop == "european-pear" and on_quince:
            if on_quince == "compatible":
                out.append(("compatible", f"{name} takes on quince"))
            else:
                out.append(("incompatible", f"{name} fails on quince without a piece between (interstem)"))
            continue
        out.append(_by_list(crop, name, known_as, str(listed)))
    return out


def _also_known_as(crop: str, name: str, names: pd.DataFrame | None) -> set[str]:
    known = {name.casefold()} if name else set()
    if name and names is not None:
        rows = names.loc[names["crop"].eq(crop) & names["variety"].eq(name), "name"]
        known |= {str(text).casefold() for text in rows}
    plain = {text.split("'")[0].replace("é", "e").strip() for text in known}
    return known | plain | {text.split(" ")[0] for text in plain if text.startswith("packham")}


def _by_list(crop: str, name: str, known_as: set[str], listed: str) -> tuple[str, str]:
    words = crop.replace("-", " ").split()
    kind = words[-1]
    for entry in filter(None, listed.split("|")):
        text = entry.casefold()
        if text in known_as or (text.endswith(f" {kind}") and text[: -len(kind) - 1] in known_as):
            return "incompatible", f"{name} is published as failing on it"
        if text in (crop, kind):
            return "incompatible", f"{entry} fails on it"
        if (text.startswith(("some ", "most ", "non-")) or "acidless" in text) and (
            kind.rstrip("s") in text
            or (kind == "persimmon" and "kaki" in text)
            or ("orange" in text and kind == "orange")
        ):
            return "doubtful", f"{entry} fail on it; ask the nursery about yours"
    return "unknown", ""
