"""Bloom, overlap, frost and ripening as functions: what must hold in any weather, and bad input."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recommender.biology import bloom_model
from recommender.biology.bloom_model import BudCurve, day_reached, heat_sum, light, lit, wakefulness, warmth
from recommender.biology.bloom_parameters import bloom_needs, load_bloom_parameters
from recommender.biology.bloom_table import bloom_records, bloom_summary
from recommender.biology.frost_damage import critical_temperatures, frost_damage, share_killed
from recommender.biology.phenology import (
    Bloom,
    bloom,
    full_bloom,
    iso_date,
    overlap_days,
    phenology,
    shared_by_year,
)
from recommender.biology.ripening import pace
from recommender.catalog.catalog import Catalog
from recommender.climate.normals import normals_at
from recommender.climate.profile import Profile, build_profile, profile_from_daily
from recommender.errors import BadInput, StorageFault


@pytest.fixture(scope="module")
def catalog() -> Catalog:
    from recommender import open_catalog

    return open_catalog()


@pytest.fixture(scope="module")
def temperate() -> Profile:
    return build_profile(normals_at(50.6, 7.0), years=12)


@pytest.fixture(scope="module")
def southern() -> Profile:
    return build_profile(normals_at(-41.2, 174.9), years=12)


@pytest.fixture(scope="module")
def winterless() -> Profile:
    return build_profile(normals_at(10.5, -66.9), years=8)


def of(catalog: Catalog, crop: str, *names: str) -> pd.DataFrame:
    traits = catalog.traits()
    mine = traits[traits["crop"] == crop]
    return mine[mine["variety"].isin(names)].reset_index(drop=True) if names else mine.reset_index(drop=True)


CURVE = BudCurve(60.0, 6.0, 0.6, 15.0, 0.25, light_h=5.5)
# Days of the year of a northern bud year: 1 September on.
BUD_YEAR = (np.arange(365) + 243) % 365 + 1


@given(st.lists(st.floats(0.01, 30.0), min_size=3, max_size=200), st.floats(0.0, 3000.0))
def test_day_reached_is_the_inverse_of_the_running_sum(steps: list[float], wanted: float) -> None:
    running = np.cumsum(steps)
    day = day_reached(running, [wanted])[0]
    if wanted > running[-1]:
        assert np.isnan(day)
    elif wanted >= running[0]:
        assert bloom_model.curve_at(running, day) == pytest.approx(wanted)


@given(st.floats(0.0, 150.0), st.floats(0.0, 150.0))
def test_more_chill_never_makes_buds_sleepier(one: float, other: float) -> None:
    low, high = sorted((one, other))
    assert wakefulness(low, CURVE) <= wakefulness(high, CURVE)


@given(st.floats(0.0, 66.0), st.floats(4.5, 7.0))
def test_warmth_counts_in_no_light_before_the_shortest_day_and_never_less_afterwards(
    lat: float, light_h: float
) -> None:
    """Both hemispheres, up to the polar circle: dark until the solstice, lighter every day until the next."""
    for year, at in ((BUD_YEAR, lat), ((np.arange(365) + 59) % 365 + 1, -lat)):
        share = lit(light(at, year), light_h)
        shortest = int(np.argmax(np.isfinite(light(at, year))))
        assert (share[:shortest] == 0.0).all()
        if lat > 5.0:  # nearer the equator days are alike
            assert 108 <= shortest <= 114
            assert (np.diff(share[shortest : shortest + 175]) >= -1e-9).all()
        assert (lit(light(at, year), float("nan")) == 1.0).all()


@settings(max_examples=40, deadline=None)
@given(st.floats(0.1, 6.0), st.integers(0, 50))
def test_a_warmer_spring_never_delays_bloom_when_chill_is_met(by: float, seed: int) -> None:
    hourly = np.random.default_rng(seed).normal(10.0, 6.0, (1, 365, 24))
    chill, light_of_days = np.full((1, 365), 80.0), light(50.0, BUD_YEAR)
    cool, warm = (heat_sum(warmth(hourly + d, 15.0, 0.25), chill, CURVE, light_of_days)[0] for d in (0.0, by))
    assert day_reached(warm, [200.0])[0] <= day_reached(cool, [200.0])[0]


def test_temperate_fruit_blooms_in_spring_in_both_hemispheres(
    catalog: Catalog, temperate: Profile, southern: Profile
) -> None:
    traits = of(catalog, "apple", "Discovery", "Bramley's Seedling", "Cox's Orange Pippin")
    for profile, months in ((temperate, ("04", "05")), (southern, ("09", "10", "11"))):
        records = bloom_records(traits, profile)
        assert set(records["full_bloom"].str[5:7]) <= set(months)


def test_bloom_record_carries_the_year_it_falls_in() -> None:
    assert iso_date(300.0, 2003, "north") == "2003-04-27"
    assert iso_date(270.0, 2003, "south") == "2002-09-28"
    assert iso_date(150.0, 2003, "north") == "2002-11-28"
    assert iso_date(float("nan"), 2003, "north") is None


def test_rows_of_a_frame_do_not_influence_each_other(catalog: Catalog, temperate: Profile) -> None:
    """The same varieties alone, shuffled or among all others get the same parameters and dates, save for what
    their crop's offsets say of its middle."""
    traits = catalog.traits().reset_index(drop=True)
    everything = full_bloom(traits, temperate)
    order = np.random.default_rng(3).permutation(len(traits))
    shuffled = full_bloom(traits.iloc[order].reset_index(drop=True), temperate)
    np.testing.assert_allclose(shuffled, everything[order], atol=1e-6)


