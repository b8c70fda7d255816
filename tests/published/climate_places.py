"""Winter chill and frost dates of published places against the embedded climate alone.

`python -m tests.published.climate_places` prints every place and the two tables' median absolute error and
rank correlation. Sources stand in each row of datasets/chill_by_place.csv and datasets/frost_dates.csv
(source_id).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import pandas as pd
from scipy.stats import spearmanr

from recommender.catalog.package import datasets_folder
from recommender.climate import chill
from recommender.climate.frost import first_frost_at, last_frost_at
from recommender.climate.normals import normals_at
from recommender.climate.profile import Profile, build_profile
from recommender.climate.season import MIDSUMMER, MIDWINTER, YEAR_DAYS, season_day

MODELS = {
    "hours <=7.2 degC": chill.chill_hours_below_7,
    "hours 0-7.2 degC": chill.chill_hours_0_7,
    "Dynamic Model": chill.dynamic_portions,
}


@dataclass(frozen=True)
class Counted:
    """Which days a published row counts, and whether its figure is the middle winter or the range of
    winters."""

    first: str
    last: str
    winters: str = "typical"


# By place and model as in chill_by_place.csv. Where a row names no period, the extension services' usual one
# is taken: November to February for hours, March to August for portions in Western Australia.
COUNTED = {
    ("Maricopa County (Phoenix)", "hours 0-7.2 degC"): Counted("11-01", "02-15"),
    ("Southern California coast", "hours <=7.2 degC"): Counted("11-01", "02-28"),
    ("Fort Valley GA", "hours <=7.2 degC"): Counted("10-01", "02-10", "mean of the rows, five winters"),
    ("Yuba City CA", "hours <=7.2 degC"): Counted("11-01", "03-01"),
    ("Marianna FL", "hours <=7.2 degC"): Counted("10-01", "01-14", "one winter"),
    ("Manjimup", "Dynamic Model"): Counted("03-01", "08-31", "10th to 90th percentile"),
    ("Newlands", "Dynamic Model"): Counted("03-01", "08-31", "10th to 90th percentile"),
    ("Bickley", "Dynamic Model"): Counted("03-01", "08-31", "10th to 90th percentile"),
    ("Shafter CA", "Dynamic Model"): Counted("09-01", "12-28", "one winter"),
    ("Five Points CA", "Dynamic Model"): Counted("09-01", "12-28", "one winter"),
    ("Merced CA", "Dynamic Model"): Counted("09-01", "12-28", "one winter"),
    ("Manteca CA", "Dynamic Model"): Counted("09-01", "12-28", "one winter"),
    ("Durham CA", "Dynamic Model"): Counted("09-01", "12-28", "one winter"),
}
# Why the other rows are left out.
NOT_COMPARED = {
    "Orange County flood plain (Anaheim, Santa Ana, Irvine)": "a nursery's own definition of a chill hour",
    "Orange County inland canyons": "a nursery's own definition of a chill hour",
    "South Florida": "an upper bound only (tested as such)",
    "Southern tip of Texas": "an upper bound only (tested as such)",
    "New Orleans north shore": "advice on varieties, no measurement",
    "Warwick": "derived from the mean of July, not counted",
    "Pittsworth": "derived from the mean of July, not counted",
    "Koue Bokkeveld and Ceres, colder farms": "no one place, model not said",
    "Grabouw": "model not said, an exceptional winter",
    "Hoeko valley, Ladismith": "model not said",
    "Los Lunas NM": "endodormancy of one variety, no calendar period",
}


@cache
def profile_of(lat: float, lon: float) -> Profile:
    return build_profile(normals_at(lat, lon))


def chill_of(profile: Profile, model: str, counted: Counted) -> np.ndarray:
    """Chill of each season from the first to the last day of a published count (Y,)."""
    first = season_day(counted.first, profile.hemisphere)
    last = season_day(counted.last, profile.hemisphere, after=first)
    return MODELS[model](profile.hourly(first, last + 1))


def chill_comparison() -> pd.DataFrame:
    """One row a place and model: the published middle, the made median, and the share by which they
    differ."""
    table = pd.read_csv(datasets_folder() / "chill_by_place.csv")
    rows = []
    for (place, model), counted in COUNTED.items():
        part = table[(table["place"] == place) & (table["model"] == model)]
        if counted.winters == "10th to 90th percentile":
            part = part[part["period"].str.contains("10th-90th percentile of winters")]
        elif place == "Yuba City CA":
            part = part[part["period"].str.contains("mean of 18 winters")]
        published = part["value"].fillna((part["low"] + part["high"]) / 2).mean()
        profile = profile_of(float(part["lat"].iloc[0]), float(part["lon"].iloc[0]))
        made = float(np.median(chill_of(profile, model, counted)))
        rows.append((place, model, counted.first, counted.last, counted.winters, published, made))
    frame = pd.DataFrame(rows, columns=["place", "model", "first", "last", "winters", "published", "made"])
    return frame.assign(off=frame["made"] / frame["published"] - 1.0)


def frost_comparison() -> pd.DataFrame:
    """One row a place: published and made median dates as day indices, and their difference in days."""
    table = pd.read_csv(datasets_folder() / "frost_dates.csv")
    rows = []
    for row in table.to_dict("records"):
        profile = profile_of(float(row["lat"]), float(row["lon"]))
        spring = season_day(
            row["median_last_spring"], profile.hemisphere, after=MIDWINTER[profile.hemisphere]
        )
        autumn = season_day(row["median_first_autumn"], profile.hemisphere)
        while autumn < MIDSUMMER[profile.hemisphere]:  # may lie in the next calendar year
            autumn += YEAR_DAYS
        made_spring = last_frost_at(profile.last_spring_frost, 0.5)
        made_autumn = first_frost_at(profile.first_autumn_frost, 0.5)
        rows.append((row["place"], row["country"], spring, made_spring, autumn, made_autumn))
    columns = ["place", "country", "spring", "made_spring", "autumn", "made_autumn"]
    frame = pd.DataFrame(rows, columns=columns)
    return frame.assign(
        spring_off=frame["made_spring"] - frame["spring"], autumn_off=frame["made_autumn"] - frame["autumn"]
    )


def rank_correlation(first: pd.Series, second: pd.Series) -> float:
    known = first.notna() & second.notna()
    return float(spearmanr(first[known], second[known]).statistic)


def main() -> None:
    chill_rows, frost_rows = chill_comparison(), frost_comparison()
    with pd.option_context("display.width", 160, "display.max_columns", 20, "display.max_rows", 100):
        print(chill_rows.round(2).to_string(index=False))
        print(
            f"\nChill, {len(chill_rows)} places: "
            f"median absolute error {chill_rows['off'].abs().median():.1%}, "
            f"rank correlation of hours {_by_model(chill_rows, 'hours')}, "
            f"of portions {_by_model(chill_rows, 'Dynamic')}\n"
        )
        print(frost_rows.to_string(index=False))
        for season in ("spring", "autumn"):
            off = frost_rows[f"{season}_off"]
            correlation = rank_correlation(frost_rows[season], frost_rows[f"made_{season}"])
            print(
                f"{season} frost, {off.notna().sum()} of {len(off)} places with a date: "
                f"median absolute error {off.abs().median():.1f} d, mean difference {off.mean():+.1f} d, "
                f"rank correlation {correlation:.2f}"
            )


def _by_model(rows: pd.DataFrame, model: str) -> str:
    part = rows[rows["model"].str.contains(model)]
    return f"{rank_correlation(part['published'], part['made']):.2f} ({len(part)} places)"


if __name__ == "__main__":
    main()
