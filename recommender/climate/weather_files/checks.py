"""Is this weather possible? Dates, units and values of raw readings judged, and gaps dealt with.

In: `RawWeather`. Out: one row per day in degC and mm, and findings with line numbers. A value that cannot be
true counts as missing, never as something else; only whole-file slips that leave no doubt (units, exchanged
columns) are put right, and each is reported.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from recommender.climate.weather_files.raw import RawWeather
from recommender.climate.weather_files.text import Findings, some
from recommender.errors import BadInput
from recommender.units import celsius

#: World records of air temperature [degC]: Vostok 21 July 1983, Furnace Creek 10 July 1913. Greatest rain of
#: 24 hours [mm]: Foc-Foc, 7-8 January 1966. Source: WMO World Weather and Climate Extremes Archive (values
#: from memory).
COLDEST_DEGC, WARMEST_DEGC, WETTEST_MM = -89.2, 56.7, 1825.0
#: No place on Earth has 18 days a year above this maximum [degC]; a place with a summer fit for fruit trees
#: has its warmest 18 days above this many degF (10 degC, the tree line of Koeppen). So the 95 % point of the
#: maxima tells the unit. Our rule.
UNIT_SPLIT = 50.0
#: A value that stands this far from both neighbours is a jump [K]; this many equal values in a row are a
#: stuck sensor [d]; this many standard deviations from the month's mean is far off. Durre et al. (2010), J.
#: Appl. Meteor. Climatol. 49, 1615-1633 (thresholds from memory; NOAA NCEI states streaks of 15 to 20 and six
#: standard deviations).
JUMP_K, STREAK_DAYS, FAR_SD = 25.0, 20, 6.0
#: A year whose warm end (95 % point of maxima) lies this far from that of the others is in another unit [K].
#: Our rule.
YEAR_APART_K = 20.0
#: Longest gap that is filled by a straight line between its neighbours [d]. Common practice of agroclimatic
#: work.
GAP_DAYS = 5
#: Before this year no daily thermometer series was kept (the oldest begin in the 1720s; common knowledge).
EARLIEST_YEAR = 1700

_DAY = np.timedelta64(1, "D")


def judged(
    path: Path, raw: RawWeather, findings: Findings, *, units: str | None, today: pd.Timestamp
) -> tuple[pd.DataFrame, str]:
    """Daily frame (date, tmin_degC, tmax_degC, rain_mm, line; one row a day, no day left out) and the unit it
    came in.

    Gaps are still NaN; see `fill_gaps`. Raises BadInput if no day has both a minimum and a maximum, or both
    columns hold one and the same series.
    """
    readings = _believable_dates(raw.readings, findings, today)
    readings = _once(readings, findings)
    frame = _wide(path, readings)
    unit = _unit(raw, frame, findings, units)
    for column in ("tmin_degC", "tmax_degC"):
        frame[column] = to_celsius(frame[column], unit)
    _same_columns(path, frame)
    if not raw.typical_year:
        _odd_years(frame, findings)
    _swapped(frame, findings)
    _bounds(frame, findings)
    _inverted(frame, findings)
    _placeholders(frame, findings)
    for column, word in (("tmin_degC", "minimum"), ("tmax_degC", "maximum")):
        _jumps(frame, column, word, findings)
        _streaks(frame, column, word, findings)
        _far_off(frame, column, word, findings)
    there = frame[["tmin_degC", "tmax_degC"]].notna().any(axis=1).to_numpy()
    if not frame[["tmin_degC", "tmax_degC"]].notna().all(axis=1).any():
        raise BadInput(
            "No day is left that has both a minimum and a maximum",
            where=f"{path}, rows {int(frame['line'].min())} to {int(frame['line'].max())}",
            remedy="Check the columns and the units; state them with --units",
        )
    first, last = np.flatnonzero(there)[[0, -1]]
    return frame.iloc[first : last + 1].reset_index(drop=True), unit


def to_celsius(values: pd.Series, unit: str) -> pd.Series:
    """Temperatures in degC, degF, K or tenths_degC -> degC."""
    if unit == "degF":
        return values * (celsius(1.0) - celsius(0.0)) + celsius(0.0)
    if unit == "K":
        return values - 273.15
    return values / 10.0 if unit == "tenths_degC" else values


# --- dates --------------------------------------------------------------------------------------------------


def _believable_dates(readings: pd.DataFrame, findings: Findings, today: pd.Timestamp) -> pd.DataFrame:
    readings = readings[readings["date"].notna()].reset_index(drop=True)
    old = readings["date"].dt.year < EARLIEST_YEAR
    future = readings["date"] > today
    if old.any():
        findings.add(
            "impossible year",
            "fault",
            f"{some(readings['line'][old].nunique(), 'line')} dated before {EARLIEST_YEAR}, set aside",
            readings["line"][old],
            remedy="Mend the century in those lines",
        )
    if future.any():
        findings.add(
            "future date",
            "fault",
            f"{some(readings['line'][future].nunique(), 'line')} dated after today ({today:%Y-%m-%d}), set"
            " aside",
            readings["line"][future],
            remedy="Mend the year in those lines; a forecast is no record",
        )
    readings = readings[~old & ~future].reset_index(drop=True)
    # Within one element, a line whose date leaps more than a year away and straight back is a slip of the
    # pen.
    firsts = readings.drop_duplicates(["element", "line"])
    back = firsts.groupby("element", sort=False)["date"]
    before, after = (firsts["date"] - back.shift(1)).abs(), (back.shift(-1) - firsts["date"]).abs()
    across = (back.shift(-1) - back.shift(1)).abs()
    year, month = pd.Timedelta(days=360), pd.Timedelta(days=62)
    stray = firsts["line"][(before > year) & (after > year) & (across <= month)].unique()
    if len(stray):
        findings.add(
            "stray date",
            "fault",
            f"{some(len(stray), 'line')} with a date years away from the lines around, set aside",
            stray,
            remedy="Mend the year or century in those lines",
        )
    return readings[~readings["line"].isin(stray)].reset_index(drop=True)


def _once(readings: pd.DataFrame, findings: Findings) -> pd.DataFrame:
    """Each element once a day: equal repeats are dropped, contradicting ones count as missing; sorted by
    date.
    """
    days = readings.drop_duplicates(["element", "line"])
    unsorted = days.groupby("element", sort=False)["date"].diff() < pd.Timedelta(0)
    if unsorted.any():
        findings.add(
            "unsorted dates",
            "note",
            f"The dates step back in {some(days['line'][unsorted].nunique(), 'place')}; they were sorted",
            days["line"][unsorted],
        )
    key = ["element", "date"]
    twice = readings.duplicated(key, keep=False)
    if not twice.any():
        return readings.sort_values("date", kind="stable")
    group = readings[twice].groupby(key)["value"]
    spread = group.transform("max") - group.transform("min")
    contradicting = (spread > 0).reindex(readings.index, fill_value=False)
    lines_bad = set(readings["line"][contradicting])
    same = twice & ~contradicting & ~readings["line"].isin(lines_bad)
    if contradicting.any():
        findings.add(
            "contradicting duplicates",
            "fault",
            f"{some(readings['date'][contradicting].nunique(), 'day')} given more than once with different"
            " values, counted"
            " as missing",
            readings["line"][contradicting],
            remedy="Keep the right line of each day",
        )
    if same.any():
        findings.add(
            "duplicates",
            "warning",
            f"{some(readings['date'][same].nunique(), 'day')} given more than once with equal values,"
            " counted once",
            readings["line"][same],
            remedy="Remove the repeats",
        )
    readings = readings.assign(value=readings["value"].mask(contradicting))
    # Of equal repeats the one with a value is kept: a day may stand once empty and once filled.
    order = readings.assign(empty=readings["value"].isna()).sort_values(["date", "empty"], kind="stable")
    return order.drop_duplicates(key).drop(columns="empty")


def _wide(path: Path, readings: pd.DataFrame) -> pd.DataFrame:
    """One row per day from the first to the last; `line` is the file's line of the day (0: it has none)."""
    if readings.empty:
        raise BadInput(
            "No line of the file is a usable day", where=str(path), remedy="Check dates and columns"
        )
    dates = readings["date"].astype("datetime64[ns]")
    span = pd.date_range(dates.min(), dates.max(), freq="D", name="date")
    place = ((dates - span[0]) // pd.Timedelta(days=1)).to_numpy()
    frame = pd.DataFrame({"date": span})
    line = np.zeros(len(span), dtype=np.int64)
    for element, column in (("tmin", "tmin_degC"), ("tmax", "tmax_degC"), ("rain", "rain_mm")):
        values = np.full(len(span), np.nan)
        mine = (readings["element"] == element).to_numpy()
        values[place[mine]] = readings["value"].to_numpy()[mine]
        frame[column] = values
        if element != "rain":
            empty = line[place[mine]] == 0
            line[place[mine][empty]] = readings["line"].to_numpy()[mine][empty]
            frame[f"line_{element}"] = 0
            frame.loc[place[mine], f"line_{element}"] = readings["line"].to_numpy()[mine]
        else:
            frame["line_rain"] = 0
            frame.loc[place[mine], "line_rain"] = readings["line"].to_numpy()[mine]
    frame["line"] = line
    return frame


# --- units and columns --------------------------------------------------------------------------------------


def _likely_unit(tmin: np.ndarray, tmax: np.ndarray) -> tuple[str, float]:
    """The unit that the size of the values speaks for, and the 95 % point of the maxima (in the file's
    numbers).
    """
    high = np.concatenate([tmin[np.isfinite(tmin)], tmax[np.isfinite(tmax)]])
    top = float(np.percentile(tmax[np.isfinite(tmax)], 95)) if np.isfinite(tmax).any() else float("nan")
    if len(high) and np.percentile(high, 1) > 150.0 and top < 335.0:
        return "K", top
    if top > 140.0:
        return "tenths_degC", top
    return ("degF" if top > UNIT_SPLIT else "degC"), top


def _unit(raw: RawWeather, frame: pd.DataFrame, findings: Findings, asked: str | None) -> str:
    if raw.unit is not None and raw.unit_from == "the format" and asked is None:
        return raw.unit
    likely, top = _likely_unit(frame["tmin_degC"].to_numpy(), frame["tmax_degC"].to_numpy())
    stated = asked or raw.unit
    lines = frame["line"][frame["tmax_degC"] > top].head(5)
    speaks = f"one day in twenty has a maximum above {top:.0f}"
    if stated is None:
        short = len(frame) < 300
        findings.add(
            "unit",
            "note" if likely == "degC" and not short else "warning",
            f"The file does not name its unit; taken as {likely}, because {speaks}",
            () if likely == "degC" else lines,
            remedy=f"State it with --units if it is not {likely}" if likely != "degC" or short else "",
        )
        return likely
    if likely == stated:
        return stated
    said = (
        f"--units says {asked}" if asked else f"{raw.unit_from[:1].upper()}{raw.unit_from[1:]} says {stated}"
    )
    if stated == "degF" and likely == "degC":
        findings.add(
            "wrong unit",
            "warning",
            f"{said}, but then the place has no summer ({speaks}); the figures look like degC",
            frame["line"].head(1),
            remedy="Give --units degC if they are",
        )
        return stated
    if asked:
        findings.add(
            "wrong unit",
            "fault",
            f"{said}, but the figures look like {likely} ({speaks}); they were read as {asked} all the same",
            lines,
            remedy=f"Give --units {likely} if they are",
        )
        return asked
    findings.add(
        "wrong unit",
        "fault",
        f"{said}, but the figures can only be {likely} ({speaks}); they were read as {likely}",
        lines,
        remedy=f"Mend the heading, or insist with --units {stated}",
    )
    return likely


def _same_columns(path: Path, frame: pd.DataFrame) -> None:
    both = frame["tmin_degC"].notna() & frame["tmax_degC"].notna()
    equal = both & (frame["tmin_degC"] == frame["tmax_degC"])
    if both.sum() >= 10 and equal.sum() > 0.5 * both.sum():
        raise BadInput(
            "Minimum and maximum are the same on most days, as if the daily mean stood in both columns",
            where=f"{path}, row {int(frame['line'][equal].iloc[0])}, columns tmin and tmax",
            remedy="Give the daily minimum and maximum; a mean alone does not tell chill or frost",
        )


def _swapped(frame: pd.DataFrame, findings: Findings) -> None:
    both = frame["tmin_degC"].notna() & frame["tmax_degC"].notna()
    inverted = both & (frame["tmin_degC"] > frame["tmax_degC"])
    if both.sum() >= 5 and inverted.sum() > 0.9 * both.sum():
        findings.add(
            "swapped columns",
            "warning",
            f"The minimum is above the maximum on {int(inverted.sum())} of {int(both.sum())} days: the two"
            " columns are"
            " exchanged; they were put right",
            frame["line"][inverted],
            count=int(inverted.sum()),
            remedy="Exchange the two headings",
        )
        frame[["tmin_degC", "tmax_degC"]] = frame[["tmax_degC", "tmin_degC"]].to_numpy()


def _odd_years(frame: pd.DataFrame, findings: Findings) -> None:
    """Years that are in another unit than the rest count as missing."""
    year = frame["date"].dt.year
    groups = frame["tmax_degC"].groupby(year)
    top, days = groups.quantile(0.95), groups.count()
    full = top[days >= 300]
    if len(full) < 3:
        return
    odd = full.index[(full - full.median()).abs() > YEAR_APART_K]
    if len(odd):
        days_of = year.isin(odd)
        first = frame[days_of & (frame["line"] > 0)].groupby(year)["line"].min()
        findings.add(
            "unit changes",
            "fault",
            f"{some(len(odd), 'year')} {YEAR_APART_K:.0f} degC or more from the others, as if in another unit"
            f" ({', '.join(map(str, odd[:5]))}{' ...' if len(odd) > 5 else ''}), counted as missing",
            first,
            remedy="Bring all years to one unit",
        )
        frame.loc[days_of, ["tmin_degC", "tmax_degC"]] = np.nan


# --- values -------------------------------------------------------------------------------------------------


def _strike(
    frame: pd.DataFrame,
    bad: pd.Series,
    columns: list[str],
    findings: Findings,
    kind: str,
    what: str,
    remedy: str,
) -> None:
    """Report days and make their values missing."""
    if not bad.any():
        return
    line_columns = [f"line_{column.split('_')[0]}" for column in columns]
    lines = frame.loc[bad, line_columns].to_numpy().ravel()
    findings.add(
        kind, "fault", what.format(n=some(int(bad.sum()), "day")), lines, count=int(bad.sum()), remedy=remedy
    )
    frame.loc[bad, columns] = np.nan


def _bounds(frame: pd.DataFrame, findings: Findings) -> None:
    for column, word in (("tmin_degC", "minimum"), ("tmax_degC", "maximum")):
        bad = (frame[column] < COLDEST_DEGC) | (frame[column] > WARMEST_DEGC)
        _strike(
            frame, bad, [column], findings, "outside world records",
            f"{{n}} with a {word} outside anything measured on Earth ({COLDEST_DEGC} to {WARMEST_DEGC}"
            " degC), counted as"
            " missing", "Mend them, or state the unit with --units",
        )  # fmt: skip
    bad = (frame["rain_mm"] < 0.0) | (frame["rain_mm"] > WETTEST_MM)
    _strike(
        frame, bad, ["rain_mm"], findings, "impossible rain",
        f"{{n}} with rain below zero or above {WETTEST_MM:.0f} mm, counted as missing", "Mend them",
    )  # fmt: skip


def _inverted(frame: pd.DataFrame, findings: Findings) -> None:
    # Half a tenth of slack: rounding to tenths of degF and back may cross by less.
    bad = frame["tmin_degC"] > frame["tmax_degC"] + 0.05
    _strike(
        frame, bad, ["tmin_degC", "tmax_degC"], findings, "minimum above maximum",
        "{n} with a minimum above the maximum; both count as missing", "Mend or exchange the two values",
    )  # fmt: skip


def _placeholders(frame: pd.DataFrame, findings: Findings) -> None:
    zero = (frame["tmin_degC"] == 0.0) & (frame["tmax_degC"] == 0.0)
    zero_f = (frame["tmin_degC"].round(1) == -17.8) & (frame["tmax_degC"].round(1) == -17.8)
    _strike(
        frame, zero | zero_f, ["tmin_degC", "tmax_degC"], findings, "zero for missing",
        "{n} with zero as both minimum and maximum, which mostly stands for no reading; both count as"
        " missing",
        "Leave the cells empty where nothing was read",
    )  # fmt: skip


def _jumps(frame: pd.DataFrame, column: str, word: str, findings: Findings) -> None:
    before, after = frame[column] - frame[column].shift(1), frame[column] - frame[column].shift(-1)
    bad = (np.sign(before) == np.sign(after)) & (np.minimum(before.abs(), after.abs()) >= JUMP_K)
    _strike(
        frame, bad, [column], findings, "jump",
        f"{{n}} with a {word} {JUMP_K:.0f} degC or more from the day before and the day after,"
        " counted as missing", "Look for a slipped sign or digit",
    )  # fmt: skip


def _streaks(frame: pd.DataFrame, column: str, word: str, findings: Findings) -> None:
    values = frame[column]
    run = (values != values.shift(1)).cumsum()
    bad = values.notna() & (run.map(run.value_counts()) >= STREAK_DAYS)
    n_runs = int(run[bad].nunique())
    _strike(
        frame, bad, [column], findings, "stuck value",
        f"{{n}} in {some(n_runs, 'run')} of {STREAK_DAYS} or more on which the {word} stays exactly the"
        " same, counted as"
        " missing", "Look whether the sensor was stuck or cells were copied down",
    )  # fmt: skip


def _far_off(frame: pd.DataFrame, column: str, word: str, findings: Findings) -> None:
    """Reported only: an extreme may be true, and extremes are what frost and winter are about."""
    if len(frame) < 3 * 365:
        return
    month = frame["date"].dt.month
    group = frame[column].groupby(month)
    score = (frame[column] - group.transform("median")).abs() / group.transform("std")
    far = score >= FAR_SD
    if far.any():
        findings.add(
            "far from usual",
            "warning",
            f"{some(int(far.sum()), 'day')} with a {word} more than {FAR_SD:.0f} standard deviations from"
            " its month, kept",
            frame[f"line_{column.split('_')[0]}"][far],
            count=int(far.sum()),
            remedy="Look whether they are true",
        )


# --- gaps ---------------------------------------------------------------------------------------------------


def fill_gaps(frame: pd.DataFrame, findings: Findings) -> tuple[pd.DataFrame, int, pd.DataFrame]:
    """Gaps up to GAP_DAYS filled by a straight line; longer ones stay NaN.

    Returns the frame, the number of days with a filled value, and the long gaps (first, last, days).
    """
    filled_days = np.zeros(len(frame), dtype=bool)
    long_days = np.zeros(len(frame), dtype=bool)
    frame = frame.copy()
    for column in ("tmin_degC", "tmax_degC"):
        missing = frame[column].isna()
        run = (missing != missing.shift(1)).cumsum()
        length = run.map(run.value_counts())
        inside = frame[column].bfill().notna() & frame[column].ffill().notna()
        short = missing & (length <= GAP_DAYS) & inside
        frame[column] = frame[column].where(~short, frame[column].interpolate(limit_area="inside"))
        filled_days |= short.to_numpy()
        long_days |= (missing & ~short).to_numpy()
    before = frame["line"].where(frame["line"] > 0).ffill().shift(1).fillna(0).astype(int)
    filled, left = int(filled_days.sum()), _runs(frame["date"], long_days)
    if filled:
        starts = filled_days & ~np.roll(filled_days, 1)
        findings.add(
            "short gap",
            "note",
            f"{some(filled, 'day')} in {some(int(starts.sum()), 'gap')} of up to {GAP_DAYS} days, filled by"
            " a straight line"
            " between the neighbours; the lines are those before each gap",
            before[starts],
            count=filled,
        )
    leap = ((frame["date"].dt.month == 2) & (frame["date"].dt.day == 29)).to_numpy()
    if leap.sum() >= 2 and (frame["line"].to_numpy()[leap] == 0).all():
        findings.add(
            "no leap days",
            "note",
            f"None of the {int(leap.sum())} leap years has a 29 February; the day was filled from its"
            " neighbours",
            before[leap],
            count=int(leap.sum()),
        )
    if len(left):
        longest = left.iloc[int(left["days"].to_numpy().argmax())]
        findings.add(
            "long gap",
            "warning",
            f"{some(len(left), 'gap')} of more than {GAP_DAYS} days, {int(left['days'].sum()):,} days in"
            " all, the longest"
            f" {longest['first']:%Y-%m-%d} to {longest['last']:%Y-%m-%d}; left empty: a winter or summer"
            " that lacks days is left out of the figures",
            before[np.isin(frame["date"].to_numpy(), left["first"].to_numpy())],
            count=int(left["days"].sum()),
            remedy="Fill them from a neighbouring station if those years matter",
        )
    return frame, filled, left


def _runs(dates: pd.Series, chosen: np.ndarray) -> pd.DataFrame:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], chosen, [False]]).astype(np.int8)))
    first, last = edges[::2], edges[1::2] - 1
    values = dates.to_numpy()
    return pd.DataFrame({"first": values[first], "last": values[last], "days": last - first + 1})
