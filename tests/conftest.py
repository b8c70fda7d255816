"""What all tests share: a cache folder of their own, and a small copy of the data for tests that build."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings
from xdist.scheduler import LoadFileScheduling

from recommender.catalog.package import datasets_folder

# No test is about time: how long an example takes says what else the machine does.
settings.register_profile("orchardwright", deadline=None)
settings.load_profile("orchardwright")

# Folders and files whose tests take longest; begun first, so that no worker is left with them alone.
_LONG = ("browser", "hardening", "atlas", "swap", "test_store.py", "test_pollination_tables.py")
_WHOLE_CROPS = ("quince", "medlar", "european-plum", "japanese-plum")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Long files first; the order within a file stays."""
    place = {name: number for number, name in enumerate(_LONG)}
    items.sort(key=lambda item: min(place.get(part, len(_LONG)) for part in item.path.parts))


class BrowserTogether(LoadFileScheduling):
    """Each file in one process, and all that drive a browser in the same: every further one would bring a
    browser and a server more, which take the time from each other until a page seems to hang.
    """

    def _split_scope(self, nodeid: str) -> str:
        file = str(super()._split_scope(nodeid))
        return "tests/browser" if file.startswith("tests/browser/") else file


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> BrowserTogether:
    """Which process runs what."""
    return BrowserTogether(config, log)


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
