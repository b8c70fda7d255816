"""Claims about how evidence is settled. Evidence in small frames is invented; the catalog is real."""

from __future__ import annotations

from random import Random

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recommender.catalog import Catalog
from recommender.catalog.alleles import normalise, numbering
from recommender.catalog.consensus import SETTLED_COLUMNS, settle
from recommender.catalog.evidence import HALF_YEAR, date_text, prepare
from recommender.catalog.references import place_in, references_in
from recommender.catalog.traits import TRAITS, trait
from tests.catalog.invented import CROPS, SOURCES, fact, one, rows, settled

# Numbers


def test_one_catalogue_leaves_more_doubt_than_three_papers() -> None:
    lone = one(fact("chill_hours", 800, "nursery-1"))
    papers = one(*(fact("chill_hours", 800, f"paper-{n}") for n in (1, 2, 3)))
    assert lone["number"] == papers["number"] == 800
    assert lone["high"] - lone["low"] > 1.5 * (papers["high"] - papers["low"])
    assert papers["high"] - papers["low"] >= 2 * TRAITS["chill_hours"].floor


def test_a_paper_outweighs_a_catalogue() -> None:
    row = one(fact("zone_min", 4, "paper-1"), fact("zone_min", 7, "nursery-1"))
    assert row["number"] == 4
    assert "7: nursery-1 (catalogue)" in row["disagreement"]
    assert row["agreement"] < 1


def test_eleven_catalogues_that_copy_one_another_do_not_outvote_a_paper_and_an_extension_source() -> None:
    copies = [fact("zone_min", 7, f"nursery-{n}") for n in range(1, 12)]
    row = one(fact("zone_min", 4, "paper-1"), fact("zone_min", 4, "extension-1"), *copies)
    assert row["number"] == 4


def test_species_level_statement_gives_way_to_a_fact_of_the_variety() -> None:
    row = one(
        fact("min_survival_temp", -25, "extension-1", note="species-level, dormant tree"),
        fact("min_survival_temp", -35, "nursery-1"),
    )
    assert row["number"] == -35


def test_half_zones_are_kept() -> None:
    assert one(fact("zone_min", 5.5, "paper-1"))["number"] == 5.5


def test_a_range_settles_on_its_middle_and_keeps_its_ends() -> None:
    row = one({"trait": "chill_hours", "low": "500", "high": "1100", "source_id": "paper-1"})
    assert (row["number"], row["low"], row["high"]) == (800, 500, 1100)


def test_a_bound_moves_the_value_only_if_it_contradicts() -> None:
    point = fact("chill_hours", 400, "nursery-1")
    upper = fact("chill_hours", "", "paper-1", high="500")
    lower = fact("chill_hours", "", "paper-1", low="700")
    assert one(point, upper)["number"] == 400
    assert one(point, lower)["number"] == 700


def test_only_a_bound_gives_the_bound_and_says_so() -> None:
    row = one({"trait": "chill_hours", "high": "300", "source_id": "extension-1"})
    assert row["number"] == 300
    assert row["number"] - row["low"] > row["high"] - row["number"]
    assert "at most" in row["disagreement"]


def test_implausible_value_is_set_aside_with_a_reason() -> None:
    result = settle(rows(fact("zone_min", 55, "paper-1"), fact("zone_min", 5, "nursery-1")), SOURCES, CROPS)
    assert result.settled["number"].tolist() == [5]
    assert "plausible" in result.set_aside["reason"].iloc[0]


def test_december_and_january_are_near_each_other() -> None:
    row = one(
        *(fact("harvest_start", day, f"paper-{n}", crop="quince") for n, day in ((1, "12-20"), (2, "01-04")))
    )
    assert row["number"] >= 350 or row["number"] <= 10


def test_southern_harvest_is_moved_by_half_a_year() -> None:
    row = one(fact("harvest_start", "03-01", "paper-1", note="New Zealand (southern hemisphere)"))
    assert row["number"] == 60 + HALF_YEAR
    assert row["value"] == date_text(60 + HALF_YEAR) == "08-30"
    assert "southern" in row["disagreement"]


