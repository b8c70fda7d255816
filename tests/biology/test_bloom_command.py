"""`orchardwright bloom`, its weather file and its chart."""

from __future__ import annotations

import json
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
from recommender.commands.bloom import read_daily
from recommender.errors import BadInput, StorageFault


@pytest.fixture
def record(tmp_path: Path) -> Path:
    """Invented weather: four years alike."""
    days = pd.date_range("2000-01-01", "2003-12-31")
    mean = 10.0 - 9.0 * np.cos(2 * np.pi * (days.day_of_year - 20) / 365.25)
    frame = pd.DataFrame({"date": days, "tmin_degC": mean - 5, "tmax_degC": mean + 5})
    path = tmp_path / "weather.csv"
    frame.round(1).to_csv(path, index=False)
    return path


def test_records_name_crop_variety_year_date_and_error(record: Path) -> None:
    asked = ["bloom", "--weather", str(record), "--lat", "50", "--crop", "quince", "--json"]
    answer = CliRunner().invoke(app, asked)
    assert answer.exit_code == 0
    records = json.loads(answer.stdout)["records"]
    assert {row["year"] for row in records} == {2001, 2002, 2003}
    for row in records:
        assert row["crop"] == "quince"
        assert row["full_bloom"][:4] == str(row["year"])
        assert row["error_days"] > 0


def test_one_variety_by_its_other_spelling(record: Path) -> None:
    asked = ["bloom", "--weather", str(record), "--lat", "50", "--variety", "coxs orange pippin", "--json"]
    answer = CliRunner().invoke(app, asked)
    assert {row["variety"] for row in json.loads(answer.stdout)["records"]} == {"Cox's Orange Pippin"}


def test_short_gaps_are_filled_long_ones_are_not(record: Path) -> None:
    whole = read_daily(record)
    lines = record.read_text().splitlines()
    lines[101:104] = [line.split(",")[0] + ",," for line in lines[101:104]]  # three values missing
    del lines[301:305]  # four days missing
    del lines[501:521]  # twenty days missing
    record.write_text("\n".join(lines))
    filled = read_daily(record)
    assert len(filled) == len(whole) - 20
    both = filled.merge(whole, on="date", suffixes=("", "_was"))
    assert (both["tmin_degC"] - both["tmin_degC_was"]).abs().max() < 1.0


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("date,tmin_degC\n2001-01-01,1\n", "no column tmax_degC"),
        ("date,tmin_degC,tmax_degC\n01/02/2001,1,5\n", "line 2, column date"),
        ("date,tmin_degC,tmax_degC\n2001-01-01,1,5\n2001-01-02,warm,5\n", "line 3, column tmin_degC"),
        ("date,tmin_degC,tmax_degC\n2001-01-01,1,-9999\n", "line 2, column tmax_degC"),
        ("", "no CSV table"),
    ],
)
def test_a_bad_weather_file_is_told_with_its_line(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "weather.csv"
    path.write_text(text)
    with pytest.raises(BadInput, match=said):
        read_daily(path)


def test_a_missing_weather_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(StorageFault, match="cannot be read"):
        read_daily(tmp_path / "nowhere.csv")


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
