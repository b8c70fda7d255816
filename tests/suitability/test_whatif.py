"""What would change a verdict, tried one by one and never promised in vain."""

from __future__ import annotations

from typing import Any, cast

import numpy as np

from recommender.suitability import whatif
from recommender.suitability.goals import Goals
from recommender.suitability.ranking import Ranking, rank
from recommender.suitability.site import Site
from recommender.suitability.verdicts import VERDICTS
from tests.suitability.invented import InventedCatalog, climate

HERE = Site(place="Withy Hollow")


def ranked(site: Site = HERE, goals: Goals | None = None, **of: Any) -> Ranking:
    return rank(site, goals, cast(Any, InventedCatalog()), cast(Any, climate(**of)))


def lines(ranking: Ranking, variety: str) -> str:
    row = ranking.frame.index[ranking.frame["variety"] == variety]
    return " ".join(ranking.what_if(row.to_numpy())[0])


def test_a_partner_would_lift_it_and_does_when_planted() -> None:
    alone = ranked(Site(place="Withy Hollow", neighbours_have_fruit_trees="no"), coldest=-15.0)
    assert "A pollen partner that blooms with it would lift it from with care to sound" in lines(
        alone, "Withy Early"
    )
    beside = ranked(Site(place="Withy Hollow", existing_trees=("Withy Late",)), coldest=-15.0)
    assert lines(beside, "Withy Early") == ""


def test_a_rootstock_does_not_help_against_winter_cold() -> None:
    cold = lines(ranked(coldest=-32.0, winter=-10.0, chill=3000), "Withy Soft")
    assert "A hardier rootstock would not help" in cold
    assert "partner" not in cold


def test_nothing_makes_up_for_missing_chill() -> None:
    warm = ranked(coldest=-2.0, winter=13.0, summer=28.0, chill=330, gdd=4000)
    assert "Nothing a gardener does makes up for missing winter chill" in lines(warm, "Withy Late")


def test_cover_is_offered_with_degrees_and_nights_where_it_lifts_the_verdict() -> None:
    place: dict[str, Any] = {"coldest": -8.5, "winter": 8.0, "chill": 700, "gdd": 3000, "summer": 26.0}
    told = lines(ranked(**place), "Parish Orange")
    assert "Fleece over the top" in told
    assert "at least 3 °C (published)" in told
    assert "every winter" in told
    covered = ranked(goals=Goals(will_cover=True), **place).frame.set_index("variety")
    assert covered.loc["Parish Orange", "verdict"] == "with care"


def test_cover_is_not_offered_where_it_is_hopeless() -> None:
    assert "Fleece" not in lines(ranked(coldest=-32.0, winter=-10.0, chill=3000), "Parish Orange")


def test_no_change_tried_makes_a_verdict_worse_and_every_promise_is_kept() -> None:
    ranking = ranked(coldest=-24.0)
    context = ranking.context
    assert context.plot is not None
    tried = whatif.changes(context, context.plot)
    for name, verdict in tried.after.items():
        floor = np.maximum(tried.now, 1) if name == whatif.COVER else tried.now
        assert (verdict <= floor).all(), name
    for record in ranking.records():
        for sentence in record["what_if"]:
            assert sentence.endswith(".")
            if "would lift it from" in sentence:
                better = sentence.rsplit(" to ", 1)[1].rstrip(".")
                assert VERDICTS.index(better) < VERDICTS.index(record["verdict"])


def test_a_sound_variety_needs_no_change() -> None:
    for record in ranked(coldest=-15.0, chill=2000).records():
        if record["verdict"] == "sound":
            assert record["what_if"] == []