# Classes


def test_mid_late_counts_half_to_each() -> None:
    assert one(fact("bloom_season", "mid-late", "paper-1"))["value"] == "mid-late"
    row = one(fact("bloom_season", "mid-late", "paper-1"), fact("bloom_season", "mid", "paper-2"))
    assert row["value"] == "mid"
    assert row["agreement"] == pytest.approx(0.75)


def test_scattered_ordered_votes_settle_on_the_middle() -> None:
    votes = zip(("susceptible", "moderately-resistant", "immune"), (1, 2, 3), strict=True)
    row = one(*(fact("disease:apple-scab", value, f"paper-{n}") for value, n in votes))
    assert row["value"] == "moderately-resistant"
    assert row["agreement"] == pytest.approx(1 / 3)


def test_unordered_classes_go_to_the_greater_weight() -> None:
    row = one(fact("habit", "spur", "paper-1"), fact("habit", "weeping", "nursery-1"))
    assert row["value"] == "spur"
    assert "weeping: nursery-1 (catalogue)" in row["disagreement"]


def test_a_class_that_does_not_exist_is_set_aside() -> None:
    result = settle(rows(fact("vigour", "enormous", "paper-1")), SOURCES, CROPS)
    assert result.settled.empty
    assert len(result.set_aside) == 1


def test_uses_named_by_several_sources_are_joined() -> None:
    row = one(fact("use", "fresh|cooking", "paper-1"), fact("use", "fresh", "extension-1"))
    assert row["value"] == "cooking|fresh"


# Standing and biology


@pytest.mark.parametrize("crop", ["apple", "quince"])
def test_published_overrules_memory(crop: str) -> None:
    row = one(
        fact("s_alleles", "S1 S6", "memory", basis="from memory", crop=crop),
        fact("s_alleles", "S6 S3", "nursery-1", crop=crop),
    )
    assert (row["value"], row["standing"]) == ("S3 S6", "published")
    assert "S1 S6: memory (from memory, overruled)" in row["disagreement"]


def test_memory_alone_stands_as_from_memory() -> None:
    row = one(fact("zone_min", 4, "memory", basis="memory"))
    assert (row["number"], row["standing"]) == (4, "from memory")


def test_one_nursery_does_not_make_an_apple_self_fertile() -> None:
    row = one(fact("self_fertility", "self-fertile", "nursery-1"))
    assert (row["value"], row["standing"]) == ("self-sterile", "estimated")
    assert "self-fertile: nursery-1 (catalogue)" in row["disagreement"]
    assert "biology" in row["disagreement"]


def test_all_nurseries_together_make_it_partly_self_fertile_at_best() -> None:
    row = one(*(fact("self_fertility", "self-fertile", f"nursery-{n}") for n in range(1, 12)))
    assert row["value"] == "partly-self-fertile"
    assert row["agreement"] < 0.8


def test_paper_and_extension_together_make_an_apple_self_fertile() -> None:
    row = one(
        fact("self_fertility", "self-fertile", "paper-1"),
        fact("self_fertility", "self-fertile", "extension-1"),
    )
    assert (row["value"], row["standing"]) == ("self-fertile", "published")


def test_a_self_compatible_allele_lets_the_nursery_be_right() -> None:
    result = settled(
        fact("self_fertility", "self-fertile", "nursery-1", crop="sweet-cherry"),
        fact("s_alleles", "S3 S4'", "paper-1", crop="sweet-cherry"),
    )
    assert result.set_index("trait").loc["self_fertility", "value"] == "self-fertile"


def test_nursery_is_believed_of_a_crop_without_incompatibility() -> None:
    assert one(fact("self_fertility", "self-fertile", "nursery-1", crop="quince"))["value"] == "self-fertile"


