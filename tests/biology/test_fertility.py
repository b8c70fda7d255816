"""Need of a partner and pollen shed, from what is known of variety and crop."""

from __future__ import annotations

import numpy as np
import pandas as pd

from recommender.biology.fertility import SELF_FERTILE, SELF_UNKNOWN, fertility


def test_the_habit_of_a_crop_from_memory_decides_no_need_of_a_partner() -> None:
    traits = pd.DataFrame({"crop": ["mango", "mango"], "variety": ["A", "B"]})
    crops = pd.DataFrame(
        {
            "crop": ["mango"],
            "incompatibility": ["none"],
            "typical_self_fertility": ["self-fertile"],
            "memory_cells": ["family|typical_self_fertility"],
        }
    )
    untyped = np.full(2, -1, dtype=np.int8)
    from_memory = fertility(traits, crops, untyped)["self"]
    read = fertility(traits, crops.assign(memory_cells="family"), untyped)["self"]
    assert (from_memory == SELF_UNKNOWN).all()
    assert (read == SELF_FERTILE).all()
