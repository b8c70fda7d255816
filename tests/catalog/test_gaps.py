"""Estimated traits: they lean on what they may, never on the answer, and are kept only where they help."""

from __future__ import annotations

import re
from pathlib import Path
from random import Random
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recommender import open_catalog
from recommender.catalog.gap_features import features, in_crop, kin_of, known_of
from recommender.catalog.gaps import (
    COLUMNS,
    FILE,
    FOLDS,
    GAIN_T,
    Gaps,
    empty_estimates,
    fill,
    fold_of_family,
    read_estimates,
    traits_key,
)
from recommender.errors import StorageFault

ROOT = Path(__file__).parents[2]


def invented(size: int = 160, seed: int = 1, noise: float = 0.3) -> pd.DataFrame:
    """An invented crop whose chill need follows its height, and whose years to bear follow nothing."""
    rng = np.random.default_rng(seed)
    height = rng.normal(4.0, 1.0, size)
    chill = 800.0 + 150.0 * (height - 4.0) + 150.0 * noise * rng.normal(size=size)
    years = rng.normal(4.0, 1.0, size)
    frame = pd.DataFrame(
        {
            "crop": "parish-fruit",
            "variety": [f"Withy {place:03d}" for place in range(size)],
            "origin": None,
            "year": np.nan,
            "mature_height": height,
            "chill_hours": chill,
            "bearing_years": years,
            "parentage": None,
            "sport_of": None,
        }
    )
    frame.loc[::4, ["chill_hours", "bearing_years"]] = np.nan
    for name in ("mature_height", "chill_hours", "bearing_years"):
        frame[f"{name}_standing"] = np.where(frame[name].notna(), "published", "unknown")
    return frame


@pytest.fixture(scope="module")
def filled() -> Gaps:
    return fill(invented(), targets=("chill_hours", "bearing_years"))


@pytest.fixture(scope="module")
def real() -> Gaps:
    catalog = open_catalog()
    return fill(catalog.traits(), catalog.varieties(), catalog.names(), targets=("chill_hours", "vigour"))


def test_a_trait_that_follows_another_is_estimated_and_noise_is_not(filled: Gaps) -> None:
    assert set(filled.estimates["trait"]) == {"chill_hours"}
    errors: Any = filled.errors.set_index("trait")
    assert errors.loc["chill_hours", "error"] < 0.7 * errors.loc["chill_hours", "dummy_error"]
    assert not errors.loc["bearing_years", "used"]


def test_estimates_come_near_the_truth_that_was_hidden(filled: Gaps) -> None:
    truth = invented().iloc[::4]
    expected = 800.0 + 150.0 * (truth["mature_height"] - 4.0)
    rows = filled.estimates.set_index("variety").loc[truth["variety"]]
    inside = (rows["low"].to_numpy() <= expected) & (expected <= rows["high"].to_numpy())
    assert inside.mean() >= 0.8
    assert np.corrcoef(rows["number"].to_numpy(), expected)[0, 1] > 0.9


def test_nothing_is_estimated_that_is_published(filled: Gaps) -> None:
    published = set(invented().dropna(subset=["chill_hours"])["variety"])
    assert not published & set(filled.estimates["variety"])


def test_estimates_are_the_same_every_time(filled: Gaps) -> None:
    again = fill(invented(), targets=("chill_hours", "bearing_years"))
    pd.testing.assert_frame_equal(again.estimates, filled.estimates)


def test_intervals_hold_the_estimate_and_are_as_wide_as_the_error_says(filled: Gaps) -> None:
    rows = filled.estimates
    assert ((rows["low"] <= rows["number"]) & (rows["number"] <= rows["high"])).all()
    assert (rows["error"] > 0).all()
    # An 80 % interval of a normal law is 1.2816 standard deviations to each side.
    assert np.allclose(rows["high"] - rows["number"], 1.2816 * rows["error"], atol=0.01)


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 119), st.floats(-3, 3))
def test_a_varietys_features_never_hold_its_own_answer(row: int, other: float) -> None:
    frame = invented(120)
    known = known_of(frame)
    target = known.column("chill_hours")
    own = known.standard[:, target].copy()
    before = features(known, target, own)[row]
    own[row] = other
    assert np.array_equal(before, features(known, target, own)[row])


def test_sports_and_full_siblings_are_one_family_and_parents_are_not() -> None:
    frame = invented(6)
    frame["parentage"] = [
        None,
        None,
        "Withy 000 x Withy 001",
        "Withy 001 x Withy 000",
        "Withy 000 x unknown",
        None,
    ]
    frame["sport_of"] = [None, None, None, None, None, "Withy 002"]
    kin = kin_of(frame)
    assert kin.family[2] == kin.family[3] == kin.family[5]
    assert len({kin.family[0], kin.family[1], kin.family[2], kin.family[4]}) == 4
    assert kin.parents[2].tolist() == [0, 1]
    assert kin.sport_of[5] == 2


