"""Every published pair and incompatibility group of the open data, against the rules and the finished matrix.

Sources: datasets/pollination_pairs.csv and the evidence `pollinated_by` and `incompatible_with`, each row
with its source_id. Many cherry alleles were themselves derived from the charted groups; those pairs are
counted apart, and the rules are measured a second time without any derived allele. Run with `pytest -s` to
see the counts.
"""

from __future__ import annotations

import re
from functools import lru_cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from recommender import open_catalog
from recommender.biology.pollination import catalog_matrix
from recommender.biology.pollination_checks import agreement, check_pollination_evidence
from recommender.biology.pollination_result import PollinationMatrix
from recommender.biology.reasons_pollination import RESULTS


@lru_cache(maxsize=2)
def compared(derived: bool) -> pd.DataFrame:
    catalog = open_catalog()
    return agreement(
        catalog.traits(),
        catalog.pairs(),
        catalog.crops(),
        catalog.evidence(),
        catalog.names(),
        derived_alleles=derived,
    )


@lru_cache(maxsize=1)
def built() -> PollinationMatrix:
    return catalog_matrix(open_catalog())


def counted(found: pd.DataFrame) -> pd.DataFrame:
    """Crop, what was published, independent or charted -> how many agree, disagree, are unknown to the
    rules.
    """
    sets = found["result"].ne("incompatible").map({True: "sets fruit", False: "incompatible"})
    group = found["independent"].map({True: "stated", False: "read off a group"})
    table = found.groupby([found["female_crop"], sets, group, found["verdict"]]).size()
    names = ["crop", "published", "from", "rule"]
    return table.rename_axis(names).rename("pairs").reset_index()


def report(derived: bool) -> str:
    found = compared(derived)
    lines = [counted(found).to_string(index=False)]
    for row in found.loc[found["verdict"].eq("disagrees")].itertuples(index=False):
        lines.append(
            f"{row.female_crop}: {row.male} on {row.female}: published {row.result} ({row.sources}); "
            f"rule {row.rule}, matrix {row.final}. {row.why}"
        )
    return "\n".join(lines)


@pytest.mark.parametrize("derived", [True, False])
def test_no_published_incompatible_pair_is_called_compatible(derived: bool) -> None:
    found = compared(derived)
    print(f"\nAlleles derived from groups {'used' if derived else 'left out'}\n{report(derived)}")
    published = found.loc[found["result"].eq("incompatible") & found["standing"].eq("published")]
    assert len(published) > 700
    assert set(published["final"]) <= {"incompatible", "no viable pollen"}


def test_rules_alone_never_call_a_published_incompatible_pair_fully_compatible() -> None:
    found = compared(True)
    wrong = found.loc[found["result"].eq("incompatible") & found["rule"].eq("compatible")]
    assert wrong.empty, wrong[["female_crop", "female", "male", "why"]].to_string()


def test_rules_agree_with_independent_pairs_where_they_speak() -> None:
    """Without derived alleles and without charted groups: at most 5 in 100 of the judged pairs disagree."""
    found = compared(False)
    judged = found.loc[found["independent"] & found["verdict"].ne("unknown")]
    share = judged["verdict"].eq("agrees").mean()
    print(f"\nindependent pairs judged {len(judged)}, agreeing {share:.1%}")
    assert len(judged) > 400
    assert share > 0.95


@pytest.mark.parametrize(
    ("female", "donor", "result", "source"),
    [
        # Hauck 2006 (hauck-2006): sour cherry pollen on sweet cherry styles.
        ("sweet-cherry:Gold", "sour-cherry:Montmorency", "semi-compatible", "hauck-2006"),
        ("sweet-cherry:Emperor Francis", "sour-cherry:Érdi Bőtermő", "semi-compatible", "hauck-2006"),
        # NARO 2023 (naro-2023-kinshu): Kinshu and Tsugaru have one genotype.
        ("apple:Kinshu", "apple:Tsugaru", "incompatible", "naro-2023-kinshu"),
        # Nebraska and North Carolina extension (ncsu-hil-302): triploids and their pollen.
        ("apple:Jonagold", "apple:Golden Delicious", "incompatible", "ncsu-hil-302"),
        ("apple:Golden Delicious", "apple:Jonagold", "no viable pollen", "ncsu-hil-302"),
        # researcherlife-osa-nijisseiki: one way only.
        ("asian-pear:Kikusui", "asian-pear:Osa-Nijisseiki", "incompatible", "researcherlife-osa-nijisseiki"),
        # Egea and Burgos 1996 (egea-burgos-1996-jashs): first incompatibility group of apricot.
        ("apricot:Goldrich", "apricot:Hargrand", "incompatible", "egea-burgos-1996-jashs"),
    ],
)
def test_named_pairs_come_out_as_published(female: str, donor: str, result: str, source: str) -> None:
    found = built()
    i, j = (found.position(*name.split(":")) for name in (female, donor))
    assert RESULTS[found.result[i, j]] == result, f"{source}: {found.explain(i, j)}"


def test_the_page_tells_the_counts_of_today() -> None:
    page = (Path(__file__).parents[2] / "docs" / "pollination.md").read_text(encoding="utf-8")
    derived, plain = compared(True), compared(False)
    stated = derived["independent"]
    for label, found in {
        "stated pairs and partner lists": derived[stated],
        "of these incompatible": derived[stated & derived["result"].eq("incompatible")],
        "read off group charts (many alleles come from them)": derived[~stated],
        "stated pairs, without alleles derived from groups": plain[plain["independent"]],
        "charts, without alleles derived from groups": plain[~plain["independent"]],
    }.items():
        counts = found["verdict"].value_counts().reindex(["agrees", "disagrees"], fill_value=0)
        assert f"| {label} | {len(found)} | {counts.sum()} | {counts['agrees']} |" in page
    typed = open_catalog().settled_all().query("trait == 's_alleles' and standing == 'published'")
    apples, pears = (typed["crop"].eq(crop).sum() for crop in ("apple", "european-pear"))
    assert f"{apples} apples of 637 and {pears} European pears of 171 are typed by a source" in page
    for crop in ("Asian pear", "apple", "Japanese plum"):
        key = crop.lower().replace(" ", "-")
        assert re.search(rf"\b{crop} {_share_if_unknown(key)}\b", page)
    assert f"the share of all crops together ({_share_if_unknown('european-pear')})" in page


def _share_if_unknown(crop: str) -> str:
    """Of 100 pairs of the crop about which nothing is published, how many are taken to set fruit."""
    chances = built().chance(np.flatnonzero(np.array(built().crop_of) == crop))
    (share,) = np.unique(chances[(chances > 0) & (chances < 1)])
    return f"{100 * share:.0f}"


def test_no_crop_serves_one_it_never_crosses_with() -> None:
    frame = built().pair_frame()
    sets = frame["result"].isin(["compatible", "semi-compatible"])
    crops = set(zip(frame.loc[sets, "female_crop"], frame.loc[sets, "male_crop"], strict=True))
    diploid_plums = ("japanese-plum", "american-plum", "cherry-plum", "plum-apricot")
    assert (
        not {pair for plum in diploid_plums for pair in (("european-plum", plum), (plum, "european-plum"))}
        & crops
    )
    assert ("sour-cherry", "sweet-cherry") in crops
    assert ("japanese-plum", "american-plum") in crops


def test_open_data_hold_no_fault_in_pollination_evidence() -> None:
    catalog = open_catalog()
    found = check_pollination_evidence(
        catalog.traits(), catalog.pairs(), catalog.crops(), catalog.evidence(), catalog.names()
    )
    assert found.loc[found["severity"].eq("fault")].empty
