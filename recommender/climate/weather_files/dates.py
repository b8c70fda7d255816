"""Dates of weather tables: many spellings in, civil days out.

In: text cells (one date column, or year with month and day, or year with day of year). Out: days, with every
date that could not be read reported by line.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from recommender.climate.weather_files.text import Findings, some
from recommender.errors import BadInput

#: Spellings tried on a date column; the one that reads most cells wins. Pairs that differ only in the order
#: of day and month are told apart by the days over 12 and by which order makes the days follow each other.
FORMATS = ("%Y-%m-%d", "%Y/%m/%d", "%Y.%m.%d", "%Y%m%d", "%d.%m.%Y", "%d/%m/%Y", "%m/%d/%Y",
           "%d-%m-%Y", "%m-%d-%Y", "%d %b %Y",
           "%d-%b-%Y", "%d %B %Y", "%b %d %Y", "%b %d, %Y", "%B %d, %Y", "%d%b%Y")  # fmt: skip
SHORT_YEAR_FORMATS = ("%d.%m.%y", "%d/%m/%y", "%m/%d/%y", "%d-%m-%y", "%m-%d-%y", "%y-%m-%d", "%d-%b-%y")
#: Share of dates that must be readable for the column to count as one of dates (our choice).
READABLE_SHARE = 0.5


@dataclass(frozen=True)
class CivilDates:
    """Days made of year, month and day numbers; `real` is False where the calendar has no such day."""

    dates: pd.Series
    real: np.ndarray

    @classmethod
    def of(cls, years: np.ndarray, months: np.ndarray, days: np.ndarray) -> CivilDates:
        """Arrays (n,) of numbers, NaN allowed -> days; what is no day of the calendar is NaT.

        >>> CivilDates.of(np.array([2000, 1900]), np.array([2, 2]), np.array([29, 29])).real.tolist()
        [True, False]
        """
        y, m, d = (np.asarray(part, dtype=float) for part in (years, months, days))
        whole = (np.trunc(y) == y) & (np.trunc(m) == m) & (np.trunc(d) == d)
        fits = whole & (y >= 1) & (y <= 9999) & (m >= 1) & (m <= 12) & (d >= 1) & (d <= 31)
        y, m, d = (np.where(fits, part, 1).astype(np.int64) for part in (y, m, d))
        month = ((y - 1970) * 12 + (m - 1)).astype("datetime64[M]")
        day = month.astype("datetime64[D]") + (d - 1).astype("timedelta64[D]")
        real = fits & (day.astype("datetime64[M]") == month)
        seconds = day.astype("datetime64[s]")
        seconds[~real] = np.datetime64("NaT", "s")
        return cls(pd.Series(seconds), real)


def read_dates(path: Path, frame: pd.DataFrame, findings: Findings) -> pd.Series:
    """Days (datetime64[s], NaT where unreadable) of a table with `date`, or `year`/`month`/`day`, or
    `year`/`doy`.

    Raises BadInput: hours instead of days, order of day and month undecidable, no dates at all.
    """
    if "date" in frame:
        text, days = _from_text(path, frame["date"], frame["line"], findings)
    else:
        text, days = _from_numbers(path, frame, findings)
    days.index = frame.index
    bad = days.isna()
    if bad.any():
        example = text[bad].iloc[0]
        if bad.mean() > 1.0 - READABLE_SHARE:
            raise BadInput(
                f"Most dates cannot be read (first: “{example[:30]}”)",
                where=f"{path}, row {frame['line'][bad].iloc[0]}, column date",
                remedy="Write dates as YYYY-MM-DD",
            )
        leap = text.str.contains(r"0?2\D?29|29\D0?2\D", regex=True) & bad
        kind = "; among them a 29 February in a year that has none" if leap.any() else ""
        findings.add(
            "unreadable date",
            "fault",
            f"{some(int(bad.sum()), 'date')} that cannot be read (first: “{example[:30]}”){kind}; set aside",
            frame["line"][bad],
            remedy="Write dates as YYYY-MM-DD, and only days that the calendar has",
        )
    return days


def _from_text(
    path: Path, cells: pd.Series, lines: pd.Series, findings: Findings
) -> tuple[pd.Series, pd.Series]:
    text = cells.str.strip()
    if text.head(50).str.contains(":").any():
        clock = text.str.extract(r"[T ](\d{1,2}:\d{2})", expand=False).fillna("")
        text = text.str.replace(r"[T ]\d{1,2}:\d{2}.*$", "", regex=True)
        if clock.nunique() > 4 and text.duplicated().mean() > 0.5:
            raise BadInput(
                "The table has several rows a day, so it is no daily table",
                where=f"{path}, row {lines.iloc[0]}, column date",
                remedy="Give one line a day with its minimum and maximum, or an EPW or TMY3 file",
            )
    sample = text.iloc[:: max(1, len(text) // 400)]
    fits = {form: int(_parsed(sample, form).notna().sum()) for form in FORMATS + SHORT_YEAR_FORMATS}
    most = max(fits.values())
    chosen = [form for form, n in fits.items() if n == most and n > 0]
    if not chosen:
        return text, pd.Series(np.full(len(text), "NaT", dtype="datetime64[s]"))
    read = {form: _parsed(text, form) for form in chosen}
    best = max(int(days.notna().sum()) for days in read.values())
    read = {form: days for form, days in read.items() if int(days.notna().sum()) == best}
    form = _most_daily(path, read, lines)
    days = read[form]
    # Another spelling may stand in some lines (two exports joined): read what is unambiguous, and say so.
    rest = days.isna() & (text != "")
    for other in ("%Y-%m-%d", "%Y/%m/%d", "%Y%m%d", "%d %b %Y", "%d-%b-%Y"):
        if not rest.any() or other == form:
            continue
        found = _parsed(text.where(rest, ""), other)
        if found.notna().any():
            findings.add(
                "mixed dates",
                "warning",
                f"{some(int(found.notna().sum()), 'date')} spelt differently from the rest ({other})",
                lines[found.notna().to_numpy()],
                remedy="Use one spelling, best YYYY-MM-DD",
            )
            days, rest = days.fillna(found), rest & found.isna()
    if "%y" in form:
        days = _century(days, lines, findings)
    return text, days


def _parsed(text: pd.Series, form: str) -> pd.Series:
    days = pd.to_datetime(text, format=form, errors="coerce").astype("datetime64[s]")
    if form == "%Y%m%d":  # pandas also takes shorter runs of digits here
        days = days.where(text.str.len() == 8)
    return days


def _most_daily(path: Path, read: dict[str, pd.Series], lines: pd.Series) -> str:
    """Of spellings that read equally many cells, the one whose days follow each other."""
    daily = {form: float((days.diff().dt.days == 1).mean()) for form, days in read.items()}
    order = sorted(daily, key=lambda form: -daily[form])
    if len(order) > 1 and daily[order[0]] == daily[order[1]] and not read[order[0]].equals(read[order[1]]):
        raise BadInput(
            "The order of day and month in the dates cannot be told",
            where=f"{path}, row {lines.iloc[0]}, column date",
            remedy="Write dates as YYYY-MM-DD",
        )
    return order[0]


def _century(days: pd.Series, lines: pd.Series, findings: Findings) -> pd.Series:
    """Years of two digits: never in the future, and never a century away from the line before."""
    future = days > pd.Timestamp.now().normalize()
    days = days.where(~future, days - pd.DateOffset(years=100)).astype("datetime64[s]")
    back = days.ffill().dt.year.diff() < -90
    findings.add(
        "two-digit years",
        "warning",
        f"Years have two digits; they were read as {days.dt.year.min():.0f} to {days.dt.year.max():.0f}"
        + ("; the century jumps back once or more" if back.any() else ""),
        [*lines.iloc[:1], *lines[back.to_numpy()]],
        remedy="Write years with four digits",
    )
    return days


def _from_numbers(path: Path, frame: pd.DataFrame, findings: Findings) -> tuple[pd.Series, pd.Series]:
    parts = [name for name in ("year", "month", "day", "doy") if name in frame]
    number = {name: pd.to_numeric(frame[name], errors="coerce").to_numpy(dtype=float) for name in parts}
    text = (
        frame[parts].agg("-".join, axis=1)
        if len(frame) < 2
        else frame[parts[0]].str.cat(frame[parts[1:]], sep="-")
    )
    short = number["year"] < 100
    if short.any():
        this_year = pd.Timestamp.now().year
        number["year"] = np.where(
            short, number["year"] + np.where(number["year"] + 2000 <= this_year, 2000, 1900), number["year"]
        )
        findings.add(
            "two-digit years",
            "warning",
            "Years have two digits; they were read as the latest that are not in the future",
            frame["line"][short],
            remedy="Write years with four digits",
        )
    if "month" in number and "day" in number:
        return text, CivilDates.of(number["year"], number["month"], number["day"]).dates
    if "doy" not in number:
        raise BadInput(
            "The table has a year but no month and day",
            where=f"{path}, row {frame['line'].iloc[0] - 1}",
            remedy="Give a date column, or year, month and day, or year and day of year",
        )
    ones = np.ones(len(frame))
    start = CivilDates.of(number["year"], ones, ones).dates
    ahead = pd.Series(number["doy"])
    days = start + pd.to_timedelta(ahead.where(ahead.between(1, 366)) - 1, unit="D")
    return text, days.where(days.dt.year == start.dt.year).astype("datetime64[s]")
