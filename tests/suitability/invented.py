"""An invented orchard for tests: climates drawn by formula, and a small catalog whose varieties do not
exist."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from recommender.catalog.gaps import empty_estimates
from recommender.errors import UnknownName

YEARS = 30


@dataclass(frozen=True, eq=False)
class InventedProfile:
    """The attributes of `climate.profile.Profile` that scoring reads."""

    annual_min: NDArray[np.float64]
    chill_hours_below_7: NDArray[np.float64]
    chill_hours_0_7: NDArray[np.float64]
    chill_portions: NDArray[np.float64]
    gdd10: NDArray[np.float64]
    tmin: NDArray[np.float64]
    tmax: NDArray[np.float64]
    hemisphere: str
    zone_number: float
    year: NDArray[np.int64] = field(default_factory=lambda: np.arange(1, YEARS + 1))
    zone: str = "7a"
    lat: float = 45.0
    lon: float = 0.0
    elevation_m: float = 100.0
    errors: dict[str, float] = field(default_factory=dict)
    made_from: tuple[str, ...] = ("Invented for a test.",)

    def complete(self) -> InventedProfile:
        return self

    def summary(self) -> dict[str, object]:
        return {"zone": self.zone}


def climate(
    coldest: float = -15.0,
    chill: float = 1100.0,
    summer: float = 20.0,
    winter: float = 3.0,
    gdd: float = 1500.0,
    hemisphere: str = "north",
) -> InventedProfile:
    """A year as a cosine between a winter and a summer mean [degC], with an even spread over the years."""
    start = 181 if hemisphere == "north" else 0
    day = np.arange(548) + start
    coldest_day = 15 if hemisphere == "north" else 196
    mean = (summer + winter) / 2 - (summer - winter) / 2 * np.cos(2 * np.pi * (day - coldest_day) / 365)
    steps = np.linspace(-1.0, 1.0, YEARS)
    tmin = mean[None, :] - 5.0 + steps[:, None]
    return InventedProfile(
        annual_min=coldest + 4.0 * steps,
        chill_hours_below_7=chill * (1 + 0.2 * steps),
        chill_hours_0_7=0.9 * chill * (1 + 0.2 * steps),
        chill_portions=chill / 15.0 * (1 + 0.2 * steps),
        gdd10=gdd * (1 + 0.1 * steps),
        tmin=tmin,
        tmax=tmin + 10.0,
        hemisphere=hemisphere,
        lat=45.0 if hemisphere == "north" else -45.0,
        zone_number=float(np.floor(((coldest * 1.8 + 32 + 60) / 10 + 1) * 2) / 2),
    )


_CROPS = [
    ("apple", "no", 300, 1200, "self-sterile", 4.9, 5.5, "apple", "gametophytic"),
    ("peach", "no", 150, 1200, "self-fertile", 4.0, 8.0, "peach", "none"),
    ("mandarin", "yes", 0, 0, "self-fertile", 3.0, 6.0, "mandarin", "none"),
]
_VARIETIES = [
    # crop, variety, zone_min, chill, ripening, self-fertility, use, bloom, S-alleles
    ("apple", "Withy Early", 4.0, 800, "early", "self-sterile", "fresh", "mid", "S1 S2"),
    ("apple", "Withy Late", 5.0, 900, "very-late", "self-sterile", "cooking|cider", "mid", "S3 S5"),
    ("apple", "Withy Hardy", 2.0, 1000, "mid", "self-fertile", "fresh", "mid", "S2 S3"),
    ("apple", "Withy Soft", 6.0, 250, "mid", "self-sterile", "fresh", "early", "S1 S9"),
    ("apple", "Withy Twin", 4.0, 800, "mid", "self-sterile", "fresh", "mid", "S1 S2"),
    ("apple", "Withy Unwritten", None, None, None, None, None, None, None),
    ("peach", "Parish Peach", 5.0, 750, "mid", None, "fresh", None, None),
    ("peach", "Parish Southern", 8.0, 200, "early", None, "fresh", None, None),
    ("mandarin", "Parish Orange", 9.0, None, "mid", None, "fresh", None, None),
]


class InventedCatalog:
    """Answers as `catalog.Catalog` does, for the nine varieties above."""

    def traits(self) -> pd.DataFrame:
        names = ["crop", "variety", "zone_min", "chill_hours", "ripening_season", "self_fertility", "use"]
        frame = pd.DataFrame(_VARIETIES, columns=[*names, "bloom_season", "s_alleles"])
        for name in [*names[2:], "bloom_season"]:
            frame[f"{name}_standing"] = np.where(frame[name].notna(), "published", "unknown")
        return frame.sort_values(["crop", "variety"]).reset_index(drop=True)

    def crops(self) -> pd.DataFrame:
        names = ["crop", "evergreen", "chill_hours_low", "chill_hours_high", "typical_self_fertility"]
        names += ["seedling_height_low_m", "seedling_height_high_m", "crosses_with", "incompatibility"]
        return pd.DataFrame(_CROPS, columns=names)

    def rootstocks(self) -> pd.DataFrame:
        names = ["rootstock", "for_crops", "mature_height_low_m", "size_percent_low"]
        rows = [("Invented dwarf", "apple", 1.5, 15.0), ("Invented stock", "peach", 2.4, 60.0)]
        return pd.DataFrame(rows, columns=names)

    def settled_all(self) -> pd.DataFrame:
        rows = [(crop, name, "zone_min", 3) for crop, name, zone, *_ in _VARIETIES if zone is not None]
        return pd.DataFrame(rows, columns=["crop", "variety", "trait", "n_sources"])

    def estimates(self) -> pd.DataFrame:
        return empty_estimates()

    def planting(self) -> pd.DataFrame:
        rows = [("frost_cover_gain", "light covers", 3.0, 4.0, "published")]
        return pd.DataFrame(rows, columns=["quantity", "crop_group", "low", "high", "basis"])

    def cautions(self) -> pd.DataFrame:
        rows = [
            ("mandarin", "quarantine", "US-FL", "stop", "Invented quarantine.", "invented", "published"),
            ("apple", "toxic-part", "all", "info", "Invented note on pips.", "invented", "published"),
            ("all", "structural-load", "all", "stop", "Invented load of a pot.", "invented", "published"),
        ]
        names = ["crop", "topic", "regions", "severity", "fact", "source_id", "basis"]
        return pd.DataFrame(rows, columns=names)

    def pairs(self) -> pd.DataFrame:
        names = ["female_crop", "female", "male_crop", "male", "result", "source_id"]
        return pd.DataFrame(columns=names, dtype=object)

    def names(self) -> pd.DataFrame:
        return pd.DataFrame(columns=["crop", "name", "variety"], dtype=object)

    def evidence(self) -> None:
        """Nothing beside the settled traits."""

    def bloom_critical_temps(self) -> pd.DataFrame:
        rows = [("apple", "full bloom", -2.2, -3.9, "invented")]
        return pd.DataFrame(rows, columns=["crop", "stage", "kill10_degC", "kill90_degC", "source_id"])

    def resolve_crop(self, text: str) -> str:
        if text not in {crop for crop, *_ in _CROPS}:
            raise UnknownName("crop", text, ["apple"])
        return text

    def resolve(self, text: str, crop: str | None = None) -> tuple[str, str]:
        name = text.split(":")[-1]
        for own_crop, variety, *_ in _VARIETIES:
            if variety == name:
                return own_crop, variety
        raise UnknownName("variety", name, ["Withy Early", "Withy Late", "Withy Twin"])
