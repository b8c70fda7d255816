"""Daily minima and maxima -> the temperature of every hour, and the length of the day.

In come daily extremes [degC], a latitude [degrees] and the day of the year; out go hourly temperatures
[degC]. Method page: docs/hourly.md.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from recommender.errors import BadInput

Array = NDArray[np.float64]

HOURS = np.arange(24, dtype=np.float64)
# Height of the sun's centre when its upper rim shows: half the disc and the refraction of the air [degrees].
SUNRISE_ALTITUDE_DEG = -0.8333
# The sine reaches the day's maximum at sunrise + (day length + 4) / 2, which is before sunset only from 4 h
# on; the night's logarithm needs at least an hour of night.
SHORTEST_CURVE_H, LONGEST_CURVE_H = 4.0, 23.0


def declination(day_of_year: ArrayLike) -> Array:
    """Declination of the sun [radians] on a day of the year (1 = 1 January), any shape.

    Source: Spencer (1971), Fourier representation of the position of the sun.
    """
    g = 2.0 * np.pi / 365.0 * (np.asarray(day_of_year, dtype=np.float64) - 1.0)
    return np.asarray(
        0.006918
        - 0.399912 * np.cos(g)
        + 0.070257 * np.sin(g)
        - 0.006758 * np.cos(2 * g)
        + 0.000907 * np.sin(2 * g)
        - 0.002697 * np.cos(3 * g)
        + 0.00148 * np.sin(3 * g)
    )


def day_length(lat: float, day_of_year: ArrayLike) -> Array:
    """Hours from sunrise to sunset [h], the sun's upper rim and refraction counted; polar night 0, polar day
    24.

    lat: latitude [degrees, north positive]; day_of_year: 1 = 1 January, any shape; the result has that shape.
    Raises BadInput for a latitude outside -90..90.
    Source: Spencer (1971) declination; sunrise at -0.8333 degrees.

    >>> float(day_length(50.4, 172).round(3))
    16.442
    """
    if not -90.0 <= lat <= 90.0:
        raise BadInput(f"A latitude must lie between -90 and 90 degrees, not {lat}")
    phi, delta = np.deg2rad(lat), declination(day_of_year)
    # At the pole itself cos(lat) is 6e-17, not 0, so the quotient is huge and the clip below decides.
    cosine = (np.sin(np.deg2rad(SUNRISE_ALTITUDE_DEG)) - np.sin(phi) * np.sin(delta)) / (
        np.cos(phi) * np.cos(delta)
    )
    return np.asarray(2.0 / 15.0 * np.rad2deg(np.arccos(np.clip(cosine, -1.0, 1.0))))


def hourly_temperatures(tmin: ArrayLike, tmax: ArrayLike, lat: float, day_of_year: ArrayLike) -> Array:
    """Temperature at each hour 0..23 of local solar time [degC].

    tmin, tmax: daily extremes [degC], shape (..., D), days in sequence along the last axis; day_of_year:
    (D,). Result (..., D, 24), float64. By day a sine from the minimum at sunrise, by night a logarithmic fall
    from the temperature at sunset to the next day's minimum. The first day uses its own values for the day
    before, the last day for the day after. A missing value (NaN) makes its own day and the days beside it
    missing. Day length is held to 4..23 h for the curve (see docs/hourly.md), so polar night and day are
    finite. Raises BadInput if the shapes do not agree.
    Source: Linvill (1990), Calculating chilling hours and chill units from daily maximum and minimum
    temperature observations, HortScience 25; the night curve with 1 added inside both logarithms.
    """
    low, high = np.asarray(tmin, dtype=np.float64), np.asarray(tmax, dtype=np.float64)
    days = np.asarray(day_of_year)
    if low.shape != high.shape or low.ndim == 0 or days.shape != low.shape[-1:]:
        raise BadInput(
            f"Minima {low.shape}, maxima {high.shape} and days of the year {days.shape} do not match",
            remedy="Give minima and maxima of one shape, days last, and one day of the year for each",
        )
    by_day, by_night, before_dawn, at_sunset = _curve_weights(lat, days)
    sunset = low + (high - low) * at_sunset
    sunset_before = np.concatenate([sunset[..., :1], sunset[..., :-1]], axis=-1)
    low_after = np.concatenate([low[..., 1:], low[..., -1:]], axis=-1)
    # Every hour is a weighted mean of four temperatures, the weights depending on day and hour only.
    own_low = before_dawn[1] + by_day[0] + by_night[0] * (1.0 - at_sunset)[:, None]
    own_high = by_day[1] + by_night[0] * at_sunset[:, None]
    hourly = low[..., None] * own_low
    hourly += high[..., None] * own_high
    hourly += sunset_before[..., None] * before_dawn[0]
    hourly += low_after[..., None] * by_night[1]
    return np.asarray(hourly)


def _curve_weights(lat: float, day_of_year: NDArray[np.generic]) -> tuple[Array, Array, Array, Array]:
    """Weights (2, D, 24): (low, high) by day, (sunset, next low) after, (sunset before, low) before dawn."""
    length = np.clip(day_length(lat, day_of_year), SHORTEST_CURVE_H, LONGEST_CURVE_H)[:, None]
    rise, set_ = 12.0 - length / 2, 12.0 + length / 2
    # The night runs from sunset to the next sunrise, so that its curve meets the minimum there.
    night_before = np.concatenate([24.0 - length[:1], 24.0 - (length[1:] + length[:-1]) / 2])
    night_after = np.concatenate([night_before[1:], 24.0 - length[-1:]])
    dawn, dusk = rise >= HOURS, set_ < HOURS
    day = ~(dawn | dusk)
    sine = np.sin(np.pi * (HOURS - rise) / (length + 4.0))
    # The clip only silences hours that the masks discard.
    evening = np.log(np.maximum(HOURS - set_, 0.0) + 1.0) / np.log(night_after + 1.0)
    morning = np.log(np.maximum(HOURS - rise + night_before, 0.0) + 1.0) / np.log(night_before + 1.0)
    return (
        np.stack([day * (1.0 - sine), day * sine]),
        np.stack([dusk * (1.0 - evening), dusk * evening]),
        np.stack([dawn * (1.0 - morning), dawn * morning]),
        np.sin(np.pi * length[:, 0] / (length[:, 0] + 4.0)),
    )
