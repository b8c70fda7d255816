"""Claims about putting offsets on one scale. Effects of the invented crop are known; the catalog is real."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from recommender.catalog import Catalog
from recommender.catalog.consensus import settle
from tests.catalog.invented import CROPS, SOURCES, fact, rows

EFFECTS = {"Ref": 0.0, "B": -12.0, "C": 5.0, "D": 9.0, "E": 20.0, "F": -3.0, "G": 14.0}


def offsets(facts: list[dict[str, object]]) -> pd.DataFrame:
    result = settle(rows(*facts), SOURCES, CROPS).settled
    return result[result["trait"].eq("ripening_offset")].set_index("variety")


def from_reference(variety: str, reference: str, source: str, error: float = 0.0) -> dict[str, object]:
    stated = EFFECTS[variety] - EFFECTS[reference] + error
    return fact("ripening_offset", stated, source, variety=variety, note=f"relative to {reference}")


def test_offsets_from_different_references_come_onto_one_scale() -> None:
    facts = [from_reference(name, "Ref", "paper-1") for name in "BCDF"]
    facts += [from_reference(name, "D", "paper-2") for name in ("E", "F", "Ref")]
    facts += [from_reference("G", "E", "extension-1")]
    result = offsets(facts)
    for name, effect in EFFECTS.items():
        assert result.loc[name, "number"] == pytest.approx(effect, abs=0.5), name
    assert (result["unit"] == "d from Ref").all()


def test_one_wild_statement_does_not_bend_the_scale() -> None:
    facts = [from_reference(name, "Ref", f"paper-{n}") for name in "BCDEFG" for n in (1, 2, 3)]
    facts[0]["value"] = "60"
    result = offsets(facts)
    assert result.loc["B", "number"] == pytest.approx(EFFECTS["B"], abs=3.0)
    assert "60: paper-1 (paper)" in str(result.loc["B", "disagreement"])


def test_offset_without_a_link_to_the_scale_is_set_aside_with_its_reason() -> None:
    facts = [from_reference(name, "Ref", "paper-1") for name in "BCD"]
    facts.append(fact("ripening_offset", 4, "paper-2", variety="X", note="relative to Y"))
    result = settle(rows(*facts), SOURCES, CROPS)
    assert "X" not in set(result.settled["variety"])
    assert "not connected with the scale" in str(result.set_aside.set_index("variety").loc["X", "reason"])
    assert result.offset_scales["n_components"].tolist() == [2]


def test_harvest_dates_join_with_a_free_start_if_they_share_three_varieties() -> None:
    facts = [from_reference(name, "Ref", "paper-1") for name in "BCD"]
    start = pd.Timestamp(2001, 8, 20)
    for name in ("B", "C", "D", "E", "F"):
        day = start + pd.Timedelta(days=EFFECTS[name])
        facts.append(fact("harvest_start", f"{day:%m-%d}", "extension-1", variety=name, note="Ontario"))
    result = offsets(facts)
    for name in ("E", "F"):
        assert result.loc[name, "number"] == pytest.approx(EFFECTS[name], abs=1.5)
        assert "from harvest dates" in str(result.loc[name, "disagreement"])
        assert result.loc[name, "standing"] == "published"


def test_southern_harvest_dates_join_the_same_scale() -> None:
    facts = [from_reference(name, "Ref", "paper-1") for name in "BCD"]
    for name in ("B", "C", "D", "E", "F"):
        day = pd.Timestamp(2001, 2, 20) + pd.Timedelta(days=EFFECTS[name])
        note = "Adelaide Hills (southern hemisphere)"
        facts.append(fact("harvest_start", f"{day:%m-%d}", "extension-1", variety=name, note=note))
    assert offsets(facts).loc["E", "number"] == pytest.approx(EFFECTS["E"], abs=1.5)


def test_memory_gives_way_to_a_published_offset() -> None:
    facts = [from_reference(name, "Ref", "paper-1") for name in "BCD"]
    facts.append(from_reference("B", "Ref", "memory", error=30.0) | {"basis": "from memory"})
    assert offsets(facts).loc["B", "number"] == pytest.approx(EFFECTS["B"], abs=0.5)


@pytest.mark.parametrize("seed", range(4))
def test_noisy_offsets_of_many_varieties_are_recovered(seed: int) -> None:
    random = np.random.default_rng(seed)
    names = [f"V{n}" for n in range(30)]
    effect = dict(zip(names, random.normal(0, 20, 30), strict=True))
    facts = []
    for n, reference in enumerate(names[:3]):
        for name in names[3:]:
            stated = effect[name] - effect[reference] + random.normal(0, 2)
            facts.append(
                fact(
                    "ripening_offset",
                    round(stated, 1),
                    f"paper-{n + 1}",
                    variety=name,
                    note=f"vs {reference}",
                )
            )
    result = offsets(facts)
    zero = str(result["unit"].iloc[0]).removeprefix("d from ")
    truth = pd.Series({name: value - effect[zero] for name, value in effect.items()})
    error = result["number"] - truth.reindex(result.index)
    assert np.sqrt((error**2).mean()) < 3.0
    inside = (truth.reindex(result.index) >= result["low"]) & (truth.reindex(result.index) <= result["high"])
    assert inside.mean() > 0.7


def test_every_scale_of_the_real_data_has_its_zero_variety_at_zero(catalog: Catalog) -> None:
    wide = catalog.traits().set_index(["crop", "variety"])
    scales = catalog.offset_scales()
    assert len(scales) > 20
    columns = ["crop", "trait", "zero_crop", "zero_variety"]
    for crop, name, zero_crop, zero in scales[columns].itertuples(index=False, name=None):
        if crop == zero_crop and (crop, zero) in wide.index:
            assert wide[name][crop, zero] == pytest.approx(0.0, abs=1e-6)


def test_well_known_ripening_order_of_the_real_data(catalog: Catalog) -> None:
    """Order as in every extension bulletin on these crops (common practice)."""
    number = catalog.traits().set_index(["crop", "variety"])["ripening_offset"]
    orders = [
        ("apple", ["Yellow Transparent", "McIntosh", "Golden Delicious", "Granny Smith"]),
        ("peach", ["Garnet Beauty", "Redhaven", "Cresthaven"]),
        ("sweet-cherry", ["Chelan", "Bing", "Lapins", "Sweetheart"]),
        ("european-pear", ["Clapp's Favorite", "Bartlett", "Anjou"]),
    ]
    for crop, names in orders:
        values = [number[crop, name] for name in names]
        assert values == sorted(values), (crop, values)


def test_joint_solution_covers_most_varieties_that_state_an_offset(catalog: Catalog) -> None:
    evidence = catalog.evidence()
    for name in ("bloom_offset", "ripening_offset"):
        stated = evidence[evidence["trait"].eq(name)].groupby(["crop", "variety"]).ngroups
        placed = catalog.traits()[name].notna().sum()
        assert placed > 0.85 * stated
