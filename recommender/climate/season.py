"""The calendar of a growing season, the same in both hemispheres.

A season is named by the year of harvest and has 548 days from midsummer before the dormant winter: from 1
July of the year before harvest in the north, from 1 January of the year before harvest in the south. Years
have 365 days here; 29 February is left out. Day indices count from 0.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from recommender.errors import BadInput

Hemisphere = Literal["north", "south"]

SEASON_DAYS = 548
YEAR_DAYS = 365
_MONTH_STARTS = np.cumsum([0, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30])
_MONTH_DAYS = np.diff(np.append(_MONTH_STARTS, YEAR_DAYS))
YEAR_STARTS = {"north": int(_MONTH_STARTS[6]), "south": 0}  # day of the calendar year, 0 = 1 January

# Day indices, north / south: the dormant winter's chill starts 1 October / 1 April; 1 January / 1 July is
# midwinter; 15 July / 15 January parts the spring frosts from the autumn frosts.
CHILL_START = {"north": 92, "south": 90}
MIDWINTER = {"north": 184, "south": 181}
MIDSUMMER = {"north": 379, "south": 379}
CHILL_EARLIEST_END = {"north": 243, "south": 243}  # 1 March / 1 September, the first day not counted
WINTER_END = {"north": 274, "south": 273}  # 1 April / 1 October, the first day after the winter half
CHILL_LATEST_END = {"north": 335, "south": 334}  # 1 June / 1 December


def hemisphere_of(lat: float) -> Hemisphere:
    """ "north" or "south"; the equator counts as north."""
    return "south" if lat < 0.0 else "north"


def season_days_of_year(hemisphere: Hemisphere) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Day of the year 1..365 of each of the 548 days of a season (548,)."""
    return (np.arange(SEASON_DAYS) + YEAR_STARTS[hemisphere]) % YEAR_DAYS + 1


def season_date(day: float, hemisphere: Hemisphere) -> str:
    """The date "MM-DD" of a day index of the season; part days are rounded.

    >>> season_date(184, "north"), season_date(0, "south")
    ('01-01', '01-01')
    """
    of_year = (round(day) + YEAR_STARTS[hemisphere]) % YEAR_DAYS
    month = int(np.searchsorted(_MONTH_STARTS, of_year, "right"))
    return f"{month:02d}-{of_year - _MONTH_STARTS[month - 1] + 1:02d}"


def season_day(date: str, hemisphere: Hemisphere, after: int = 0) -> int:
    """The first day index of a date "MM-DD" not before the index `after`; 29 February counts as 28.

    `after=MIDWINTER[hemisphere]` asks for the date in the harvest year's growing season.
    Raises BadInput if it is no date or the season ends before it.

    >>> season_day("10-01", "north"), season_day("10-01", "north", after=184)
    (92, 457)
    """
    try:
        month, day = (int(part) for part in date.split("-"))
        if not (1 <= month <= 12 and 1 <= day <= _MONTH_DAYS[month - 1] + (month == 2)):
            raise ValueError(date)
    except ValueError:
        raise BadInput(f"“{date}” is no date", remedy="Write month and day as MM-DD, such as 04-28") from None
    of_year = int(_MONTH_STARTS[month - 1]) + min(day, int(_MONTH_DAYS[month - 1])) - 1
    index = (of_year - YEAR_STARTS[hemisphere]) % YEAR_DAYS
    while index < after:
        index += YEAR_DAYS
    if index >= SEASON_DAYS:
        raise BadInput(f"{date} does not come again within the season after day {after}")
    return index
