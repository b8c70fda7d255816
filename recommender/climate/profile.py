"""The climate of one site as distributions over years: what a tree there will feel.

In come monthly normals (from which daily weather is made) or a daily record; out comes a `Profile`. Knows no
varieties. Method pages: docs/chill.md, docs/heat.md, docs/frost-and-winter.md, docs/weather-generator.md.
"""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from recommender.climate import chill, winter
from recommender.climate.adjustments import Adjustments
from recommender.climate.doubt import errors_of_normals, errors_of_sampling
from recommender.climate.figures import (
    Figures,
    Known,
    chill_window,
    figures,
    filled,
    hourly_of_days,
    known_parts,
    mask_unknown,
)
from recommender.climate.frost import first_frost_at, last_frost_at
from recommender.climate.generator import MONTH_DAYS
from recommender.climate.hourly import Array
from recommender.climate.normals import Normals
from recommender.climate.season import (
    SEASON_DAYS,
    Hemisphere,
    hemisphere_of,
    season_date,
    season_day,
    season_days_of_year,
)
from recommender.climate.seasons import (
    Seasons,
    checked_record,
    made_weather,
    record_sentences,
    season_of_typical_year,
    seasons_of,
    seasons_of_record,
)
from recommender.climate.warming import offsets, spoken
from recommender.errors import BadInput
from recommender.files import write_whole

if TYPE_CHECKING:
    from recommender.climate.weather import WeatherRecord

__all__ = [
    "Profile",
    "build_profile",
    "profile_from_daily",
    "profile_of_record",
    "season_date",
    "season_day",
]

NO_ADJUSTMENTS = Adjustments()

DEFAULT_SEED = 20261125
DEFAULT_YEARS = 30
_NORMAL_90 = 1.2816  # 90 % quantile of the normal law


