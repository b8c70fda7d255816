"""Sports and near-identical varieties: grouped on evidence, shown once, never lost."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from recommender import Site, open_catalog, rank
from recommender.suitability.goals import Goals
from recommender.suitability.similarity import groups_of, one_each


def invented(**columns: Any) -> pd.DataFrame:
    """An invented crop of five; columns override."""
    names = ["Withy Bell", "Red Withy Bell", "Withy Bell Spur", "Early Withy Bell", "Parish Pride"]
    frame = pd.DataFrame({"crop": "apple", "variety": names, "sport_of": None, "parentage": None})
    return frame.assign(**columns)


def test_a_published_sport_joins_its_variety_and_so_does_its_own_sport() -> None:
    frame = invented(sport_of=[None, "Withy Bell", None, None, "Red Withy Bell"])
    groups = groups_of(frame)
    assert groups.leader[[0, 1, 4]].tolist() == [0, 0, 0]
    assert groups.published[[1, 4]].all()
    assert groups.why[4] == "a sport of Red Withy Bell"


def test_two_sports_of_a_variety_the_catalog_lacks_are_one_group() -> None:
    groups = groups_of(invented(sport_of=[None, None, None, "Old Withy", "Old Withy"]))
    assert groups.leader[3] == groups.leader[4]


def test_a_strain_is_known_by_its_name_but_a_seedling_called_early_is_not() -> None:
    groups = groups_of(invented())
    assert groups.leader[:3].tolist() == [0, 0, 0]
    assert groups.leader[3] == 3
    assert not groups.published.any()
    assert "estimated" in groups.why[1]


def test_a_strain_name_does_not_count_where_published_traits_differ() -> None:
    groups = groups_of(invented(ripening_season=["early", "late", "early", None, None]))
    assert groups.leader[1] == 1
    assert groups.leader[2] == 0


def test_siblings_are_one_group_only_if_alike_in_four_traits() -> None:
    alike: dict[str, Any] = {
        "parentage": [None, None, None, "Ann x Bob", "Bob x Ann"],
        "zone_min": [None, None, None, 5.0, 5.0],
        "chill_hours": [None, None, None, 800.0, 850.0],
        "ripening_season": [None, None, None, "mid", "mid"],
    }
    assert groups_of(invented(**alike)).leader[4] == 4
    alike["vigour"] = [None, None, None, "weak", "weak"]
    assert groups_of(invented(**alike)).leader[4] == 3
    alike["vigour"] = [None, None, None, "weak", "strong"]
    assert groups_of(invented(**alike)).leader[4] == 4


def test_one_of_each_group_is_kept_and_the_others_are_named_under_it() -> None:
    keep, others = one_each(np.array([7, 3, 7, 3, 9, 7]))
    assert keep.tolist() == [True, True, False, False, True, False]
    assert others == {0: [2, 5], 1: [3]}


def test_a_real_shortlist_shows_one_red_delicious_and_loses_nobody() -> None:
    ranking = rank(Site(place="Geneva, New York"), Goals(crops=("apple",)), open_catalog())
    short = ranking.shortlist()
    family = {"Red Delicious", "Starking", "Starkrimson", "Topred"}
    assert len(family & set(short["variety"])) == 1
    named = [name for also in short["also"] for name in also.split("|") if name]
    assert sorted([*short["variety"], *named]) == sorted(ranking.frame["variety"])
    row = short[short["variety"].isin(family)].iloc[0]
    assert set(row["also"].split("|")) | {row["variety"]} == family
    assert short["rank"].is_monotonic_increasing


def test_a_shortlist_of_ten_holds_ten_groups() -> None:
    ranking = rank(Site(place="Geneva, New York"), Goals(crops=("apple",)), open_catalog())
    short = ranking.shortlist(10)
    assert len(short) == 10
    assert short["group"].is_unique
    records = ranking.records(10, one_each_group=True)
    assert [record["variety"] for record in records] == short["variety"].tolist()
