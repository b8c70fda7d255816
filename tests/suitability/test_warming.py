"""The same site warmer: what must gain, what must lose, and what is refused."""

from __future__ import annotations

import pytest

from recommender import open_catalog
from recommender.errors import BadInput
from recommender.suitability.goals import Goals
from recommender.suitability.site import Site
from recommender.suitability.verdicts import VERDICTS
from recommender.suitability.warming import Warming, under_warming

ATLANTA = Site(lat=33.75, lon=-84.4)


@pytest.fixture(scope="module")
def warmer() -> Warming:
    return under_warming(ATLANTA, Goals(crops=("sweet-cherry", "fig", "mandarin")), open_catalog(), 3.0)


def test_warming_spares_tender_trees_and_costs_chill(warmer: Warming) -> None:
    now, then = (each.frame.set_index(["crop", "variety"]) for each in (warmer.now, warmer.then))
    then = then.reindex(now.index)
    assert (then["c_winter"] >= now["c_winter"] - 1e-9).all()
    assert (then["c_chill"] <= now["c_chill"] + 0.02).all()
    cherries = now.index.get_level_values("crop") == "sweet-cherry"
    assert then.loc[cherries, "c_chill"].mean() < now.loc[cherries, "c_chill"].mean() - 0.05
    citrus = now.index.get_level_values("crop") == "mandarin"
    assert then.loc[citrus, "c_winter"].mean() > now.loc[citrus, "c_winter"].mean()


def test_every_variety_is_compared_once_and_counted(warmer: Warming) -> None:
    assert len(warmer.frame) == len(warmer.now.frame)
    assert not warmer.frame.duplicated(["crop", "variety"]).any()
    counts = warmer.counts()
    assert list(counts.index) == list(counts.columns) == list(VERDICTS)
    assert int(counts.to_numpy().sum()) == len(warmer.frame)


def test_what_moves_is_named_with_its_figures(warmer: Warming) -> None:
    changed = warmer.frame[warmer.frame["verdict_now"] != warmer.frame["verdict_then"]]
    assert len(changed)
    assert changed["change"].str.contains(r"\(\d\.\d\d to \d\.\d\d\)").mean() > 0.9


def test_no_warming_changes_nothing() -> None:
    same = under_warming(ATLANTA, Goals(crops=("fig",)), open_catalog(), 0.0).frame
    assert (same["rank_now"] == same["rank_then"]).all()
    assert (same["change"] == "").all()


@pytest.mark.parametrize("degrees", [-3.0, 6.5, float("nan")])
def test_a_warming_nobody_can_ask_about_is_refused(degrees: float) -> None:
    with pytest.raises(BadInput, match="outside what can be asked"):
        under_warming(ATLANTA, Goals(crops=("fig",)), open_catalog(), degrees)
