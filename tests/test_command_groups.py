"""Options that commands share: a group's options stand where its parameter stands, and reach it."""

from __future__ import annotations

import inspect
from typing import Any

import pytest
import typer
from typer.testing import CliRunner

from recommender.commands import groups
from recommender.commands import options as opt
from recommender.errors import BadInput


def one_command(told: list[dict[str, Any]]) -> typer.Typer:
    app = typer.Typer()

    @app.command()
    @groups.spread
    def grow(variety: opt.Variety, *, crop: opt.Crops = None, room: groups.Room, top: opt.Top = 10) -> None:
        """Say what was told."""
        told.append({"variety": variety, "crop": crop, "room": room, "top": top})

    return app


def test_the_answers_to_a_groups_options_reach_the_command_as_the_group() -> None:
    told: list[dict[str, Any]] = []
    words = ["Discovery", "--container", "40", "--top", "3", "--crop", "apple"]
    done = CliRunner().invoke(one_command(told), words)
    assert done.exit_code == 0, done.output
    room = groups.Room(space=None, container=40.0)
    assert told == [{"variety": "Discovery", "crop": ["apple"], "room": room, "top": 3}]


def test_the_options_of_a_group_stand_where_its_parameter_stands() -> None:
    @groups.spread
    def grow(variety: opt.Variety, *, crop: opt.Crops = None, room: groups.Room, top: opt.Top = 10) -> None:
        pass

    assert list(inspect.signature(grow).parameters) == ["variety", "crop", "space", "container", "top"]


def test_answers_given_in_feet_and_gallons_become_metres_and_litres() -> None:
    where = groups.Where(place="Bristol, England", elevation=100.0)
    room = groups.Room(space=10.0, container=10.0)
    answers = groups.answers_of("imperial", where, room, groups.Ground(), groups.NearBy())
    assert answers == {
        "place": "Bristol, England",
        "elevation_m": pytest.approx(30.48),
        "space_m": pytest.approx(3.048),
        "container_L": pytest.approx(37.854, abs=0.001),
    }


def test_a_switch_left_off_is_no_answer_but_a_nought_is_one() -> None:
    assert opt.given(low_spray=False, storage=0.0, lat=0.0, skin=[], crop=["apple"], top=None) == {
        "storage": 0.0,
        "lat": 0.0,
        "crop": ("apple",),
    }


def test_ground_alone_does_not_say_where_the_site_is() -> None:
    with pytest.raises(BadInput, match="Nothing says where"):
        groups.site_from(None, groups.answers_of("metric", groups.Ground(soil="clay")))
