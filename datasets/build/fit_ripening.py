"""Fit days from bloom to ripe fruit to published harvest dates of known places, and write their scores.

    python datasets/build/fit_ripening.py --observations DIR

Run after fit_bloom.py. Written are ripening_parameters.csv and ripening_scores.csv in datasets/. DIR as for
fit_bloom.py: its ripening dates of apples and pears say how much of a year's earliness is the year's warmth;
harvest dates in the evidence whose note names a place say it between places and give each crop its days.
Method page: docs/ripening.md.
"""

from __future__ import annotations

import argparse
import re
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from bloom_observations import LATITUDES, catalog_name
from numpy.typing import NDArray

from recommender import open_catalog
from recommender.biology.bloom import full_bloom
from recommender.biology.bloom_parameters import bloom_needs, load_bloom_parameters
from recommender.biology.ripening import HASTENING_DAYS, SEASON_PLACE, centred_offset, pace
from recommender.catalog.catalog import Catalog
from recommender.catalog.package import datasets_folder
from recommender.climate.normals import normals_at
from recommender.climate.profile import Profile, build_profile, profile_from_daily
from recommender.climate.season import season_day

Floats = NDArray[np.float64]
SOURCE = "adamedor-2024"
STEPS = np.arange(0.0, 1.01, 0.05)
FEWEST_DATES, YEAR_BLOCKS = 5, 6
# A fruit-growing town for what a note names, tried in this order; states and provinces stand for their fruit
# district, so a date may be a week off.
PLACES: tuple[tuple[str, str, tuple[float, float]], ...] = (
    (r"Geneva", "Geneva NY", (42.88, -77.03)),
    (r"Jackson Springs|Sandhills", "Jackson Springs NC", (35.19, -79.68)),
    (r"Vineland|Niagara", "Vineland ON", (43.15, -79.40)),
    (r"Ridgetown", "Ridgetown ON", (42.44, -81.88)),
    (r"KFVS12", "Cape Girardeau MO", (37.31, -89.55)),
    (r"UMass", "Belchertown MA", (42.28, -72.40)),
    (r"Saskatchewan", "Saskatoon SK", (52.13, -106.67)),
    (r"central Kentucky", "Lexington KY", (38.03, -84.50)),
    (r"southern New Jersey", "Bridgeton NJ", (39.50, -75.20)),
    (r"south-central Pennsylvania", "Biglerville PA", (39.93, -77.25)),
    (r"Cheshire", "Nantwich GB", (53.07, -2.52)),
    (r"^England", "East Malling GB", (51.29, 0.45)),
    (r"southern Sweden", "Alnarp SE", (55.66, 13.08)),
    (r"Byron", "Byron GA", (32.65, -83.76)),
    (r"Clarksville, Arkansas", "Clarksville AR", (35.53, -93.40)),
    (r"Blacksburg", "Blacksburg VA", (37.23, -80.41)),
    (r"southern California", "Riverside CA", (33.95, -117.40)),
    (r"California|San Joaquin", "Reedley CA", (36.60, -119.45)),
    (r"Prosser", "Prosser WA", (46.21, -119.77)),
    (r"Louisiana", "Baton Rouge LA", (30.45, -91.15)),
    (r"Minnesota", "Excelsior MN", (44.87, -93.64)),
    (r"Iowa", "Ames IA", (42.03, -93.62)),
    (r"New Hampshire", "Durham NH", (43.13, -70.93)),
    (r"Morioka", "Morioka JP", (39.70, 141.15)),
    (r"Oregon", "Corvallis OR", (44.56, -123.26)),
    (r"Franconia", "Wuerzburg DE", (49.79, 9.95)),
    (r"Michigan", "Benton Harbor MI", (42.12, -86.45)),
    (r"south Florida", "Homestead FL", (25.47, -80.48)),
    (r"north Florida", "Quincy FL", (30.59, -84.58)),
    (r"Florida", "Gainesville FL", (29.65, -82.32)),
)
# Error of a crop with too few dates, and the widest of a fitted crop [d].
UNFITTED_ERROR_D, WIDEST_FITTED_D = 28.0, 14.0
# Where no date tells: days from bloom to ripe at 17 degC of a middling variety, and their spread. Common
# practice: what growers' calendars of usual bloom and harvest amount to. No table of them was read, so their
# error is twice that of the widest fitted crop.
USUAL_DAYS: dict[str, tuple[float, float]] = {
    "almond": (200, 14), "american-persimmon": (140, 15), "american-plum": (110, 15), "apple": (140, 20),
    "apricot": (100, 12), "asian-pear": (135, 18), "asian-persimmon": (165, 18), "avocado": (270, 40),
    "bush-cherry": (70, 10), "cherry-plum": (100, 15), "duke-cherry": (65, 10), "european-pear": (135, 20),
    "european-plum": (125, 18), "feijoa": (160, 18), "fig": (130, 20), "grapefruit": (300, 40),
    "hardy-citrus": (210, 30), "hardy-kiwi": (120, 12), "hazelnut": (205, 12), "japanese-plum": (125, 20),
    "jujube": (110, 15), "kiwifruit": (165, 12), "kumquat": (210, 25), "lemon": (240, 40), "lime": (180, 40),
    "loquat": (150, 20), "mandarin": (230, 30), "mango": (130, 25), "medlar": (150, 10), "mulberry": (60, 10),
    "nectarine": (120, 25), "olive": (175, 20), "pawpaw": (140, 12), "peach": (120, 25),
    "plum-apricot": (120, 20), "pomegranate": (160, 18), "quince": (155, 14), "sour-cherry": (65, 9),
    "sweet-cherry": (65, 12), "sweet-orange": (280, 40), "walnut": (150, 12),
}  # fmt: skip
# Fruit that hangs ripe for long: usual first and last picking, northern dates (common practice); how far off.
WINDOWS: dict[str, tuple[str, str, float]] = {
    "avocado": ("12-15", "07-15", 45), "grapefruit": ("11-15", "05-01", 25),
    "hardy-citrus": ("10-01", "12-15", 20), "kumquat": ("11-20", "04-01", 25),
    "lemon": ("11-01", "05-01", 30), "lime": ("08-15", "12-15", 30),
    "loquat": ("04-15", "06-01", 15), "mandarin": ("11-10", "01-31", 20), "mango": ("06-10", "08-15", 20),
    "olive": ("10-10", "12-20", 20), "sweet-orange": ("12-15", "04-15", 25),
}  # fmt: skip
# Days over which one tree is picked (common practice).
PICKING_D = {
    "apricot": 10, "sweet-cherry": 10, "sour-cherry": 12, "duke-cherry": 10, "bush-cherry": 12, "peach": 12,
    "nectarine": 12, "apple": 14, "european-pear": 10, "fig": 45, "mulberry": 30, "jujube": 30, "pawpaw": 21,
    "pomegranate": 30, "almond": 14, "walnut": 21, "hazelnut": 21, "american-persimmon": 30, "feijoa": 30,
}  # fmt: skip
USUAL_PICKING_D = 14


