"""Claims about the profile of a site. Places below are invented; real ones are checked in tests/published."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from recommender.climate import winter
from recommender.climate.matching import profile_matching
from recommender.climate.normals import Normals
from recommender.climate.profile import Profile, build_profile, profile_from_daily
from recommender.climate.season import (
    CHILL_START,
    MIDWINTER,
    SEASON_DAYS,
    YEAR_DAYS,
    Hemisphere,
    season_date,
    season_day,
    season_days_of_year,
)
from recommender.errors import BadInput, StorageFault

MONTHS = np.arange(12)
COUNTED = ("chill_hours_0_7", "chill_hours_below_7", "chill_units", "chill_portions", "gdd10", "gdh")


def normals(mean: float, swing: float, extreme: float, lat: float = 50.0, day_range: float = 9.0) -> Normals:
    coldest = 0.3 if lat >= 0 else 6.3
    means = mean - swing * np.cos(2 * np.pi * (MONTHS - coldest) / 12)
    return Normals(
        lat=lat,
        lon=8.0,
        elevation_m=100.0,
        tmax=means + day_range / 2,
        tmin=means - day_range / 2,
        rain_mm=np.full(12, 60.0),
        annual_extreme_min_degC=extreme,
        error_monthly_degC=0.9,
        error_extreme_degC=1.6,
        made_from=("Invented normals.",),
    )


MARITIME = normals(10.5, 7.0, -8.5)
COLD = normals(5.0, 16.0, -29.0, lat=46.0)
WARM = normals(20.0, 6.0, 1.5, lat=29.0)
TROPICAL = normals(27.0, 0.6, 17.0, lat=4.0)


@pytest.fixture(scope="module")
def maritime() -> Profile:
    return build_profile(MARITIME)


def daily_record(profile: Profile, first_year: int) -> pd.DataFrame:
    """The made weather of a northern profile as a gapless daily record with real dates, 29 February
    included."""
    years = [profile.tmin[:, :YEAR_DAYS], profile.tmax[:, :YEAR_DAYS]]
    low, high = (
        np.append(part.ravel(), end[-1, YEAR_DAYS:])
        for part, end in zip(years, (profile.tmin, profile.tmax), strict=True)
    )
    dates = pd.date_range(f"{first_year}-07-01", periods=len(low) + len(low) // 1000)
    usual = dates[~((dates.month == 2) & (dates.day == 29))][: len(low)]
    frame = pd.DataFrame({"tmin_degC": low, "tmax_degC": high}, index=usual)
    whole = frame.reindex(pd.date_range(usual[0], usual[-1])).interpolate()
    return whole.rename_axis("date").reset_index()


def test_every_figure_is_a_finite_distribution_over_the_seasons(maritime: Profile) -> None:
    assert maritime.tmin.shape == maritime.tmax.shape == (30, SEASON_DAYS)
    for name in (*COUNTED, "annual_min", "frost_free_days", "summer_mean", "positive_chill_units"):
        values = getattr(maritime, name)
        assert values.shape == (30,)
        assert np.isfinite(values).all()
        assert np.ptp(values) > 0.0
    assert maritime.year.tolist() == list(range(1, 31))


def test_figures_stand_in_the_order_climates_do() -> None:
    cold, mild, warm = (build_profile(each) for each in (COLD, MARITIME, WARM))
    assert cold.zone_number < mild.zone_number < warm.zone_number
    middle = [float(np.median(each.chill_portions)) for each in (cold, mild, warm)]
    assert middle[1] > middle[0] > middle[2]
    assert np.median(cold.frost_free_days) < np.median(mild.frost_free_days) < np.median(warm.frost_free_days)
    assert np.median(mild.gdd10) < np.median(warm.gdd10)


def test_the_zone_is_that_of_the_normals_extreme() -> None:
    for each in (COLD, MARITIME, WARM):
        profile = build_profile(each)
        assert profile.annual_extreme_min_degC == pytest.approx(each.annual_extreme_min_degC, abs=0.05)
        assert profile.zone == winter.zone_of(each.annual_extreme_min_degC)
        assert profile.annual_min.mean() == pytest.approx(profile.annual_extreme_min_degC)


def test_a_southern_site_feels_the_same_half_a_year_later() -> None:
    north, south = (
        build_profile(MARITIME, years=80),
        build_profile(normals(10.5, 7.0, -8.5, lat=-50.0), years=80),
    )
    assert south.hemisphere == "south"
    for name in COUNTED:
        assert np.median(getattr(south, name)) == pytest.approx(np.median(getattr(north, name)), rel=0.05)
    shift = np.nanmedian(south.last_spring_frost) - np.nanmedian(north.last_spring_frost)
    assert abs(shift) < 10
    assert season_date(np.nanmedian(south.last_spring_frost), "south")[:2] in ("09", "10", "11")
    assert season_date(np.nanmedian(north.last_spring_frost), "north")[:2] in ("03", "04", "05")
    assert south.chill_season[0] == CHILL_START["south"]
    assert season_date(south.chill_season[0], "south") == "04-01"


def test_the_tropics_have_no_winter_and_say_so() -> None:
    summary = build_profile(TROPICAL).summary()
    assert summary["chill_portions"]["p90"] < 1.0
    assert summary["chill_hours_0_7"]["p90"] == 0.0
    assert summary["last_spring_frost"]["p50"] is None
    assert summary["last_spring_frost"]["years_without"] == 1.0
    assert summary["frost_free_days"]["p50"] == 365
    json.dumps(summary, allow_nan=False)


def test_colder_places_count_chill_into_their_later_spring() -> None:
    cold, warm = build_profile(COLD), build_profile(WARM)
    assert season_date(warm.chill_season[1] - 1, "north") == "02-28"
    assert season_date(cold.chill_season[1] - 1, "north") > "04-01"


def test_warming_shifts_every_figure_the_way_a_grower_would_expect(maritime: Profile) -> None:
    warmer = build_profile(MARITIME, warming_degC=2.0)
    assert warmer.annual_min == pytest.approx(maritime.annual_min + 2.0)
    assert warmer.summer_mean == pytest.approx(maritime.summer_mean + 2.0)
    assert (warmer.gdd10 > maritime.gdd10).all()
    assert np.median(warmer.chill_portions) < np.median(maritime.chill_portions)
    assert np.nanmedian(warmer.last_spring_frost) < np.nanmedian(maritime.last_spring_frost)
    assert warmer.warming_degC == (2.0,)
    assert any("Warmer by 2.0 K" in sentence for sentence in warmer.made_from)


def test_warming_of_the_summer_alone_leaves_the_winter(maritime: Profile) -> None:
    summer = np.where(np.isin(MONTHS, [5, 6, 7]), 3.0, 0.0)
    warmer = build_profile(MARITIME, warming_degC=summer)
    assert warmer.annual_min == pytest.approx(maritime.annual_min)
    assert warmer.chill_portions == pytest.approx(maritime.chill_portions)
    assert (warmer.gdd10 > maritime.gdd10 + 200).all()


def test_a_less_certain_site_has_larger_errors_and_more_possible_zones() -> None:
    sure = build_profile(replace(MARITIME, error_monthly_degC=0.3, error_extreme_degC=0.3))
    unsure = build_profile(replace(MARITIME, error_monthly_degC=1.5, error_extreme_degC=3.0))
    assert np.array_equal(sure.chill_portions, unsure.chill_portions)
    for name in ("chill_portions", "chill_hours_0_7", "last_spring_frost", "gdd10"):
        assert unsure.errors[name] > 2 * sure.errors[name] > 0.0
    assert len(unsure.zone_probabilities) > len(sure.zone_probabilities)


def test_a_daily_record_gives_the_profile_of_its_own_weather(maritime: Profile) -> None:
    record = daily_record(maritime, 1990)
    again = profile_from_daily(record.sample(frac=1.0, random_state=1), lat=50.0, lon=8.0, elevation_m=100.0)
    assert again.year.tolist() == list(range(1991, 2021))
    assert np.array_equal(again.tmin, maritime.tmin)
    for name in (*COUNTED, "annual_min", "last_spring_frost", "first_autumn_frost", "frost_free_days"):
        assert np.array_equal(getattr(again, name), getattr(maritime, name), equal_nan=True)
    assert again.zone == maritime.zone


def test_an_incomplete_season_is_left_out_and_named(maritime: Profile) -> None:
    record = daily_record(maritime, 1990)
    gap = (record["date"] >= "2005-03-03") & (record["date"] < "2005-03-06")
    profile = profile_from_daily(record[~gap], lat=50.0)
    assert 2005 not in profile.year
    assert 2004 in profile.year
    assert any("2005" in sentence and "Left out" in sentence for sentence in profile.made_from)
    empty = record.assign(tmin_degC=record["tmin_degC"].mask(gap))
    assert profile_from_daily(empty, lat=50.0).year.tolist() == profile.year.tolist()


def test_a_gap_costs_only_the_part_it_lies_in(maritime: Profile) -> None:
    record = daily_record(maritime, 1990)
    august = (record["date"] >= "2005-08-01") & (record["date"] < "2005-08-20")
    profile = profile_from_daily(record[~august], lat=50.0)
    lost = profile.year == 2005
    assert profile.winter_known.all()
    assert (~profile.growing_known == lost).all()
    assert np.isnan(profile.gdd10[lost]).all()
    assert np.isnan(profile.frost_free_days[lost]).all()
    assert np.array_equal(profile.chill_portions, maritime.chill_portions)
    assert np.array_equal(profile.last_spring_frost[~lost], maritime.last_spring_frost[~lost], equal_nan=True)
    summary = profile.summary()
    assert (summary["whole_winters"], summary["whole_growing_years"]) == (30, 29)
    assert summary["gdd10"]["p50"] == pytest.approx(np.median(maritime.gdd10[~lost]), abs=0.5)
    assert any("frosts and warmth of 2005" in sentence for sentence in profile.made_from)
    json.dumps(summary, allow_nan=False)


def test_a_gap_in_winter_costs_that_winter_in_every_chill_figure(maritime: Profile) -> None:
    record = daily_record(maritime, 1990)
    december = (record["date"] >= "2004-12-10") & (record["date"] < "2004-12-20")
    profile = profile_from_daily(record[~december], lat=50.0)
    assert profile.year[~profile.winter_known].tolist() == [2005]
    # The warmth and the autumn frost of 2004 run to the end of its December.
    assert profile.year[~profile.growing_known].tolist() == [2004]
    running = profile.chill_build_up()
    assert np.isnan(running[~profile.winter_known]).all()
    assert running[profile.winter_known, -1] == pytest.approx(profile.chill_portions[profile.winter_known])
    assert profile.safe_chill() == pytest.approx(
        np.quantile(profile.chill_portions[profile.winter_known], 0.1)
    )


def test_complete_seasons_have_every_day_and_every_figure(maritime: Profile) -> None:
    assert maritime.complete() is maritime
    record = daily_record(maritime, 1990)
    gaps = (record["date"] >= "2005-08-01") & (record["date"] < "2005-08-20")
    gaps |= (record["date"] >= "2010-01-01") & (record["date"] < "2010-02-01")
    whole = profile_from_daily(record[~gaps], lat=50.0).complete()
    assert sorted(set(range(1991, 2021)) - set(whole.year.tolist())) == [2005, 2010]
    assert np.isfinite(whole.tmin).all()
    assert np.isfinite(whole.chill_portions).all()
    with pytest.raises(BadInput, match="both a whole winter and a whole summer"):
        profile_from_daily(record.iloc[:400], lat=50.0).complete()


def test_one_winter_without_its_summer_gives_chill_and_no_frost_dates(maritime: Profile) -> None:
    profile = profile_from_daily(daily_record(maritime, 1990).iloc[:400], lat=50.0)
    summary = profile.summary()
    assert summary["chill_portions"]["p50"] == pytest.approx(profile.chill_portions[0], abs=0.1)
    assert summary["chill_portions"]["p50"] > 80.0
    assert summary["last_spring_frost"]["p50"] is None
    assert summary["gdd10"]["p50"] is None
    json.dumps(summary, allow_nan=False)


def test_few_winters_are_said_to_be_too_few_for_a_zone(maritime: Profile) -> None:
    record = daily_record(maritime, 1990)
    short = profile_from_daily(record[record["date"] < "1996-01-01"], lat=50.0)
    assert len(short.year) == 5
    assert any("should rest on 20 winters" in sentence for sentence in short.made_from)
    assert short.errors["annual_extreme_min_degC"] > 0.0


def test_records_that_cannot_be_used_are_refused(maritime: Profile) -> None:
    record = daily_record(maritime, 1990)
    with pytest.raises(BadInput, match="no column tmax_degC"):
        profile_from_daily(record.drop(columns="tmax_degC"), lat=50.0)
    with pytest.raises(BadInput, match="occurs twice"):
        profile_from_daily(pd.concat([record, record.iloc[[5]]]), lat=50.0)
    with pytest.raises(BadInput, match="No winter is whole"):
        profile_from_daily(record.iloc[:200], lat=50.0)
    with pytest.raises(BadInput, match="no date or no temperature"):
        profile_from_daily(record.assign(date="yesterday"), lat=50.0)
    with pytest.raises(BadInput, match="no date or no temperature"):
        profile_from_daily(record.assign(tmin_degC="mild"), lat=50.0)
    with pytest.raises(BadInput, match="is empty"):
        profile_from_daily(record.iloc[:0], lat=50.0)


@pytest.mark.parametrize("years", [1, 0, -3])
def test_a_profile_of_no_seasons_is_refused(years: int) -> None:
    with pytest.raises(BadInput, match="at least two seasons"):
        build_profile(MARITIME, years=years)


@pytest.mark.parametrize("warming", [[1.0, 2.0], float("nan"), np.ones((12, 2))])
def test_warming_that_is_neither_one_nor_twelve_offsets_is_refused(warming: Any) -> None:
    with pytest.raises(BadInput, match="one offset"):
        build_profile(MARITIME, warming_degC=warming)


def test_contradicting_normals_are_said_so() -> None:
    profile = build_profile(replace(MARITIME, annual_extreme_min_degC=-45.0))
    assert any("do not fit" in sentence for sentence in profile.made_from)


def test_chill_builds_up_to_the_season_total_in_every_model(maritime: Profile) -> None:
    for model, total in (
        ("portions", maritime.chill_portions),
        ("hours", maritime.chill_hours_0_7),
        ("units", maritime.chill_units),
    ):
        running = maritime.chill_build_up(model)
        assert running.shape == (30, maritime.chill_season[1] - maritime.chill_season[0])
        assert running[:, -1] == pytest.approx(total, abs=1e-9)
    with pytest.raises(BadInput, match="Chill is counted in"):
        maritime.chill_build_up("days")
    with pytest.raises(BadInput, match="Chill is counted in"):
        maritime.safe_chill(0.9, "days")


def test_safe_chill_falls_as_more_winters_must_reach_it(maritime: Profile) -> None:
    half, most = maritime.safe_chill(0.5), maritime.safe_chill(0.9)
    assert half == pytest.approx(np.median(maritime.chill_portions))
    assert most < half
    assert (maritime.chill_portions >= most).mean() == pytest.approx(0.9, abs=0.04)


def test_the_summary_orders_its_quantiles_and_is_json(maritime: Profile) -> None:
    summary = json.loads(json.dumps(maritime.summary(), allow_nan=False))
    for name in (*COUNTED, "annual_extreme_min_degC", "frost_free_days"):
        assert summary[name]["p10"] <= summary[name]["p50"] <= summary[name]["p90"]
    for name in ("last_spring_frost", "first_autumn_frost"):
        assert summary[name]["p10"] <= summary[name]["p50"] <= summary[name]["p90"]
    assert summary["zone_name"] == summary["zone"]["p50"] == maritime.zone
    zones = [winter.zone_number(summary["zone"][name]) for name in ("p10", "p50", "p90")]
    assert zones[0] < zones[1] < zones[2]
    assert summary["made_from"][0] == "Invented normals."


def test_profiles_are_stored_and_read_back(maritime: Profile, tmp_path: Path) -> None:
    text = maritime.to_json(tmp_path / "site.json")
    stored = json.loads((tmp_path / "site.json").read_text(encoding="utf-8"))
    assert stored == json.loads(text)
    assert len(stored["by_season"]) == 30
    maritime.to_parquet(tmp_path / "site.parquet")
    frame = pd.read_parquet(tmp_path / "site.parquet")
    assert np.array_equal(frame["chill_portions"], maritime.chill_portions)
    assert frame.attrs["profile"]["zone_name"] == maritime.zone
    assert sorted(path.name for path in tmp_path.iterdir()) == ["site.json", "site.parquet"]


def test_a_folder_that_is_not_there_is_one_clear_message(maritime: Profile, tmp_path: Path) -> None:
    with pytest.raises(StorageFault, match="could not be written"):
        maritime.to_parquet(tmp_path / "nowhere" / "site.parquet")


def test_arrays_of_a_profile_cannot_be_changed(maritime: Profile) -> None:
    with pytest.raises(ValueError, match="read-only"):
        maritime.tmin[0, 0] = 5.0


@pytest.mark.parametrize(("zone", "hours"), [(8.0, 1500.0), (7.0, 900.0), (9.0, 700.0)])
def test_a_typed_zone_and_chill_are_met(zone: float, hours: float) -> None:
    profile = profile_matching(MARITIME, zone, hours)
    assert profile.zone_number == zone
    assert np.median(profile.chill_hours_0_7) == pytest.approx(hours, rel=0.02)


def test_a_typed_chill_no_such_winter_has_is_said_so() -> None:
    profile = profile_matching(MARITIME, 8.0, 3900.0)
    assert any("do not occur in zone 8a" in sentence for sentence in profile.made_from)


@given(st.integers(0, SEASON_DAYS - 1), st.sampled_from(["north", "south"]))
def test_dates_and_day_indices_are_one_thing(day: int, hemisphere: Hemisphere) -> None:
    date = season_date(day, hemisphere)
    assert season_day(date, hemisphere, after=day) == day
    assert season_day(date, hemisphere) == day % YEAR_DAYS
    of_year = season_days_of_year(hemisphere)[day]
    assert pd.Timestamp("2023-" + date).day_of_year == of_year


def test_the_seasons_calendar_is_that_of_the_hemisphere() -> None:
    assert season_date(0, "north") == "07-01"
    assert season_date(0, "south") == "01-01"
    assert season_date(MIDWINTER["north"], "north") == "01-01"
    assert season_date(MIDWINTER["south"], "south") == "07-01"
    assert season_day("02-29", "north") == season_day("02-28", "north")


@pytest.mark.parametrize("date", ["02-30", "13-01", "1 May", "05", "00-10"])
def test_what_is_no_date_is_refused(date: str) -> None:
    with pytest.raises(BadInput, match="no date"):
        season_day(date, "north")


def test_a_date_past_the_end_of_the_season_is_refused() -> None:
    with pytest.raises(BadInput, match="does not come again"):
        season_day("01-05", "north", after=400)
