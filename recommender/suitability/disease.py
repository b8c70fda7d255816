"""How hard disease presses at a site, and what of it a variety's resistance takes off.

In come the varieties, the monthly rain and warmth of the site and the grower's answer on wetness; out go
`Pressure` by disease and the criterion (V,). In which season a disease infects, and whether it wants wet,
dry, cool or warm weather, is published, and each disease names where. Infection models count hours of leaf
wetness, which monthly normals do not tell: the monthly rain that stands for them, from hardly to fully
pressing, and the weights of the diseases are our choice. The criterion moves the score and the care level; no
verdict hangs on it. Presence is not known: a disease that has not reached a country still presses here, so
ask the plant-health authority what is about.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from recommender.errors import BadInput
from recommender.suitability.expectations import UNRATED, UNRATED_ERROR, Trait

if TYPE_CHECKING:
    from recommender.suitability.expectations import Varieties
    from recommender.suitability.site import Site

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Disease:
    """When and where a disease presses. season: months that decide; source: where season and weather were
    read (a key of sources.csv); dry_mm, wet_mm: mean monthly rain at which it presses hardly and fully [mm],
    chosen by us; cool_degC, warm_degC: the same of the mean temperature, where warmth decides too;
    fond_of_dry: presses in dry seasons."""

    season: str
    source: str
    dry_mm: float = 30.0
    wet_mm: float = 90.0
    cool_degC: float | None = None
    warm_degC: float | None = None
    fond_of_dry: bool = False


DISEASES: dict[str, Disease] = {
    # Leaves must stay wet 6 h at 16 to 24 degC, 9 to 41 h when colder.
    "apple-scab": Disease("spring", "wvu-mills"),
    # Wet for at least 9 h, fastest at 13 to 24 degC; a dry spring brings none.
    "pear-scab": Disease("spring", "ucipm-pear-scab"),
    "asian-pear-scab": Disease("spring", "common practice"),
    # Open flowers, wetting, and a day of at least 15.6 degC on average; counted from 10 degC on.
    "fire-blight": Disease("spring", "metos-fireblight", 20.0, 80.0, 10.0, 15.6),
    "cedar-apple-rust": Disease("spring", "yoder-2015-rust-mildew"),
    "quince-rust": Disease("spring", "yoder-2015-rust-mildew"),
    # Mildew infects on days of dry weather.
    "powdery-mildew": Disease("spring", "yoder-2015-rust-mildew", 20.0, 90.0, fond_of_dry=True),
    # At least 12 h of wetness below 16 degC at bud swell, the more the cooler.
    "peach-leaf-curl": Disease("early spring", "rutgers-leaf-curl", 20.0, 80.0),
    # Wet leaves and 21 to 29 degC by day, some 5 K less in the mean of a month (our reading).
    "bacterial-spot": Disease("summer", "psu-2011-spots", 40.0, 110.0, 16.0, 24.0),
    # Cool wet springs with frost or storms.
    "bacterial-canker": Disease("early spring", "netreefruit-canker"),
    "brown-rot": Disease("summer", "ct-home-peach", wet_mm=100.0),
    "black-knot": Disease("spring", "common practice"),
    # Spores for six to eight weeks from petal fall, in rain.
    "cherry-leaf-spot": Disease("spring", "cfgrower-2019-leafspot", wet_mm=100.0),
    # Spores splashed by rain from bud break to the growth of shoots.
    "eastern-filbert-blight": Disease("spring", "eppo-anisogramma", wet_mm=100.0),
    "walnut-blight": Disease("spring", "wcngg-2020-walnut-blight"),
    "quince-fleck": Disease("summer", "common practice"),
    # Carried by aphids and grafting, not by rain: middling everywhere.
    "plum-pox": Disease("any", "common practice"),
}
# Months of each season in the north; six months later in the south.
SEASONS = {"early spring": (2, 3, 4), "spring": (4, 5, 6), "summer": (6, 7, 8), "any": tuple(range(1, 13))}
# The diseases that decide about spraying in a garden, by crop, with their weight (chosen by us: 1 for what
# ruins trees or crops unsprayed, less for what spoils part of them). That a crop is a host is published: by
# ratings of its varieties, else by HOST_SOURCES.
HOSTS: dict[str, dict[str, float]] = {
    "apple": {"apple-scab": 1.0, "fire-blight": 0.8, "powdery-mildew": 0.5, "cedar-apple-rust": 0.4},
    "european-pear": {"fire-blight": 1.0, "pear-scab": 0.7},
    "asian-pear": {"fire-blight": 1.0, "asian-pear-scab": 0.4},
    "quince": {"fire-blight": 1.0, "quince-fleck": 0.6},
    "medlar": {"fire-blight": 0.5},
    "loquat": {"fire-blight": 1.0},
    "peach": {"bacterial-spot": 1.0, "peach-leaf-curl": 1.0, "brown-rot": 0.6},
    "nectarine": {"bacterial-spot": 1.0, "peach-leaf-curl": 1.0, "brown-rot": 0.9},
    "apricot": {"brown-rot": 1.0, "bacterial-spot": 0.6, "bacterial-canker": 0.6},
    "almond": {"brown-rot": 1.0, "bacterial-spot": 0.4},
    "european-plum": {"brown-rot": 1.0, "black-knot": 0.5, "plum-pox": 0.4},
    "japanese-plum": {"brown-rot": 1.0, "bacterial-spot": 0.8, "black-knot": 0.5},
    "american-plum": {"brown-rot": 1.0, "black-knot": 0.5},
    "plum-apricot": {"brown-rot": 1.0, "bacterial-spot": 0.8},
    "cherry-plum": {"brown-rot": 0.6, "bacterial-spot": 0.4},
    "sweet-cherry": {"bacterial-canker": 1.0, "brown-rot": 1.0, "cherry-leaf-spot": 0.6},
    "sour-cherry": {"cherry-leaf-spot": 1.0, "brown-rot": 1.0},
    "duke-cherry": {"cherry-leaf-spot": 1.0, "brown-rot": 1.0},
    "hazelnut": {"eastern-filbert-blight": 1.0},
    "walnut": {"walnut-blight": 1.0},
}
# Hosts of which no variety has been rated, and where it is published that they are hosts.
HOST_SOURCES: dict[tuple[str, str], str] = {
    ("quince", "fire-blight"): "steiermark-feuerbrand",
    ("medlar", "fire-blight"): "steiermark-feuerbrand",
    ("apricot", "bacterial-canker"): "plantenplagen-canker",
    ("almond", "brown-rot"): "psu-fphg-stone-diseases",
    ("almond", "bacterial-spot"): "psu-fphg-stone-diseases",
    ("plum-apricot", "brown-rot"): "psu-fphg-stone-diseases",
    ("cherry-plum", "brown-rot"): "psu-fphg-stone-diseases",
    ("cherry-plum", "bacterial-spot"): "psu-fphg-stone-diseases",
    ("duke-cherry", "brown-rot"): "psu-fphg-stone-diseases",
}
# What a wet or dry answer adds to every pressure that rain decides (chosen by us).
ANSWERED = {"wet": 0.25, "dry": -0.25}
# Without rain figures, or for a crop not listed, a middling year is taken (chosen by us).
MIDDLING = 0.5


@dataclass(frozen=True)
class Weather:
    """Monthly means of a site from January: rain [mm], mean temperature [degC]; hemisphere."""

    rain_mm: tuple[float, ...]
    mean_degC: tuple[float, ...]
    hemisphere: str

    def of(self, season: str) -> tuple[float, float]:
        """Mean monthly rain and mean temperature of a season's months."""
        turn = 0 if self.hemisphere == "north" else 6
        months = [(month - 1 + turn) % 12 for month in SEASONS[season]]
        rain = float(np.mean([self.rain_mm[month] for month in months]))
        return rain, float(np.mean([self.mean_degC[month] for month in months]))