@dataclass(frozen=True, eq=False)
class Profile(Figures):
    """Climate of one site: the figures of its seasons and what they were counted from. Arrays have the
    seasons along axis 0; a season is named by its harvest year.

    year (Y,): harvest year, or 1..Y where the weather is made up.
    tmin, tmax (Y, 548): daily extremes [degC] from 1 July (south: 1 January) of the year before harvest; NaN
    where a record has no day.
    winter_known, growing_known (Y,): a record has every day of the winter; of the year from midwinter. Where
    not, the figures of that part are NaN (`complete` leaves such seasons out). Made weather has all.
    chill_season: day indices of the first day chill is counted and of the first one after.
    annual_extreme_min_degC: mean of annual_min, which the zone is made of.
    zone, zone_number: USDA half zone, "7b" and 7.5; zone_probabilities: what the error makes of it.
    warming_degC: offset added to the daily series, one or twelve [K].
    errors: standard error of the median figure (of the mean for annual_extreme_min_degC), from the number of
        seasons and, where the weather is made, the error of the normals; in the figure's unit, dates in days.
    made_from: sentences.
    """

    lat: float
    lon: float | None
    elevation_m: float | None
    hemisphere: Hemisphere
    year: NDArray[np.int64]
    tmin: Array
    tmax: Array
    winter_known: Known
    growing_known: Known
    chill_season: tuple[int, int]
    annual_extreme_min_degC: float
    zone: str
    zone_number: float
    zone_probabilities: dict[str, float]
    warming_degC: tuple[float, ...]
    errors: dict[str, float]
    made_from: tuple[str, ...]

    def hourly(self, first: int = 0, end: int = SEASON_DAYS) -> Array:
        """Hourly temperatures of every season (Y, end - first, 24) [degC], of all days unless told."""
        return hourly_of_days(self.tmin, self.tmax, self.lat, first, end)

    def complete(self) -> Profile:
        """The same of the seasons that have every figure; what is left of gaps, before the winter, gets the
        mean of the day. Itself where nothing is missing. Raises BadInput if no season has every figure.
        """
        rows = self.winter_known & self.growing_known
        if rows.all() and np.isfinite(self.tmin).all():
            return self
        if not rows.any():
            raise BadInput(
                "No harvest of the record has both a whole winter and a whole summer",
                remedy="Use a longer record, or the built-in climate",
            )
        arrays = {name: getattr(self, name)[rows] for name in _BY_SEASON}
        arrays["tmin"], arrays["tmax"] = filled(self.tmin)[rows], filled(self.tmax)[rows]
        return replace(self, **arrays)

    def chill_build_up(self, model: str = "portions") -> Array:
        """Running chill at the end of each day of the chill season (Y, days); NaN in winters not whole.

        model: "portions" [CP], "hours" [h, 0 to 7.2 degC] or "units" [CU]. Raises BadInput for another one.
        """
        count, _ = _chill_model(model)
        low, high = filled(self.tmin), filled(self.tmax)
        chilled = count(hourly_of_days(low, high, self.lat, *self.chill_season), running=True)
        return np.where(self.winter_known[:, None], chilled, np.nan)

    def safe_chill(self, share_of_winters: float = 0.9, model: str = "portions") -> float:
        """Chill reached in a share of winters, in a model as for `chill_build_up`."""
        _, totals = _chill_model(model)
        return float(chill.safe_level(getattr(self, totals)[self.winter_known], share_of_winters))

    def extreme_minimum(self) -> winter.ExtremeMinimum:
        """Distribution of the coldest night of a winter."""
        return winter.extreme_minimum(self.annual_min[self.winter_known])

    def date(self, day: float) -> str | None:
        """Date "MM-DD" of a day index; None for NaN (a year without)."""
        return season_date(day, self.hemisphere) if np.isfinite(day) else None

    def _zone_range(self) -> dict[str, str]:
        """Half zones of the mean annual minimum at 10, 50 and 90 % of its error."""
        error = np.nan_to_num(self.errors["annual_extreme_min_degC"])
        levels = {"p10": -_NORMAL_90, "p50": 0.0, "p90": _NORMAL_90}
        return {name: winter.zone_of(self.annual_extreme_min_degC + z * error) for name, z in levels.items()}

    def summary(self) -> dict[str, Any]:
        """Figures with p10, p50, p90 over the years and the error of the median; ready for JSON.

        The zone is a mean over winters, so its p10 and p90 come of the error of that mean. p10 of a date is
        the early one. A date is None where too many years had no frost to name one, a figure where no year
        has it.
        """
        figures_out: dict[str, Any] = {
            "zone": self._zone_range(),
            "zone_name": self.zone,
            "zone_number": self.zone_number,
            "zone_probabilities": self.zone_probabilities,
            "mean_annual_extreme_min_degC": round(self.annual_extreme_min_degC, 1),
        }
        for name, attribute, digits in _SUMMARY:
            values = getattr(self, attribute)
            values = values[np.isfinite(values)]
            levels = np.quantile(values, _LEVELS) if len(values) else [None] * 3
            figures_out[name] = {
                f"p{level * 100:.0f}": _rounded(value, digits)
                for level, value in zip(_LEVELS, levels, strict=True)
            } | {"error": _rounded(self.errors.get(name), max(digits, 1))}
        for name, at, dates in (
            ("last_spring_frost", lambda dates, q: last_frost_at(dates, 1.0 - q), self.last_spring_frost),
            ("first_autumn_frost", first_frost_at, self.first_autumn_frost),
        ):
            known = dates[self.growing_known]
            figures_out[name] = {
                f"p{q * 100:.0f}": self.date(at(known, q)) if len(known) else None for q in _LEVELS
            } | {
                "error_days": _rounded(self.errors.get(name), 1),
                "years_without": _rounded(float(np.isnan(known).mean()), 3) if len(known) else None,
            }
        return figures_out | {
            "hemisphere": self.hemisphere,
            "lat": self.lat,
            "lon": self.lon,
            "elevation_m": self.elevation_m,
            "seasons": len(self.year),
            "whole_winters": int(self.winter_known.sum()),
            "whole_growing_years": int(self.growing_known.sum()),
            "chill_season": [self.date(self.chill_season[0]), self.date(self.chill_season[1] - 1)],
            "warming_degC": list(self.warming_degC),
            "made_from": list(self.made_from),
        }

    def seasons(self) -> pd.DataFrame:
        """One row a season: year and every figure of it, frost dates as day indices."""
        names = ["year", *(field.name for field in fields(Figures))]
        return pd.DataFrame({name: getattr(self, name) for name in names})

    def to_json(self, path: Path | str | None = None) -> str:
        """Summary and figures of every season as JSON text, also written to a file if a path is given."""
        seasons = self.seasons()
        by_year = [
            {
                name: None if np.isnan(value) else round(float(value), 3)
                for name, value in zip(seasons.columns, row, strict=True)
            }
            for row in seasons.to_numpy(dtype=np.float64)
        ]
        for record in by_year:
            record["year"] = int(record["year"] or 0)
        text = json.dumps(self.summary() | {"by_season": by_year}, indent=2, ensure_ascii=False)
        if path is not None:
            write_whole(Path(path), text)
        return text

    def to_parquet(self, path: Path | str) -> None:
        """Write the figures of every season (one row each) as Parquet, the summary in the file's metadata."""
        frame = self.seasons()
        frame.attrs["profile"] = self.summary()
        buffer = io.BytesIO()
        frame.to_parquet(buffer, index=False)
        write_whole(Path(path), buffer.getvalue())


