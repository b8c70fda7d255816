"""Monthly normals of a point: what holds everywhere, and what is said where there are none."""

import dataclasses
import math
import re
from pathlib import Path
from typing import Any, cast

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from recommender.climate import winter
from recommender.climate.grid import GridPoint, open_grid
from recommender.climate.normals import (
    Normals,
    estimated_chill_hours,
    normals_at,
    normals_like,
    shift_winter,
)
from recommender.errors import BadInput, StorageFault

# Most of the Earth is sea, and the first read of a file is slow: neither is a fault of the code.
unhurried = settings(
    deadline=None, max_examples=50, suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow]
)
latitudes = st.floats(-59.9, 83.0)
longitudes = st.floats(-180.0, 180.0)


def _on_land(lat: float, lon: float) -> GridPoint:
    try:
        return open_grid().sample(lat, lon)
    except BadInput:
        assume(False)
        raise


@unhurried
@given(latitudes, longitudes)
def test_every_point_on_land_has_a_possible_climate(lat: float, lon: float) -> None:
    _on_land(lat, lon)
    normals = normals_at(lat, lon)
    assert (normals.tmin < normals.tmax).all()
    assert np.isfinite([*normals.tmin, *normals.tmax, *normals.rain_mm]).all()
    assert (normals.rain_mm >= 0).all()
    assert normals.annual_extreme_min_degC < normals.tmin.min()
    assert normals.tmin.min() > -75
    assert normals.tmax.max() < 55
    assert normals.error_monthly_degC > 0
    assert normals.error_extreme_degC > 0


@unhurried
@given(st.integers(-230, 330), st.integers(-720, 719), st.floats(0, 0.25))
def test_climate_does_not_jump_at_the_edge_of_a_grid_cell(row: int, column: int, along: float) -> None:
    edge, lon = row / 4, column / 4 + along
    step = 1e-5
    point = _on_land(edge, lon)
    # Off the coast the nearest land may change from one side of an edge to the other.
    assume(point.moved_km == 0)
    north, south = _on_land(edge + step, lon), _on_land(edge - step, lon)
    assume(north.moved_km == 0 and south.moved_km == 0)
    above, below = normals_at(edge + step, lon, 200.0), normals_at(edge - step, lon, 200.0)
    assert above.tmax == pytest.approx(below.tmax, abs=0.05)
    assert above.tmin == pytest.approx(below.tmin, abs=0.05)
    assert above.annual_extreme_min_degC == pytest.approx(below.annual_extreme_min_degC, abs=0.1)


@unhurried
@given(latitudes, longitudes, st.floats(0, 2000), st.floats(100, 1500))
def test_higher_is_colder(lat: float, lon: float, low: float, rise: float) -> None:
    # Residuals of a station nearby fade with height and may hide a rise of a few tens of metres.
    _on_land(lat, lon)
    valley, hill = normals_at(lat, lon, low), normals_at(lat, lon, low + rise)
    middle = (valley.tmax + valley.tmin) / 2 - (hill.tmax + hill.tmin) / 2
    assert middle.mean() > 0.002 * rise - 1.0


def test_longitude_may_be_counted_eastward_to_360() -> None:
    west, east = normals_at(44.9, -93.2), normals_at(44.9, 266.8)
    assert west.tmax == pytest.approx(east.tmax)
    assert east.lon == pytest.approx(-93.2)


@pytest.mark.parametrize("place", [(-42.88, 147.33), (-33.28, 149.10), (-35.43, -71.65), (-41.3, 173.2)])
def test_the_south_is_warmest_in_january_or_february(place: tuple[float, float]) -> None:
    normals = normals_at(*place)
    assert int(normals.tmax.argmax()) in (0, 1)
    assert int(normals.tmin.argmin()) in (5, 6, 7)
    assert normals.hemisphere == "south"


@pytest.mark.parametrize(
    ("lat", "lon"),
    [
        (91, 0),
        (-91, 0),
        (math.nan, 0),
        (0, math.nan),
        (math.inf, 0),
        (10, 361),
        (10, -181),
        ("north", 0),
        (None, 0),
    ],
)
def test_coordinates_that_cannot_be_are_refused(lat: float, lon: float) -> None:
    with pytest.raises(BadInput) as caught:
        normals_at(lat, lon)
    assert caught.value.remedy


@pytest.mark.parametrize("height", [math.nan, 9000, -1000, "high"])
def test_an_elevation_no_orchard_has_is_refused(height: float) -> None:
    with pytest.raises(BadInput, match="elevation"):
        normals_at(50.0, 8.0, height)


