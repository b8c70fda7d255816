"""Gaps, seasons and the climate profile that come of a weather file."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from recommender.climate import profile, weather
from recommender.climate.weather import read_weather
from recommender.errors import BadInput
from tests.climate.weather_reading import LAYOUTS, TODAY, drop, kinds, of_kind, read
from tests.climate.weather_samples import (
    ELEVATION,
    LAT,
    LON,
    daily_lines,
    invented_series,
    write,
)

# --- gaps ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("days", "filled"), [(1, True), (5, True), (6, False)])
def test_gaps_up_to_five_days_are_filled(
    tmp_path: Path, decade: pd.DataFrame, days: int, filled: bool
) -> None:
    first = int((decade["date"] == "2005-01-10").to_numpy().argmax())
    record = read(tmp_path, drop(first + 2, first + 1 + days)(daily_lines(decade)))
    gap = record.frame.iloc[first : first + days]
    assert gap["tmin_degC"].notna().all() == filled
    assert record.filled_days == (days if filled else 0)
    assert (2005 in record.whole_seasons("winter")) == filled
    assert gap["rain_mm"].isna().all()
    if filled:
        line = np.interp(
            np.arange(1, days + 1), [0, days + 1], decade["tmin"].iloc[[first - 1, first + days]] / 10.0
        )
        np.testing.assert_allclose(gap["tmin_degC"], line)
    else:
        assert of_kind(record, "winter left out").what.endswith("2004/05")
        assert record.to_dict()["long_gaps"] == [{"first": "2005-01-10", "last": "2005-01-15", "days": 6}]


def test_a_summer_gap_leaves_the_winters_alone(tmp_path: Path, decade: pd.DataFrame) -> None:
    hole = (decade["date"] >= "2005-07-01") & (decade["date"] <= "2005-07-20")
    record = read(tmp_path, daily_lines(decade[~hole]))
    assert record.whole_seasons("winter") == tuple(range(2002, 2011))
    assert 2005 not in record.whole_seasons("summer")
    assert "winter left out" not in kinds(record)


def test_southern_seasons_are_half_a_year_apart(tmp_path: Path, decade: pd.DataFrame) -> None:
    hole = (decade["date"] >= "2005-07-01") & (decade["date"] <= "2005-07-20")
    path = write(tmp_path / "south.csv", daily_lines(decade[~hole]))
    record = read_weather(path, lat=-42.0, today=TODAY)
    assert record.southern
    # The winter of 2005 bears the harvest of 2006 in the south.
    assert record.whole_seasons("winter") == tuple(y for y in range(2002, 2012) if y != 2006)
    assert record.lost_seasons("winter") == (2006,)
    assert of_kind(record, "winter left out").what.endswith("chill and cold: 2005")


def test_hemisphere_is_seen_in_the_weather_where_no_latitude_is_given(tmp_path: Path) -> None:
    north = invented_series("2001-01-01", "2004-12-31")
    south = north.assign(date=north["date"] + pd.Timedelta(days=182))
    assert not read(tmp_path, daily_lines(north)).southern
    assert read(tmp_path, daily_lines(south)).southern


def test_short_records_say_what_they_are_too_short_for(tmp_path: Path, decade: pd.DataFrame) -> None:
    record = read(tmp_path, daily_lines(decade))
    figures = record.figures().set_index("figure")
    zone = figures.loc["hardiness zone (mean of yearly coldest days)"]
    assert (zone["needs"], zone["has"], bool(zone["enough"])) == (20, 9, False)
    assert "hardiness zone" in of_kind(record, "short record").what
    assert all(need.source and need.basis in {"published", "common practice"} for need in weather.FIGURES)


# --- the profile --------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def plain_profile(series: pd.DataFrame) -> profile.Profile:
    frame = pd.DataFrame(
        {"date": series["date"], "tmin_degC": series["tmin"] / 10.0, "tmax_degC": series["tmax"] / 10.0}
    )
    return profile.profile_from_daily(frame, LAT, LON, ELEVATION)


@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_reader_gives_the_same_profile(
    tmp_path: Path, series: pd.DataFrame, plain_profile: profile.Profile, layout: str
) -> None:
    record = read(tmp_path, LAYOUTS[layout](series))
    made = profile.profile_from_daily(record.frame, LAT, LON, ELEVATION)
    assert made.zone == plain_profile.zone
    assert made.summary() == plain_profile.summary()
    assert (made.winter_known.sum(), made.growing_known.sum()) == (29, 30)
    for name in (
        "tmin",
        "tmax",
        "chill_portions",
        "chill_hours_0_7",
        "last_spring_frost",
        "gdd10",
        "annual_min",
    ):
        np.testing.assert_array_equal(getattr(made, name), getattr(plain_profile, name))


@pytest.mark.parametrize("lat", [51.2, -42.0])
def test_the_profile_leaves_out_the_harvests_that_were_announced(
    tmp_path: Path, series: pd.DataFrame, lat: float
) -> None:
    hole = (series["date"] >= "2005-08-01") & (series["date"] <= "2005-08-20")
    record = read_weather(write(tmp_path / "w.csv", daily_lines(series[~hole])), lat=lat, today=TODAY)
    made = profile.profile_from_daily(record.frame, lat)
    assert tuple(made.year[made.winter_known]) == record.whole_seasons("winter")
    assert tuple(made.year[made.growing_known]) == record.whole_seasons("year")
    # August is summer in the north and winter in the south, where it is also the year from July on.
    assert record.lost_seasons("winter") == (() if lat > 0 else (2006,))
    assert record.lost_seasons("year") == ((2005,) if lat > 0 else (2006,))
    assert of_kind(record, "year left out").count == 1
    assert np.isnan(made.gdd10[~made.growing_known]).all()
    assert np.isfinite(made.gdd10[made.growing_known]).all()
    assert np.isfinite(made.chill_portions).sum() == made.winter_known.sum()


def test_a_typical_year_makes_one_season_that_says_so(tmp_path: Path) -> None:
    year = invented_series("2001-01-01", "2001-12-31")
    record = replace(read(tmp_path, daily_lines(year)), typical_year=True, lat=LAT)
    made = profile.profile_of_record(record)
    assert made.year.tolist() == [1]
    summary = made.summary()
    assert summary["chill_portions"]["p10"] == summary["chill_portions"]["p90"] > 0
    assert summary["chill_portions"]["error"] is None
    assert any(sentence.startswith("A typical year") for sentence in made.made_from)
    # The autumn of the file stands before its own spring.
    assert made.tmin[0, 92] == made.tmin[0, 92 + 365]
    with pytest.raises(BadInput, match="lacks 31 days"):
        profile.profile_of_record(replace(record, frame=record.frame.iloc[31:]))


def test_a_record_without_a_latitude_asks_for_one(tmp_path: Path, decade: pd.DataFrame) -> None:
    record = read(tmp_path, daily_lines(decade))
    with pytest.raises(BadInput, match="where its station stands"):
        profile.profile_of_record(record)
    made = profile.profile_of_record(record, lat=LAT)
    assert made.made_from[0] == "Weather file weather.txt (daily CSV)."
