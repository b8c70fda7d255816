"""The data quality report: its figures against counts made by hand, and the page against the data."""

from __future__ import annotations

from pathlib import Path
from typing import cast
from xml.etree import ElementTree

import pandas as pd
import pytest

from recommender import open_catalog
from recommender.catalog.catalog import Catalog
from recommender.catalog.quality import (
    CRITERIA,
    ENOUGH,
    NO_YEAR,
    STANDINGS,
    UNKNOWN,
    Quality,
    _deciding_of_crops,
    deciding,
    quality,
)
from recommender.catalog.quality_page import NOT_EXPLAINED, chart_svg, page, write
from recommender.cli import main
from recommender.errors import StorageFault

DOCS = Path(__file__).resolve().parents[2] / "docs"


@pytest.fixture(scope="module")
def catalog() -> Catalog:
    return open_catalog()


@pytest.fixture(scope="module")
def found(catalog: Catalog) -> Quality:
    return quality(catalog)


def test_the_page_and_its_chart_are_in_step_with_the_data(found: Quality) -> None:
    remedy = "run: orchardwright quality --page docs/data-quality.md"
    assert (DOCS / "data-quality.md").read_text(encoding="utf-8") == page(found, "data-quality.svg"), remedy
    assert (DOCS / "data-quality.svg").read_text(encoding="utf-8") == chart_svg(found), remedy


def test_every_variety_of_every_crop_is_counted_once_under_each_criterion(
    catalog: Catalog, found: Quality
) -> None:
    sizes = catalog.varieties().groupby("crop").size()
    assert len(found.coverage) == len(sizes) * len(CRITERIA)
    for crop, told in found.coverage.groupby("crop")["varieties"]:
        assert set(told) == {sizes.loc[crop]}
    whole = found.coverage[[*STANDINGS, UNKNOWN]].sum(axis=1)
    assert whole.sub(1.0).abs().max() < 1e-9


@pytest.mark.parametrize(
    ("crop", "criterion"), [("quince", "hardiness"), ("apple", "chill"), ("medlar", "bloom")]
)
def test_published_is_a_published_value_of_a_trait_that_serves(
    catalog: Catalog, found: Quality, crop: str, criterion: str
) -> None:
    """Counted again from the evidence, not from the settled values."""
    rows = catalog.evidence(crop)
    rows = rows[rows["trait"].isin(CRITERIA[criterion]) & rows["basis"].isin(["published", "computed"])]
    unused = pd.DataFrame(catalog.info["set_aside"])
    unused = unused[unused["crop"].eq(crop) & unused["trait"].isin(CRITERIA[criterion])]
    assert unused.empty, "choose a crop of which every row is used"
    counted = rows["variety"].nunique() / catalog.varieties()["crop"].eq(crop).sum()
    rows = found.coverage[found.coverage["crop"].eq(crop) & found.coverage["criterion"].eq(criterion)]
    assert rows["published"].to_list() == [pytest.approx(counted)]


def test_every_row_that_was_read_has_the_age_its_source_gives(found: Quality, catalog: Catalog) -> None:
    read = catalog.evidence()
    read = read[read["basis"].ne("from memory")]
    years = pd.to_numeric(read["source_year"], errors="coerce")
    rows = found.age.set_index("decade")["rows"]
    assert rows.sum() == len(read)
    assert rows[NO_YEAR] == years.isna().sum() > 0
    assert rows["before 1950"] == years.lt(1950).sum() > 0
    assert rows["1990s"] == years.between(1990, 1999).sum() > 0


def test_less_than_a_twentieth_of_what_decides_is_from_memory(found: Quality) -> None:
    shares = found.memory.set_index("of")["share"]
    assert (shares < 0.05).all()
    assert found.deciding_memory.empty, "find a source, or move the rows to datasets/unsourced.csv"


