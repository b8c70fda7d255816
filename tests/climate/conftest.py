"""Invented series of weather, made once."""

from __future__ import annotations

import pandas as pd
import pytest

from tests.climate.weather_samples import (
    invented_series,
)


@pytest.fixture(scope="module")
def series() -> pd.DataFrame:
    return invented_series()


@pytest.fixture(scope="module")
def decade() -> pd.DataFrame:
    return invented_series("2001-01-01", "2010-12-31")
