"""Weather files: every layout tells the same weather, and no fault passes without a word."""

from __future__ import annotations

import gzip
import importlib.util
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from recommender.climate import profile, weather
from recommender.climate.weather import Finding, WeatherRecord, read_weather
from recommender.climate.weather_files import text as weather_text
from recommender.errors import BadInput, OrchardwrightError
from tests.climate.weather_samples import (
    ELEVATION,
    LAT,
    LON,
    NAME,
    STATION,
    access_lines,
    by_station_lines,
    daily_lines,
    dly_lines,
    epw_lines,
    invented_series,
    tmy3_lines,
    write,
)

TODAY = pd.Timestamp("2026-06-01")
LAYOUTS: dict[str, Callable[[pd.DataFrame], list[str]]] = {
    "daily CSV": daily_lines,
    "GHCN-Daily .dly": dly_lines,
    "GHCN-Daily by-station CSV": by_station_lines,
    "GHCN-Daily access CSV": access_lines,
    "EPW hourly": epw_lines,
    "TMY3 hourly": tmy3_lines,
}


@pytest.fixture(scope="module")
def series() -> pd.DataFrame:
    return invented_series()


@pytest.fixture(scope="module")
def decade() -> pd.DataFrame:
    return invented_series("2001-01-01", "2010-12-31")


def read(tmp_path: Path, lines: list[str], **options: str) -> WeatherRecord:
    return read_weather(write(tmp_path / "weather.txt", lines), today=TODAY, **options)  # type: ignore[arg-type]


def of_kind(record: WeatherRecord, kind: str) -> Finding:
    found = [finding for finding in record.report if finding.kind == kind]
    assert found, f"no finding “{kind}” among {[f.kind for f in record.report]}"
    return found[0]


def kinds(record: WeatherRecord) -> set[str]:
    return {finding.kind for finding in record.report}


# --- every layout -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_layout_tells_the_same_thirty_years(tmp_path: Path, series: pd.DataFrame, layout: str) -> None:
    record = read(tmp_path, LAYOUTS[layout](series))
    assert record.format == layout
    assert len(record.frame) == len(series)
    assert (record.frame["date"].to_numpy() == series["date"].to_numpy()).all()
    np.testing.assert_array_equal(record.frame["tmin_degC"], series["tmin"] / 10.0)
    np.testing.assert_array_equal(record.frame["tmax_degC"], series["tmax"] / 10.0)
    assert record.filled_days == 0
    assert not record.typical_year
    assert {finding.severity for finding in record.report} <= {"note"}
    if "hourly" not in layout:
        np.testing.assert_allclose(record.frame["rain_mm"], series["rain"] / 10.0)


@pytest.mark.parametrize(
    "layout", ["GHCN-Daily .dly", "GHCN-Daily by-station CSV", "daily CSV", "EPW hourly"]
)
def test_gzip_is_read_like_the_plain_file(tmp_path: Path, decade: pd.DataFrame, layout: str) -> None:
    lines = LAYOUTS[layout](decade)
    plain = read(tmp_path, lines)
    packed = tmp_path / "weather.gz"
    packed.write_bytes(gzip.compress("\n".join(lines).encode()))
    pd.testing.assert_frame_equal(read_weather(packed, today=TODAY).frame, plain.frame)


def test_by_station_with_headings(tmp_path: Path, decade: pd.DataFrame) -> None:
    record = read(tmp_path, by_station_lines(decade, header=True))
    assert record.format == "GHCN-Daily by-station CSV"
    assert record.station_id == STATION
    np.testing.assert_array_equal(record.frame["tmin_degC"], decade["tmin"] / 10.0)


@pytest.mark.parametrize("layout", ["GHCN-Daily access CSV", "EPW hourly", "TMY3 hourly"])
def test_the_station_is_where_the_file_says(tmp_path: Path, decade: pd.DataFrame, layout: str) -> None:
    record = read(tmp_path, LAYOUTS[layout](decade))
    assert (record.lat, record.lon, record.elevation_m) == (LAT, LON, ELEVATION)
    assert str(record.station_name).startswith(NAME)


