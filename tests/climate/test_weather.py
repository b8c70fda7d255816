"""Weather files: every layout and unit tells the same weather."""

from __future__ import annotations

import gzip
import importlib.util
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from recommender.climate.weather import read_weather
from recommender.errors import BadInput
from tests.climate.weather_reading import LAYOUTS, TODAY, kinds, of_kind, read
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
    write,
)

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
