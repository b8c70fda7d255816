"""One catalog of the real data for all tests here, and a small data folder with its built catalog."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from recommender.catalog import Catalog, open_catalog
from recommender.catalog.package import datasets_folder


@pytest.fixture(scope="session")
def catalog(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Catalog]:
    with open_catalog(cache=tmp_path_factory.mktemp("catalog")) as opened:
        yield opened


@pytest.fixture(scope="session")
def small_data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the open data in which each crop has three facts: it builds fast. No test may change it."""
    folder = tmp_path_factory.mktemp("small") / "datasets"
    shutil.copytree(datasets_folder(), folder, ignore=shutil.ignore_patterns("*.parquet", "build", "demo"))
    for path in (folder / "traits").glob("*.csv"):
        lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
        path.write_text("".join(lines[:4]), encoding="utf-8")
    return folder


@pytest.fixture(scope="session")
def built_once(small_data: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("built")
    open_catalog(small_data, folder).close()
    return folder


@pytest.fixture
def cache(built_once: Path, tmp_path: Path) -> Path:
    """A cache folder that holds the catalog of `small_data`."""
    return Path(shutil.copytree(built_once, tmp_path / "cache"))