def by_years(folder: Path, catalog: Catalog) -> tuple[pd.DataFrame, Profile]:
    """Observed bloom and ripening of one place as season days, and its daily record."""
    rows = pd.read_csv(folder / "bloom_observations.csv", parse_dates=["full_bloom_f50", "ripening"])
    rows = rows.dropna(subset=["full_bloom_f50", "ripening"])
    weather = pd.read_csv(folder / "daily_weather" / "klein-altendorf.csv")
    weather[["tmin_degC", "tmax_degC"]] = weather[["tmin_degC", "tmax_degC"]].interpolate(limit=5)
    record = profile_from_daily(weather.dropna(), LATITUDES["klein-altendorf"])
    for column, name in (("full_bloom_f50", "bloom"), ("ripening", "ripe")):
        rows[name] = [season_day(date, "north", after=184) for date in rows[column].dt.strftime("%m-%d")]
    rows["row"] = rows["year"].map({year: index for index, year in enumerate(record.year.tolist())})
    rows = rows.dropna(subset=["row"]).astype({"row": int})
    rows["name"] = [
        catalog_name(catalog, crop, label) for crop, label in zip(rows["crop"], rows["variety"], strict=True)
    ]
    return rows, record


def year_effects(rows: pd.DataFrame, record: Profile) -> tuple[Floats, Floats]:
    """Per date: bloom and warmth of the weeks after it, each less its variety's mean (n, 2); and the ripe day
    less its variety's mean (n,)."""
    mean = (record.tmin + record.tmax) / 2.0
    at, bloom = rows["row"].to_numpy(), rows["bloom"].to_numpy()
    warm = np.array(
        [mean[row, day : day + HASTENING_DAYS].mean() for row, day in zip(at, bloom, strict=True)]
    )
    frame = pd.DataFrame(
        {"bloom": bloom, "warm": warm, "ripe": rows["ripe"].to_numpy(), "v": rows["variety"].to_numpy()}
    )
    inner = frame[["bloom", "warm", "ripe"]] - frame.groupby("v")[["bloom", "warm", "ripe"]].transform("mean")
    return inner[["bloom", "warm"]].to_numpy(), inner["ripe"].to_numpy()


