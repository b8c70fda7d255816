"""What all tests share: a cache folder of their own, and a small copy of the data for tests that build."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

from recommender.catalog.package import datasets_folder

# No test is about time: how long an example takes says what else the machine does.
settings.register_profile("orchardwright", deadline=None)
settings.load_profile("orchardwright")

# Folders and files whose tests take longest; begun first, so that no worker is left with them alone.
_LONG = ("browser", "hardening", "atlas", "swap", "test_store.py", "test_pollination_tables.py")
_WHOLE_CROPS = ("quince", "medlar", "european-plum", "japanese-plum")


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Long files first, and each file in one process; the order within a file stays.

    All tests that drive a browser share a process: every further one would bring a browser and a server more,
    which take the time from each other until a page seems to hang.
    """
    place = {name: number for number, name in enumerate(_LONG)}
    items.sort(key=lambda item: min(place.get(part, len(_LONG)) for part in item.path.parts))
    for item in items:
        group = "browser" if item.get_closest_marker("browser") else item.nodeid.partition("::")[0]
        item.add_marker(pytest.mark.xdist_group(group))


@pytest.fixture(scope="session", autouse=True)
def cache_of_the_tests(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Tests neither read nor fill the cache folder of whoever runs them."""
    folder = tmp_path_factory.mktemp("cache")
    before = os.environ.get("ORCHARDWRIGHT_CACHE")
    os.environ["ORCHARDWRIGHT_CACHE"] = str(folder)
    yield folder
    if before is None:
        del os.environ["ORCHARDWRIGHT_CACHE"]
    else:
        os.environ["ORCHARDWRIGHT_CACHE"] = before


@pytest.fixture(autouse=True)
def own_main_module() -> Iterator[None]:
    """A page under test leaves itself as `__main__`, which processes begun later would run again."""
    before = sys.modules["__main__"]
    yield
    sys.modules["__main__"] = before


@pytest.fixture
def small_data(tmp_path: Path) -> Path:
    """A copy of the open data in which most crops have three facts: it builds fast."""
    folder = tmp_path / "datasets"
    shutil.copytree(datasets_folder(), folder, ignore=shutil.ignore_patterns("*.parquet", "build", "demo"))
    for path in (folder / "traits").glob("*.csv"):
        if path.stem not in _WHOLE_CROPS:
            lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
            path.write_text("".join(lines[:4]), encoding="utf-8")
    return folder
