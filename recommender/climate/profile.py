"""The climate of one site as distributions over years: what a tree there will feel.

In come monthly normals (from which daily weather is made) or a daily record; out comes a `Profile`. Knows no
varieties. Method pages: docs/chill.md, docs/heat.md, docs/frost-and-winter.md, docs/weather-generator.md.
"""

from __future__ import annotations

import io
import json
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, fields
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from recommender.climate import chill, winter
from recommender.climate.figures import Figures, chill_window, figures, hourly_of_days
from recommender.climate.frost import first_frost_at, last_frost_at
from recommender.climate.generator import MONTH_DAYS, DailyWeather, generate
from recommender.climate.hourly import Array
from recommender.climate.normals import Normals
from recommender.climate.season import (
    SEASON_DAYS,
    YEAR_DAYS,
    YEAR_STARTS,
    Hemisphere,
    hemisphere_of,
    season_date,
    season_day,
    season_days_of_year,
)
from recommender.errors import BadInput, StorageFault

__all__ = ["Profile", "build_profile", "profile_from_daily", "season_date", "season_day"]

DEFAULT_SEED = 20261125
DEFAULT_YEARS = 30
# Monthly errors are one standard deviation; this many seasons suffice to see what they do to a median.
_SEASONS_FOR_ERRORS = 12
_MEDIAN_PER_MEAN_ERROR = 1.253  # of the standard errors, normal law: root of pi / 2
_NORMAL_90 = 1.2816  # 90 % quantile of the normal law
FEWEST_SEASONS_FOR_ZONE = 20


@dataclass(frozen=True, eq=False)
class Profile:
    """Climate of one site. Arrays have the seasons along axis 0; a season is named by its harvest year.

    year (Y,): harvest year, or 1..Y where the weather is made up.
    tmin, tmax (Y, 548): daily extremes [degC] from 1 July (south: 1 January) of the year before harvest.
    chill_season: day indices of the first day chill is counted and of the first one after.
    annual_min (Y,): coldest night of the winter before harvest [degC].
    chill_hours_0_7, chill_hours_below_7 (Y,): hours of the chill season [h].
    chill_units, positive_chill_units (Y,) [CU]; chill_portions (Y,) [CP]: of the chill season.
    last_spring_frost, first_autumn_frost (Y,): day index, 0 degC in the air; NaN in a year without.
    frost_free_days (Y,): days between the two [d].
    gdd10 (Y,): degree days above 10 degC from midwinter to midwinter [K d].
    gdh (Y,): growing degree hours of the same months [GDH].
    summer_mean (Y,): mean of the 91 days that are warmest over the years [degC].
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
    chill_season: tuple[int, int]
    annual_min: Array
    chill_hours_0_7: Array
    chill_hours_below_7: Array
    chill_units: Array
    positive_chill_units: Array
    chill_portions: Array
    last_spring_frost: Array
    first_autumn_frost: Array
    frost_free_days: Array
    gdd10: Array
    gdh: Array
    summer_mean: Array
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

    def chill_build_up(self, model: str = "portions") -> Array:
        """Running chill at the end of each day of the chill season (Y, days).

        model: "portions" [CP], "hours" [h, 0 to 7.2 degC] or "units" [CU]. Raises BadInput for another one.
        """
        count, _ = _chill_model(model)
        return count(hourly_of_days(self.tmin, self.tmax, self.lat, *self.chill_season), running=True)

    def safe_chill(self, share_of_winters: float = 0.9, model: str = "portions") -> float:
        """Chill reached in a share of winters, in a model as for `chill_build_up`."""
        _, totals = _chill_model(model)
        return float(chill.safe_level(getattr(self, totals), share_of_winters))

    def extreme_minimum(self) -> winter.ExtremeMinimum:
        """Distribution of the coldest night of a winter."""
        return winter.extreme_minimum(self.annual_min)

    def date(self, day: float) -> str | None:
        """Date "MM-DD" of a day index; None for NaN (a year without)."""
        return season_date(day, self.hemisphere) if np.isfinite(day) else None

    def _zone_range(self) -> dict[str, str]:
        """Half zones of the mean annual minimum at 10, 50 and 90 % of its error."""
        error = np.nan_to_num(self.errors["annual_extreme_min_degC"])
        levels = {"p10": -_NORMAL_90, "p50": 0.0, "p90": _NORMAL_90}
        return {name: winter.zone_of(self.annual_extreme_min_degC + z * error) for name, z in levels.items()}

    def summary(self) -> dict[str, object]:
        """Figures with p10, p50, p90 over the years and the error of the median; ready for JSON.

        p10 of a date is the early one. A date is None where too many years had no frost to name one.
        """
        figures_out: dict[str, object] = {
            "zone": self.zone,
            "zone_number": self.zone_number,
            "zone_range": self._zone_range(),
            "zone_probabilities": self.zone_probabilities,
            "mean_annual_extreme_min_degC": round(self.annual_extreme_min_degC, 1),
        }
        for name, attribute, digits in _SUMMARY:
            low, middle, high = np.quantile(getattr(self, attribute), [0.1, 0.5, 0.9])
            figures_out[name] = {
                "p10": round(float(low), digits),
                "p50": round(float(middle), digits),
                "p90": round(float(high), digits),
                "error": _rounded(self.errors.get(name), max(digits, 1)),
            }
        for name, at, values in (
            ("last_spring_frost", lambda dates, q: last_frost_at(dates, 1.0 - q), self.last_spring_frost),
            ("first_autumn_frost", first_frost_at, self.first_autumn_frost),
        ):
            figures_out[name] = {f"p{round(q * 100)}": self.date(at(values, q)) for q in (0.1, 0.5, 0.9)} | {
                "error_days": _rounded(self.errors.get(name), 1),
                "years_without": round(float(np.isnan(values).mean()), 3),
            }
        return figures_out | {
            "hemisphere": self.hemisphere,
            "lat": self.lat,
            "lon": self.lon,
            "elevation_m": self.elevation_m,
            "seasons": len(self.year),
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
            _write(Path(path), text.encode())
        return text

    def to_parquet(self, path: Path | str) -> None:
        """Write the figures of every season (one row each) as Parquet, the summary in the file's metadata."""
        frame = self.seasons()
        frame.attrs["profile"] = self.summary()
        buffer = io.BytesIO()
        frame.to_parquet(buffer, index=False)
        _write(Path(path), buffer.getvalue())


