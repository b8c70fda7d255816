"""`orchardwright weather check | fetch`, as a person at a terminal meets it."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
from typer.testing import CliRunner

from recommender.climate.download import FetchFault
from recommender.climate.weather import read_weather
from recommender.commands.weather import app, month_plot, report_text, year_plot
from recommender.errors import BadInput
from tests.climate.weather_samples import daily_lines, epw_lines, invented_series, write

RUN = CliRunner()


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    lines = daily_lines(invented_series("2001-01-01", "2010-12-31"))
    lines[99] = "2001-04-09,12.0,9.0,0.0"
    return write(tmp_path_factory.mktemp("weather") / "station.csv", lines)


def test_check_says_what_is_odd_and_where(file: Path) -> None:
    result = RUN.invoke(app, ["check", str(file)])
    assert result.exit_code == 0
    assert "station.csv: daily CSV, temperatures in degC" in result.output
    assert "2001-01-01 to 2010-12-31: 3,652 days" in result.output
    assert "! 1 day with a minimum above the maximum; both count as missing (line 100)" in " ".join(
        result.output.split()
    )
    assert "no  hardiness zone" in result.output
    assert max(len(line) for line in result.output.splitlines()) <= 110


def test_names_of_a_file_and_its_station_cannot_steer_the_terminal(file: Path, tmp_path: Path) -> None:
    path = tmp_path / "station\x1b[31m.csv"
    path.write_bytes(file.read_bytes())
    told = report_text(replace(read_weather(path), station_name="Hollow\x1b]0;owned\x07"))
    assert told.startswith("station[31m.csv: daily CSV")
    assert "Hollow]0;owned" in told
    assert not set("\x1b\x07") & set(told)


def test_check_as_json_has_the_same_findings(file: Path) -> None:
    told = json.loads(RUN.invoke(app, ["check", str(file), "--json"]).output)
    record = read_weather(file)
    assert [entry["kind"] for entry in told["report"]] == [finding.kind for finding in record.report]
    assert next(e for e in told["report"] if e["kind"] == "minimum above maximum")["lines"] == [100]
    assert told["filled_days"] == 1
    assert told["whole_winters"] == list(range(2002, 2011))


def test_the_month_plot_puts_marks_where_the_figures_are(file: Path) -> None:
    record = read_weather(file)
    lines = month_plot(record, width=60)
    months = record.monthly().set_index("month")
    january = lines[1]
    assert january.split()[:2] == ["Jan", f"{months['lowest'][1]:.0f}"]
    assert january.split()[-1] == f"{months['highest'][1]:.0f}"
    # The bar's '=' stand farther right in July than in January.
    assert lines[7].index("=") > january.rindex("=")
    assert len(lines) == 14


def test_the_year_plot_shows_a_hole(tmp_path: Path) -> None:
    series = invented_series("2001-01-01", "2010-12-31")
    hole = series["date"].dt.year == 2004
    lines = year_plot(read_weather(write(tmp_path / "w.csv", daily_lines(series[~hole]))))
    assert "2000s   ###.##### " in lines[1]


def test_a_typical_year_is_drawn_too(tmp_path: Path) -> None:
    series = invented_series("2001-01-01", "2010-12-31")
    parts = [
        series[(series["date"].dt.month == m) & (series["date"].dt.year == 2010 - m % 7)]
        for m in range(1, 13)
    ]
    path = write(tmp_path / "typical.epw", epw_lines(pd.concat(parts)))
    result = RUN.invoke(app, ["check", str(path)])
    assert result.exit_code == 0
    assert "not a record" in " ".join(result.output.split())


def test_a_bad_file_is_an_error_of_the_family(tmp_path: Path) -> None:
    result = RUN.invoke(app, ["check", str(tmp_path / "none.csv")])
    assert isinstance(result.exception, BadInput)


@pytest.mark.parametrize(
    "arguments", [[], ["--lat", "51"], ["--place", "Bristol", "--lat", "51.4", "--lon", "-2.6"]]
)
def test_fetch_needs_one_place(arguments: list[str]) -> None:
    assert isinstance(RUN.invoke(app, ["fetch", *arguments]).exception, BadInput)


def test_fetch_without_a_network_points_to_the_built_in_climate(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("recommender.climate.download.time.sleep", lambda seconds: None)
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    arguments = [
        "fetch",
        "--lat",
        "51.2",
        "--lon",
        "-2.6",
        "--server",
        "http://127.0.0.1:9",
        "--cache",
        str(tmp_path),
    ]
    monkeypatch.setattr("recommender.climate.fetch.Manners", lambda: _quick())
    result = RUN.invoke(app, arguments)
    assert isinstance(result.exception, FetchFault)
    assert "orchardwright climate" in result.exception.remedy


def _quick() -> object:
    from recommender.climate.download import Manners

    return Manners(connect_timeout=1.0, tries=2, wait=0.0, pause=0.0)


@pytest.mark.parametrize("ending", ["html", "svg", "png"])
def test_the_drawing_opens_without_a_network(file: Path, tmp_path: Path, ending: str) -> None:
    pytest.importorskip("vl_convert", reason="drawings need vl-convert-python, which is optional")
    target = tmp_path / f"drawing.{ending}"
    result = RUN.invoke(app, ["check", str(file), "--plot", str(target)])
    assert result.exit_code == 0, result.exception
    data = target.read_bytes()
    start = {"html": b"<!DOCTYPE html>", "svg": b"<svg", "png": b"\x89PNG"}[ending]
    assert data.lstrip()[: len(start)].lower() == start.lower()
    assert b'src="http' not in data
    assert [path.name for path in tmp_path.iterdir()] == [target.name]


def test_another_ending_is_refused(file: Path, tmp_path: Path) -> None:
    result = RUN.invoke(app, ["check", str(file), "--plot", str(tmp_path / "drawing.gif")])
    assert isinstance(result.exception, BadInput)
