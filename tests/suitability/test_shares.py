"""Shares of years above a need, for one site and for many, are the mean of the normal law."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr

from recommender.suitability.shares import normal, share_above


def one_by_one(years: np.ndarray, need: np.ndarray, error: np.ndarray, own: np.ndarray) -> np.ndarray:
    total = np.maximum(np.hypot(error[None, :], own[:, None]), 1e-9)
    return ndtr((years[:, None, :] - need[None, :, None]) / total[:, :, None]).mean(axis=2)


def test_the_table_is_the_normal_law() -> None:
    z = np.random.default_rng(3).uniform(-12.0, 12.0, 200_000)
    assert np.abs(normal(z) - ndtr(z)).max() < 1e-10
    assert normal(np.array([-np.inf, np.inf])).round(12).tolist() == [0.0, 1.0]


@settings(max_examples=60, deadline=None)
@given(
    st.integers(1, 40),
    st.integers(2, 31),
    st.floats(0.0, 500.0),
    st.sampled_from([0.0, 1e-6, 0.3, 2.0, 60.0]),
    st.sampled_from([0.0, 1e-6, 0.5, 3.0, 90.0]),
    st.integers(0, 2**31),
)
def test_many_sites_get_the_shares_of_each_alone(
    sites: int, seasons: int, spread: float, least: float, own_least: float, seed: int
) -> None:
    rng = np.random.default_rng(seed)
    years = rng.normal(0.0, 1.0, (sites, 1)) * spread + rng.normal(0.0, 5.0, (sites, seasons))
    need = rng.normal(0.0, 1.0, 37) * (spread + 1.0)
    error, own = least * rng.uniform(1.0, 4.0, 37), own_least * rng.uniform(1.0, 8.0, sites)
    found = share_above(years, need, error, own)
    assert found.shape == (sites, 37)
    assert np.abs(found - one_by_one(years, need, error, own)).max() < 5e-9
    assert np.allclose(share_above(years[0], need, error, own[0]), found[0], atol=5e-9)


def test_years_that_are_all_alike_are_a_step_where_nothing_is_in_doubt() -> None:
    years, need = np.full((12, 30), 5.0), np.array([4.999, 5.001])
    assert share_above(years, need, np.zeros(2), np.zeros(12)).tolist() == [[1.0, 0.0]] * 12
