"""The pollination tables beside the catalog: whole, read back as made, made again for other code."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from recommender.biology.partners import whole_matrix
from recommender.biology.pollination_tables import pollination_findings, pollination_tables
from recommender.catalog import Catalog, open_catalog
from recommender.catalog.derived import derived_path, derived_tables, read_derived
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


def test_findings_name_file_and_row(catalog: Catalog) -> None:
    findings = pollination_findings(catalog)
    assert {"file", "row", "severity", "what", "remedy"} <= set(findings.columns)
    assert not (findings["severity"] == "fault").any()