@pytest.mark.parametrize(
    ("header", "form", "separator", "point"),
    [
        ("Date;Tmin (°C);Tmax (°C);Rain (mm)", "%d.%m.%Y", ";", ","),
        ("date\tmin_temp\tmax_temp\tprecipitation", "%Y/%m/%d", "\t", ","),
        ("DATE,TN,TX,RR", "%Y%m%d", ",", "."),
        ("time,temperature_2m_min (°C),temperature_2m_max (°C),rain_sum (mm)", "%Y-%m-%dT00:00", ",", "."),
        ("Date,Minimum Temperature,Maximum Temperature,Rainfall", "%m/%d/%Y", ",", "."),
        ("Date,Low,High,Precip", "%d/%m/%Y", ",", "."),
        ("date tmin tmax rain", "%Y-%m-%d", " ", "."),
        ("year,month,day,tmin,tmax,rain", "%Y,%m,%d", ",", "."),
        ("year,doy,tmin,tmax,rain", "%Y,%j", ",", "."),
        ("Datum|TNK|TXK|RSK", "%d-%b-%Y", "|", "."),
    ],
)  # fmt: skip
def test_daily_tables_of_many_hands(
    tmp_path: Path, decade: pd.DataFrame, header: str, form: str, separator: str, point: str
) -> None:
    record = read(tmp_path, daily_lines(decade, header, form, separator, point))
    assert (record.frame["date"].to_numpy() == decade["date"].to_numpy()).all()
    np.testing.assert_allclose(record.frame["tmin_degC"], decade["tmin"] / 10.0)
    np.testing.assert_allclose(record.frame["tmax_degC"], decade["tmax"] / 10.0)
    np.testing.assert_allclose(record.frame["rain_mm"], decade["rain"] / 10.0)
    assert not {f.severity for f in record.report} - {"note"} or kinds(record) <= {"short record", "unit"}


def test_lines_above_the_table_name_the_station(tmp_path: Path, decade: pd.DataFrame) -> None:
    above = ["# Station: Withy Hollow", "# Latitude: 51.2", "# Longitude: -2.6", "# Elevation (m): 62", ""]
    record = read(tmp_path, above + daily_lines(decade))
    assert (record.station_name, record.lat, record.lon, record.elevation_m) == (
        "Withy Hollow",
        51.2,
        -2.6,
        62.0,
    )


def test_a_table_without_headings_is_read_by_place_and_says_so(tmp_path: Path, decade: pd.DataFrame) -> None:
    record = read(tmp_path, daily_lines(decade)[1:])
    np.testing.assert_allclose(record.frame["tmax_degC"], decade["tmax"] / 10.0)
    assert of_kind(record, "no headings").lines == (1,)


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
def test_other_encodings(tmp_path: Path, decade: pd.DataFrame, encoding: str) -> None:
    lines = daily_lines(decade, "date,tmin (°C),tmax (°C),rain")
    record = read_weather(write(tmp_path / "w.csv", lines, encoding), today=TODAY)
    np.testing.assert_allclose(record.frame["tmin_degC"], decade["tmin"] / 10.0)
    if encoding == "cp1252":
        assert of_kind(record, "encoding").lines == (1,)


# --- units --------------------------------------------------------------------------------------------------


def in_fahrenheit(series: pd.DataFrame) -> pd.DataFrame:
    hot = series.copy()
    for name in ("tmin", "tmax"):
        hot[name] = np.round(series[name] * 1.8 + 320.0).astype(int)
    return hot


