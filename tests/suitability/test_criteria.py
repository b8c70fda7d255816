"""Each criterion does what its meaning says, on invented climates and varieties."""

from __future__ import annotations

from functools import lru_cache
from typing import Any, cast

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from recommender.suitability import criteria
from recommender.suitability.expectations import Trait, Varieties, expect
from recommender.suitability.garden_partners import garden_partners
from recommender.suitability.goals import Goals
from recommender.suitability.site import Site
from recommender.suitability.timing import timing, weeks_of_fruit
from tests.suitability.invented import InventedCatalog, climate


@lru_cache(maxsize=1)
def invented() -> Varieties:
    catalog = InventedCatalog()
    return expect(catalog.traits(), catalog.crops(), catalog.rootstocks(), catalog.settled_all())


def row(varieties: Varieties, name: str) -> int:
    return int(np.flatnonzero(varieties.frame["variety"] == name)[0])


def one(value: float, error: float) -> Trait:
    return Trait(np.array([value]), np.array([error]), np.array([True]))


@given(st.floats(-45, 0), st.floats(0.5, 10), st.floats(0.1, 20))
def test_a_hardier_tree_never_survives_less(limit: float, error: float, hardier: float) -> None:
    years = climate(coldest=-20.0).annual_min
    tender = criteria.winter_survival(years, one(limit, error), 1.0)[0]
    hardy = criteria.winter_survival(years, one(limit - hardier, error), 1.0)[0]
    assert 0.0 <= tender <= hardy <= 1.0


@settings(deadline=None)
@given(st.floats(0, 2000), st.floats(1, 500))
def test_more_chill_never_suits_less(chill: float, more: float) -> None:
    varieties = invented()
    less_chill, more_chill = climate(chill=chill + 1), climate(chill=chill + 1 + more)
    before = criteria.enough_chill(
        less_chill.chill_hours_below_7, less_chill.chill_portions, varieties, 100.0, 6.0
    )
    after = criteria.enough_chill(
        more_chill.chill_hours_below_7, more_chill.chill_portions, varieties, 100.0, 6.0
    )
    assert (after >= before - 1e-12).all()


def test_a_vague_figure_gives_a_middling_answer() -> None:
    years = climate(coldest=-20.0).annual_min
    for limit, side in ((-30.0, 1), (-10.0, -1)):
        sure = criteria.winter_survival(years, one(limit, 2.0), 1.0)[0]
        vague = criteria.winter_survival(years, one(limit, 25.0), 1.0)[0]
        assert side * (sure - vague) > 0.2


def test_unpublished_traits_are_the_crops_with_a_wider_error() -> None:
    varieties = invented()
    known, unknown = row(varieties, "Withy Early"), row(varieties, "Withy Unwritten")
    apples = varieties.frame["crop"] == "apple"
    assert not varieties.hardiness.known[unknown]
    assert varieties.hardiness.error[unknown] > varieties.hardiness.error[known]
    assert varieties.hardiness.value[apples].min() < varieties.hardiness.value[unknown]
    assert varieties.hardiness.value[unknown] < varieties.hardiness.value[apples].max()
    assert varieties.chill_hours.error[unknown] > varieties.chill_hours.error[known]


def test_one_vague_claim_gives_way_to_its_crop_and_a_sure_one_does_not() -> None:
    catalog = InventedCatalog()
    frame = catalog.traits()
    frame["zone_min_low"], frame["zone_min_high"] = frame["zone_min"] - 0.2, frame["zone_min"] + 0.2
    sure = expect(frame, catalog.crops())
    at = row(sure, "Withy Hardy")
    frame.loc[at, ["zone_min_low", "zone_min_high"]] = [0.0, 4.0]
    vague = expect(frame, catalog.crops())
    assert vague.hardiness.value[at] > sure.hardiness.value[at] + 2.0
    assert vague.hardiness.error[at] > sure.hardiness.error[at]


def test_a_crop_that_needs_no_chill_is_content_without() -> None:
    varieties, warm = invented(), climate(chill=1.0)
    share = criteria.enough_chill(warm.chill_hours_below_7, warm.chill_portions, varieties, 100.0, 6.0)
    assert share[row(varieties, "Parish Orange")] == 1.0
    assert share[row(varieties, "Withy Late")] < 0.05


def test_a_small_chill_need_wakes_early_where_winters_bring_much() -> None:
    varieties = invented()
    asleep = criteria.stays_asleep(climate(chill=2400).chill_hours_0_7, varieties)
    assert asleep[row(varieties, "Withy Soft")] < asleep[row(varieties, "Withy Late")] - 0.2
    at_home = criteria.stays_asleep(climate(chill=350).chill_hours_0_7, varieties)
    assert at_home[row(varieties, "Withy Soft")] > 0.95


def season(**of: Any) -> tuple[Varieties, Any]:
    varieties = invented()
    return varieties, timing(cast(Any, climate(**of)), varieties)


def test_late_fruit_fails_first_where_summers_are_short() -> None:
    varieties, when = season(summer=19.0, winter=-8.0)
    ripe = criteria.ripens_in_time(when, varieties.evergreen)
    assert ripe[row(varieties, "Withy Early")] > ripe[row(varieties, "Withy Late")] + 0.2


def test_north_and_south_bloom_at_the_same_distance_from_midwinter() -> None:
    varieties, north = season()
    _, south = season(hemisphere="south")
    apples = (varieties.frame["crop"] == "apple").to_numpy()
    shift = (north.bloom[apples] - 184) - (south.bloom[apples] - 181)
    assert np.abs(shift).max() <= 3


