"""Trees keep their distance to each other and to what stands there, and shade each other little."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from recommender.catalog.package import datasets_folder
from recommender.errors import BadInput
from recommender.orchard.facts import Facts
from recommender.orchard.plot import Clearances, Obstacle, Plot, distance, inside
from recommender.orchard.spacing import FROM_WALL_m, Layout, lay_out, noon_shade

FACTS = Facts(pd.read_csv(datasets_folder() / "planting.csv"))
NORTH = np.array([0.0, 1.0])


def trees(*sizes: tuple[float, float]) -> pd.DataFrame:
    """Invented trees of (height, spacing) [m]."""
    return pd.DataFrame(
        {
            "variety": [f"Withy {k}" for k in range(len(sizes))],
            "height_high": [height for height, _ in sizes],
            "spread": [0.8 * spacing for _, spacing in sizes],
            "spacing": [spacing for _, spacing in sizes],
            "reach": 18.0,
        }
    )


def laid(
    plot: Plot, *sizes: tuple[float, float], lat: float = 51.0, **given: Any
) -> tuple[pd.DataFrame, Layout]:
    frame = trees(*sizes)
    donors = ~np.eye(len(frame), dtype=bool)
    return frame, lay_out(frame, donors, np.ones(len(frame), bool), plot, FACTS, lat=lat, **given)


@settings(max_examples=25, deadline=None)
@given(st.floats(8, 20), st.floats(8, 20), st.lists(st.sampled_from([2.0, 3.0, 4.0]), min_size=1, max_size=6))
def test_trees_keep_their_spacing_the_edge_and_the_building(w: float, d: float, sizes: list[float]) -> None:
    house = Obstacle(kind="building", at=((0, 0), (3, 0), (3, 2), (0, 2)))
    plot = Plot(width_m=w, depth_m=d, obstacles=(house,))
    frame, found = laid(plot, *[(size, size) for size in sizes])
    here = found.placed
    at = np.column_stack((found.x, found.y))[here]
    spacing = frame["spacing"].to_numpy()[here]
    apart = np.hypot(*(at[:, None] - at[None]).transpose(2, 0, 1))
    want = (spacing[:, None] + spacing[None]) / 2
    assert (apart + 1e3 * np.eye(len(at)) >= want - 1e-6).all()
    assert inside(at, plot.outline).all()
    assert (distance(at, plot.outline, True) >= 1.52 - 1e-6).all()
    assert (distance(at, np.array(house.at, float), True) >= 3.05 - 1e-6).all()


@pytest.mark.parametrize(("lat", "up"), [(51.0, True), (-43.0, False)])
def test_tall_trees_stand_on_the_pole_side(lat: float, up: bool) -> None:
    _, found = laid(Plot(width_m=8, depth_m=16), (8.0, 5.0), (2.0, 3.0), (2.0, 3.0), lat=lat)
    assert (found.y[0] > found.y[1:].max()) == up
    assert found.shade[1:].sum() == 0.0


def test_shade_falls_to_the_pole_side_at_noon() -> None:
    x, y, size = np.zeros(2), np.array([0.0, 3.0]), np.array([5.0, 5.0])
    north = noon_shade(x, y, size, size, 51.0, NORTH)
    south = noon_shade(x, y, size, size, -51.0, -NORTH)
    assert north[0] == 0.0 < north[1]
    assert south[1] == 0.0 < south[0]
    # At the equator the noon sun of the equinox stands overhead: nothing falls on the neighbour.
    assert noon_shade(x, y, size, size, 0.0, NORTH).sum() == 0.0


def test_a_plot_that_is_too_small_says_for_whom_there_is_no_room() -> None:
    _, found = laid(Plot(width_m=5, depth_m=5), (4.0, 4.0), (4.0, 4.0))
    assert found.placed.sum() == 1


def test_a_polygon_holds_its_trees() -> None:
    plot = Plot(corners=((0, 0), (14, 0), (14, 5), (5, 5), (5, 14), (0, 14)))
    _, found = laid(plot, (2.0, 2.0), (2.0, 2.0), (2.0, 2.0), (2.0, 2.0))
    assert found.placed.all()
    assert inside(np.column_stack((found.x, found.y)), plot.outline).all()


def test_a_hedge_stands_in_rows() -> None:
    frame = trees(*[(2.5, 1.0)] * 8)
    donors = ~np.eye(8, dtype=bool)
    plot = Plot(width_m=8, depth_m=6)
    found = lay_out(frame, donors, np.ones(8, bool), plot, FACTS, lat=51.0, style="hedge", row_spacing_m=3.0)
    assert found.placed.all()
    rows = np.unique(found.x)
    assert (np.diff(rows) >= 3.0 - 1e-9).all()
    assert len(rows) <= 3


def test_low_trees_may_stand_below_wires_and_tall_ones_keep_away() -> None:
    rule, wires = Clearances(FACTS), Obstacle(kind="overhead line", at=((0, 0), (10, 0)), height_m=6.0)
    assert rule.needed(wires, 4.5, 3.0, 3.0) == 0.0
    assert rule.needed(wires, 5.0, 3.0, 3.0) >= 6.1
    assert rule.needed(Obstacle(kind="overhead line", at=((0, 0), (10, 0))), 2.0, 2.0, 2.0) >= 6.1


def test_a_tree_keeps_its_own_height_from_a_septic_field() -> None:
    field = Obstacle(kind="septic field", at=((0, 0), (4, 0), (4, 4)))
    assert Clearances(FACTS).needed(field, 7.0, 3.0, 3.0) == 7.0
    assert Clearances(FACTS).needed(field, 2.0, 3.0, 3.0) == 3.05


def test_donors_out_of_reach_are_told() -> None:
    frame = trees((3.0, 3.0), (3.0, 3.0)).assign(reach=2.0)
    donors = ~np.eye(2, dtype=bool)
    found = lay_out(frame, donors, np.ones(2, bool), Plot(width_m=20, depth_m=6), FACTS, lat=51.0)
    assert (found.donor_distance > 2.0).all()


@pytest.mark.parametrize("lat", [51.0, -43.0])
def test_espaliers_stand_along_the_sunny_side_of_a_wall(lat: float) -> None:
    wall = Obstacle(kind="wall", at=((1, 4), (11, 4)), trained=True)
    frame = trees(*[(2.5, 2.0)] * 4)
    donors = ~np.eye(4, dtype=bool)
    plot = Plot(width_m=12, depth_m=8, obstacles=(wall,))
    found = lay_out(frame, donors, np.ones(4, bool), plot, FACTS, lat=lat, style="espalier")
    assert found.placed.all()
    sunny = 4 - FROM_WALL_m if lat > 0 else 4 + FROM_WALL_m
    assert found.y == pytest.approx(np.full(4, sunny))
    assert (np.diff(np.sort(found.x)) >= 2.0 - 1e-9).all()


def test_espaliers_go_round_a_house_but_not_to_its_shady_side() -> None:
    house = Obstacle(kind="building", at=((4, 4), (8, 4), (8, 8), (4, 8)), trained=True)
    frame = trees(*[(2.5, 1.5)] * 6)
    plot = Plot(width_m=12, depth_m=12, obstacles=(house,))
    found = lay_out(frame, ~np.eye(6, dtype=bool), np.ones(6, bool), plot, FACTS, lat=51.0, style="fan")
    at = np.column_stack((found.x, found.y))
    assert found.placed.all()
    assert distance(at, np.array(house.at, float), True) == pytest.approx(FROM_WALL_m)
    assert (found.y < 8.0).all()


def test_trees_are_not_trained_along_a_path() -> None:
    with pytest.raises(ValidationError, match="fence, a wall or a building"):
        Obstacle(kind="path", at=((0, 0), (1, 0)), trained=True)


def test_crowns_stay_within_a_roomy_plot() -> None:
    frame, found = laid(Plot(width_m=20, depth_m=20), (4.0, 4.0), (4.0, 4.0), (4.0, 4.0))
    edge = np.minimum.reduce([found.x, 20 - found.x, found.y, 20 - found.y])
    assert (edge >= frame["spread"].to_numpy() / 2 - 1e-9).all()


@pytest.mark.parametrize(
    "answers",
    [
        {},
        {"width_m": 5},
        {"width_m": 5, "depth_m": 0},
        {"corners": ((0, 0), (1, 0))},
        {"corners": ((0, 0), (1, 0), (2, 0))},
        {"corners": ((0, 0), (4, 4), (4, 0), (0, 3))},
        {"width_m": 5, "depth_m": 5, "corners": ((0, 0), (1, 0), (1, 1))},
        {"width_m": 5, "depth_m": 5, "obstacles": ({"kind": "moat", "at": ((0, 0),)},)},
    ],
)
def test_a_plot_without_one_outline_is_refused(answers: dict[str, Any]) -> None:
    with pytest.raises(BadInput):
        Plot(**answers)