def years_error(rows: pd.DataFrame, record: Profile) -> tuple[Floats, Floats]:
    """Errors [d] of the ripe day in blocks of years left out: by the model, by the variety's mean date."""
    years = np.unique(rows["year"])
    block = {year: index for index, part in enumerate(np.array_split(years, YEAR_BLOCKS)) for year in part}
    of_row = rows["year"].map(block).to_numpy()
    model, plain = [], []
    mean = (record.tmin + record.tmax) / 2.0

    def warmth_of(part: pd.DataFrame) -> Floats:
        pairs = zip(part["row"], part["bloom"], strict=True)
        return np.array([mean[row, day : day + HASTENING_DAYS].mean() for row, day in pairs])

    for each in range(YEAR_BLOCKS):
        train, test = rows[of_row != each], rows[of_row == each]
        effect, _, *_ = np.linalg.lstsq(*year_effects(train, record), rcond=None)
        centre = train.groupby("variety")[["bloom", "ripe"]].mean()
        test = test[test["variety"].isin(centre.index)]
        own = centre.loc[test["variety"]]

        usual = pd.Series(warmth_of(train)).groupby(train["variety"].to_numpy()).mean()
        guess = (
            own["ripe"].to_numpy()
            + effect[0] * (test["bloom"].to_numpy() - own["bloom"].to_numpy())
            + effect[1] * (warmth_of(test) - usual.loc[test["variety"]].to_numpy())
        )
        model.append(guess - test["ripe"].to_numpy())
        plain.append(own["ripe"].to_numpy() - test["ripe"].to_numpy())
    return np.concatenate(model), np.concatenate(plain)


def dated(catalog: Catalog) -> pd.DataFrame:
    """Published harvest dates at known places: crop, variety, place, lat, lon, day of the season."""
    evidence = catalog.evidence()
    rows = evidence[
        (evidence["trait"] == "harvest_start") & evidence["value"].astype(str).str.match(r"^\d\d-\d\d$")
    ]
    out = []
    for row in rows.itertuples():
        for pattern, name, point in PLACES:
            if re.search(pattern, str(row.note)) and "southern hemisphere" not in str(row.note):
                out.append(
                    (row.crop, row.variety, name, *point, season_day(str(row.value), "north", after=184))
                )
                break
    frame = pd.DataFrame(out, columns=["crop", "variety", "place", "lat", "lon", "day"])
    return frame[~frame["crop"].isin(WINDOWS)].drop_duplicates(
        ["crop", "variety", "place"], ignore_index=True
    )


def with_heat(dates: pd.DataFrame, catalog: Catalog) -> tuple[pd.DataFrame, dict[str, Profile]]:
    """The dates with the variety's bloom there and its published place in the crop's ripening (shift)."""
    traits = catalog.traits()
    needs = bloom_needs(traits)
    offset, _ = centred_offset(traits, traits["crop"].to_numpy(dtype=object))
    words = traits["ripening_season"].astype(object).map(SEASON_PLACE).to_numpy(dtype=float)
    spread = traits["crop"].map({crop: sd for crop, (_, sd) in USUAL_DAYS.items()}).to_numpy(dtype=float)
    frame = traits[["crop", "variety"]].assign(
        row=np.arange(len(traits)),
        shift=np.where(np.isfinite(offset), offset - needs.shift_d, words * spread),
    )
    dates = dates.merge(frame, on=["crop", "variety"])
    profiles = {}
    parts = []
    groups: Any = dates.groupby(["place", "lat", "lon"])
    for (place, lat, lon), part in groups:
        profiles[str(place)] = build_profile(normals_at(float(lat), float(lon)), years=15)
        bloom = full_bloom(traits.iloc[part["row"]], profiles[str(place)])
        parts.append(part.assign(bloom=np.nanmedian(bloom, axis=1)))
    return pd.concat(parts, ignore_index=True).dropna(subset=["bloom"]), profiles


def days_taken(dates: pd.DataFrame, profiles: dict[str, Profile], by_warmth: float) -> Floats:
    """Days at 17 degC between bloom and the published date in an average year there."""
    out = np.empty(len(dates))
    for place, part in dates.groupby("place"):
        profile = profiles[str(place)]
        mean = (profile.tmin + profile.tmax).mean(axis=0) / 2.0
        grown = np.cumsum(pace(mean, by_warmth))
        axis = np.arange(len(grown), dtype=float)
        out[part.index] = np.interp(part["day"], axis, grown) - np.interp(part["bloom"], axis, grown)
    return out