def test_a_sport_takes_genes_from_its_parent_and_says_so() -> None:
    result = settled(
        fact("sport_of", "A", "paper-1", variety="Red A"),
        fact("s_alleles", "S2 S3", "paper-1"),
        fact("zone_min", 4, "paper-1"),
    ).set_index(["variety", "trait"])
    assert result["value"]["Red A", "s_alleles"] == "S2 S3"
    assert result["standing"]["Red A", "s_alleles"] == "estimated"
    assert result["disagreement"]["Red A", "s_alleles"] == "from its parent variety A"
    assert ("Red A", "zone_min") not in result.index


def test_triploid_without_published_pollen_is_estimated_poor() -> None:
    result = settled(fact("ploidy", 3, "paper-1")).set_index("trait")
    assert (result.loc["pollen", "value"], result.loc["pollen", "standing"]) == ("poor", "estimated")


def test_allele_numberings_are_never_mixed() -> None:
    row = one(
        fact(
            "s_alleles", "S102 S101", "paper-1", crop="european-pear", note="S101+ series (Goldway numbering)"
        ),
        fact(
            "s_alleles", "S101 S102", "paper-2", crop="european-pear", note="S101+ series (Goldway numbering)"
        ),
        fact("s_alleles", "Sa Sb", "paper-3", crop="european-pear", note="older letter series; do not mix"),
    )
    assert (row["value"], row["unit"], row["agreement"]) == ("S101 S102", "S101+ numbers", 1.0)
    assert "in older letters: Sa Sb (paper-3)" in row["disagreement"]


def test_alleles_are_sorted_naturally() -> None:
    assert normalise("S10 S2") == "S2 S10"
    assert numbering("asian-pear", "Chinese pear S numbering", "S17 S19") == "Chinese pear numbers"


# Properties

_TRAITS = ("zone_min", "chill_hours", "min_survival_temp", "mature_height", "storage", "brix")
_source = st.sampled_from(SOURCES["source_id"].tolist())


@st.composite
def numeric_evidence(draw: st.DrawFn) -> pd.DataFrame:
    """Facts of up to five varieties: settling many at once costs little more than settling one."""
    facts = []
    for _ in range(draw(st.integers(1, 30))):
        name = draw(st.sampled_from(_TRAITS))
        spec = trait(name)
        number = st.floats(spec.least, spec.most).map(lambda x: round(x, 2))
        low, high = sorted((draw(number), draw(number)))
        shape = draw(st.sampled_from(("point", "range", "at least", "at most")))
        cells = {
            "point": {"value": f"{low:g}"},
            "range": {"low": f"{low:g}", "high": f"{high:g}"},
            "at least": {"low": f"{low:g}"},
            "at most": {"high": f"{high:g}"},
        }[shape]
        source = draw(_source)
        basis = "from memory" if source == "memory" else "published"
        variety = draw(st.sampled_from("ABCDE"))
        facts.append({"trait": name, "variety": variety, "source_id": source, "basis": basis, **cells})
    return rows(*facts)


@given(numeric_evidence())
@settings(max_examples=12, deadline=None)
def test_settled_number_lies_within_the_evidence(evidence: pd.DataFrame) -> None:
    result = settle(evidence, SOURCES, CROPS).settled
    ready = prepare(evidence, SOURCES)
    numbers = ["value_number", "low_number", "high_number"]
    cells = ready.melt(["variety", "trait"], numbers, value_name="number_stated")
    hull = cells.groupby(["variety", "trait"])["number_stated"].agg(["min", "max"])
    both = result.set_index(["variety", "trait"]).join(hull)
    assert len(result) == len(hull)
    assert (both["number"] >= both["min"] - 1e-9).all()
    assert (both["number"] <= both["max"] + 1e-9).all()
    assert (both["low"] <= both["number"] + 1e-9).all()
    assert (both["high"] >= both["number"] - 1e-9).all()
    assert both["agreement"].between(-1e-9, 1 + 1e-9).all()