@pytest.mark.parametrize("header", ["date,tmin_F,tmax_F,rain", "date,tmin,tmax,rain"])
def test_fahrenheit_is_read_whether_named_or_not(tmp_path: Path, decade: pd.DataFrame, header: str) -> None:
    record = read(tmp_path, daily_lines(in_fahrenheit(decade), header))
    assert record.unit == "degF"
    np.testing.assert_allclose(record.frame["tmin_degC"], decade["tmin"] / 10.0, atol=0.03)
    assert ("unit" in kinds(record)) == (header == "date,tmin,tmax,rain")


def test_fahrenheit_under_a_celsius_heading_is_a_fault(tmp_path: Path, decade: pd.DataFrame) -> None:
    record = read(tmp_path, daily_lines(in_fahrenheit(decade)))
    fault = of_kind(record, "wrong unit")
    assert fault.severity == "fault"
    assert fault.lines
    assert record.unit == "degF"


def test_units_asked_for_are_obeyed_and_questioned(tmp_path: Path, decade: pd.DataFrame) -> None:
    record = read(tmp_path, daily_lines(in_fahrenheit(decade)), units="degC")
    assert record.unit == "degC"
    assert "degF" in of_kind(record, "wrong unit").remedy
    assert "outside world records" in kinds(record)


def test_kelvin_and_tenths_are_recognised(tmp_path: Path, decade: pd.DataFrame) -> None:
    kelvin = decade.assign(tmin=decade["tmin"] + 2731, tmax=decade["tmax"] + 2731)
    record = read(tmp_path, daily_lines(kelvin, "date,tmin,tmax,rain"))
    assert record.unit == "K"
    np.testing.assert_allclose(record.frame["tmin_degC"], decade["tmin"] / 10.0, atol=0.06)
    tenths = decade.assign(tmin=decade["tmin"] * 10, tmax=decade["tmax"] * 10)
    assert read(tmp_path, daily_lines(tenths, "date,tmin,tmax,rain")).unit == "tenths_degC"


def test_years_in_another_unit_count_as_missing(tmp_path: Path, decade: pd.DataFrame) -> None:
    late = decade["date"].dt.year >= 2009
    mixed = decade.where(~late, in_fahrenheit(decade)).astype({"tmin": int, "tmax": int, "rain": int})
    record = read(tmp_path, daily_lines(mixed))
    fault = of_kind(record, "unit changes")
    first = int(late.to_numpy().argmax()) + 2
    assert fault.lines == (first, first + 365)
    kept = record.frame[record.frame["tmax_degC"].notna()]
    assert kept["date"].dt.year.max() == 2008


def test_an_unknown_unit_is_refused(tmp_path: Path, decade: pd.DataFrame) -> None:
    with pytest.raises(BadInput, match="degR"):
        read(tmp_path, daily_lines(decade), units="degR")


# --- faults, each with its line -----------------------------------------------------------------------------

Edit = Callable[[list[str]], list[str]]


def put(line: int, text: str) -> Edit:
    return lambda lines: [*lines[: line - 1], text, *lines[line:]]


def insert(line: int, text: str) -> Edit:
    return lambda lines: [*lines[: line - 1], text, *lines[line - 1 :]]


def drop(first: int, last: int) -> Edit:
    return lambda lines: [*lines[: first - 1], *lines[last:]]