def test_bloom_and_harvest_move_with_warmth() -> None:
    (varieties, cool), (_, warm) = season(summer=16.0), season(summer=24.0)
    apples = (varieties.frame["crop"] == "apple").to_numpy()
    assert (warm.bloom[apples] < cool.bloom[apples]).all()
    grown = [np.median(when.harvest - when.bloom, axis=1)[apples] for when in (cool, warm)]
    assert (grown[1] < grown[0]).all()


def test_fruit_that_never_ripens_is_never_called_ripe() -> None:
    varieties, when = season(summer=2.0, winter=-25.0)
    assert (criteria.ripens_in_time(when, varieties.evergreen)[~varieties.evergreen] < 0.05).all()


def test_a_frost_hollow_costs_blossom() -> None:
    place, varieties = climate(summer=18.0, winter=-2.0), invented()
    kill10, kill90 = criteria.kill_temperatures(
        InventedCatalog().bloom_critical_temps(), varieties.frame["crop"]
    )
    shares = [
        criteria.bloom_without_frost(
            place.tmin + shift,
            timing(cast(Any, place), varieties),
            kill10,
            kill90,
            varieties.evergreen,
        )
        for shift in (-8.0, -11.5)
    ]
    apples = (varieties.frame["crop"] == "apple").to_numpy()
    assert (shares[1][apples] <= shares[0][apples]).all()
    assert shares[1][apples].mean() < shares[0][apples].mean() - 0.1


def test_a_tree_that_stands_there_is_a_partner_unless_it_is_its_twin() -> None:
    varieties, when = season()
    rows, catalog = np.arange(len(varieties)), cast(Any, InventedCatalog())
    alone, beside = (
        criteria.pollination(garden_partners(catalog, trees, rows, when.blooms), "no")
        for trees in ([], [("apple", "Withy Early")])
    )
    assert beside[row(varieties, "Withy Late")] > 0.8
    assert beside[row(varieties, "Withy Late")] > alone[row(varieties, "Withy Late")]
    assert beside[row(varieties, "Withy Early")] == alone[row(varieties, "Withy Early")]
    assert beside[row(varieties, "Withy Twin")] == alone[row(varieties, "Withy Twin")]
    assert alone[row(varieties, "Withy Hardy")] == 1.0


def test_season_wishes_share_the_season_between_them() -> None:
    varieties = invented()
    parts = [criteria.wanted_season(varieties, [word]) for word in ("early", "mid", "late")]
    assert np.allclose(np.sum(parts, axis=0), 1.0)
    assert parts[0][row(varieties, "Withy Early")] > 0.7
    assert parts[2][row(varieties, "Withy Late")] > 0.7


def test_unknown_use_is_worth_less_than_the_wanted_and_more_than_another() -> None:
    varieties = invented()
    fresh = criteria.wanted_use(varieties, ["fresh"])
    assert fresh[row(varieties, "Withy Late")] < fresh[row(varieties, "Withy Unwritten")]
    assert fresh[row(varieties, "Withy Unwritten")] < fresh[row(varieties, "Withy Early")]


def test_no_height_from_memory_reaches_the_height_limit() -> None:
    catalog = InventedCatalog()

    def height(memory_cells: str, low: float | None, high: float | None = None) -> float:
        table = catalog.crops().assign(memory_cells=memory_cells)
        of_crop = table["crop"].eq("mandarin")
        table.loc[of_crop, ["seedling_height_low_m", "seedling_height_high_m"]] = [low, high]
        found = expect(catalog.traits(), table)
        return float(found.height.value[found.frame["crop"].eq("mandarin").to_numpy()][0])

    assert [height("family|years_to_bear", low) for low in (2.0, 9.0)] == [2.0, 9.0]
    unlisted = height("family", None)
    assert [height("family|seedling_height", low, 11.0) for low in (2.0, 9.0)] == [unlisted, unlisted]
    assert height("seedling_height", None, 11.0) == unlisted != height("family", None, 11.0)


def test_no_height_of_a_rootstock_from_memory_reaches_the_height_limit() -> None:
    catalog = InventedCatalog()

    def apple(basis: str, memory_cells: str, height_m: float | None, percent: float) -> float:
        stocks = catalog.rootstocks().assign(basis=basis, memory_cells=memory_cells)
        of_crop = stocks["for_crops"].eq("apple")
        stocks.loc[of_crop, ["mature_height_low_m", "size_percent_low"]] = [height_m, percent]
        found = expect(catalog.traits(), catalog.crops(), stocks)
        return float(found.height.value[row(found, "Withy Hardy")])

    bare = float(expect(catalog.traits(), catalog.crops()).height.value[row(invented(), "Withy Hardy")])
    assert apple("published", "", 1.0, 15.0) == 1.0
    assert apple("from memory", "", 1.0, 15.0) == bare
    assert apple("published", "mature_height|size_percent", 1.0, 15.0) == bare
    assert apple("published", "size_percent", None, 15.0) == bare
    assert apple("published", "", None, 15.0) < bare


def test_a_small_pot_suits_only_what_stays_small() -> None:
    varieties = invented()
    fit = criteria.fits_the_room(varieties, Site(place="Anywhere", container_L=12), Goals())
    assert fit[row(varieties, "Withy Early")] > 0.5 > fit[row(varieties, "Parish Peach")]
    assert (criteria.fits_the_room(varieties, Site(place="Anywhere"), Goals()) == 1.0).all()


@given(st.lists(st.tuples(st.floats(0, 300), st.floats(0, 60)), min_size=1, max_size=8))
def test_weeks_of_fruit_are_no_more_than_the_windows_and_no_less_than_the_longest(
    windows: list[tuple[float, float]],
) -> None:
    start = np.array([first for first, _ in windows])
    length = np.array([days for _, days in windows])
    weeks = weeks_of_fruit(start, start + length)
    assert length.max() / 7 - 1e-9 <= weeks <= length.sum() / 7 + 1e-9