@lru_cache(maxsize=256)
def weather_at(lat: float, lon: float, elevation_m: float | None) -> Weather | None:
    """Monthly rain and warmth at a point on land, None where the climate room has no normals for it."""
    from recommender.climate.normals import normals_at

    try:
        normals = normals_at(lat, lon, elevation_m)
    except BadInput:
        return None
    mean = (np.asarray(normals.tmin, dtype=float) + np.asarray(normals.tmax, dtype=float)) / 2.0
    rain = np.asarray(normals.rain_mm, dtype=float)
    if not np.isfinite(rain).all():
        return None
    return Weather(tuple(rain.tolist()), tuple(mean.tolist()), "north" if lat >= 0 else "south")


def pressure(name: str, weather: Weather | None, wetness: str) -> float:
    """How hard a disease presses [0..1]: rain (and warmth) of its months, moved by the grower's answer."""
    disease = DISEASES.get(name)
    if disease is None or disease.season == "any":
        return MIDDLING
    value = MIDDLING
    answered = ANSWERED.get(wetness, 0.0)
    if weather is not None:
        rain, mean = weather.of(disease.season)
        value = float(np.clip((rain - disease.dry_mm) / (disease.wet_mm - disease.dry_mm), 0.0, 1.0))
        if disease.fond_of_dry:
            value = 1.0 - value
        if disease.cool_degC is not None and disease.warm_degC is not None:
            warm = (mean - disease.cool_degC) / (disease.warm_degC - disease.cool_degC)
            value = float(np.sqrt(value * np.clip(warm, 0.0, 1.0)))
    return float(np.clip(value - answered if disease.fond_of_dry else value + answered, 0.05, 1.0))


