"""Stand-ins: sports first, what must hold, what resembles, and what is said to the customer."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from recommender import Goals, Site, substitutes
from recommender.catalog.catalog import Catalog
from recommender.errors import BadInput, UnknownName
from recommender.nursery import holds
from recommender.nursery.names import read_lines
from recommender.nursery.resemblance import FEATURES, compare, likeness


def _stock(*names: str, crop: str = "apple") -> pd.DataFrame:
    return pd.DataFrame({"crop": crop, "variety": list(names)})


def test_sport_of_the_sold_out_variety_comes_first(catalog: Catalog) -> None:
    found = substitutes(
        "Cox's Orange Pippin", _stock("Spartan", "Sunset", "Queen Cox", "Katy"), catalog=catalog
    )
    assert found.frame["variety"].iloc[0] == "Queen Cox"
    assert bool(found.frame["sport"].iloc[0])
    assert "sport (a bud mutation)" in found.frame["reason"].iloc[0]
    assert len(found.frame) == 3


def test_only_what_is_in_stock_is_offered(catalog: Catalog) -> None:
    stock = read_lines(
        ["APPLES", "Discovery x0", "Katy x4", "James Grieve x2", "Conference pear x9", "Spartan qty -1"],
        catalog,
    )
    found = substitutes("apple:Worcester Pearmain", stock, catalog=catalog, top=None)
    assert set(found.frame["variety"]) == {"Katy", "James Grieve"}
    assert set(found.frame["crop"]) == {"apple"}


def test_variety_that_is_in_stock_after_all_is_told(catalog: Catalog) -> None:
    stock = read_lines(["apple Katy x4", "apple Discovery x3"], catalog)
    found = substitutes("apple:Katy", stock, catalog=catalog)
    assert found.in_stock == (1,)
    assert list(found.frame["variety"]) == ["Discovery"]


def test_tree_ruled_out_at_the_site_is_never_offered(catalog: Catalog) -> None:
    cold = Site(place="Winnipeg, Canada")
    found = substitutes("peach:Redhaven", None, cold, catalog=catalog, top=None)
    assert "ruled out" not in set(found.frame["verdict"])
    assert len(found.left_out) > 0
    assert not set(found.left_out["variety"]) & set(found.frame["variety"])


def test_candidate_without_pollen_falls_behind(catalog: Catalog) -> None:
    """A triploid gives no pollen: beside it alone, a self-sterile stand-in is worth less than one that bears
    alone."""
    index = holds.index_of(catalog)
    matrix = holds.matrix_of(catalog)
    bramley = index[("apple", "Bramley's Seedling")]
    rows = np.array([row for (crop, _), row in index.items() if crop == "apple"])
    worth = holds.pollinated(catalog, index[("apple", "Discovery")], rows, [bramley], "no")
    needs = matrix.needs_partner()[rows]
    given = holds.chance_of(catalog)[rows, bramley] >= holds.LIKELY
    assert (worth[needs & ~given] == holds.NO_PARTNER).all()
    assert (worth[~needs | given] == 1.0).all()
    assert (needs & ~given).any()


def test_stand_in_that_still_pollinates_what_relied_on_it_is_preferred(catalog: Catalog) -> None:
    index = holds.index_of(catalog)
    bramley, discovery = index[("apple", "Bramley's Seedling")], index[("apple", "Discovery")]
    assert holds.relying(catalog, discovery, [bramley]) == [bramley]
    rows = np.array([row for (crop, _), row in index.items() if crop == "apple"])
    worth = holds.still_pollinates(catalog, discovery, rows, [bramley])
    serves = holds.chance_of(catalog)[bramley, rows] >= holds.LIKELY
    assert (worth[serves] == 1.0).all()
    assert (worth[~serves] == 1.0 - holds.STILL_SERVES).all()
    assert bramley not in holds.relying(catalog, discovery, [bramley, index[("apple", "James Grieve")]])


def test_other_crop_only_where_the_customer_accepts_it(catalog: Catalog) -> None:
    stock = pd.concat([_stock("Concorde", crop="european-pear"), _stock("Vranja", crop="quince")])
    only = substitutes("Conference", stock, catalog=catalog, top=None)
    both = substitutes("Conference", stock, crops=["quince"], catalog=catalog, top=None)
    assert set(only.frame["crop"]) == {"european-pear"}
    assert list(both.frame["crop"]) == ["european-pear", "quince"]
    assert "not a European pear" in both.frame["reason"].iloc[1]


def test_what_differs_is_said_first(catalog: Catalog) -> None:
    found = substitutes("Cox's Orange Pippin", _stock("Sunset", "Spartan"), catalog=catalog)
    for row in found.records():
        assert row["differs"]
        first = str(row["reason"]).split(".")[0]
        assert first.startswith(("Set beside Cox's Orange Pippin", "No difference"))
        assert row["differs"].split(";")[0] in first


def test_purpose_of_the_customer_counts(catalog: Catalog) -> None:
    stock = _stock("Discovery", "Crimson Bramley", "Katy", "Howgate Wonder", "Newton Wonder")
    cooking = substitutes(
        "apple:Golden Noble", stock, goals=Goals(uses=("cooking",)), catalog=catalog, top=None
    ).frame
    fresh = substitutes(
        "apple:Golden Noble", stock, goals=Goals(uses=("fresh",)), catalog=catalog, top=None
    ).frame
    by = {name: frame.set_index("variety")["resemblance"] for name, frame in (("c", cooking), ("f", fresh))}
    assert by["c"]["Crimson Bramley"] > by["f"]["Crimson Bramley"]
    assert by["f"]["Discovery"] >= by["c"]["Discovery"]


@pytest.mark.parametrize("crop", ["apple", "european-plum", "asian-persimmon", "quince"])
def test_distances_are_symmetric_and_bounded(catalog: Catalog, crop: str) -> None:
    pairs = likeness(catalog, crop)
    for name in FEATURES:
        part = pairs.parts[name]
        known = np.isfinite(part)
        assert (known == known.T).all()
        assert np.allclose(part[known], part.T[known])
        assert ((part[known] >= 0) & (part[known] <= 1)).all()
        diagonal = np.diag(part)
        assert np.allclose(diagonal[np.isfinite(diagonal)], 0.0, atol=1e-6)
    one = pairs.distance(0)
    assert one[0] == 0.0
    assert ((one >= 0) & (one <= 1)).all()


def test_twins_are_nearer_than_anything_else() -> None:
    """Invented: two varieties alike in all that is known, a third unlike in season, use and colour."""
    traits = pd.DataFrame(
        {
            "crop": "apple",
            "variety": ["One", "Twin", "Other"],
            "use": ["fresh", "fresh", "cider"],
            "ripening_season": ["early", "early", "late"],
            "skin_colour": ["red", "red", "green"],
        }
    )
    distance = compare(traits).distance(0)
    assert distance[1] < distance[2]


def test_unknown_names_and_useless_stock(catalog: Catalog) -> None:
    with pytest.raises(UnknownName):
        substitutes("Discoverie of Atlantis", catalog=catalog)
    with pytest.raises(BadInput):
        substitutes("apple:Katy", pd.DataFrame({"name": ["Katy"]}), catalog=catalog)
    with pytest.raises(BadInput):
        substitutes("apple:Katy", catalog=catalog, top=0)
    assert substitutes("apple:Katy", _stock(), catalog=catalog).frame.empty
