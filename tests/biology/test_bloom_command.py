"""`orchardwright bloom`, its weather file and its chart."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from recommender import open_catalog
from recommender.biology.bloom_table import bloom_summary
from recommender.charts_phenology import bloom_ladder
from recommender.cli import app
from recommender.climate.normals import normals_at
from recommender.climate.profile import build_profile
from recommender.errors import BadInput


@pytest.fixture
def record(tmp_path: Path) -> Path:
    """Invented weather: four years alike."""
    days = pd.date_range("2000-01-01", "2003-12-31")
    mean = 10.0 - 9.0 * np.cos(2 * np.pi * (days.day_of_year - 20) / 365.25)
    frame = pd.DataFrame({"date": days, "tmin_degC": mean - 5, "tmax_degC": mean + 5})
    path = tmp_path / "weather.csv"
    frame.round({"tmin_degC": 1, "tmax_degC": 1}).to_csv(path, index=False)
    return path


def test_records_name_crop_variety_year_date_and_error(record: Path) -> None:
    asked = ["bloom", "--weather", str(record), "--lat", "50", "--crop", "quince", "--json"]
    answer = CliRunner().invoke(app, asked)
    assert answer.exit_code == 0
    records = json.loads(answer.stdout)
    assert {row["year"] for row in records} == {2001, 2002, 2003}
    for row in records:
        assert row["crop"] == "quince"
        assert row["full_bloom"][:4] == str(row["year"])
        assert row["error_days"] > 0


def test_one_variety_by_its_other_spelling(record: Path) -> None:
    asked = ["bloom", "--weather", str(record), "--lat", "50", "--variety", "coxs orange pippin", "--json"]
    answer = CliRunner().invoke(app, asked)
    assert {row["variety"] for row in json.loads(answer.stdout)} == {"Cox's Orange Pippin"}


def test_a_long_gap_before_bloom_costs_that_year_only(record: Path) -> None:
    lines = record.read_text().splitlines()
    gap = next(at for at, line in enumerate(lines) if line.startswith("2002-02-01"))
    del lines[gap : gap + 20]
    record.write_text("\n".join(lines))
    asked = ["bloom", "--weather", str(record), "--lat", "50", "--crop", "quince", "--json"]
    records = json.loads(CliRunner().invoke(app, asked).stdout)
    assert {row["year"] for row in records} == {2001, 2003}
    assert all(row["full_bloom"] for row in records)


def test_a_gap_after_bloom_costs_no_bloom_date(record: Path) -> None:
    lines = record.read_text().splitlines()
    record.write_text("\n".join(line for line in lines if line < "2003-07" or line.startswith("date")))
    asked = ["bloom", "--weather", str(record), "--lat", "50", "--crop", "quince", "--json"]
    records = json.loads(CliRunner().invoke(app, asked).stdout)
    assert {row["year"] for row in records if row["full_bloom"]} == {2001, 2002, 2003}


def test_made_up_seasons_bear_years_that_parse() -> None:
    asked = ["bloom", "--place", "Hereford, England", "--variety", "quince:Vranja"]
    records = json.loads(CliRunner().invoke(app, [*asked, "--json"]).stdout)
    assert [row["year"] for row in records] == list(range(2001, 2031))
    for row in records:
        assert date.fromisoformat(row["full_bloom"]).year == row["year"]
        assert row["made_up"]
    assert "no particular years" in " ".join(CliRunner().invoke(app, asked).stdout.split())


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--crop", "quince"], "does not say where"),
        (["--lat", "50", "--zone", "7b"], "stands in for the place"),
    ],
)
def test_a_weather_file_needs_its_latitude_and_no_place(record: Path, words: list[str], said: str) -> None:
    answer = CliRunner().invoke(app, ["bloom", "--weather", str(record), *words])
    assert isinstance(answer.exception, BadInput)
    assert said in str(answer.exception)


def test_ladder_says_who_flowers_and_describes_itself() -> None:
    traits = open_catalog().traits()
    chosen = traits["variety"].isin(["Victoria", "Czar"]) & traits["crop"].eq("european-plum")
    chosen |= traits["variety"].eq("Vranja")
    summary = bloom_summary(
        traits[chosen].reset_index(drop=True), build_profile(normals_at(52.0, -2.7), years=8)
    )
    picture = bloom_ladder(summary, "north")
    assert picture is not None
    assert picture.sentence.startswith("Something flowers from about")
    for name in ("Victoria", "Czar", "Vranja"):
        assert name in picture.alt_text
    assert picture.chart.to_dict()["description"] == picture.alt_text
    assert bloom_ladder(summary.assign(middle_day=np.nan), "north") is None