def resistance(varieties: Varieties, name: str) -> Trait:
    """Resistance (V,) to one disease in [0, 1]: published, else estimated, else a little below the middle."""
    held = varieties.resists.get(name)
    if held is not None:
        return held
    size = len(varieties)
    return Trait(np.full(size, UNRATED), np.full(size, UNRATED_ERROR), np.zeros(size, dtype=bool))


def health(varieties: Varieties, weather: Weather | None, wetness: str) -> Trait:
    """What of a full attack is missing (V,), in [0, 1]: 1 where nothing presses or the variety resists all.

    The diseases of the crop (HOSTS), each by its weight, its pressure here and the variety's lack of
    resistance. A crop not listed is judged by its general resistance at middling pressure.
    """
    size = len(varieties)
    crop = varieties.frame["crop"].to_numpy(dtype=object)
    loss = MIDDLING * (1.0 - varieties.disease.value)
    error = MIDDLING * varieties.disease.error
    known = varieties.disease.known.copy()
    wanted = {name for host in set(crop) & set(HOSTS) for name in HOSTS[host]}
    each = {name: resistance(varieties, name) for name in wanted}
    for host in sorted(set(crop) & set(HOSTS)):
        rows = np.flatnonzero(crop == host)
        total = sum(HOSTS[host].values())
        loss[rows], squares, known[rows] = 0.0, np.zeros(len(rows)), False
        for name, weight in HOSTS[host].items():
            share = weight / total * pressure(name, weather, wetness)
            loss[rows] += share * (1.0 - each[name].value[rows])
            squares += (share * each[name].error[rows]) ** 2
            known[rows] |= each[name].known[rows]
        error[rows] = np.sqrt(squares)
    return Trait(np.clip(1.0 - loss, 0.0, 1.0).reshape(size), error, known)


def losses(varieties: Varieties) -> tuple[list[str], Floats, Floats]:
    """`health` as a matrix product, for many sites: names of diseases (D,), a constant (V,) and the loss of
    each disease at full pressure (V, D), so that health is 1 - constant - loss @ pressure."""
    crop = varieties.frame["crop"].to_numpy(dtype=object)
    names = sorted({name for host in HOSTS.values() for name in host})
    constant = MIDDLING * (1.0 - varieties.disease.value)
    loss = np.zeros((len(varieties), len(names)))
    for host in sorted(set(crop) & set(HOSTS)):
        rows = np.flatnonzero(crop == host)
        total = sum(HOSTS[host].values())
        constant[rows] = 0.0
        for name, weight in HOSTS[host].items():
            loss[rows, names.index(name)] = weight / total * (1.0 - resistance(varieties, name).value[rows])
    return names, constant, loss


def told(varieties: Varieties, weather: Weather | None, wetness: str, row: int) -> str:
    """The disease that presses most on a variety here and how it is rated, in words; "" where none is known
    for its crop."""
    host = str(varieties.frame["crop"].iloc[row])
    if host not in HOSTS:
        return ""
    rest = {
        name: weight * pressure(name, weather, wetness) * (1.0 - resistance_at(varieties, name, row)[0])
        for name, weight in HOSTS[host].items()
    }
    worst = max(rest, key=lambda name: rest[name])
    value, standing = resistance_at(varieties, worst, row)
    here = ""
    if weather is not None and DISEASES[worst].season != "any":
        season = DISEASES[worst].season
        here = f" ({weather.of(season)[0]:.0f} mm of rain a month in {season} here)"
    level = "resistant" if value >= 0.65 else "middling" if value >= 0.4 else "susceptible"
    how = f"it is {level} ({standing})" if standing != "unknown" else "nobody has rated it"
    return f"The disease to watch is {worst.replace('-', ' ')}{here}; {how}"


def resistance_at(varieties: Varieties, name: str, row: int) -> tuple[float, str]:
    """Resistance of one variety and its standing."""
    column = f"disease:{name}"
    held = resistance(varieties, name)
    value = float(held.value[row])
    if held.known[row]:
        return value, str(varieties.frame[f"{column}_standing"].iloc[row])
    return value, "estimated" if np.isfinite(varieties.guess.value(column)[row]) else "unknown"


def weather_of(site: Site, lat: float | None, lon: float | None, elevation_m: float | None) -> Weather | None:
    """Rain and warmth of a site, None where it was given by zone and chill only."""
    if site.zone is not None or lat is None or lon is None:
        return None
    return weather_at(float(lat), float(lon), elevation_m)
