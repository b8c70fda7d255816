"""Claims about names: what a person types leads to the accepted crop and variety, or to the nearest three."""

from __future__ import annotations

import contextlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recommender.catalog import Catalog
from recommender.catalog.references import fold
from recommender.errors import BadInput, UnknownName


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Cox's Orange Pippin", ("apple", "Cox's Orange Pippin")),
        ("coxs orange pippin", ("apple", "Cox's Orange Pippin")),
        ("Ujfehertoi furtos", ("sour-cherry", "Újfehértói Fürtös")),
        ("european-pear:Williams", ("european-pear", "Bartlett")),
        ("pear:Bartlett", None),
        ("apples: Discovery", ("apple", "Discovery")),
    ],
)
def test_spelling_accents_and_synonyms_lead_to_the_accepted_name(
    catalog: Catalog, text: str, expected: tuple[str, str] | None
) -> None:
    if expected is None:
        with pytest.raises(BadInput, match=r"european-pear.*asian-pear"):
            catalog.resolve(text)
    else:
        assert catalog.resolve(text) == expected


def test_a_name_of_several_crops_asks_which(catalog: Catalog) -> None:
    varieties = catalog.varieties()
    name = str(varieties.loc[varieties["variety"].duplicated(), "variety"].iloc[0])
    crops = varieties.loc[varieties["variety"].eq(name), "crop"].tolist()
    with pytest.raises(BadInput) as caught:
        catalog.resolve(name)
    assert all(crop in str(caught.value) for crop in crops)
    assert catalog.resolve(name, crops[0]) == (crops[0], name)


def test_a_misspelt_variety_gets_the_nearest_three(catalog: Catalog) -> None:
    with pytest.raises(UnknownName) as caught:
        catalog.resolve("Goldn Delicous", "apple")
    assert len(caught.value.suggestions) == 3
    assert "Golden Delicious" in caught.value.suggestions
    with pytest.raises(UnknownName) as anywhere:
        catalog.resolve("Goldn Delicous")
    assert "apple:Golden Delicious" in anywhere.value.suggestions


def test_a_misspelt_crop_gets_the_nearest_three(catalog: Catalog) -> None:
    with pytest.raises(UnknownName) as caught:
        catalog.resolve_crop("appel")
    assert "apple" in caught.value.suggestions
    assert len(caught.value.suggestions) == 3


@pytest.mark.parametrize(
    ("text", "crop"),
    [
        ("Apples", "apple"),
        ("sweet cherries", "sweet-cherry"),
        ("Malus domestica", "apple"),
        ("hazel", "hazelnut"),
        ("quinces", "quince"),
        ("peaches", "peach"),
    ],
)
def test_crops_by_plural_and_scientific_name(catalog: Catalog, text: str, crop: str) -> None:
    assert catalog.resolve_crop(text) == crop


@pytest.mark.parametrize("text", ["", "  ", "!?"])
def test_nothing_typed_is_said_to_be_nothing(catalog: Catalog, text: str) -> None:
    with pytest.raises(BadInput):
        catalog.resolve(text)
    with pytest.raises(BadInput):
        catalog.resolve_crop(text)


@given(st.text(max_size=40))
@settings(max_examples=60, deadline=None)
def test_any_text_resolves_or_gives_an_error_of_the_family(catalog: Catalog, text: str) -> None:
    with contextlib.suppress(UnknownName, BadInput):
        found = catalog.resolve(text)
        accepted = catalog.varieties()
        assert found in set(zip(accepted["crop"], accepted["variety"], strict=True))


def test_every_accepted_name_resolves_to_itself(catalog: Catalog) -> None:
    varieties = catalog.varieties()
    for crop, variety in zip(varieties["crop"], varieties["variety"], strict=True):
        found = catalog.resolve(variety, crop)
        assert fold(found[1]) == fold(variety)


def test_every_other_name_leads_to_an_accepted_variety(catalog: Catalog) -> None:
    varieties = catalog.varieties()
    accepted = set(zip(varieties["crop"], varieties["variety"], strict=True))
    names = catalog.names()
    ambiguous = 0
    for crop, name in zip(names["crop"], names["name"], strict=True):
        try:
            assert catalog.resolve(name, crop) in accepted
        except BadInput:
            ambiguous += 1
    assert ambiguous < 0.02 * len(names)