@pytest.mark.parametrize(
    ("edit", "kind", "lines"),
    [
        (put(100, "rubbish"), "unreadable date", (100,)),
        (put(100, "2001-04-09,x1.2,9.0,0.0"), "unreadable number", (100,)),
        (put(100, "2001-04-09,inf,9.0,0.0"), "unreadable number", (100,)),
        (put(100, "2001-04-09,12.0,9.0,0.0"), "minimum above maximum", (100,)),
        (put(100, "2001-04-09,2.0,60.0,0.0"), "outside world records", (100,)),
        (put(100, "2001-04-09,-95.0,10.0,0.0"), "outside world records", (100,)),
        (put(100, "2001-04-09,-45.0,10.0,0.0"), "jump", (100,)),
        (put(100, "2001-04-09,0.0,0.0,0.0"), "zero for missing", (100,)),
        (put(100, "2001-04-09,-999,-999,0.0"), "missing code", (100,)),
        (put(100, "2001-04-09,3.0,9.0,-4.0"), "impossible rain", (100,)),
        (put(100, "2001-02-29,3.0,9.0,0.0"), "unreadable date", (100,)),
        (put(100, "2101-04-09,3.0,9.0,0.0"), "future date", (100,)),
        (put(100, "1901-04-09,3.0,9.0,0.0"), "stray date", (100,)),
        (put(100, "1690-04-09,3.0,9.0,0.0"), "impossible year", (100,)),
        (put(100, "2001-04-09,3,1,9,0,0.0"), "too many cells", (100,)),
        (put(100, "2001-04-09,3.0"), "too few cells", (100,)),
        (put(100, '2001-04-09,"3.0,9.0,0.0'), "open quote", (100,)),
        (insert(101, "2001-04-09,-40.0,9.9,0.0"), "contradicting duplicates", (100, 101)),
        (insert(101, "2001-03-01,-40.0,9.9,0.0"), "unsorted dates", (101,)),
        (drop(100, 102), "short gap", (99,)),
        (drop(100, 120), "long gap", (99,)),
    ],
)
def test_a_fault_is_reported_at_its_line(
    tmp_path: Path, decade: pd.DataFrame, edit: Edit, kind: str, lines: tuple[int, ...]
) -> None:
    assert kind not in kinds(read(tmp_path, daily_lines(decade)))
    record = read(tmp_path, edit(daily_lines(decade)))
    finding = of_kind(record, kind)
    assert finding.lines == lines
    assert finding.count >= 1
    # Whatever the fault, the days around it are as they were.
    rest = record.frame[record.frame["date"] >= "2001-06-01"]
    np.testing.assert_array_equal(rest["tmin_degC"], (decade["tmin"] / 10.0)[decade["date"] >= "2001-06-01"])


def test_a_repeated_line_counts_once(tmp_path: Path, decade: pd.DataFrame) -> None:
    lines = daily_lines(decade)
    record = read(tmp_path, insert(101, lines[99])(lines))
    assert of_kind(record, "duplicates").lines == (100, 101)
    np.testing.assert_array_equal(record.frame["tmax_degC"], decade["tmax"] / 10.0)


def test_contradicting_days_count_as_missing_and_are_filled(tmp_path: Path, decade: pd.DataFrame) -> None:
    lines = daily_lines(decade)
    record = read(tmp_path, insert(101, "2001-04-09,-40.0,9.9,0.0")(lines))
    low = decade["tmin"] / 10.0
    assert record.filled_days == 1
    assert record.frame["tmin_degC"][98] == pytest.approx((low[97] + low[99]) / 2.0)


def test_a_stuck_sensor_is_found(tmp_path: Path, decade: pd.DataFrame) -> None:
    stuck = decade.copy()
    stuck.loc[1000:1024, "tmax"] = 300
    record = read(tmp_path, daily_lines(stuck))
    assert of_kind(record, "stuck value").lines == tuple(range(1002, 1027))
    assert record.frame["tmax_degC"][1000:1025].isna().all()
    assert record.frame["tmin_degC"][1000:1025].notna().all()


def test_nineteen_equal_days_are_believed(tmp_path: Path, decade: pd.DataFrame) -> None:
    calm = decade.copy()
    calm.loc[1000:1018, "tmax"] = 300
    assert "stuck value" not in kinds(read(tmp_path, daily_lines(calm)))


def test_exchanged_columns_are_put_right(tmp_path: Path, decade: pd.DataFrame) -> None:
    record = read(tmp_path, daily_lines(decade, "date,tmax_degC,tmin_degC,rain_mm"))
    assert of_kind(record, "swapped columns").count == len(decade)
    np.testing.assert_array_equal(record.frame["tmin_degC"], decade["tmin"] / 10.0)


