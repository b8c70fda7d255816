"""CSV that no spreadsheet runs, JSON that every parser reads."""

from __future__ import annotations

import csv
import io
import json

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from recommender.outputs import csv_text, frame_records, json_text

_printable = st.text(st.characters(codec="utf-8", exclude_characters="\0\r"), max_size=20)


@given(st.lists(_printable, min_size=1, max_size=5))
def test_no_text_cell_starts_a_formula(cells: list[str]) -> None:
    text = csv_text(pd.DataFrame({"name": cells}))
    read = list(csv.reader(io.StringIO(text, newline="")))[1:]
    for row in read:
        if row:
            assert not row[0].lstrip(" ").startswith(("=", "+", "-", "@", "\t"))


@pytest.mark.parametrize("cell", ["=1+1", "+441", "-2", "@SUM(A1)", "\t=1", "  =1"])
def test_a_guarded_cell_keeps_its_text_after_the_apostrophe(cell: str) -> None:
    (_, row) = csv.reader(io.StringIO(csv_text(pd.DataFrame({"note": [cell]})), newline=""))
    assert row == [f"'{cell}"]


def test_negative_numbers_stay_numbers() -> None:
    assert csv_text(pd.DataFrame({"cold": [-12.5, float("nan")]})) == 'cold\n-12.5\n""\n'


def test_a_heading_is_guarded_too() -> None:
    assert csv_text(pd.DataFrame({"=cmd": [1]})).startswith("'=cmd\n")


_json_like = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53), 2**53) | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=5), inner, max_size=4),
    max_leaves=12,
)


@given(_json_like)
def test_json_never_holds_nan_or_infinity(value: object) -> None:
    def refuse(name: str) -> object:
        raise AssertionError(name)

    json.loads(json_text(value), parse_constant=refuse)


def test_numpy_and_pandas_values_become_plain() -> None:
    frame = pd.DataFrame(
        {"n": [np.float64("nan"), 2.0], "ref": pd.array([1, None], dtype="Int64"), "name": ["a", None]}
    )
    assert frame_records(frame) == [
        {"n": None, "ref": 1, "name": "a"},
        {"n": 2.0, "ref": None, "name": None},
    ]
    assert json.loads(json_text({"a": np.arange(3), "b": np.bool_(True)})) == {"a": [0, 1, 2], "b": True}