@pytest.mark.parametrize("point", [(0.0, -30.0), (45.0, -40.0), (-50.0, 100.0), (89.9, 10.0)])
def test_open_sea_is_said_to_be_open_sea(point: tuple[float, float]) -> None:
    with pytest.raises(BadInput, match="open sea"):
        normals_at(*point)


def test_antarctica_is_said_to_be_missing() -> None:
    with pytest.raises(BadInput, match="60° S"):
        normals_at(-77.8, 166.7)


def test_made_from_names_the_stations_and_their_distance() -> None:
    near = " ".join(normals_at(44.98, -93.27).made_from)
    far = " ".join(normals_at(-45.87, 170.5).made_from)
    assert re.search(r"Minneapolis-St\.Paul, Minnesota \(1[12] km\)", near)
    assert "No station with measured normals within 150 km" in far


def test_far_from_stations_the_error_is_larger() -> None:
    near, far = normals_at(41.98, -87.9), normals_at(47.0, 100.0)
    assert far.error_monthly_degC > near.error_monthly_degC
    assert far.error_extreme_degC > near.error_extreme_degC


def test_normals_cannot_be_written_to() -> None:
    with pytest.raises(ValueError, match="read-only"):
        normals_at(50.0, 8.0).tmax[0] = 40.0


@pytest.mark.parametrize("field", ["tmax", "tmin", "rain_mm"])
@pytest.mark.parametrize("values", [[1.0] * 11, [math.nan] * 12, [[1.0] * 12]])
def test_normals_of_other_than_twelve_numbers_are_refused(field: str, values: list[float]) -> None:
    with pytest.raises(BadInput, match="twelve"):
        dataclasses.replace(normals_at(50.0, 8.0), **cast("dict[str, Any]", {field: values}))


def test_maxima_below_minima_are_refused() -> None:
    normals = normals_at(50.0, 8.0)
    with pytest.raises(BadInput, match="exchanged"):
        dataclasses.replace(normals, tmax=normals.tmin, tmin=normals.tmax)


def test_a_broken_grid_file_is_a_clear_fault(tmp_path: Path) -> None:
    (tmp_path / "climate_grid.parquet").write_bytes(b"PAR1 half written")
    with pytest.raises(StorageFault, match="climate grid"):
        open_grid(tmp_path)


zones = st.sampled_from([winter.zone_name(number / 2) for number in range(4, 23)])


@unhurried
@given(zones, st.one_of(st.none(), st.integers(0, 2500)), st.one_of(st.none(), st.floats(-55, 65)))
def test_a_typed_zone_is_kept_unless_said_otherwise(zone: str, chill: int | None, lat: float | None) -> None:
    normals = normals_like(zone, chill, lat)
    told = " ".join(normals.made_from)
    kept = winter.zone_of(normals.annual_extreme_min_degC) == winter.zone_of(
        sum(winter.zone_bounds(zone)) / 2
    )
    assert kept or "do not go together" in told
    assert normals.annual_extreme_min_degC <= normals.tmin.min() - 0.99
    if lat is not None:
        assert normals.hemisphere == ("south" if lat < 0 else "north")
        assert normals.lat == lat


@pytest.mark.parametrize(
    ("zone", "chill"), [("7b", 900), ("5a", 1200), ("9b", 300), ("8b", 1500), ("6a", 1300)]
)
def test_typed_chill_hours_come_out_again(zone: str, chill: int) -> None:
    assert estimated_chill_hours(normals_like(zone, chill)) == pytest.approx(chill, abs=30)


def test_a_typed_southern_latitude_has_its_winter_in_july() -> None:
    assert int(normals_like("9b", 900, -42.0).tmin.argmin()) in (5, 6, 7)


@pytest.mark.parametrize("zone", ["14a", "0", "cold", "", "7c"])
def test_a_zone_that_is_none_is_refused(zone: str) -> None:
    with pytest.raises(BadInput, match="zone"):
        normals_like(zone, 800)


@pytest.mark.parametrize("chill", [-1, 5000, math.nan])
def test_chill_hours_that_cannot_be_are_refused(chill: float) -> None:
    with pytest.raises(BadInput, match="Chill hours"):
        normals_like("7a", chill)


@unhurried
@given(st.floats(-6, 6))
def test_a_winter_shift_leaves_summer_alone(delta: float) -> None:
    before: Normals = normals_at(50.7, 7.1)
    after = shift_winter(before, delta)
    assert after.tmax[5:8] == pytest.approx(before.tmax[5:8])
    assert after.tmin[0] - before.tmin[0] == pytest.approx(delta)
    assert after.annual_extreme_min_degC - before.annual_extreme_min_degC == pytest.approx(delta)
    assert shift_winter(before, delta, keep_extreme=True).annual_extreme_min_degC == pytest.approx(
        min(before.annual_extreme_min_degC, float(after.tmin.min()) - 1.0)
    )