def test_a_mean_in_both_columns_is_refused(tmp_path: Path, decade: pd.DataFrame) -> None:
    with pytest.raises(BadInput, match="mean"):
        read(tmp_path, daily_lines(decade.assign(tmin=decade["tmax"])))


def test_unsorted_files_come_out_sorted(tmp_path: Path, decade: pd.DataFrame) -> None:
    lines = daily_lines(decade)
    record = read(tmp_path, [lines[0], *lines[2000:], *lines[1:2000]])
    assert of_kind(record, "unsorted dates").count == 1
    np.testing.assert_array_equal(record.frame["tmin_degC"], decade["tmin"] / 10.0)


def test_a_calendar_without_leap_days_is_named(tmp_path: Path, decade: pd.DataFrame) -> None:
    leap = (decade["date"].dt.month == 2) & (decade["date"].dt.day == 29)
    record = read(tmp_path, daily_lines(decade[~leap]))
    assert of_kind(record, "no leap days").count == 2
    assert record.filled_days == 2


def test_two_digit_years_get_a_century(tmp_path: Path) -> None:
    old = invented_series("1965-01-01", "1975-12-31")
    record = read(tmp_path, daily_lines(old, form="%d.%m.%y"))
    assert (record.frame["date"].iloc[0].year, record.frame["date"].iloc[-1].year) == (1965, 1975)
    assert "1965 to 1975" in of_kind(record, "two-digit years").what


def test_an_undecidable_order_of_day_and_month_is_refused(tmp_path: Path) -> None:
    rows = ["date,tmin,tmax", *(f"0{n}/0{n}/2001,1.0,9.0" for n in range(1, 9)), "01/02/2001,1.0,8.0"]
    with pytest.raises(BadInput, match="order of day and month"):
        read(tmp_path, rows)


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
    assert summary["chill_portions"]["p10"] == summary["chill_portions"]["p90"] > 0  # type: ignore[index]
    assert summary["chill_portions"]["error"] is None  # type: ignore[index]
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


# --- GHCN-Daily ---------------------------------------------------------------------------------------------


def test_values_that_failed_noaa_checks_count_as_missing(tmp_path: Path, decade: pd.DataFrame) -> None:
    record = read(tmp_path, dly_lines(decade, {("2001-04-09", "TMIN"): "I", ("2001-04-10", "TMAX"): "S"}))
    finding = of_kind(record, "quality flag")
    assert finding.count == 2
    assert finding.lines == (10, 11)  # April is the fourth month: lines 10 TMAX, 11 TMIN, 12 PRCP
    assert "I internal contradiction: 1" in finding.what
    assert record.filled_days == 2


def test_access_flags_count_too(tmp_path: Path, decade: pd.DataFrame) -> None:
    lines = access_lines(decade)
    lines[50] = lines[50][: lines[50].rindex('",",,S"')] + '",",X,S"'
    record = read(tmp_path, lines)
    assert of_kind(record, "quality flag").lines == (51,)


def test_access_values_with_decimals_are_no_tenths(tmp_path: Path, decade: pd.DataFrame) -> None:
    lines = [f"STATION,DATE,TMAX,TMIN\n{STATION},{d:%Y-%m-%d},{x / 10:.1f},{n / 10:.1f}".split("\n")[1]
             for d, n, x in zip(decade["date"], decade["tmin"], decade["tmax"], strict=True)]  # fmt: skip
    record = read(tmp_path, ["STATION,DATE,TMAX,TMIN", *lines])
    assert record.unit == "degC"
    np.testing.assert_allclose(record.frame["tmin_degC"], decade["tmin"] / 10.0)


def test_a_day_the_month_does_not_have_is_reported(tmp_path: Path, decade: pd.DataFrame) -> None:
    lines = dly_lines(decade)
    at = next(n for n, line in enumerate(lines) if line[11:21] == "200102TMAX")
    lines[at] = lines[at][: 21 + 29 * 8] + "  120  S" + lines[at][21 + 30 * 8 :]
    assert of_kind(read(tmp_path, lines), "impossible date").lines == (at + 1,)


