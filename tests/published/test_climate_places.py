"""Published winter chill, frost dates and extremes of real places against the embedded climate alone.

The bounds are what was measured (python -m tests.published.climate_places prints it), rounded up, not what
was aimed for.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from recommender.catalog.package import datasets_folder
from recommender.climate import chill
from recommender.climate.frost import first_frost_at, last_frost_at
from recommender.climate.season import MIDWINTER, season_day
from tests.published.climate_places import (
    COUNTED,
    NOT_COMPARED,
    chill_comparison,
    frost_comparison,
    profile_of,
    rank_correlation,
)

CHILL = pd.read_csv(datasets_folder() / "chill_by_place.csv")
FROST = pd.read_csv(datasets_folder() / "frost_dates.csv")


def test_every_published_chill_row_is_compared_or_left_out_for_a_reason() -> None:
    compared = {place for place, _ in COUNTED}
    assert set(CHILL["place"]) == compared | set(NOT_COMPARED)
    assert not compared & set(NOT_COMPARED)


def test_published_winter_chill_is_met_to_fifteen_percent_in_the_middle_and_in_order() -> None:
    rows = chill_comparison()
    assert rows["off"].abs().median() < 0.15
    portions = rows[rows["model"] == "Dynamic Model"]
    assert rank_correlation(portions["published"], portions["made"]) > 0.85
    hours = rows[rows["model"].str.startswith("hours")]
    assert rank_correlation(hours["published"], hours["made"]) > 0.85


@pytest.mark.parametrize("place", ["South Florida", "Southern tip of Texas"])
def test_places_published_as_nearly_without_chill_have_hardly_any(place: str) -> None:
    row = CHILL[CHILL["place"] == place].iloc[0]
    profile = profile_of(row["lat"], row["lon"])
    assert np.median(profile.chill_hours_0_7) <= row["high"]


def test_the_range_of_winters_is_as_wide_as_published_in_western_australia() -> None:
    """Manjimup, Newlands, Bickley: 10th and 90th percentile of portions, 1911-2012 (dpird-wa-chill)."""
    rows = CHILL[CHILL["period"].str.contains("10th-90th percentile of winters", na=False)]
    assert len(rows) == 3
    for row in rows.to_dict("records"):
        low, high = np.quantile(profile_of(row["lat"], row["lon"]).chill_portions, [0.1, 0.9])
        assert low == pytest.approx(row["low"], abs=9.0)
        assert high == pytest.approx(row["high"], abs=9.0)


def test_published_frost_dates_are_met_within_ten_days_in_the_middle_and_in_order() -> None:
    rows = frost_comparison()
    assert len(rows) == len(FROST) >= 30
    assert rows["spring_off"].abs().median() < 10.0
    assert rows["autumn_off"].abs().median() < 8.0
    assert abs(rows["spring_off"].mean()) < 6.0
    assert abs(rows["autumn_off"].mean()) < 6.0
    assert rank_correlation(rows["spring"], rows["made_spring"]) > 0.8
    assert rank_correlation(rows["autumn"], rows["made_autumn"]) > 0.8


def test_spread_of_frost_dates_is_that_of_toronto() -> None:
    """Environment Canada, Toronto 1991-2020: 10 and 90 % dates lie 36 d apart in spring and 41 d in
    autumn."""
    row = FROST[FROST["place"] == "Toronto, ON"].iloc[0]
    profile = profile_of(row["lat"], row["lon"])
    spring = last_frost_at(profile.last_spring_frost, 0.1) - last_frost_at(profile.last_spring_frost, 0.9)
    autumn = first_frost_at(profile.first_autumn_frost, 0.9) - first_frost_at(profile.first_autumn_frost, 0.1)
    after = MIDWINTER["north"]
    published_spring = season_day("05-15", "north", after) - season_day("04-09", "north", after)
    published_autumn = season_day("11-11", "north", after) - season_day("10-01", "north", after)
    assert spring == pytest.approx(published_spring, abs=12)
    assert autumn == pytest.approx(published_autumn, abs=12)


def test_three_hundred_chill_hours_take_two_to_three_weeks_of_cold_enough_hours() -> None:
    """Common practice of the trade: a 300-hour variety needs about two to three weeks of cold enough
    hours."""
    cold_day = np.full(24, 4.0)
    mostly_cold = np.where(np.arange(24) < 15, 4.0, 11.0)
    for day, weeks in ((cold_day, 12.5 / 7), (mostly_cold, 20 / 7)):
        running = chill.chill_hours_0_7(np.tile(day, (30, 1)), running=True)
        assert (np.argmax(running >= 300) + 1) / 7 == pytest.approx(weeks, abs=0.1)