def _chill_model(model: str) -> tuple[Callable[..., Array], str]:
    models: dict[str, tuple[Callable[..., Array], str]] = {
        "portions": (chill.dynamic_portions, "chill_portions"),
        "hours": (chill.chill_hours_0_7, "chill_hours_0_7"),
        "units": (chill.utah_units, "chill_units"),
    }
    if model not in models:
        raise BadInput(f"Chill is counted in {', '.join(models)}, not in {model}")
    return models[model]


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
    normals: Normals, years: int = DEFAULT_YEARS, seed: int = DEFAULT_SEED, warming_degC: ArrayLike = 0.0
) -> Profile:
    """Profile of a site from its normals, over so many made seasons.

    warming_degC: one offset, or twelve (January first), added to the daily series [K].
    Raises BadInput for fewer than two seasons or an offset that is neither.
    """
    if years < 2:
        raise BadInput(f"A profile needs at least two seasons, not {years}")
    offsets = _offsets(warming_degC)
    hemisphere = hemisphere_of(normals.lat)
    weather = generate(
        normals.tmin,
        normals.tmax,
        normals.annual_extreme_min_degC,
        years + 1,
        seed,
        winter_year_start=YEAR_STARTS[hemisphere],
    )
    tmin, tmax = seasons_of(weather, hemisphere)
    warming = np.repeat(offsets, MONTH_DAYS)[season_days_of_year(hemisphere) - 1]
    tmin, tmax = tmin + warming, tmax + warming
    made = [
        *normals.made_from,
        f"Daily weather of {years} seasons was made from the monthly normals (seed {seed}).",
    ]
    if abs(weather.extreme_min_misfit) > 0.5:
        made.append(
            f"Monthly minima and a mean coldest night of {normals.annual_extreme_min_degC:.1f} degC do not "
            f"fit together: the weather made is {weather.extreme_min_misfit:+.1f} K off it."
        )
    if offsets.any():
        made.append(f"Warmer by {_spoken(offsets)} K than the normals.")
    window = chill_window(tmin, tmax, normals.lat)
    of_normals = _errors_of_normals(tmin, tmax, normals.lat, normals.error_monthly_degC)
    of_normals["annual_extreme_min_degC"] = normals.error_extreme_degC
    return _profile(
        tmin,
        tmax,
        np.arange(1, years + 1),
        (normals.lat, normals.lon, normals.elevation_m),
        window,
        offsets,
        of_normals,
        tuple(made),
    )


