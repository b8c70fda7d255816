"""Weather files: no fault passes without a word, and no file ends in a crash."""

from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from recommender.climate.weather import read_weather
from recommender.climate.weather_files import text as weather_text
from recommender.errors import BadInput, OrchardwrightError, StorageFault
from tests.climate.weather_reading import LAYOUTS, TODAY, Edit, drop, insert, kinds, of_kind, put, read
from tests.climate.weather_samples import (
    daily_lines,
    invented_series,
)

# --- faults, each with its line -----------------------------------------------------------------------------


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
        (gzip.compress(b"date,tmin,tmax\n2001-01-01,1.0,2.0\n", mtime=0)[:-12], "damaged"),
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
    with pytest.raises(StorageFault, match="could not be read: File name too long"):
        read_weather(tmp_path / f"{'n' * 300}.csv")


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