def _chill_model(model: str) -> tuple[Callable[..., Array], str]:
    models: dict[str, tuple[Callable[..., Array], str]] = {
        "portions": (chill.dynamic_portions, "chill_portions"),
        "hours": (chill.chill_hours_0_7, "chill_hours_0_7"),
        "units": (chill.utah_units, "chill_units"),
    }
    if model not in models:
        raise BadInput(f"Chill is counted in {', '.join(models)}, not in {model}")
    return models[model]


_LEVELS = (0.1, 0.5, 0.9)
_BY_SEASON = (
    "year",
    "tmin",
    "tmax",
    "winter_known",
    "growing_known",
    *(field.name for field in fields(Figures)),
)
_SUMMARY = (
    ("annual_extreme_min_degC", "annual_min", 1),
    ("chill_hours_0_7", "chill_hours_0_7", 0),
    ("chill_hours_below_7", "chill_hours_below_7", 0),
    ("chill_units", "chill_units", 0),
    ("positive_chill_units", "positive_chill_units", 0),
    ("chill_portions", "chill_portions", 1),
    ("frost_free_days", "frost_free_days", 0),
    ("gdd10", "gdd10", 0),
    ("gdh", "gdh", 0),
    ("summer_mean", "summer_mean", 1),
)


def build_profile(
    normals: Normals,
    years: int = DEFAULT_YEARS,
    seed: int = DEFAULT_SEED,
    warming_degC: ArrayLike = 0.0,
    adjustments: Adjustments = NO_ADJUSTMENTS,
) -> Profile:
    """Profile of a site from its normals, over so many made seasons.

    warming_degC: one offset, four (seasons) or twelve (January first), added to the daily series [K];
    adjustments: what the spot does to it. Raises BadInput for fewer than two seasons or an offset that is
    neither.
    """
    if years < 2:
        raise BadInput(f"A profile needs at least two seasons, not {years}")
    weather = made_weather(normals, years, seed)
    made = [
        *normals.made_from,
        f"Daily weather of {years} seasons was made from the monthly normals (seed {seed}).",
    ]
    if abs(weather.extreme_min_misfit) > 0.5:
        made.append(
            f"Monthly minima and a mean coldest night of {normals.annual_extreme_min_degC:.1f} degC do not "
            f"fit together: the weather made is {weather.extreme_min_misfit:+.1f} K off it."
        )
    return _profile(
        Seasons(np.arange(1, years + 1), *seasons_of(weather, hemisphere_of(normals.lat))),
        (normals.lat, normals.lon, normals.elevation_m),
        adjustments,
        warming_degC,
        made,
        normals_errors=(normals.error_monthly_degC, normals.error_extreme_degC),
    )


def profile_from_daily(
    frame: pd.DataFrame,
    lat: float,
    lon: float | None = None,
    elevation_m: float | None = None,
    warming_degC: ArrayLike = 0.0,
    adjustments: Adjustments = NO_ADJUSTMENTS,
    typical_year: bool = False,
) -> Profile:
    """Profile of a site from its own daily record.

    frame: columns date, tmin_degC, tmax_degC, one row a day in any order. A gap costs the winter it lies in
    (chill, coldest night) or the year from midwinter (frosts, warmth), or both; `made_from` names them.
    typical_year: the frame is one year put together from ordinary months, which makes one season and no
    spread. Raises BadInput if the record is empty or lacks a column, a date comes twice, or no winter is
    whole.
    """
    record = checked_record(frame)
    hemisphere = hemisphere_of(lat)
    point = (lat, lon, elevation_m)
    if typical_year:
        made = [
            "A typical year: one season of ordinary months, with no hard winter and no late frost in it. Its"
            " figures have no spread, and its zone is a guess: a zone is a mean over many winters."
        ]
        season = season_of_typical_year(record, hemisphere)
        return _profile(season, point, adjustments, warming_degC, made, typical_year=True)
    return _profile(seasons_of_record(record, hemisphere), point, adjustments, warming_degC, [])