def profile_from_daily(
    frame: pd.DataFrame,
    lat: float,
    lon: float | None = None,
    elevation_m: float | None = None,
    warming_degC: ArrayLike = 0.0,
) -> Profile:
    """Profile of a site from its own daily record.

    frame: columns date, tmin_degC, tmax_degC, one row a day in any order. Seasons with a day missing are left
    out and named in `made_from`. Raises BadInput if the record is empty or lacks a column, a date comes
    twice, or no season is complete.
    """
    missing = {"date", "tmin_degC", "tmax_degC"} - set(frame.columns)
    if missing:
        raise BadInput(f"The daily record has no column {', '.join(sorted(missing))}")
    if frame.empty:
        raise BadInput("The daily record is empty")
    try:
        dates = pd.DatetimeIndex(pd.to_datetime(frame["date"])).normalize()
        values = frame[["tmin_degC", "tmax_degC"]].astype(np.float64)
    except (ValueError, TypeError) as fault:
        raise BadInput(
            f"The daily record holds something that is no date or no temperature: {fault}",
            remedy="Check the file with `orchardwright weather check`, which names the line",
        ) from fault
    if dates.has_duplicates:
        twice = dates[dates.duplicated()][0]
        raise BadInput(
            f"{twice:%Y-%m-%d} occurs twice in the daily record", remedy="Keep one row for each day"
        )
    record = values.set_axis(dates)
    hemisphere = hemisphere_of(lat)
    harvests, lows, highs, dropped = [], [], [], []
    for harvest in range(dates.min().year + 1, dates.max().year + 1):
        start = pd.Timestamp(harvest - 1, 7 if hemisphere == "north" else 1, 1)
        days = pd.date_range(start, periods=SEASON_DAYS + 2)
        days = days[~((days.month == 2) & (days.day == 29))][:SEASON_DAYS]
        season = record.reindex(days).to_numpy()
        if np.isfinite(season).all():
            harvests.append(harvest)
            lows.append(season[:, 0])
            highs.append(season[:, 1])
        elif np.isfinite(season).any():
            dropped.append(harvest)
    if not harvests:
        raise BadInput(
            f"No season is complete in the daily record ({dates.min():%Y-%m-%d} to {dates.max():%Y-%m-%d})",
            remedy="A season needs every day from midsummer before the winter to the end of the harvest year",
        )
    offsets = _offsets(warming_degC)
    warming = np.repeat(offsets, MONTH_DAYS)[season_days_of_year(hemisphere) - 1]
    tmin, tmax = np.array(lows) + warming, np.array(highs) + warming
    made = [f"Daily record, {len(harvests)} complete seasons, harvests {harvests[0]} to {harvests[-1]}."]
    if dropped:
        made.append(f"Left out as incomplete: the seasons of {', '.join(map(str, dropped))}.")
    if len(harvests) < FEWEST_SEASONS_FOR_ZONE:
        made.append(
            f"A hardiness zone should rest on {FEWEST_SEASONS_FOR_ZONE} winters; here are {len(harvests)}."
        )
    if offsets.any():
        made.append(f"Warmer by {_spoken(offsets)} K than the record.")
    return _profile(
        tmin,
        tmax,
        np.array(harvests),
        (lat, lon, elevation_m),
        chill_window(tmin, tmax, lat),
        offsets,
        {},
        tuple(made),
    )


def seasons_of(weather: DailyWeather, hemisphere: Hemisphere) -> tuple[Array, Array]:
    """Cut a run of N made years into N - 1 overlapping seasons: tmin, tmax (N - 1, 548) [degC]."""
    days = (
        YEAR_STARTS[hemisphere]
        + np.arange(len(weather.tmin) - 1)[:, None] * YEAR_DAYS
        + np.arange(SEASON_DAYS)
    )
    return weather.tmin.ravel()[days], weather.tmax.ravel()[days]