def test_vectorised_dates_equal_a_plain_loop(catalog: Catalog, temperate: Profile) -> None:
    traits = catalog.traits().iloc[::97].reset_index(drop=True)
    parameters = load_bloom_parameters()
    needs = bloom_needs(traits, parameters)
    weather = bloom_model.bud_weather(temperate)
    fast = full_bloom(traits, temperate, parameters)
    for row in range(len(traits)):
        curve = parameters.curve(str(needs.crop[row]), float(needs.need_factor[row]))
        daily = warmth(weather.hourly[0], curve.warmth_degC, curve.steepness)
        start = bloom_model.bud_day_of(curve.heat_from, temperate)
        shares = bloom_model.lit(weather.light, curve.light_h)
        total = 0.0
        expected = float("nan")
        for day in range(365):
            awake = float(wakefulness(weather.chill[0, day], curve))
            counted = 0.0 if day < start else daily[day] * awake * float(shares[day])
            if total < np.exp(needs.log_requirement[row]) <= total + counted:
                expected = day - 1 + (np.exp(needs.log_requirement[row]) - total) / counted
            total += counted
        assert fast[row, 0] - weather.first_day == pytest.approx(expected, abs=1e-3, nan_ok=True)


def test_chill_failure_is_late_straggling_and_said(
    catalog: Catalog, temperate: Profile, winterless: Profile
) -> None:
    traits = of(catalog, "european-pear", "Conference", "Doyenné du Comice", "Concorde")
    cool, hot = bloom(traits, temperate), bloom(traits, winterless)
    assert not cool.chill_failure.any()
    assert hot.chill_failure.all()
    # Warmer every day of the year, and yet later: warmth without chill wakes no bud.
    assert (np.nan_to_num(hot.day, nan=np.inf).min(axis=1) > np.nanmedian(cool.day, axis=1)).all()
    finite = np.isfinite(hot.day)
    assert (hot.length_d[finite] > np.nanmedian(cool.length_d)).all()


def test_errors_widen_from_observed_to_unknown(catalog: Catalog) -> None:
    needs = bloom_needs(of(catalog, "european-pear"))
    by = {name: needs.variety_error_d[needs.told_by == name].mean() for name in set(needs.told_by)}
    assert by["observed"] < by["bloom season"] < by["crop"]


def test_every_variety_has_a_date_and_an_error_where_its_crop_grows(
    catalog: Catalog, temperate: Profile
) -> None:
    traits = catalog.traits()
    needs = bloom_needs(traits)
    assert np.isfinite(needs.error_d).all()
    assert (needs.error_d > 2.0).all()
    hardy = traits["crop"].isin(
        ["apple", "european-pear", "european-plum", "sweet-cherry", "quince", "hazelnut"]
    )
    assert np.isfinite(full_bloom(traits[hardy].reset_index(drop=True), temperate)).all()