def test_a_cut_off_dly_line_is_reported(tmp_path: Path, decade: pd.DataFrame) -> None:
    lines = dly_lines(decade)
    lines[30] = lines[30][:100]
    assert of_kind(read(tmp_path, lines), "wrong length").lines == (31,)


def test_two_stations_in_one_file_are_refused(tmp_path: Path, decade: pd.DataFrame) -> None:
    lines = by_station_lines(decade)
    lines[99] = lines[99].replace(STATION, "XXW00099999")
    with pytest.raises(BadInput, match="2 stations") as error:
        read(tmp_path, lines)
    assert "row 100" in error.value.where


def test_a_station_without_minimum_is_refused(tmp_path: Path, decade: pd.DataFrame) -> None:
    with pytest.raises(BadInput, match="no TMIN"):
        read(tmp_path, [line for line in by_station_lines(decade) if "TMIN" not in line])


# --- hourly -------------------------------------------------------------------------------------------------


def stitched(series: pd.DataFrame) -> pd.DataFrame:
    """Twelve months, each from another year, as typical years are made."""
    months = [
        series[(series["date"].dt.month == m) & (series["date"].dt.year == 2001 + (m * 7) % 10)]
        for m in range(1, 13)
    ]
    return pd.concat(months, ignore_index=True)


@pytest.mark.parametrize("layout", ["EPW hourly", "TMY3 hourly"])
def test_a_typical_year_is_no_record(tmp_path: Path, decade: pd.DataFrame, layout: str) -> None:
    typical = stitched(decade)
    record = read(tmp_path, LAYOUTS[layout](typical))
    assert record.typical_year
    assert record.source_years[3] == 2002
    assert "not a record" in of_kind(record, "typical year").what
    assert len(record.frame) == 365
    assert set(record.frame["date"].dt.year) == {2001}
    assert not record.figures()["enough"].any()
    assert record.hourly is not None
    assert len(record.hourly) == len(typical) * 24 - 24 * int(len(typical) == 366)


def test_a_slip_in_a_long_hourly_record_does_not_make_it_a_typical_year(
    tmp_path: Path, decade: pd.DataFrame
) -> None:
    lines = epw_lines(decade)
    at = 8 + 24 * 500 + 7
    lines[at] = "1951" + lines[at][4:]
    record = read(tmp_path, lines)
    assert not record.typical_year
    assert of_kind(record, "too few hours").lines == (at + 1,)
    assert len(record.frame) == len(decade)


def test_a_year_that_calls_itself_typical_is_believed(tmp_path: Path, decade: pd.DataFrame) -> None:
    lines = epw_lines(decade.head(365))
    assert not read(tmp_path, lines).typical_year
    lines[5] = "COMMENTS 1,TMYx of invented weather"
    assert read(tmp_path, lines).typical_year


def test_days_short_of_hours_count_as_missing(tmp_path: Path, decade: pd.DataFrame) -> None:
    lines = epw_lines(decade.head(400))
    first = 8 + 24 * 100
    record = read(tmp_path, [*lines[:first], *lines[first + 5 :]])
    assert of_kind(record, "too few hours").count == 1
    assert record.filled_days == 1


def test_missing_dry_bulbs_are_missing(tmp_path: Path, decade: pd.DataFrame) -> None:
    lines = epw_lines(decade.head(400))
    cells = lines[8 + 24 * 100 + 3].split(",")
    lines[8 + 24 * 100 + 3] = ",".join([*cells[:6], "99.9", *cells[7:]])
    record = read(tmp_path, lines)
    assert record.frame["tmax_degC"][100] == decade["tmax"][100] / 10.0