def _profile(
    tmin: Array,
    tmax: Array,
    year: NDArray[np.int64],
    point: tuple[float, float | None, float | None],
    window: tuple[int, int],
    offsets: Array,
    errors_of_normals: dict[str, float],
    made_from: tuple[str, ...],
) -> Profile:
    lat, lon, elevation = point
    of_season = figures(tmin, tmax, lat, window)
    mean_extreme = float(of_season.annual_min.mean())
    errors = _errors_of_sampling(of_season)
    if errors_of_normals:
        # The made coldest nights are fitted to the mean asked for: their number adds no error to it.
        errors["annual_extreme_min_degC"] = 0.0
        errors = {name: float(np.hypot(errors_of_normals[name], error)) for name, error in errors.items()}
    error = errors["annual_extreme_min_degC"]
    values = {field.name: getattr(of_season, field.name) for field in fields(Figures)}
    for array in (tmin, tmax, year, *values.values()):
        array.setflags(write=False)
    return Profile(
        lat=lat,
        lon=lon,
        elevation_m=elevation,
        hemisphere=hemisphere_of(lat),
        year=year,
        tmin=tmin,
        tmax=tmax,
        chill_season=window,
        annual_extreme_min_degC=mean_extreme,
        zone=winter.zone_of(mean_extreme),
        zone_number=winter.zone_number_of(mean_extreme),
        zone_probabilities=winter.zone_probabilities(mean_extreme, error if np.isfinite(error) else 0.0),
        warming_degC=tuple(float(offset) for offset in np.unique(offsets))
        if np.ptp(offsets) == 0.0
        else tuple(float(offset) for offset in offsets),
        errors=errors,
        made_from=made_from,
        **values,
    )


def _errors_of_normals(tmin: Array, tmax: Array, lat: float, error: float) -> dict[str, float]:
    """Half the difference of the medians when all months are warmer and colder by their error."""
    some = slice(0, _SEASONS_FOR_ERRORS)
    warm = figures(tmin[some] + error, tmax[some] + error, lat)
    cold = figures(tmin[some] - error, tmax[some] - error, lat)
    return {name: abs(_mean(warm, at) - _mean(cold, at)) / 2.0 for name, at in _ERROR_NAMES.items()}


def _errors_of_sampling(of_season: Figures) -> dict[str, float]:
    """Standard error of the median of so many years, of the mean for the coldest night."""
    out = {}
    for name, attribute in _ERROR_NAMES.items():
        values = getattr(of_season, attribute)
        values = values[np.isfinite(values)]
        of_mean = float(values.std(ddof=1) / np.sqrt(len(values))) if len(values) > 1 else float("nan")
        out[name] = of_mean if attribute == "annual_min" else _MEDIAN_PER_MEAN_ERROR * of_mean
    return out


_ERROR_NAMES = {name: attribute for name, attribute, _ in _SUMMARY} | {
    "last_spring_frost": "last_spring_frost",
    "first_autumn_frost": "first_autumn_frost",
}


def _mean(of_season: Figures, attribute: str) -> float:
    """Mean over the years; years without frost are left out: only the shift of the middle matters here."""
    values = getattr(of_season, attribute)
    values = values[np.isfinite(values)]
    return float(np.mean(values)) if len(values) else float("nan")


def _offsets(warming: ArrayLike) -> Array:
    offsets = np.asarray(warming, dtype=np.float64)
    if offsets.ndim == 0:
        offsets = np.full(12, float(offsets))
    if offsets.shape != (12,) or not np.isfinite(offsets).all():
        raise BadInput("Warming is one offset in K or twelve, January first")
    return offsets


def _spoken(offsets: Array) -> str:
    low, high = offsets.min(), offsets.max()
    return f"{low:.1f}" if low == high else f"{low:.1f} to {high:.1f}"


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None or not np.isfinite(value) else round(float(value), digits)


def _write(path: Path, content: bytes) -> None:
    """Write beside the target and rename, so that a failure leaves the old file."""
    handle = None
    try:
        with tempfile.NamedTemporaryFile(dir=path.parent, prefix=f".{path.name}.", delete=False) as handle:
            handle.write(content)
        Path(handle.name).replace(path)
    except OSError as fault:
        if handle is not None:
            Path(handle.name).unlink(missing_ok=True)
        raise StorageFault(
            f"The profile could not be written: {fault.strerror}",
            where=str(path),
            remedy="Name a folder that exists and may be written to",
        ) from fault