@given(numeric_evidence(), st.randoms(use_true_random=False))
@settings(max_examples=8, deadline=None)
def test_order_of_rows_does_not_matter(evidence: pd.DataFrame, random: Random) -> None:
    order = np.random.default_rng(random.randint(0, 2**32)).permutation(len(evidence))
    first = settle(evidence, SOURCES, CROPS).settled
    second = settle(evidence.iloc[order], SOURCES, CROPS).settled
    pd.testing.assert_frame_equal(first, second)


@given(numeric_evidence(), st.data())
@settings(max_examples=8, deadline=None)
def test_a_source_that_repeats_itself_counts_once(evidence: pd.DataFrame, data: st.DataObject) -> None:
    again = data.draw(st.lists(st.integers(0, len(evidence) - 1), min_size=1, max_size=5))
    first = settle(evidence, SOURCES, CROPS).settled.drop(columns="n_evidence")
    second = settle(pd.concat([evidence, evidence.iloc[again]]), SOURCES, CROPS).settled
    pd.testing.assert_frame_equal(first, second.drop(columns="n_evidence"))


@given(numeric_evidence())
@settings(max_examples=8, deadline=None)
def test_memory_never_moves_a_published_value(evidence: pd.DataFrame) -> None:
    published = evidence[evidence["basis"].eq("published")]
    if published.empty:
        return
    alone = settle(published, SOURCES, CROPS).settled.set_index(["variety", "trait"])["number"]
    beside = settle(evidence, SOURCES, CROPS).settled.set_index(["variety", "trait"])["number"]
    pd.testing.assert_series_equal(alone, beside.loc[alone.index])


@given(
    st.lists(
        st.tuples(st.sampled_from(("early", "early-mid", "mid", "mid-late", "late")), _source), min_size=1
    )
)
@settings(max_examples=8, deadline=None)
def test_settled_season_lies_between_the_earliest_and_latest_vote(votes: list[tuple[str, str]]) -> None:
    facts = [fact("bloom_season", value, source) for value, source in votes]
    place = {"early": 2.0, "early-mid": 2.5, "mid": 3.0, "mid-late": 3.5, "late": 4.0}
    row = one(*facts)
    assert min(place[value] for value, _ in votes) - 0.5 <= place[row["value"]]
    assert place[row["value"]] <= max(place[value] for value, _ in votes) + 0.5


# Notes


@pytest.mark.parametrize(
    ("note", "expected"),
    [
        ("vs McIntosh; Kentville NS 2016, one season", ("McIntosh",)),
        ("days from Bartlett, picking, approximate", ("Bartlett",)),
        ("one month after Williams, one week after Bosc", ("Bartlett",)),
        ("relative to Van and Bing", ("Van", "Bing")),
        ("vs the commercial cultivars Fuji, Hongro, Tsugaru; Korea", ("Fuji", "Hongro", "Tsugaru")),
        ("reference Quetsche (Hauszwetsche), about 3 weeks", ("Quetsche",)),
        ("it is the reference variety of this source", ()),
    ],
)
def test_reference_varieties_are_read_from_notes(note: str, expected: tuple[str, ...]) -> None:
    known = {name.lower(): ("x", name) for name in ("McIntosh", "Bartlett", "Van", "Bing", "Fuji", "Tsugaru")}
    known |= {"williams": ("x", "Bartlett"), "hongro": ("x", "Hongro")}
    assert references_in(note, "x", known) == tuple(("x", name) for name in expected)


def test_note_without_a_reference_names_none() -> None:
    assert references_in("one season, Ontario", "x", {"bing": ("x", "Bing")}) is None


def test_place_of_a_harvest_date_is_read_without_the_calendar() -> None:
    assert place_in("late August, central California") == place_in("July, central California")
    assert place_in("Ontario, Vineland, average first harvest") != place_in(
        "Ontario, Ridgetown, average first harvest"
    )


# The real data


def value_of(catalog: Catalog, crop: str, variety: str, name: str) -> pd.Series:
    frame = catalog.settled(crop, variety).set_index("trait")
    row = frame.loc[name]
    assert isinstance(row, pd.Series)
    return row


