"""Claims about frost dates and their probabilities."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from recommender.climate import frost
from recommender.errors import BadInput


@given(arrays(np.float64, (4, 30), elements=st.floats(-5, 5)), st.floats(-4, 4))
def test_no_frost_before_the_first_or_after_the_last(tmin: np.ndarray, threshold: float) -> None:
    first, last = frost.first_frost(tmin, threshold), frost.last_frost(tmin, threshold)
    for year in range(4):
        if np.isnan(first[year]):
            assert (tmin[year] > threshold).all()
            assert np.isnan(last[year])
            continue
        begin, end = int(first[year]), int(last[year])
        assert tmin[year, begin] <= threshold
        assert tmin[year, end] <= threshold
        assert (tmin[year, :begin] > threshold).all()
        assert (tmin[year, end + 1 :] > threshold).all()


def test_a_colder_threshold_is_passed_earlier_in_spring() -> None:
    tmin = np.array([[-6.0, -1.0, -3.0, 0.0, 2.0]])
    assert frost.last_frost(tmin, 0.0)[0] == 3
    assert frost.last_frost(tmin, -2.0)[0] == 2
    assert frost.last_frost(tmin, -5.0)[0] == 0


def test_years_without_frost_count_as_safe_years() -> None:
    last = np.array([100.0, 110.0, np.nan, np.nan, 120.0, np.nan, np.nan, np.nan, np.nan, np.nan])
    assert frost.spring_risk(last, [90, 105, 125]).tolist() == [0.3, 0.2, 0.0]
    assert math.isnan(frost.last_frost_at(last, 0.5))
    assert frost.last_frost_at(last, 0.1) == pytest.approx(111.0)
    first = np.array([np.nan, 480.0, 500.0, np.nan])
    assert frost.autumn_risk(first, [479, 490, 547]).tolist() == [0.0, 0.25, 0.5]
    assert math.isnan(frost.first_frost_at(first, 0.9))
    assert frost.first_frost_at(first, 0.0) == 480.0


def test_one_spring_in_ten_is_later_than_the_middle_one() -> None:
    last = np.arange(200.0, 301.0)
    assert frost.last_frost_at(last, 0.1) == 290.0
    assert frost.last_frost_at(last, 0.5) == 250.0
    assert frost.first_frost_at(last, 0.1) == 210.0


def test_frost_free_days_lie_between_the_dates_and_need_no_frost_at_either_end() -> None:
    days = frost.frost_free_days([200.0, np.nan, 250.0, np.nan], [500.0, 500.0, np.nan, np.nan], 184.0, 548.0)
    assert days.tolist() == [299.0, 316.0, 297.0, 365.0]


def test_a_probability_above_one_is_refused() -> None:
    with pytest.raises(BadInput, match="between 0 and 1"):
        frost.last_frost_at([1.0], 1.5)
