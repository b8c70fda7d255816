"""The pollination network as a picture: what it says, and that colour is never alone in saying it."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

from recommender import open_catalog
from recommender.biology.pollination import catalog_matrix
from recommender.biology.pollination_result import PollinationMatrix
from recommender.charts import Paper
from recommender.charts_pollination import MOST_TREES, pollination_network
from recommender.errors import BadInput


@lru_cache(maxsize=1)
def apples() -> PollinationMatrix:
    return catalog_matrix(open_catalog(), ["apple"])


def at(*names: str) -> list[int]:
    return [apples().position("apple", name) for name in names]


def test_triploid_alone_with_its_kind_is_said_to_have_no_partner() -> None:
    picture = pollination_network(apples(), at("Jonagold", "Mutsu"))
    assert picture.sentence == "Jonagold and Mutsu have no pollen partner here."


def test_served_set_is_said_to_be_closed() -> None:
    picture = pollination_network(apples(), at("Jonathan", "James Grieve", "Idared"))
    assert picture.sentence.startswith("Every tree here")
    assert "Jonathan is served by" in picture.alt_text


def test_marks_and_lines_differ_by_more_than_colour() -> None:
    layers = pollination_network(apples(), at("Jonathan", "James Grieve", "Jonagold")).chart.to_dict()[
        "layer"
    ]
    encodings = [layer["encoding"] for layer in layers]
    assert any("strokeDash" in encoding for encoding in encodings)
    assert any("shape" in encoding for encoding in encodings)


@pytest.mark.parametrize("paper", ["light", "dark"])
def test_most_trees_still_draw_with_every_name(paper: Paper) -> None:
    rows = np.arange(MOST_TREES)
    text = pollination_network(apples(), rows, paper).chart.to_json()
    assert all(
        name in text for name in apples().variety_of[:MOST_TREES] if name.isascii() and '"' not in name
    )


@pytest.mark.parametrize("count", [0, MOST_TREES + 1])
def test_too_many_or_no_trees_are_refused(count: int) -> None:
    with pytest.raises(BadInput):
        pollination_network(apples(), np.arange(count))