def _made(start: list[list[float]], end: list[list[float]], doubt: float = 2.0) -> Bloom:
    """Invented blooms."""
    first, last = np.array(start, dtype=float), np.array(end, dtype=float)
    n = len(first)
    words = np.full(n, "crop", dtype=object)
    return Bloom(
        (first + last) / 2,
        first,
        last,
        np.zeros(first.shape),
        np.full(n, 5.0),
        np.full(n, doubt),
        words,
        words,
    )


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.floats(200, 320), st.floats(4, 40)), min_size=2, max_size=6),
    st.floats(0.0, 6.0),
)
def test_overlap_is_symmetric_and_no_longer_than_either_bloom(
    blooms: list[tuple[float, float]], doubt: float
) -> None:
    made = _made([[a] for a, _ in blooms], [[a + n] for a, n in blooms], doubt)
    every = np.arange(len(blooms))
    days, often = overlap_days(made, every, every)
    np.testing.assert_allclose(days, days.T, atol=1e-3)
    assert (days <= np.minimum(made.length_d, made.length_d.T) + 1e-3).all()
    assert ((often >= 0) & (often <= 1 + 1e-9)).all()
    np.testing.assert_allclose(np.diag(days), made.length_d[:, 0], atol=1e-3)


def test_overlap_without_doubt_is_the_plain_intersection() -> None:
    made = _made([[100.0, 100.0], [105.0, 130.0]], [[110.0, 110.0], [115.0, 140.0]], doubt=0.0)
    assert shared_by_year(made, 0, 1).tolist() == [5.0, 0.0]
    days, often = overlap_days(made, [0], [1])
    # The scatter between two trees of one garden is integrated over, so not exactly 2.5 and 0.5.
    assert days[0, 0] == pytest.approx(2.5, abs=0.3)
    assert often[0, 0] == pytest.approx(0.5, abs=0.1)


def test_a_year_without_bloom_shares_nothing() -> None:
    made = _made([[100.0, np.nan], [100.0, 100.0]], [[110.0, np.nan], [110.0, 110.0]])
    days, often = overlap_days(made, [0, 1], [0, 1])
    assert np.isfinite(days).all()
    assert often[0, 1] <= 0.5 + 1e-9


@given(st.floats(-20, 5), st.floats(-10, -1), st.floats(0.5, 10))
def test_colder_nights_kill_more(night: float, ten: float, gap: float) -> None:
    killed = share_killed(np.array([night, night - 1.0]), np.array([ten]), np.array([ten - gap]))
    assert 0.0 <= killed[0] <= killed[1] <= 1.0


def test_frost_takes_more_in_a_hollow_and_nothing_without_frost(catalog: Catalog, temperate: Profile) -> None:
    traits = of(catalog, "apricot").head(6)
    table = catalog.bloom_critical_temps()
    usual = frost_damage(traits, temperate, table)
    hollow = frost_damage(traits, temperate, table, frost_shift=-3.0)
    warm = frost_damage(traits, temperate, table, frost_shift=25.0)
    assert (hollow.lost >= usual.lost - 1e-9).all()
    assert (hollow.lost > usual.lost).any()
    assert (warm.lost == 0.0).all()
    assert (hollow.probability(0.1) >= hollow.probability(0.9)).all()


def test_crops_without_published_kill_temperatures_stay_unknown(catalog: Catalog, temperate: Profile) -> None:
    traits = of(catalog, "jujube").head(2)
    found = frost_damage(traits, temperate, catalog.bloom_critical_temps())
    assert np.isnan(found.lost).all()
    assert np.isnan(found.probability(0.1)).all()


def test_one_source_serves_per_crop(catalog: Catalog) -> None:
    table = catalog.bloom_critical_temps()
    for crop in ("apple", "peach", "quince", "nectarine"):
        _, rows = critical_temperatures(table, crop)
        assert len(set(rows["source_id"])) == 1
        assert len(rows) >= 4


