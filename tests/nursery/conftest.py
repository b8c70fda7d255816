"""The open catalog, once for all tests of the desk."""

from __future__ import annotations

import pytest

from recommender import open_catalog
from recommender.catalog.catalog import Catalog


@pytest.fixture(scope="session")
def catalog() -> Catalog:
    return open_catalog()