def test_golden_delicious_is_not_self_fertile_though_a_nursery_says_so(catalog: Catalog) -> None:
    row = value_of(catalog, "apple", "Golden Delicious", "self_fertility")
    assert row["value"] == "self-sterile"
    assert "self-fertile: berkeleyhort-2024 (catalogue)" in row["disagreement"]
    assert value_of(catalog, "apple", "Golden Delicious", "s_alleles")["value"] == "S2 S3"


def test_no_apple_is_self_fertile_on_the_word_of_nurseries_alone(catalog: Catalog) -> None:
    settled_apples = catalog.settled_all().query("crop == 'apple' and trait == 'self_fertility'")
    fertile = settled_apples[settled_apples["value"].eq("self-fertile")]
    evidence = catalog.evidence("apple")
    kinds = evidence[evidence["trait"].eq("self_fertility")].groupby("variety")["source_kind"].agg(set)
    assert all(kinds[variety] != {"catalogue"} for variety in fertile["variety"])


@pytest.mark.parametrize(
    ("crop", "variety"),
    [
        ("sweet-cherry", "Stella"),
        ("sweet-cherry", "Lapins"),
        ("sweet-cherry", "Sunburst"),
        ("european-plum", "Victoria"),
    ],
)
def test_truly_self_fertile_varieties_come_out_so(catalog: Catalog, crop: str, variety: str) -> None:
    row = value_of(catalog, crop, variety, "self_fertility")
    assert (row["value"], row["standing"]) == ("self-fertile", "published")


def test_published_genotype_of_nanyo_overrules_the_wrong_one_from_memory(catalog: Catalog) -> None:
    row = value_of(catalog, "sweet-cherry", "Nanyo", "s_alleles")
    assert (row["value"], row["standing"]) == ("S3 S6", "published")


def test_no_value_from_memory_stands_where_something_is_published(catalog: Catalog) -> None:
    evidence = catalog.evidence()
    published = evidence[evidence["basis"].eq("published")]
    stated = set(zip(published["crop"], published["variety"], published["trait"], strict=True))
    unused = catalog.table("set_aside")
    stated -= set(zip(unused["crop"], unused["variety"], unused["trait"], strict=True))
    memory = catalog.settled_all().query("standing == 'from memory'")
    assert not stated & set(zip(memory["crop"], memory["variety"], memory["trait"], strict=True))


def test_every_fact_is_settled_or_set_aside(catalog: Catalog) -> None:
    evidence, unused = catalog.evidence(), catalog.table("set_aside")
    keys = ["crop", "variety", "trait"]
    stated = set(evidence[keys].itertuples(index=False, name=None))
    done = set(catalog.settled_all()[keys].itertuples(index=False, name=None))
    assert stated - done <= set(unused[keys].itertuples(index=False, name=None))


def test_settled_rows_are_complete(catalog: Catalog) -> None:
    frame = catalog.settled_all()
    assert frame.columns.tolist() == SETTLED_COLUMNS
    assert not frame.duplicated(["crop", "variety", "trait"]).any()
    assert frame["value"].notna().all()
    assert frame["agreement"].between(0, 1).all()
    assert set(frame["standing"]) <= {"published", "common practice", "estimated", "from memory"}
    numeric = frame[frame["kind"].eq("numeric")]
    assert (numeric["low"] <= numeric["number"]).all()
    assert (numeric["high"] >= numeric["number"]).all()


def test_traits_of_the_code_and_of_the_vocabulary_are_the_same(catalog: Catalog) -> None:
    vocabulary = catalog.table("trait_vocabulary")
    for row in vocabulary.itertuples():
        spec = trait(str(row.trait))
        assert row.trait in TRAITS or str(row.trait).startswith("disease:")
        if isinstance(row.categories, str) and spec.classes:
            assert set(row.categories.split("|")) == {*spec.classes, *spec.between}, row.trait
        if spec.kind == "numeric" and not spec.date:
            assert (spec.least, spec.most) == (row.min, row.max), row.trait
    assert {name for name in TRAITS if name not in set(vocabulary["trait"])} == set()
