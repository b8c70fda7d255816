"""Sites of an atlas: lists, grids and countries, and what is wrong with them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from recommender.atlas import sites
from recommender.atlas.sites import COLUMNS, country_sites, grid_sites, listed_sites
from recommender.climate.places import PlaceMatch, find_place
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


def test_what_the_table_reader_leaves_out_is_told_and_not_taken_for_empty(tmp_path: Path) -> None:
    path = tmp_path / "customers.csv"
    path.write_text(
        "name,lat,lon,height\nA,50.9,-3.1,=B2*0.3048\nB,50.9,-3.1," + "1" * 1_500 + "\n=A1,50.9,-3.1,\n"
        "D,=1+50,-3.1,\nE,50.9,-3.1,\n",
        encoding="utf-8",
    )
    with pytest.raises(DataFaults, match="4 of 5 sites") as told:
        listed_sites(path)
    assert [fault.split(":")[0] for fault in told.value.faults] == [
        "customers.csv, row 2, column “height”",
        "customers.csv, row 3, column “height”",
        "customers.csv, row 4, column “name”",
        "customers.csv, row 5, column “lat”",
    ]
    assert "no number" not in str(told.value)


@pytest.mark.parametrize(
    ("cell", "said"),
    [
        ("inf", "not between -450 and 6000"),
        ("nan", "not between -450 and 6000"),
        ("1e300", "not between -450 and 6000"),
        ("-5000", "not between -450 and 6000"),
        ("1e6", "not between -450 and 6000"),
        ("abc", "“abc” is no number. Write metres"),
        ("1,234", "“1,234” can be 1234 m or 1.234 m. Write metres without a comma."),
    ],
)
def test_a_height_that_cannot_be_is_told_by_row_and_column(cell: str, said: str, tmp_path: Path) -> None:
    path = tmp_path / "customers.csv"
    path.write_text(f"place;Height\nGeneva;12,5\nHobart;{cell}\n", encoding="utf-8")
    with pytest.raises(DataFaults, match="1 of 2 sites") as told:
        listed_sites(path)
    assert told.value.faults[0].startswith("customers.csv, row 3, column “Height”: ")
    assert said in told.value.faults[0]


def test_the_column_of_a_point_that_cannot_be_is_told(tmp_path: Path) -> None:
    path = tmp_path / "customers.csv"
    path.write_text("lat,Long\n95,10\n50,east\n50,\n", encoding="utf-8")
    with pytest.raises(DataFaults) as told:
        listed_sites(path)
    assert [fault.split(":")[0] for fault in told.value.faults] == [
        "customers.csv, row 2, column “lat”",
        "customers.csv, row 3, column “Long”",
        "customers.csv, row 4, column “Long”",
    ]


def test_a_place_is_looked_up_once_and_suggestions_end_with_the_faults_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[tuple[str, bool]] = []

    def counted(text: str, *, suggest: bool = True) -> PlaceMatch:
        asked.append((text, suggest))
        return find_place(text, suggest=suggest)

    monkeypatch.setattr(sites, "find_place", counted)
    path = tmp_path / "customers.csv"
    path.write_text("place\n" + "Hobart\n" * 50, encoding="utf-8")
    assert len(listed_sites(path)) == 50
    assert asked == [("Hobart", True)]
    asked.clear()
    unknown = [f"Nowhereville-on-Sea {number}" for number in range(sites.MOST_FAULTS + 2)]
    path.write_text("place\n" + "\n".join(unknown * 2) + "\n", encoding="utf-8")
    with pytest.raises(DataFaults, match="44 of 44") as told:
        listed_sites(path)
    assert asked == [(name, number < sites.MOST_FAULTS) for number, name in enumerate(unknown)]
    assert told.value.faults[-1] == "and 24 more"


def test_a_place_of_very_many_letters_is_told_and_not_looked_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sites, "find_place", lambda *_, **__: pytest.fail("it was looked up"))
    path = tmp_path / "customers.csv"
    path.write_text("place\n" + "a " * 495 + "\n", encoding="utf-8")
    with pytest.raises(DataFaults, match="row 2, column “place”: 989 letters are no name of a place"):
        listed_sites(path)


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


def test_longitudes_of_a_grid_lie_from_180_west_to_180_east() -> None:
    west_of_greenwich = grid_sites(1.0, (-6.0, 51.0, -1.0, 52.0))
    counted_on = grid_sites(1.0, (354.0, 51.0, 359.0, 52.0))
    pd.testing.assert_frame_equal(counted_on, west_of_greenwich)
    over_the_date_line = grid_sites(1.0, (178.0, -39.0, 182.0, -16.0))["lon"]
    assert over_the_date_line.between(-180.0, 180.0).all()
    assert (over_the_date_line < 0.0).any()
    assert (over_the_date_line > 0.0).any()


def test_no_land_stands_twice_in_a_grid() -> None:
    with pytest.raises(BadInput, match="within 360 degrees"):
        grid_sites(1.0, (-6.0, 51.0, 359.0, 51.5))
    whole = grid_sites(5.0, (-180.0, 65.0, 180.0, 70.0))
    assert not whole.duplicated(["lat", "lon"]).any()
    assert not {-180.0, 180.0} <= set(whole["lon"])
