"""The pollination tables beside the catalog: whole, read back as made, made again for other code."""

from __future__ import annotations

import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pandas as pd
import pytest

from recommender.biology.partners import site_matrix, whole_matrix
from recommender.biology.pollination_tables import pollination_findings, pollination_tables, site_tables
from recommender.catalog import Catalog, CatalogNotice, open_catalog
from recommender.catalog.derived import derived_path, derived_tables, read_derived
from recommender.climate.normals import normals_at
from recommender.climate.profile import build_profile
from recommender.errors import StorageFault, UnknownName


@pytest.fixture
def catalog(small_data: Path, tmp_path: Path) -> Catalog:
    return open_catalog(small_data, tmp_path / "cache")


def test_stored_pairs_are_those_of_the_matrix(catalog: Catalog) -> None:
    path = pollination_tables(catalog)
    stored = read_derived(path, "pollination")
    made = whole_matrix(catalog).pair_frame()
    assert len(stored) == len(made) > 0
    columns = ["crop", "variety", "donor_crop", "donor", "result"]
    keep = [name for name in columns if name in made.columns]
    assert stored[keep].astype(str).equals(made[keep].astype(str).reset_index(drop=True))
    assert len(read_derived(path, "pollination_need")) == len(catalog.traits())


def test_second_asking_makes_nothing(catalog: Catalog) -> None:
    path = pollination_tables(catalog)
    before = path.stat().st_mtime_ns
    assert pollination_tables(catalog) == path
    assert path.stat().st_mtime_ns == before


def test_other_code_takes_the_place_of_the_old_tables(catalog: Catalog) -> None:
    old = derived_tables(catalog, "trial", "one", lambda: {"numbers": pd.DataFrame({"n": [1]})})
    new = derived_tables(catalog, "trial", "two", lambda: {"numbers": pd.DataFrame({"n": [2]})})
    assert read_derived(new, "numbers")["n"].tolist() == [2]
    assert not old.exists()


def test_a_failure_while_making_leaves_no_file(catalog: Catalog) -> None:
    def broken() -> dict[str, pd.DataFrame]:
        raise StorageFault("No room")

    with pytest.raises(StorageFault):
        derived_tables(catalog, "trial", "one", broken)
    assert not derived_path(catalog, "trial", "one").exists()


def test_damage_and_unknown_tables_are_told_plainly(catalog: Catalog) -> None:
    path = derived_tables(catalog, "trial", "one", lambda: {"numbers": pd.DataFrame({"n": [1]})})
    with pytest.raises(UnknownName, match="letters"):
        read_derived(path, "letters")
    path.write_bytes(b"not a database")
    with pytest.raises(StorageFault, match="cannot be read"):
        read_derived(path, "numbers")


def test_a_damaged_file_is_said_and_made_again(catalog: Catalog) -> None:
    def make() -> dict[str, pd.DataFrame]:
        return {"numbers": pd.DataFrame({"n": [1]})}

    path = derived_tables(catalog, "trial", "one", make)
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    with pytest.warns(CatalogNotice, match="damaged"):
        assert derived_tables(catalog, "trial", "one", make) == path
    assert read_derived(path, "numbers")["n"].tolist() == [1]


def test_two_at_once_make_the_tables_once(catalog: Catalog) -> None:
    """Threads stand for processes: each takes the lock anew, and looks at the file under it."""
    made: list[int] = []

    def make() -> dict[str, pd.DataFrame]:
        made.append(1)
        time.sleep(0.2)
        return {"numbers": pd.DataFrame({"n": [1]})}

    with ThreadPoolExecutor(2) as pool:
        first, second = (pool.submit(derived_tables, catalog, "twice", "one", make) for _ in range(2))
        assert first.result() == second.result()
    assert made == [1]


def test_tables_of_a_site_hold_its_shared_days(catalog: Catalog) -> None:
    profile = build_profile(normals_at(50.4, -4.6), years=6)
    path = site_tables(catalog, profile)
    stored = read_derived(path, "pollination")
    assert len(stored) == len(read_derived(pollination_tables(catalog), "pollination"))
    matrix = site_matrix(catalog, profile)
    assert matrix.overlap is not None
    one = stored[(stored["female"] == "Bramley's Seedling") & (stored["male"] == "Discovery")].iloc[0]
    here = matrix.position("apple", "Bramley's Seedling"), matrix.position("apple", "Discovery")
    assert one["overlap_days"] == pytest.approx(matrix.overlap[here], abs=1e-3)
    assert 0.0 < one["overlap_days"] < 30.0
    bloom = read_derived(path, "bloom")
    assert len(bloom) == len(catalog.traits())
    assert bloom.loc[bloom["crop"].eq("apple"), "middle"].str[:2].isin(["04", "05"]).all()


def test_findings_name_file_and_row(catalog: Catalog) -> None:
    findings = pollination_findings(catalog)
    assert {"file", "row", "severity", "what", "remedy"} <= set(findings.columns)
    assert not (findings["severity"] == "fault").any()