# --- files that are none ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "empty"),
        (b"\n\n  \n", "no text"),
        (b"date,tmin,tmax\n2001-01-01,1.0,2\x00.0\n", "NUL byte"),
        (b"date,tmin,tmax\n2001-01-01,1.0,2\x07.0\n", "0x07"),
        (b"PK\x03\x04rest", "zip archive or an Excel"),
        (b"%PDF-1.7", "PDF"),
        (b"\x1f\x8b\x08\x00broken", "damaged"),
        (gzip.compress(b"date,tmin,tmax\n2001-01-01,1.0,2.0\n")[:-12], "damaged"),
        (b"date,tmin,tmax\n", "no days"),
        (b"a,b,c\n1,2,3\n", "none of the weather files"),
        (b"date,tmean\n2001-01-01,4.0\n", "tmin, tmax"),
        (b"date,tmin,tmax\nx,1,2\ny,2,3\n", "dates cannot be read"),
        (b"date,tmin,tmax\n2001-01-01,1,3,4,6\n2001-01-02,1,4,5,7\n", "Decimal commas"),
        ("date,tmin,tmax".encode("utf-16")[:-1], "UTF-16"),
    ],
)
def test_a_file_that_is_no_weather_gets_one_clear_word(tmp_path: Path, data: bytes, says: str) -> None:
    path = tmp_path / "weather.csv"
    path.write_bytes(data)
    with pytest.raises(BadInput, match=says) as error:
        read_weather(path, today=TODAY)
    assert str(path) in error.value.where


def test_the_place_of_a_nul_byte_is_told(tmp_path: Path) -> None:
    path = tmp_path / "weather.csv"
    path.write_bytes(b"date,tmin,tmax\r\n2001-01-01,1.0,2\x00.0\r\n")
    with pytest.raises(BadInput) as error:
        read_weather(path)
    assert error.value.where.endswith("row 2, column 17")


def test_missing_files_and_folders_are_named(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="no such file"):
        read_weather(tmp_path / "nothing.csv")
    with pytest.raises(BadInput, match="folder"):
        read_weather(tmp_path)


def test_too_large_files_are_refused_packed_or_not(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(weather_text, "MAX_BYTES", 10_000)
    for name, data in (("big.csv", b"x" * 10_001), ("bomb.gz", gzip.compress(b"0" * 2_000_000))):
        (tmp_path / name).write_bytes(data)
        with pytest.raises(BadInput, match="larger than"):
            read_weather(tmp_path / name)


def test_several_rows_a_day_are_no_daily_table(tmp_path: Path, decade: pd.DataFrame) -> None:
    rows = [f"{d:%Y-%m-%d} {h:02d}:00,1.0,2.0" for d in decade["date"].head(30) for h in range(24)]
    with pytest.raises(BadInput, match="several rows a day"):
        read(tmp_path, ["date,tmin,tmax", *rows])


# --- whatever comes -----------------------------------------------------------------------------------------


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    seed=st.integers(0, 2**31),
    days=st.integers(30, 900),
    first=st.dates(pd.Timestamp("1900-01-01").date(), pd.Timestamp("2020-01-01").date()),
    layout=st.sampled_from([name for name in LAYOUTS if name != "TMY3 hourly"]),
)
def test_what_is_written_is_read_back_to_the_tenth(
    tmp_path: Path, seed: int, days: int, first: pd.Timestamp, layout: str
) -> None:
    last = pd.Timestamp(first) + pd.Timedelta(days=days - 1)
    written = invented_series(str(first), f"{last:%Y-%m-%d}", seed)
    record = read(tmp_path, LAYOUTS[layout](written))
    frame = record.frame.set_index("date").reindex(written["date"])
    differs = (frame["tmin_degC"].to_numpy() != written["tmin"].to_numpy() / 10.0) | (
        frame["tmax_degC"].to_numpy() != written["tmax"].to_numpy() / 10.0
    )
    # A value may only differ where a fault was reported (the invented weather may jump).
    assert differs.sum() <= sum(finding.count for finding in record.report if finding.severity == "fault")


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data(), layout=st.sampled_from(list(LAYOUTS)))
def test_a_spoilt_line_is_always_reported_and_never_a_crash(
    tmp_path: Path, data: st.DataObject, layout: str
) -> None:
    lines = LAYOUTS[layout](invented_series("2001-01-01", "2001-01-31"))
    first = {"daily CSV": 1, "GHCN-Daily access CSV": 1, "EPW hourly": 8, "TMY3 hourly": 2}.get(layout, 0)
    at = data.draw(st.integers(first, len(lines) - 1))
    letters = st.text(
        st.characters(codec="utf-8", exclude_categories=["Cc", "Cs", "Zs", "Zl", "Zp"]), min_size=1
    )
    lines[at] = "~" + data.draw(letters)
    try:
        record = read(tmp_path, lines)
    except OrchardwrightError:
        return
    assert any(at + 1 in finding.lines for finding in record.report)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    data=st.binary(max_size=400),
    head=st.sampled_from(
        [
            b"",
            b"date,tmin,tmax\n",
            b"LOCATION,",
            b"XXW00012345200101TMAX",
            b"\x1f\x8b",
            b"\xff\xfe",
            b"XXW00012345,20010101,TMAX,1,,,S,\n",
            b"STATION,DATE,TMAX,TMIN\n",
            b"1,2,3\nDate,Time,Dry-bulb (C)\n",
        ]
    ),
)
def test_any_bytes_end_in_a_record_or_a_clear_error(tmp_path: Path, data: bytes, head: bytes) -> None:
    path = tmp_path / "bytes"
    path.write_bytes(head + data)
    try:
        record = read_weather(path, today=TODAY)
    except OrchardwrightError as error:
        clear = bool(error.what and error.where)
    else:
        clear = len(record.frame) >= 1
    assert clear