@given(st.lists(st.integers(0, 40), min_size=1, max_size=200), st.randoms(use_true_random=False))
def test_folds_keep_families_whole_and_even_whatever_the_order_of_the_rows(
    families: list[int], random: Random
) -> None:
    family = np.array(families, dtype=np.intp)
    fold = fold_of_family(family)
    pairs = dict(zip(family.tolist(), fold.tolist(), strict=True))
    assert [pairs[each] for each in family.tolist()] == fold.tolist()
    sizes = np.bincount(fold, minlength=FOLDS)
    assert sizes.max() - sizes.min() <= np.bincount(family).max()
    order = list(range(len(family)))
    random.shuffle(order)
    assert fold_of_family(family[order]).tolist() == fold[order].tolist()


def test_a_parent_is_found_under_its_other_name() -> None:
    frame = invented(3)
    frame["parentage"] = [None, None, "Old Withy x Withy 001"]
    names = pd.DataFrame({"crop": ["parish-fruit"], "name": ["Old Wíthy"], "variety": ["Withy 000"]})
    assert kin_of(frame, names).parents[2].tolist() == [0, 1]


def test_the_usual_value_of_a_crop_hardly_anybody_describes_leans_on_all_crops() -> None:
    crop = np.array([0] * 20 + [1], dtype=np.intp)
    usual, scatter = in_crop(crop, np.array([5.0] * 10 + [6.0] * 10 + [9.0]))
    assert usual[0] == pytest.approx(5.5, abs=0.5)
    assert 5.5 < usual[1] < 9.0
    assert (scatter > 0).all()


def test_the_real_chill_need_beats_the_crop_and_its_interval_holds_eight_of_ten(real: Gaps) -> None:
    alone: Any = real.errors.set_index(["trait", "case"]).loc[("chill_hours", "without its companions")]
    assert alone["gain_t"] >= GAIN_T
    assert alone["error"] < alone["dummy_error"]
    assert alone["coverage"] == pytest.approx(0.8, abs=0.06)
    assert alone["n"] > 300


def test_the_shipped_estimates_are_those_of_these_data(real: Gaps) -> None:
    catalog = open_catalog()
    assert catalog.info["estimates_current"], "run python datasets/build/build_estimates.py"
    shipped: Any = catalog.estimates()
    shipped = shipped[shipped["trait"] == "chill_hours"].set_index(["crop", "variety"])["number"]
    now = real.estimates[real.estimates["trait"] == "chill_hours"].set_index(["crop", "variety"])["number"]
    assert set(now.index) == set(shipped.index)
    # Other versions of scikit-learn grow other trees; the estimates stay within a third of the mean error.
    assert np.abs(now - shipped.reindex(now.index)).mean() < 40.0


def test_no_shipped_estimate_stands_beside_a_published_value() -> None:
    catalog = open_catalog()
    traits, shipped = catalog.traits().set_index(["crop", "variety"]), catalog.estimates()
    assert list(shipped.columns) == COLUMNS
    assert not shipped.duplicated(["crop", "variety", "trait"]).any()
    for trait, part in shipped.groupby("trait"):
        rows = traits.reindex(pd.MultiIndex.from_frame(part[["crop", "variety"]]))
        assert rows[str(trait)].isna().all(), trait
    assert shipped["method"].str.startswith("estimated from").all()


def test_the_page_of_errors_tells_what_is_shipped_and_what_was_left_out() -> None:
    page = (ROOT / "docs" / "gaps.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (\S+) \| (?:with|beside).*? \| (yes|no) \|", page, flags=re.MULTILINE)
    used = {trait for trait, word in rows if word == "yes"}
    shipped = open_catalog().estimates()
    by_sport = shipped["method"].eq("estimated from the variety it is a sport of")
    assert used == set(shipped.loc[~by_sport, "trait"])
    sport = re.search(
        r"^\| all traits \| from the variety it is a sport of .*? \| (yes|no) \|", page, re.MULTILINE
    )
    assert sport is not None
    assert by_sport.any() == (sport[1] == "yes")
    assert "self_fertility" in {trait for trait, _ in rows} - used


def test_a_changed_trait_changes_the_key() -> None:
    frame = invented()
    changed: Any = frame.copy()
    changed.loc[1, "chill_hours"] += 50.0
    assert traits_key(frame) == traits_key(frame.copy())
    assert traits_key(frame) != traits_key(changed)


def test_without_the_file_there_are_no_estimates(tmp_path: Path) -> None:
    frame, key = read_estimates(tmp_path)
    assert frame.empty
    assert list(frame.columns) == COLUMNS
    assert key == ""


def test_a_damaged_file_is_told_with_its_remedy(tmp_path: Path) -> None:
    (tmp_path / FILE).write_bytes(b"not a table")
    with pytest.raises(StorageFault, match="estimated traits") as caught:
        read_estimates(tmp_path)
    assert FILE in str(caught.value)


def test_a_table_of_another_kind_is_told(tmp_path: Path) -> None:
    pd.DataFrame({"crop": ["apple"]}).to_parquet(tmp_path / FILE)
    with pytest.raises(StorageFault, match="lacks"):
        read_estimates(tmp_path)


def test_an_empty_frame_has_every_column() -> None:
    frame: Any = empty_estimates()
    assert list(frame.columns) == COLUMNS