def profile_of_record(
    record: WeatherRecord,
    lat: float | None = None,
    lon: float | None = None,
    elevation_m: float | None = None,
    warming_degC: ArrayLike = 0.0,
    adjustments: Adjustments = NO_ADJUSTMENTS,
) -> Profile:
    """Profile of a weather file as `weather.read_weather` gives it; what is not given is taken from the file.

    Raises BadInput where neither says the latitude, and as `profile_from_daily`.
    """
    where = record.lat if lat is None else lat
    if where is None:
        raise BadInput(
            "The weather file does not say where its station stands",
            where=str(record.path),
            remedy="Give its latitude with --lat; day length and the hemisphere follow from it",
        )
    profile = profile_from_daily(
        record.frame,
        where,
        record.lon if lon is None else lon,
        record.elevation_m if elevation_m is None else elevation_m,
        warming_degC,
        adjustments,
        record.typical_year,
    )
    about = [f"Weather file {record.path.name} ({record.format})."]
    if record.filled_days:
        about.append(f"{record.filled_days} days in short gaps were filled from their neighbours.")
    return replace(profile, made_from=(*about, *profile.made_from))


def _profile(
    seasons: Seasons,
    point: tuple[float, float | None, float | None],
    adjustments: Adjustments,
    warming_degC: ArrayLike,
    made: list[str],
    normals_errors: tuple[float, float] | None = None,
    typical_year: bool = False,
) -> Profile:
    """normals_errors: of a monthly value and of the coldest night [K] where the weather is made; else a
    record."""
    lat, lon, elevation = point
    of_months = offsets(warming_degC)
    tmin, tmax = adjustments.apply(seasons.tmin, seasons.tmax, lat)
    warming = np.repeat(of_months, MONTH_DAYS)[season_days_of_year(hemisphere_of(lat)) - 1]
    tmin, tmax, year = tmin + warming, tmax + warming, seasons.year
    whole_low, whole_high = filled(tmin), filled(tmax)
    window = chill_window(whole_low, whole_high, lat)
    winter_known, growing_known = known_parts(tmin, lat, window)
    kept = winter_known | growing_known
    if normals_errors is None and not typical_year:
        made = [*made, *record_sentences(year, winter_known, growing_known)]
        if not winter_known.any():
            raise BadInput(
                f"No winter is whole in the daily record ({year[0] - 1} to {year[-1]})",
                remedy="Chill and cold need every day from autumn to spring, gaps of up to five days filled",
            )
    of_season = mask_unknown(
        figures(whole_low[kept], whole_high[kept], lat, window), winter_known[kept], growing_known[kept]
    )
    mean_extreme = float(np.nanmean(of_season.annual_min))
    errors = errors_of_sampling(of_season, _ERROR_NAMES)
    if normals_errors is not None:
        of_normals = errors_of_normals(tmin, tmax, lat, normals_errors[0], _ERROR_NAMES)
        of_normals["annual_extreme_min_degC"] = normals_errors[1]
        # The made coldest nights are fitted to the mean asked for: their number adds no error to it.
        errors["annual_extreme_min_degC"] = 0.0
        errors = {name: float(np.hypot(of_normals[name], error)) for name, error in errors.items()}
    error = errors["annual_extreme_min_degC"]
    made = [*made, *adjustments.said()]
    if of_months.any():
        made.append(
            f"Warmer by {spoken(of_months)} K than {'the normals' if normals_errors else 'the record'}."
        )
    tmin, tmax, year = tmin[kept], tmax[kept], year[kept]
    winter_known, growing_known = winter_known[kept], growing_known[kept]
    values = {field.name: getattr(of_season, field.name) for field in fields(Figures)}
    for array in (tmin, tmax, year, winter_known, growing_known, *values.values()):
        array.setflags(write=False)
    return Profile(
        lat=lat,
        lon=lon,
        elevation_m=elevation,
        hemisphere=hemisphere_of(lat),
        year=year,
        tmin=tmin,
        tmax=tmax,
        winter_known=winter_known,
        growing_known=growing_known,
        chill_season=window,
        annual_extreme_min_degC=mean_extreme,
        zone=winter.zone_of(mean_extreme),
        zone_number=winter.zone_number_of(mean_extreme),
        zone_probabilities=winter.zone_probabilities(mean_extreme, error if np.isfinite(error) else 0.0),
        warming_degC=tuple((of_months[:1] if np.ptp(of_months) == 0.0 else of_months).tolist()),
        errors=errors,
        made_from=tuple(made),
        **values,
    )


_ERROR_NAMES = {name: attribute for name, attribute, _ in _SUMMARY} | {
    "last_spring_frost": "last_spring_frost",
    "first_autumn_frost": "first_autumn_frost",
}


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None or not np.isfinite(value) else round(float(value), digits)