def test_no_table_that_a_limit_reads_stands_from_memory(found: Quality, catalog: Catalog) -> None:
    rows = found.whole_crops.set_index("table")
    for table in ("crop_limits", "ripening_parameters", "bloom_parameters", "native_ranges"):
        assert rows.loc[table, "from_memory"] == 0, table
    counted = catalog.table("crop_facts")["basis"].eq("from memory").sum()
    assert rows.loc["crop_facts", "from_memory"] == counted > 0
    assert rows.loc["crop_facts", "limits"]


def test_a_crop_fact_from_memory_that_a_limit_reads_would_be_told(catalog: Catalog) -> None:
    facts = catalog.table("crop_facts")
    facts.loc[facts["trait"].eq("chill_hours").idxmax(), "basis"] = "from memory"

    class Doctored:
        def table(self, name: str) -> pd.DataFrame:
            return facts if name == "crop_facts" else catalog.table(name)

    told = _deciding_of_crops(cast("Catalog", Doctored()))
    assert told["trait"].to_list() == ["chill_hours"]


def test_no_ban_on_moving_or_planting_is_from_memory(catalog: Catalog) -> None:
    cautions = catalog.cautions()
    stops = cautions[cautions["severity"].eq("stop")]
    assert len(stops) > 10
    assert not stops["basis"].eq("from memory").any()


def test_what_waits_for_a_source_is_of_traits_that_decide_and_is_in_no_settled_value(
    catalog: Catalog,
) -> None:
    waiting = catalog.table("unsourced")
    assert waiting["basis"].eq("from memory").all()
    assert waiting["trait"].map(deciding).sum() > 0.9 * len(waiting)
    evidence = catalog.evidence()
    assert not evidence.loc[evidence["trait"].map(deciding), "basis"].eq("from memory").any()


def test_each_main_crop_reaches_the_aim_or_says_why_not(found: Quality) -> None:
    short = set(found.short()[["crop", "criterion"]].itertuples(index=False, name=None))
    told = set(found.gaps[["crop", "criterion"]].itertuples(index=False, name=None))
    assert told == short, "mend datasets/coverage_gaps.csv: a reason for each gap, none where there is none"
    assert NOT_EXPLAINED not in page(found, "x.svg")
    reached = found.coverage[found.coverage["crop"].isin(found.main_crops())]
    assert reached["published"].ge(ENOUGH).sum() == len(reached) - len(short)


def test_the_chart_is_sound_and_its_bars_do_not_overrun(found: Quality) -> None:
    root = ElementTree.fromstring(chart_svg(found))
    width = float(root.attrib["viewBox"].split()[2])
    bars = [item for item in root.iter("{http://www.w3.org/2000/svg}rect") if "x" in item.attrib]
    assert len(bars) > 75
    assert all(float(bar.attrib["x"]) + float(bar.attrib["width"]) <= width for bar in bars)
    told = [item.text for item in root.iter("{http://www.w3.org/2000/svg}text")]
    assert set(found.main_crops()) | set(CRITERIA) | set(STANDINGS) <= set(told)


def test_the_command_prints_the_shares_and_writes_the_page(
    tmp_path: Path, found: Quality, capsys: pytest.CaptureFixture[str]
) -> None:
    for arguments in ([], ["--page", str(tmp_path / "page.md")]):
        with pytest.raises(SystemExit) as ended:
            main(["quality", *arguments])
        assert ended.value.code == 0
    printed = capsys.readouterr().out
    for crop in found.main_crops():
        assert crop in printed
    assert (tmp_path / "page.md").read_text(encoding="utf-8") == page(found, "page.svg")
    assert (tmp_path / "page.svg").exists()


def test_a_page_that_cannot_be_written_is_a_storage_fault(tmp_path: Path, found: Quality) -> None:
    with pytest.raises(StorageFault, match="could not be written"):
        write(found, tmp_path / "no such folder" / "page.md")
    assert list(tmp_path.iterdir()) == []