def test_fruit_ripens_after_bloom_and_sooner_where_it_is_warmer(catalog: Catalog, temperate: Profile) -> None:
    traits = of(catalog, "apple").head(40)
    warmer = build_profile(normals_at(50.6, 7.0), years=12, warming_degC=3.0)
    for profile in (temperate, warmer):
        found = phenology(traits, profile)
        assert (found.harvest.start > found.bloom.day + 40).all()
        assert (found.harvest.eaten_until >= found.harvest.end).all()
    early, late = (
        np.nanmedian(phenology(traits, each).harvest.start, axis=1) for each in (warmer, temperate)
    )
    assert (early < late).all()


def test_not_ripe_before_the_season_ends_is_a_probability_that_rises_in_the_cold(catalog: Catalog) -> None:
    traits = of(catalog, "apple").head(60)
    cold = phenology(traits, build_profile(normals_at(62.0, 25.0), years=10)).harvest.not_ripe_probability
    mild = phenology(traits, build_profile(normals_at(44.8, 0.6), years=10)).harvest.not_ripe_probability
    assert ((cold >= 0) & (cold <= 1)).all()
    assert cold.mean() > mild.mean()


def test_hanging_fruit_follows_its_window_in_both_hemispheres(catalog: Catalog, southern: Profile) -> None:
    traits = of(catalog, "sweet-orange").head(5)
    for profile in (build_profile(normals_at(39.5, -0.4), years=6), southern):
        found = phenology(traits, profile).harvest
        assert set(found.told_by) == {"window"}
        assert ((found.start >= 0) & (found.start < 548)).all()


def test_storage_lengthens_the_eating_window(catalog: Catalog, temperate: Profile) -> None:
    traits = of(catalog, "apple").dropna(subset=["storage"]).head(5).reset_index(drop=True)
    found = phenology(traits, temperate).harvest
    np.testing.assert_allclose(
        found.eaten_until - found.end, np.repeat(traits[["storage"]].to_numpy() * 7.0, 12, axis=1), atol=1e-6
    )


@given(st.floats(-10, 40), st.floats(0, 1))
def test_pace_is_never_backward(mean: float, by_warmth: float) -> None:
    assert pace(np.array([mean]), by_warmth)[0] >= -1e-12


def test_summary_names_early_middle_and_late_in_order(catalog: Catalog, temperate: Profile) -> None:
    summary = bloom_summary(of(catalog, "european-plum"), temperate)
    assert (summary["early_day"] <= summary["middle_day"]).all()
    assert (summary["middle_day"] <= summary["late_day"]).all()
    assert summary["middle_day"].is_monotonic_increasing


def test_bad_input_is_told(tmp_path: Path, temperate: Profile) -> None:
    with pytest.raises(BadInput, match="no column crop, variety"):
        bloom_needs(pd.DataFrame({"name": ["x"]}))
    with pytest.raises(StorageFault, match="cannot be read"):
        load_bloom_parameters(tmp_path)
    (tmp_path / "bloom_parameters.csv").write_text("crop\napple\n")
    (tmp_path / "bloom_varieties.csv").write_text("crop\napple\n")
    with pytest.raises(BadInput, match="has no column"):
        load_bloom_parameters(tmp_path)


def test_a_crop_nobody_described_gets_a_very_wide_error(temperate: Profile) -> None:
    """An invented crop."""
    traits = pd.DataFrame({"crop": ["cloudberry-tree", "apple"], "variety": ["One", "Two"]})
    needs = bloom_needs(traits)
    assert needs.error_d[0] > 2 * needs.error_d[1]
    assert np.isfinite(full_bloom(traits, temperate)).all()


def test_a_daily_record_gives_dates_of_its_own_years() -> None:
    """Invented weather: every year alike."""
    days = pd.date_range("2000-01-01", "2003-12-31")
    mean = 10.0 - 9.0 * np.cos(2 * np.pi * (days.day_of_year - 20) / 365.25)
    frame = pd.DataFrame({"date": days, "tmin_degC": mean - 5, "tmax_degC": mean + 5})
    profile = profile_from_daily(frame, 50.0)
    traits = pd.DataFrame({"crop": ["apple"], "variety": ["Nobody's"]})
    records = bloom_records(traits, profile)
    assert records["year"].tolist() == [2001, 2002, 2003]
    assert [date[:4] for date in records["full_bloom"]] == ["2001", "2002", "2003"]
