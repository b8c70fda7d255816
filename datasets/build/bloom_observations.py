"""Observed blooms with the weather of their winters, made ready for fitting.

In come the folder of bloom_observations.csv and daily_weather/ (open data, doi 10.60507/FK2/MZIELI) and the
catalog; out goes one `Observed` per crop. The raw files are not part of this project.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from recommender.biology.bloom_model import BUDS_FROM, light
from recommender.biology.bloom_parameters import HOURS_PER_PORTION
from recommender.catalog.catalog import Catalog
from recommender.climate.chill import dynamic_portions
from recommender.climate.hourly import hourly_temperatures
from recommender.climate.season import season_day, season_days_of_year
from recommender.errors import UnknownName

Floats = NDArray[np.float64]
LATITUDES = {
    "cieza": 38.24, "klein-altendorf": 50.61, "santomera": 38.06, "sfax": 34.74, "zaragoza": 41.65,
}  # fmt: skip
FIRST = season_day(BUDS_FROM["north"], "north")
DAYS = 300  # 1 September to 27 June: later blooms do not occur here
# Names as the observers wrote them, where the catalog's own resolving does not know them.
LABELS = {
    ("apple", "Cox Orange"): "Cox's Orange Pippin",
    ("apple", "Roter Boskoop"): "Rouge Belle de Boskoop",
    ("apricot", "Palstein"): "Palsteyn",
    ("apricot", "Stark E. Orange"): "Stark Early Orange",
    ("almond", "Desmayo L."): "Desmayo Largueta",
    ("european-pear", "Favorita de Clapp"): "Clapp's Favorite",
    ("european-pear", "Mantecosa Anjou"): "Anjou",
    ("european-pear", "Mantecosa Alexander Lucas"): "Alexander Lucas",
    ("european-pear", "Mantecosa Giffard"): "Beurré Giffard",
    ("european-pear", "Mantecosa Precoz Morettini"): "Butirra Precoce Morettini",
    ("european-pear", "Pasa Crasana"): "Passe Crassane",
    ("european-pear", "Triunfo de Viena"): "Triomphe de Vienne",
    ("european-pear", "Winter Nellis"): "Winter Nelis",
    ("european-pear", "Ercolini"): "Coscia",
    ("sweet-cherry", "Hedelfinger"): "Hedelfingen",
    ("sweet-cherry", "Schneiders"): "Schneiders Späte Knorpel",
}


@dataclass(frozen=True, eq=False)
class Observed:
    """Blooms of one crop: season (N,) indexes hourly (S, 300, 24) [degC], chill (S, 300) [CP] and mean
    (S, 300) [degC]; light (S, 300) [h]; day (N,) of the bud year; place, year, label, variety (catalog name
    or "") (N,); weight (N,); published (N,) chill need of the variety [CP], NaN where unknown; usual: the
    crop's [CP]."""

    crop: str
    frame: pd.DataFrame
    season: NDArray[np.intp]
    hourly: NDArray[np.float32]
    chill: Floats
    mean: Floats
    light: Floats
    day: NDArray[np.intp]
    weight: Floats
    published: Floats
    usual: float

    def taken(self, keep: NDArray[np.bool_]) -> NDArray[np.intp]:
        return np.flatnonzero(keep)


def winters(folder: Path) -> dict[tuple[str, int], tuple[Floats, Floats, Floats]]:
    """(place, harvest year) -> hourly (300, 24), running chill (300,), daily mean (300,)."""
    out = {}
    doy = season_days_of_year("north")[FIRST : FIRST + DAYS]
    for path in sorted((folder / "daily_weather").glob("*.csv")):
        record: Any = (
            pd.read_csv(path, parse_dates=["date"]).set_index("date").asfreq("D").interpolate(limit=5)
        )
        record = record[~((record.index.month == 2) & (record.index.day == 29))]
        for year in range(record.index[0].year + 1, record.index[-1].year + 1):
            at = record.index.get_indexer([pd.Timestamp(year - 1, 9, 1)])[0]
            days = record.iloc[at : at + DAYS] if at >= 0 else record.iloc[:0]
            if len(days) < DAYS or days.isna().any(axis=None):
                continue
            low, high = days["tmin_degC"].to_numpy(), days["tmax_degC"].to_numpy()
            hourly = hourly_temperatures(low, high, LATITUDES[path.stem], doy)
            out[path.stem, year] = (hourly, dynamic_portions(hourly, running=True), (low + high) / 2.0)
    return out


def catalog_name(catalog: Catalog, crop: str, label: str) -> str:
    """The catalog's name of an observed label; "" where it has none."""
    if (crop, label) in LABELS:
        return LABELS[crop, label]
    try:
        return catalog.resolve(label, crop)[1]
    except UnknownName:
        return ""


def portions_needed(traits: pd.DataFrame) -> pd.Series:
    """Published chill need (V,) [CP]: portions, else hours at 15 to a portion; NaN where unknown."""
    return traits["chill_portions"].fillna(traits["chill_hours"] / HOURS_PER_PORTION)


def observed(folder: Path, catalog: Catalog) -> dict[str, Observed]:
    """All observed crops."""
    weather = winters(folder)
    rows = pd.read_csv(folder / "bloom_observations.csv", parse_dates=["full_bloom_f50"])
    rows = rows[rows["full_bloom_f50"].notna() & (rows["crop"] != "pistachio")].copy()
    rows["place"] = rows["place"].str.lower()
    dates = rows["full_bloom_f50"].dt.strftime("%m-%d")
    rows["day"] = [season_day(date, "north", after=FIRST) - FIRST for date in dates]
    # The year of the bloom; a bloom before mid-November is a slip of the record.
    known = [(place, year) in weather for place, year in zip(rows["place"], rows["year"], strict=True)]
    rows = rows[np.array(known) & (rows["day"] > 75) & (rows["day"] < DAYS - 3)]
    traits = catalog.traits()
    traits = traits.assign(needed=portions_needed(traits))
    crops = catalog.crops().set_index("crop")
    doy = season_days_of_year("north")[FIRST : FIRST + DAYS]
    out = {}
    for crop, part in rows.groupby("crop"):
        frame = part.reset_index(drop=True)
        names = {label: catalog_name(catalog, str(crop), label) for label in frame["variety"].unique()}
        label, frame["variety"] = frame["variety"], frame["variety"].map(names)
        # One variety under two labels, at two places, is one variety.
        frame["label"] = frame["variety"].where(frame["variety"] != "", label)
        need = traits[traits["crop"] == crop].set_index("variety")["needed"]
        published = frame["variety"].map(need).to_numpy(dtype=float)
        seen = need.reindex([name for name in set(names.values()) if name]).dropna()
        span = crops.loc[crop, ["chill_hours_low", "chill_hours_high"]].to_numpy(dtype=float)
        usual = float(seen.median()) if len(seen) >= 3 else float(span.mean() / HOURS_PER_PORTION)
        keys = list(zip(frame["place"], frame["year"], strict=True))
        seasons = sorted(set(keys))
        at = {key: index for index, key in enumerate(seasons)}
        out[str(crop)] = Observed(
            str(crop),
            frame,
            np.array([at[key] for key in keys]),
            np.stack([weather[key][0] for key in seasons]).astype(np.float32),
            np.stack([weather[key][1] for key in seasons]),
            np.stack([weather[key][2] for key in seasons]),
            np.stack([light(LATITUDES[place], doy) for place, _ in seasons]),
            frame["day"].to_numpy(dtype=np.intp),
            np.where(frame["comment"].notna(), 0.5, 1.0),
            published,
            usual,
        )
    return out
