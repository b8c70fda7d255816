"""Sites of an atlas: lists, grids and countries, and what is wrong with them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from recommender.atlas.sites import COLUMNS, country_sites, grid_sites, listed_sites
from recommender.errors import BadInput, DataFaults, UnknownName


def test_a_list_takes_places_and_points_alike(tmp_path: Path) -> None:
    path = tmp_path / "customers.csv"
    path.write_text(
        "Customer;Place;Latitude;Longitude;Elevation\nThe parish of Withy Hollow;;50,9;-3.1;60\n"
        'Geneva;"Geneva, New York";;;\n',
        encoding="utf-8",
    )
    found = listed_sites(path)
    assert list(found) == list(COLUMNS)
    assert found["name"].tolist() == ["The parish of Withy Hollow", "Geneva"]
    assert found["lat"].round(1).tolist() == [50.9, 42.9]
    assert found["elevation_m"].tolist()[0] == 60.0


def test_every_row_that_cannot_be_placed_is_named(tmp_path: Path) -> None:
    path = tmp_path / "customers.csv"
    path.write_text("place,lat,lon\nNowhereville-on-Sea,,\n,95,10\n,north,10\nHobart,,\n", encoding="utf-8")
    with pytest.raises(DataFaults) as told:
        listed_sites(path)
    assert len(told.value.faults) == 3
    assert all(f"row {row}" in str(told.value) for row in (2, 3, 4))


def test_a_list_without_a_place_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "customers.csv"
    path.write_text("name,colour\nA,red\n", encoding="utf-8")
    with pytest.raises(BadInput, match="nowhere where"):
        listed_sites(path)


def test_a_country_is_known_by_name_and_code() -> None:
    by_code, by_name = country_sites("LU"), country_sites("Luxembourg")
    assert len(by_code) == len(by_name) > 50
    assert set(by_code["country"]) == {"Luxembourg"}
    assert (country_sites("LU", people=10_000)["population"] >= 10_000).all()
    with pytest.raises(UnknownName, match="Luxemborg"):
        country_sites("Luxemborg")
    with pytest.raises(BadInput, match="No site is left"):
        country_sites("LU", people=10**9)


def test_a_grid_keeps_to_the_land() -> None:
    found = grid_sites(1.0, (-6.0, 50.0, 2.0, 53.0))
    assert 15 < len(found) < 36
    assert found["elevation_m"].isna().all()
    assert np.allclose(found["lat"] % 1.0, 0.0)
    with pytest.raises(BadInput, match="cannot be made"):
        grid_sites(0.0, (-6.0, 50.0, 2.0, 53.0))
    with pytest.raises(BadInput, match="No site is left"):
        grid_sites(1.0, (-45.0, 40.0, -40.0, 45.0))


def test_a_list_with_two_latitudes_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "sites.csv"
    path.write_text("lat,lon,lat\n51.1,-2.8,51.1\n51.2,-2.9,15.2\n")
    with pytest.raises(DataFaults, match=r"sites\.csv, row 3, column “lat”"):
        listed_sites(path)