def places_error(
    dates: pd.DataFrame, profiles: dict[str, Profile], by_warmth: float
) -> tuple[Floats, Floats]:
    """Errors [d] of the date at each place from the crop's other places, by the model and by the plain rule
    that a variety ripens on the same date everywhere."""
    taken = days_taken(dates, profiles, by_warmth) - dates["shift"].fillna(0.0).to_numpy()
    plain = dates["day"].to_numpy() - dates["shift"].fillna(0.0).to_numpy()
    model, same = [], []
    for _, part in dates.groupby("crop"):
        for place in part["place"].unique():
            here, there = part.index[part["place"] == place], part.index[part["place"] != place]
            if len(there) < FEWEST_DATES:
                continue
            model.append(np.median(taken[there]) - taken[here])
            same.append(np.median(plain[there]) - plain[here])
    return np.concatenate(model), np.concatenate(same)


def main() -> None:
    """Fit, score, write."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--observations", type=Path, required=True, help="folder of the open data")
    asked = parser.parse_args()
    catalog, folder = open_catalog(), datasets_folder()
    load_bloom_parameters(folder)
    rows, record = by_years(asked.observations, catalog)
    dates, profiles = with_heat(dated(catalog), catalog)

    def huber(errors: Floats) -> float:
        size = np.abs(errors)
        return float(np.where(size < 15, size**2, 30 * size - 225).mean())

    best = float(STEPS[int(np.argmin([huber(places_error(dates, profiles, each)[0]) for each in STEPS]))])
    for each in STEPS[::4]:
        print(f"{each:.2f}: places {huber(places_error(dates, profiles, each)[0]) ** 0.5:.2f} d (robust)")
    (carry, per_kelvin), *_ = np.linalg.lstsq(*year_effects(rows, record), rcond=None)
    taken = days_taken(dates, profiles, best) - dates["shift"].fillna(0.0).to_numpy()
    model, same = places_error(dates, profiles, best)
    years, calendar = years_error(rows, record)
    scores = pd.DataFrame(
        [
            (
                "years",
                "apple and pear at Klein-Altendorf, blocks of years left out",
                len(years),
                rms(years),
                float(np.median(np.abs(years))),
                rms(calendar),
            ),
            (
                "place",
                "published dates at places left out, crop and published offset known",
                len(model),
                rms(model),
                float(np.median(np.abs(model))),
                rms(same),
            ),
        ],
        columns=["left_out", "which", "observations", "rmse_d", "median_abs_d", "rmse_same_date_d"],
    )
    _save(scores.round(2), folder / "ripening_scores.csv")
    print(scores.round(2).to_string())
    out = []
    for crop, (usual, sd) in USUAL_DAYS.items():
        mine = taken[dates["crop"].to_numpy() == crop]
        places = dates.loc[dates["crop"] == crop, "place"].nunique()
        enough = len(mine) >= FEWEST_DATES and places >= 2
        error = (
            max(1.48 * float(np.median(np.abs(mine - np.median(mine)))), 6.0) if enough else UNFITTED_ERROR_D
        )
        window = WINDOWS.get(crop)
        out.append(
            {
                "crop": crop,
                "ripe_days": float(np.median(mine)) if enough else usual,
                "ripe_sd_d": sd,
                "error_d": window[2] if window else min(error, WIDEST_FITTED_D) if enough else error,
                "pace_by_warmth": best,
                "carry": carry,
                "days_per_K": per_kelvin,
                "picking_d": PICKING_D.get(crop, USUAL_PICKING_D),
                "window_start": _day_of_year(window[0]) if window else None,
                "window_end": _day_of_year(window[1]) if window else None,
                "dates": len(mine) if enough else 0,
                "places": places if enough else 0,
                "basis": "computed" if enough else "common practice",
            }
        )
    table = pd.DataFrame(out).astype({"window_start": "Int64", "window_end": "Int64"})
    _save(table.round(2), folder / "ripening_parameters.csv")
    print(pd.DataFrame(out).round(1).to_string())


def rms(errors: Floats) -> float:
    return float(np.sqrt(np.mean(errors**2)))


def _day_of_year(date: str) -> int:
    return (season_day(date, "south")) + 1


def _save(frame: pd.DataFrame, path: Path) -> None:
    partial = path.with_name(f".{path.name}.partial")
    frame.to_csv(partial, index=False, lineterminator="\n")
    partial.replace(path)


if __name__ == "__main__":
    main()
