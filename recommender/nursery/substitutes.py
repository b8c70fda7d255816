"""Stand-ins for a sold-out variety: what is in stock, lives at the customer's, and comes nearest to it.

In come the variety, the stock and, if known, the customer's site, trees and purpose; out goes `StandIns`:
in-stock varieties, best first, with a score, what differs, and one paragraph fit to read to a customer. The
score is what must hold (holds.py) times how alike the two are (resemblance.py); sports of the variety come
first. See docs/stand-ins.md.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from recommender.errors import BadInput
from recommender.nursery import holds as demands
from recommender.nursery import reading
from recommender.nursery.resemblance import likeness
from recommender.wording import rows as rows_of

if TYPE_CHECKING:
    from recommender.catalog.catalog import Catalog
    from recommender.climate.profile import Profile
    from recommender.nursery.names import Stock
    from recommender.suitability.goals import Goals
    from recommender.suitability.site import Site

Floats = NDArray[np.float64]
OTHER_CROP = 0.35
"""Resemblance of a variety of another crop, where the customer accepts one (our own)."""
SPORT = 0.97
"""Resemblance of a sport at least: a bud mutation differs in little but colour or date (common practice)."""
DISPLACED = 0.5
"""Least share of the demands a sport must meet to be set first."""
PRICE_WEIGHT = 0.06
"""What a price twice as high, or half, takes off the resemblance (our own)."""
COLUMNS = (
    "rank", "crop", "variety", "score", "resemblance", "holds", "lives", "pollinated", "still_pollinates",
    "fits",
    "verdict", "sport", "known_share", "count", "price", "lines", "differs", "reason",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class StandIns:
    """The answer. frame: one row a stand-in, best first, columns COLUMNS (shares in [0, 1]).

    left_out: in-stock varieties of the crop that are ruled out at the site, with why. crop, variety: what was
    asked for.
    in_stock: lines of the stock that hold the variety itself, if any is left after all.
    """

    crop: str
    variety: str
    frame: pd.DataFrame
    left_out: pd.DataFrame
    in_stock: tuple[int, ...] = ()
    site: dict[str, Any] = field(default_factory=dict)

    def records(self) -> list[dict[str, Any]]:
        """Stand-ins as plain dicts."""
        from recommender.outputs import frame_records

        return frame_records(self.frame)


def substitutes(
    variety: str,
    stock: Stock | pd.DataFrame | None = None,
    site: Site | None = None,
    goals: Goals | None = None,
    *,
    existing_trees: Sequence[str] = (),
    crops: Sequence[str] = (),
    catalog: Catalog | None = None,
    profile: Profile | None = None,
    top: int | None = 3,
    place: demands.Place | None = None,
) -> StandIns:
    """Stand-ins for a variety ("crop:variety" or its name).

    stock: what is on offer, a `Stock` or a frame with crop and variety (count, price, line, rootstock if
    known);
    None: every variety of the catalog. site: the customer's, with its trees; existing_trees: trees where no
    site is known. goals: the customer's purpose (uses, height). crops: other crops the customer accepts. top:
    how many (None: all). place: a site made ready before (`holds.place_of`). Raises UnknownName, BadInput.
    """
    if catalog is None:
        from recommender.catalog.store import open_catalog

        catalog = open_catalog()
    if top is not None and top < 1:
        raise BadInput("Less than one stand-in is asked for", where="top", remedy="Ask for one or more")
    crop, name = catalog.resolve(variety)
    accepted = list(dict.fromkeys([crop, *(catalog.resolve_crop(other) for other in crops)]))
    index = demands.index_of(catalog)
    wanted = index[(crop, name)]
    offered = on_offer(stock, catalog, accepted)
    own = offered.loc[offered["crop"].eq(crop) & offered["variety"].eq(name)]
    lines = tuple(int(number) for row in own["lines"] for number in row) if stock is not None else ()
    offered = offered.drop(index=own.index).reset_index(drop=True)
    if place is None and site is not None:
        place = demands.place_of(catalog, site, accepted, goals, profile)
    trees = [index[catalog.resolve(tree)] for tree in existing_trees]
    rows = np.fromiter(
        (index[pair] for pair in zip(offered["crop"], offered["variety"], strict=True)),
        dtype=np.intp,
        count=len(offered),
    )
    alike, sport, known = resemblance(catalog, wanted, rows)
    must = demands.holds(catalog, wanted, rows, place, trees, sport)
    alike = alike * serving(catalog, rows, goals.uses if goals is not None else ())
    price = (
        float(own["price"].iloc[0])
        if len(own) and own["price"].notna().any()
        else _usual_price(offered, crop)
    )
    alike = np.clip(alike - _price_gap(offered["price"].to_numpy(dtype=float), price), 0.0, 1.0)
    score = must.total * alike
    first = sport & (must.total >= DISPLACED)
    order = np.lexsort((offered["variety"].to_numpy(dtype=str), -score, ~first))
    order = order[~must.ruled_out[order] & (score[order] > 0)]
    frame = pd.DataFrame(
        {
            "crop": offered["crop"],
            "variety": offered["variety"],
            "score": score.round(4),
            "resemblance": alike.round(4),
            "holds": must.total.round(4),
            "lives": must.lives.round(4),
            "pollinated": must.pollinated.round(4),
            "still_pollinates": must.still_pollinates.round(4),
            "fits": must.fits.round(4),
            "verdict": place.verdict[rows] if place is not None else "",
            "sport": sport,
            "known_share": known.round(4),
            "count": offered["count"],
            "price": offered["price"],
            "lines": offered["lines"],
        }
    )
    picked = frame.iloc[order if top is None else order[:top]].reset_index(drop=True)
    teller = reading.Teller(catalog, wanted, place, trees)
    told = [teller.tell(index[(row.crop, row.variety)], bool(row.sport)) for row in rows_of(picked)]
    picked.insert(0, "rank", np.arange(1, len(picked) + 1))
    picked["differs"] = [differs for differs, _ in told]
    picked["reason"] = [reason for _, reason in told]
    out = np.flatnonzero(must.ruled_out)
    left_out = pd.DataFrame(
        {
            "crop": offered["crop"].to_numpy(dtype=object)[out],
            "variety": offered["variety"].to_numpy(dtype=object)[out],
            "why": place.watch[rows[out]] if place is not None else np.empty(0, dtype=object),
        }
    )
    understood = place.understood if place is not None else {}
    return StandIns(crop, name, picked[list(COLUMNS)], left_out, lines, understood)


def resemblance(
    catalog: Catalog, wanted: int, rows: NDArray[np.intp]
) -> tuple[Floats, NDArray[np.bool_], Floats]:
    """How alike each row is to the wanted one in [0, 1], whether it is its sport, and the share of features
    known."""
    frame = demands.varieties_of(catalog).frame
    crop_of = frame["crop"].to_numpy(dtype=object)
    name_of = frame["variety"].to_numpy(dtype=object)
    pairs = likeness(catalog, str(crop_of[wanted]))
    row = pairs.position(str(name_of[wanted]))
    place = {name: number for number, name in enumerate(pairs.varieties)}
    same = crop_of[rows] == crop_of[wanted]
    at = np.array(
        [place[name] if own else row for name, own in zip(name_of[rows], same, strict=True)], dtype=np.intp
    )
    alike = np.where(same, 1.0 - pairs.distance(row)[at], OTHER_CROP)
    sport = same & (pairs.clone[at] == pairs.clone[row]) & (at != row)
    alike = np.where(sport, np.maximum(alike, SPORT), alike)
    return (
        np.asarray(alike, dtype=float),
        np.asarray(sport, dtype=bool),
        np.where(same, pairs.known(row)[at], 0.0),
    )


def on_offer(stock: Stock | pd.DataFrame | None, catalog: Catalog, crops: Sequence[str]) -> pd.DataFrame:
    """One row a variety that can be sent: crop, variety, count (NA: not said), price, lines (of the list)."""
    from recommender.nursery.names import Stock as Read

    if stock is None:
        frame = catalog.varieties()[["crop", "variety"]].assign(line=0)
    elif isinstance(stock, Read):
        frame = stock.usable()
    else:
        frame = stock
        for name in ("crop", "variety"):
            if name not in frame:
                raise BadInput(
                    f"The stock has no column “{name}”",
                    remedy="Read it with read_stock, or give crop and variety",
                )
    frame = frame[frame["crop"].isin(list(crops)) & frame["variety"].notna()]
    known = demands.index_of(catalog)
    frame = frame.loc[[pair in known for pair in zip(frame["crop"], frame["variety"], strict=True)]]
    if "count" in frame:
        counts = pd.to_numeric(frame["count"], errors="coerce")
        frame = frame.loc[(counts.isna() | counts.gt(0)).to_numpy(dtype=bool)]
    work = pd.DataFrame(
        {
            "crop": frame["crop"].to_numpy(dtype=object),
            "variety": frame["variety"].to_numpy(dtype=object),
            "count": (frame["count"] if "count" in frame else pd.Series(pd.NA, index=frame.index))
            .astype("Int64")
            .array,
            "price": pd.to_numeric(frame["price"], errors="coerce").to_numpy(dtype=float)
            if "price" in frame
            else np.nan,
            "lines": frame["line"].to_numpy() if "line" in frame else np.arange(1, len(frame) + 1),
        }
    )
    if work.empty:
        return work
    groups = work.groupby(["crop", "variety"], sort=True)
    out = pd.DataFrame(
        {
            "count": groups["count"].sum(min_count=1),
            "price": groups["price"].min(),
            "lines": groups["lines"].agg(tuple),
        }
    ).reset_index()
    out["count"] = out["count"].astype("Int64")
    return out


def serving(catalog: Catalog, rows: NDArray[np.intp], uses: Sequence[str]) -> Floats:
    """What is left of each row's worth for what the customer wants the fruit for: 1 where any of the uses is
    published for it, 0.65 where only others are, between where nothing is (our own). Without uses, 1."""
    if not uses:
        return np.ones(len(rows))
    from recommender.suitability.criteria import wanted_use
    from recommender.suitability.ranking import taken

    return np.asarray(0.5 + 0.5 * wanted_use(taken(demands.varieties_of(catalog), rows), uses), dtype=float)


def _usual_price(offered: pd.DataFrame, crop: str) -> float:
    """Middle price of the crop in the list: what the sold-out one is taken to have cost."""
    prices = offered.loc[offered["crop"].eq(crop), "price"].dropna()
    return float(prices.median()) if len(prices) else float("nan")


def _price_gap(prices: Floats, price: float) -> Floats:
    if not np.isfinite(price) or price <= 0:
        return np.zeros(len(prices))
    with np.errstate(divide="ignore", invalid="ignore"):
        gap = np.abs(np.log2(np.where(prices > 0, prices, np.nan) / price))
    return np.nan_to_num(PRICE_WEIGHT * np.minimum(gap, 2.0), nan=0.0)