# --- files that packages carry ------------------------------------------------------------------------------


def packaged(package: str, *parts: str) -> Path:
    found = importlib.util.find_spec(package)
    if found is None or found.origin is None:
        pytest.skip(f"the package {package} is not installed; it carries the real sample")
    path = Path(found.origin).parent.joinpath(*parts)
    if not path.exists():
        pytest.skip(f"{package} does not carry {'/'.join(parts)}")
    return path


def test_seattle_2012_to_2015_from_vega_datasets() -> None:
    record = read_weather(packaged("vega_datasets", "_data", "seattle-weather.csv"))
    frame = record.frame.set_index("date")
    assert len(frame) == 1461
    # First lines of the file itself (NOAA's daily summaries of Seattle).
    assert list(frame.loc[pd.Timestamp("2012-01-01")]) == [5.0, 12.8, 0.0]
    assert list(frame.loc[pd.Timestamp("2012-01-02")]) == [2.8, 10.6, 10.9]
    assert record.unit == "degC"
    assert len(record.whole_seasons("winter")) == 3
    assert not {f.kind for f in record.report if f.severity == "fault"}


def test_greensboro_tmy3_from_pvlib() -> None:
    record = read_weather(packaged("pvlib", "data", "723170TYA.CSV"))
    assert record.typical_year
    assert (record.lat, record.lon, record.elevation_m) == (36.1, -79.95, 273.0)
    assert record.source_years[1] == 1988  # the file's first line of data is 01/01/1988
    assert record.hourly is not None
    assert record.hourly["temperature_degC"].head(2).tolist() == [10.0, 10.0]
    assert not {f.kind for f in record.report if f.severity == "fault"}
    raw = pd.read_csv(packaged("pvlib", "data", "723170TYA.CSV"), skiprows=1)
    daily = raw.groupby("Date (MM/DD/YYYY)", sort=False)["Dry-bulb (C)"].agg(["min", "max"])
    np.testing.assert_array_equal(record.frame["tmin_degC"], daily["min"])
    np.testing.assert_array_equal(record.frame["tmax_degC"], daily["max"])
