"""Every row of datasets/climate_examples.csv that concerns a model of the climate room, and the zone and
rating bounds.

Sources stand in each row (source_id); `computed` rows were worked out from the equations independently of
this code.
"""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest
from astral import LocationInfo
from astral.sun import sun

from recommender.catalog.package import datasets_folder
from recommender.climate import chill, heat, winter
from recommender.climate.hourly import day_length, declination, hourly_temperatures
from recommender.units import celsius

EXAMPLES = pd.read_csv(datasets_folder() / "climate_examples.csv", dtype=str).fillna("")
# Models that no part of the climate room computes, and the frost dates of Toronto, which test_climate_places
# checks.
OTHER_MODELS = {
    "extraterrestrial-radiation",
    "hargreaves",
    "hargreaves-rs",
    "hourly-cesaraccio",
    "north-carolina",
    "frost-free-days",
    "frost-probability",
    "chill-model-ratios",
}


def rows_of(*models: str) -> list[pytest.ParameterSet]:
    rows = EXAMPLES[EXAMPLES["model"].isin(models)].to_dict("records")
    return [pytest.param(row, id=f"{row['model']}: {row['inputs']} {row['note'][:24]}") for row in rows]


def number(text: str) -> float:
    found = re.search(r"-?\d+(\.\d+)?", text)
    assert found is not None, text
    return float(found.group())


def tolerance(row: dict[str, str]) -> float:
    return max(float(row["tolerance"] or 0.0), 1e-9)


def test_every_example_is_checked_here_or_named_as_another_model() -> None:
    checked = {"utah", "utah-fahrenheit", "gdh-anderson", "dynamic", "daylength-spencer", "hardiness-zone"}
    assert set(EXAMPLES["model"]) == checked | OTHER_MODELS


@pytest.mark.parametrize("row", rows_of("utah", "utah-fahrenheit"))
def test_utah_steps(row: dict[str, str]) -> None:
    temperature = number(row["inputs"])
    if row["model"] == "utah-fahrenheit":
        temperature = celsius(temperature)
    assert chill.utah_weights(temperature) == number(row["output"])
    assert chill.utah_units(np.full((1, 24), temperature)) == 24 * number(row["output"])


@pytest.mark.parametrize("row", rows_of("gdh-anderson"))
def test_growing_degree_hours(row: dict[str, str]) -> None:
    hours = np.full((1, 24), number(row["inputs"]))
    assert heat.growing_degree_hours(hours) / 24 == pytest.approx(number(row["output"]), abs=tolerance(row))


@pytest.mark.parametrize("row", rows_of("dynamic"))
def test_dynamic_model_portions(row: dict[str, str]) -> None:
    steady = re.match(r"(\d+) hours at constant T=(-?\d+)", row["inputs"])
    cycles = re.match(r"(\d+) cycles of (\d+) h (\d+) degC \+ (\d+) h (\d+) degC", row["inputs"])
    if steady:
        hours = [float(steady[2])] * int(steady[1])
    else:
        assert cycles is not None
        hours = ([float(cycles[3])] * int(cycles[2]) + [float(cycles[5])] * int(cycles[4])) * int(cycles[1])
    if "every hour is a step" in row["note"]:
        hours = [hours[0], *hours]  # our first hour only sets the start
    # Hours after the count are hot, so that they fix nothing more.
    padded = np.array(hours + [45.0] * (-len(hours) % 24)).reshape(-1, 24)
    assert chill.dynamic_portions(padded) == pytest.approx(number(row["output"]), abs=tolerance(row))


@pytest.mark.parametrize("row", rows_of("daylength-spencer"))
def test_day_length_and_declination(row: dict[str, str]) -> None:
    lat, day = (number(part.split("=")[1]) for part in row["inputs"].split(";"))
    angle, length = (number(part.split("=")[1]) for part in row["output"].split(";"))
    assert np.rad2deg(declination(day)) == pytest.approx(angle, abs=tolerance(row))
    assert day_length(lat, day) == pytest.approx(length, abs=tolerance(row))


@pytest.mark.parametrize("row", rows_of("hardiness-zone"))
def test_hardiness_zone(row: dict[str, str]) -> None:
    assert winter.zone_of(celsius(number(row["inputs"].replace("minimum ", "minimum=")))) == row["output"]


@pytest.mark.parametrize("lat", [-55.0, -34.0, 0.0, 21.0, 41.7, 50.6, 57.0])
def test_day_length_agrees_with_astral_to_five_minutes(lat: float) -> None:
    place = LocationInfo("", "", "UTC", lat, 0.0).observer
    for date in pd.date_range("2023-01-05", "2023-12-31", freq="17D"):
        times = sun(place, date=date.date())
        hours = (times["sunset"] - times["sunrise"]).total_seconds() / 3600 % 24
        assert day_length(lat, date.day_of_year) == pytest.approx(hours, abs=5 / 60)


def test_zone_bounds_are_those_of_the_published_table() -> None:
    table = pd.read_csv(datasets_folder() / "standards.csv", dtype=str)
    zones = table[(table["name"] == "usda-hardiness-zone") & (table["unit"] == "degF")]
    checked = 0
    for key, value in zip(zones["key"], zones["value"], strict=True):
        zone, end = key.split(".")
        low, high = winter.zone_bounds(zone)
        assert {"min": low, "max": high}[end] == pytest.approx(celsius(float(value)))
        checked += 1
    assert checked >= 50


def test_hardiness_ratings_are_those_of_the_published_bounds() -> None:
    table = pd.read_csv(datasets_folder() / "standards.csv", dtype=str)
    ratings = table[(table["name"] == "rhs-hardiness-rating") & table["key"].str.endswith(".min")]
    assert len(ratings) >= 8
    for key, value in zip(ratings["key"], ratings["value"], strict=True):
        assert winter.rhs_rating(float(value)) == key.removesuffix(".min")
        assert winter.rhs_rating(float(value) - 0.01) != key.removesuffix(".min")
    assert winter.rhs_rating(-35.0) == "H7"


def test_published_ratio_of_hours_to_portions_holds_over_climates() -> None:
    """Luedeling & Brown (2011): at 5,078 stations there were 0 to 34 chill hours to a portion."""
    row = EXAMPLES[EXAMPLES["model"] == "chill-model-ratios"].iloc[0]
    low, high = (float(part) for part in re.findall(r"CH/CP (\d+) to (\d+)", row["output"])[0])
    days = np.arange(1, 151)
    for mean in np.arange(-6.0, 16.0, 2.0):
        scatter = 4.0 * np.sin(days * 0.9) + 2.0 * np.sin(days * 0.23)
        hourly = hourly_temperatures(mean - 4 + scatter, mean + 4 + scatter, 45.0, days)
        portions = float(chill.dynamic_portions(hourly))
        if portions > 5.0:
            assert low <= float(chill.chill_hours_0_7(hourly)) / portions <= high
