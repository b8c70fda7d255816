"""Rules of the trade (all `common practice`: growers agree on them, no single source) against the product."""

from __future__ import annotations

import numpy as np
import pytest

from recommender.climate import chill, hourly
from recommender.suitability import criteria
from recommender.suitability.expectations import (
    ZONE_RATING_ERROR_K,
    Trait,
)
from recommender.suitability.timing import weeks_of_fruit
from recommender.suitability.zones import ZONE_MARGIN_K, zone_bound


@pytest.mark.parametrize(("tmin", "tmax"), [(0.5, 8.0), (1.0, 10.0), (2.0, 8.0)])
def test_300_chill_hours_are_about_two_to_three_weeks_of_cold_enough_hours(tmin: float, tmax: float) -> None:
    days = np.arange(1, 61)
    hours = hourly.hourly_temperatures(np.full(60, tmin), np.full(60, tmax), 35.0, days)
    running = chill.chill_hours_0_7(hours, running=True)
    needed = int(np.searchsorted(running, 300.0)) + 1
    assert 12 <= needed <= 22


@pytest.mark.parametrize("site_zone", [4.0, 5.5, 6.0, 7.5, 8.0])
def test_two_zones_colder_is_the_safe_choice(site_zone: float) -> None:
    # Yearly extremes vary by about 4 K from winter to winter around the middle of the site's half-zone.
    winters = zone_bound(np.array([site_zone]))[0] + 1.4 + 4.0 * np.linspace(-2.0, 2.0, 41)

    def survival(rating: float) -> float:
        limit = zone_bound(np.array([rating])) - ZONE_MARGIN_K
        hardiness = Trait(limit, np.array([ZONE_RATING_ERROR_K]), np.array([True]))
        return float(criteria.winter_survival(winters, hardiness, 1.0)[0])

    safe = survival(criteria.safe_zone(site_zone))
    assert criteria.safe_zone(site_zone) == site_zone - 2.0
    assert safe > 0.99
    assert 0.75 < survival(site_zone) < 0.95
    assert survival(site_zone + 2.0) < 0.5


def test_three_two_week_windows_that_do_not_overlap_give_six_weeks_of_fruit() -> None:
    starts = np.array([220.0, 250.0, 280.0])
    assert weeks_of_fruit(starts, starts + 14.0) == 6.0
    assert weeks_of_fruit(np.array([220.0, 227.0, 280.0]), np.array([234.0, 241.0, 294.0])) == 5.0
