"""The harvest calendar: its sentence, its text for the blind, and its bars say the same."""

from __future__ import annotations

import math

import pandas as pd
import pytest

from recommender.charts import harvest_calendar
from recommender.climate.season import season_day

SEPTEMBER = season_day("09-03", "north", after=184)


def _listed(harvest_day: list[float], picked_d: tuple[float, float] = (14.0, 14.0)) -> pd.DataFrame:
    start = {"crop": ["apple"] * 2, "variety": ["One", "Two"], "harvest_error_d": [7.0, 9.0]}
    end = [day + length for day, length in zip(harvest_day, picked_d, strict=True)]
    return pd.DataFrame({**start, "harvest_day": harvest_day, "harvest_end": end})


def test_a_bar_is_as_long_as_the_variety_is_picked() -> None:
    picture = harvest_calendar(_listed([SEPTEMBER, SEPTEMBER], (10.0, 30.0)), "north", 4.3)
    assert picture is not None
    assert "One: 3 September to 13 September; Two: 3 September to 3 October" in picture.alt_text
    (data,) = picture.chart.to_dict()["datasets"].values()
    assert [row["to"][5:10] for row in data] == ["09-13", "10-03"]


def test_dates_of_sentence_bars_and_alt_text_agree() -> None:
    picture = harvest_calendar(_listed(harvest_day=[SEPTEMBER, SEPTEMBER + 20]), "north", 4.9)
    assert picture is not None
    assert "between 3 September and 7 October" in picture.sentence
    assert "about 5 weeks" in picture.sentence
    assert "One: 3 September to 17 September" in picture.alt_text
    assert picture.chart.to_dict()["description"] == picture.alt_text
    (data,) = picture.chart.to_dict()["datasets"].values()
    assert [row["from"][5:10] for row in data] == ["09-03", "09-23"]
    assert [row["early"][5:10] for row in data] == ["08-27", "09-14"]


def test_southern_autumn_falls_in_march() -> None:
    day = season_day("03-10", "south", after=181)
    picture = harvest_calendar(_listed(harvest_day=[day, day]), "south", 2.0)
    assert picture is not None
    (data,) = picture.chart.to_dict()["datasets"].values()
    assert data[0]["from"][5:10] == "03-10"


def test_american_readers_get_the_month_first() -> None:
    picture = harvest_calendar(_listed(harvest_day=[SEPTEMBER, SEPTEMBER]), "north", 2.0, "imperial")
    assert picture is not None
    assert "September 3" in picture.sentence


def test_varieties_without_a_date_are_counted_not_dropped_silently() -> None:
    picture = harvest_calendar(_listed(harvest_day=[SEPTEMBER, math.nan]), "north", 2.0)
    assert picture is not None
    assert "For 1 of them no date can be given" in picture.sentence


def test_no_dates_no_picture() -> None:
    assert harvest_calendar(_listed(harvest_day=[math.nan, math.nan]), "north", 0.0) is None


@pytest.mark.parametrize("paper", ["light", "dark"])
def test_each_paper_has_its_own_ink(paper: str) -> None:
    from recommender.charts import Paper

    which: Paper = "dark" if paper == "dark" else "light"
    picture = harvest_calendar(_listed(harvest_day=[SEPTEMBER, SEPTEMBER]), "north", 2.0, "metric", which)
    assert picture is not None
    ink = picture.chart.to_dict()["config"]["axis"]["labelColor"]
    assert ink == {"light": "#22261f", "dark": "#ece9e0"}[paper]
