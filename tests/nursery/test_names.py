"""Reading messy stock names: parts of a line, decided or not, remembered; measured on the noise process."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recommender.catalog.catalog import Catalog
from recommender.errors import BadInput, DataFaults, StorageFault, UnknownName
from recommender.nursery import name_book
from recommender.nursery.decisions import Decisions
from recommender.nursery.name_book import Query
from recommender.nursery.names import book_of, decide, read_lines, read_stock
from recommender.nursery.stock_files import Table
from recommender.nursery.stock_line import mended, parse_count, spaced
from tests.nursery.messy_list import PUBLISHED, messy_list


@pytest.mark.parametrize(
    ("text", "variety", "rootstock", "form", "size", "count", "price"),
    [
        (
            "APPLE Coxs Orange Pipin MM106 2yr bush 12L x40 £14.50",
            "Cox's Orange Pippin",
            "MM.106",
            "bush",
            "12L",
            40,
            14.5,
        ),
        (
            "Malus domestica 'Discovery'™ on M9, maiden, bare root, 25 pcs",
            "Discovery",
            "M.9",
            "maiden, bare root",
            None,
            25,
            None,
        ),
        (
            "Victoria plum St. Julien A 1/2 std C12 £35 ea",
            "Victoria",
            "St Julien A",
            "half standard",
            "C12",
            None,
            35.0,
        ),
        ("Vranja quince on Quince C (34)", "Vranja", "Quince C", None, None, 34, None),
        ("Doyenne du Comice pear QUINCE A 7 @ 22,50 €", "Doyenné du Comice", "Quince A", None, None, 7, 22.5),
        ("peach PF 24C on GF 677", "PF 24C", "GF 677", None, None, None, None),
    ],
)
def test_a_line_falls_into_its_parts(
    catalog: Catalog,
    text: str,
    variety: str,
    rootstock: str,
    form: str | None,
    size: str | None,
    count: int | None,
    price: float | None,
) -> None:
    row = read_lines([text], catalog).lines.iloc[0]
    assert (row["variety"], row["rootstock"], row["decision"]) == (variety, rootstock, "decided")
    assert (row["form"], row["size"]) == (form, size)
    assert (None if pd.isna(row["count"]) else row["count"]) == count
    assert (None if pd.isna(row["price"]) else row["price"]) == price


@pytest.mark.parametrize("mark", ["", "™", " €9"])
def test_letters_decoded_wrongly_are_mended_beside_real_marks(mark: str) -> None:
    broken = "Újfehértói Fürtös".encode().decode("cp1252") + mark
    assert mended(broken).startswith("Újfehértói Fürtös")
    assert mended("Große Schwarze Knorpel, Čačanska lepotica") == "Große Schwarze Knorpel, Čačanska lepotica"


def test_name_of_two_fruits_is_left_to_a_person(catalog: Catalog) -> None:
    row = read_lines(["Starkrimson"], catalog).lines.iloc[0]
    assert row["decision"] == "review"
    assert pd.isna(row["variety"])
    assert "apple:Starkrimson" in row["runners_up"]
    assert "european-pear:Starkrimson" in row["runners_up"]


def test_crop_heading_or_rootstock_settles_a_name_of_two_fruits(catalog: Catalog) -> None:
    lines = read_lines(
        ["PEARS", "Starkrimson", "APPLES", "Starkrimson", "Starkrimson on Quince A"], catalog
    ).lines
    assert list(lines["crop"]) == ["european-pear", "apple", "european-pear"]
    assert list(lines["line"]) == [2, 4, 5]


def test_number_in_a_name_is_never_corrected(catalog: Catalog) -> None:
    row = read_lines(["peach PF 26"], catalog).lines.iloc[0]
    assert row["decision"] != "decided"


def test_invented_name_is_not_decided(catalog: Catalog) -> None:
    lines = read_lines(
        ["apple Withy Hollow Wonder", "plum Sedge Treasure", "Grandmother's Apple from Hollow Lane"], catalog
    ).lines
    assert set(lines["decision"]) <= {"review", "unknown"}


def test_line_said_twice_counts_once(catalog: Catalog) -> None:
    stock = read_lines(["apple Discovery x5", "apple Katy x2", "apple Discovery x5"], catalog)
    assert stock.lines["duplicate_of"].fillna(0).tolist() == [0, 0, 1]
    assert stock.usable()["count"].sum() == 7


def test_negative_count_is_told_and_offers_nothing(catalog: Catalog) -> None:
    stock = read_lines(["apple Discovery qty -4", "apple Katy x2"], catalog)
    assert len(stock.faults) == 1
    assert "-4" in stock.faults[0]
    assert "row 1" in stock.faults[0]
    assert list(stock.usable()["variety"]) == ["Katy"]


@pytest.mark.parametrize(
    "row", list(pd.read_csv(PUBLISHED).itertuples(index=False)), ids=lambda row: row.trade
)
def test_published_trade_designation_and_cultivar_are_one_variety(catalog: Catalog, row: Any) -> None:
    crop, trade, cultivar = row.crop, row.trade, row.cultivar
    lines = read_lines([f"{crop} {trade.upper()}® M9 bush", f"'{cultivar}' {crop} 12L"], catalog).lines
    assert set(lines["decision"]) == {"decided"}
    assert len(set(lines["variety"])) == 1


def test_published_trade_designations_have_their_source(catalog: Catalog) -> None:
    """Each is a source of the catalog, and one of the two names leads to the other there as published."""
    pairs, names = pd.read_csv(PUBLISHED), catalog.names()
    assert len(pairs) >= 20
    assert set(pairs["source_id"]) <= set(catalog.sources()["source_id"])
    said = names[names["basis"].eq("published")]
    known = set(zip(said["crop"], said["name"], said["source_id"], strict=True))
    for row in pairs.to_dict("records"):
        assert known & {(row["crop"], row[part], row["source_id"]) for part in ("trade", "cultivar")}, row


def test_measured_on_the_noise_process(catalog: Catalog) -> None:
    """2,000 lines of a seed the coefficients have not seen; strangers among them must not be decided."""
    truth, hidden = messy_list(catalog, 2000, seed=101)
    table = Table(pd.DataFrame({"name": truth["text"]}, dtype=object), tuple(truth["line"]), {"name": "name"})
    read = read_stock(table, catalog, book=name_book.name_book(catalog, hidden)).lines.merge(
        truth, on="line", suffixes=("", "_true")
    )
    decided = read["decision"].eq("decided")
    right = decided & read["crop"].eq(read["crop_true"]) & read["variety"].eq(read["variety_true"])
    known = read["variety_true"].notna()
    assert len(read) >= 1500
    assert right.sum() / decided.sum() >= 0.98
    assert (decided & known).sum() / known.sum() >= 0.92
    assert (read["count"].fillna(-1) == read["count_true"].fillna(-1)).mean() >= 0.99
    assert (read["rootstock"].fillna("") == read["rootstock_true"].fillna("")).mean() >= 0.99
    published = read["source"].str.startswith("published")
    assert published.sum() >= 60
    assert right[published & decided].mean() >= 0.97
    assert decided[published].mean() >= 0.90


def test_every_accepted_name_reads_as_itself(catalog: Catalog) -> None:
    varieties = catalog.varieties()
    queries = []
    book = book_of(catalog)
    for crop, variety in zip(varieties["crop"], varieties["variety"], strict=True):
        parts = book.reader.parts(variety)
        queries.append(Query(parts.rest, parts.whole, (crop,)))
    found = book.match(queries)
    wrong = [
        (crop, variety)
        for crop, variety, match in zip(varieties["crop"], varieties["variety"], found, strict=True)
        if match.decided and match.candidates[0][:2] != (crop, variety)
    ]
    assert wrong == []
    assert sum(match.decided for match in found) / len(found) > 0.98


def test_decision_is_remembered_for_the_next_import(catalog: Catalog, tmp_path: Path) -> None:
    path = tmp_path / "decisions.csv"
    memory = Decisions(path)
    first = read_lines(["Grandmother's Apple from Hollow Lane", "Starkrimson"], catalog, memory)
    assert decide(first, 1, "apple:Bramley's Seedling", catalog, memory) == ("apple", "Bramley's Seedling")
    decide(first, 2, "none", catalog, memory)
    memory.save()
    again = read_lines(
        ["GRANDMOTHERS APPLE from Hollow Lane x3", "Starkrimson 12L"], catalog, Decisions(path)
    ).lines
    assert again["variety"].iloc[0] == "Bramley's Seedling"
    assert again["how"].tolist() == ["remembered", "remembered"]
    assert again["decision"].tolist() == ["decided", "unknown"]


def test_decision_for_a_line_that_is_not_there(catalog: Catalog) -> None:
    stock = read_lines(["apple Katy"], catalog)
    with pytest.raises(BadInput):
        decide(stock, 9, "apple:Katy", catalog, Decisions())
    with pytest.raises(UnknownName):
        decide(stock, 1, "apple:Kaaaty", catalog, Decisions())


def test_damaged_decisions_are_named(tmp_path: Path) -> None:
    path = tmp_path / "decisions.csv"
    path.write_text("name,crop_said,crop,variety\nKaty,,apple\n", encoding="utf-8")
    with pytest.raises(DataFaults) as error:
        Decisions(path)
    assert "row 2" in str(error.value)


def test_decisions_that_cannot_be_reached_are_told(tmp_path: Path) -> None:
    with pytest.raises(StorageFault, match=r"decisions cannot be read .*name too long"):
        Decisions(tmp_path / ("n" * 300))


def test_decisions_cannot_run_in_a_spreadsheet(tmp_path: Path) -> None:
    memory = Decisions(tmp_path / "d.csv")
    memory.remember("=1+1 apple", ("apple", "Katy"))
    memory.save()
    assert "\n'=1+1" in (tmp_path / "d.csv").read_text(encoding="utf-8")
    assert Decisions(tmp_path / "d.csv").find("=1+1 apple") == ("apple", "Katy")


@settings(max_examples=150, deadline=None)
@given(st.text(max_size=80))
def test_any_text_is_read_without_an_error(catalog: Catalog, text: str) -> None:
    lines = read_lines([text, "apple Katy"], catalog).lines
    assert lines.iloc[-1]["variety"] == "Katy"
    assert lines["decision"].isin(["decided", "review", "unknown"]).all()
    assert lines["confidence"].between(0, 1).all()


@given(st.integers(min_value=0, max_value=999_999))
def test_count_of_a_cell_comes_back(count: int) -> None:
    for cell in (f"{count}", f" {count} pcs", f"{count} @ £12.50", f"£9.99 x {count}", f"{count:,}"):
        assert parse_count(cell) == count


@given(st.text(max_size=60))
def test_mending_twice_changes_nothing_more(text: str) -> None:
    # Bytes C2 to F4 begin a letter of UTF-8: a text with one of them may have been spoilt more than once.
    spoilt = any("\xc2" <= letter <= "\xf4" for letter in text)
    assert spaced(mended(mended(text))) == spaced(mended(text)) or "&" in text or spoilt
