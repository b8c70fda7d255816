"""Whole plantings on the catalog that ships: closed, in room, on paper, and opened again."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import icalendar
import numpy as np
import pytest

from recommender import Goals, PlantingWishes, Plot, Site, compose, open_catalog, rank
from recommender.biology.pollination import catalog_matrix
from recommender.catalog.catalog import Catalog
from recommender.catalog.package import datasets_folder
from recommender.climate.season import season_day
from recommender.errors import BadInput, StorageFault, UnknownName
from recommender.orchard import papers
from recommender.orchard.calendar import first_crop
from recommender.orchard.facts import Facts
from recommender.orchard.notes import notes_for
from recommender.orchard.plan import Plan
from recommender.orchard.plan_file import (
    changed,
    open_plan,
    plan_from,
    plan_text,
    read_plan,
    save_plan,
    schema_text,
)
from recommender.orchard.planting import planting_sheet
from recommender.orchard.plot import Obstacle
from recommender.orchard.pots import container_steps
from recommender.orchard.relaxation import NoPlanting
from recommender.orchard.sheet_pdf import pdf_bytes
from recommender.orchard.windows import climate_kind, planting_windows
from recommender.suitability.ranking import Ranking
from recommender.suitability.site import climate_of

CROPS = ("apple", "european-pear", "european-plum", "quince", "hazelnut")
SITE = Site(
    lat=51.15, lon=-2.85, elevation_m=20, soil="clay", wetness="wet", existing_trees=("apple:Discovery",)
)
GOALS = Goals(crops=CROPS, max_height_m=5)


@pytest.fixture(scope="module")
def catalog() -> Catalog:
    return open_catalog()


@pytest.fixture(scope="module")
def ranking(catalog: Catalog) -> Ranking:
    return rank(SITE, GOALS, catalog=catalog)


@pytest.fixture(scope="module")
def plan(catalog: Catalog, ranking: Ranking) -> Plan:
    plot = Plot(width_m=16, depth_m=14, obstacles=(Obstacle(kind="path", at=((0, 7), (16, 7))),))
    wishes = PlantingWishes(trees=6, store_to="02-15", alternatives=1, time_limit_s=60)
    return compose(SITE, GOALS, wishes, plot, catalog, ranking=ranking)


def test_list_and_plan_name_the_same_days_of_picking(plan: Plan, ranking: Ranking) -> None:
    columns = ["crop", "variety", "harvest_day", "harvest_end"]
    listed = {(crop, name): (first, last) for crop, name, first, last in ranking.frame[columns].to_numpy()}
    lengths = set()
    for tree in plan.trees:
        first, last = listed[tree.crop, tree.variety]
        assert tree.harvest is not None
        assert abs(season_day(tree.harvest.first, "north", after=184) - first) <= 1.0, tree.variety
        assert abs(season_day(tree.harvest.last, "north", after=184) - last) <= 1.0, tree.variety
        lengths.add(round(last - first))
    assert len(lengths) > 1, "some fruit is picked for longer than other"


def test_every_tree_that_needs_a_donor_has_one_in_the_set_or_standing(plan: Plan, catalog: Catalog) -> None:
    there = {(tree.crop, tree.variety) for tree in plan.trees} | {("apple", "Discovery")}
    matrix = catalog_matrix(catalog, CROPS)
    needs, likely = matrix.need != 0, matrix.likely_partner()
    for tree in plan.trees:
        row = matrix.position(tree.crop, tree.variety)
        donors = [matrix.position(*key) for key in there if key != (tree.crop, tree.variety)]
        if matrix.needs_partner()[row]:
            assert needs[row]
            assert likely[row, donors].any()
            assert tree.pollinated_by
        for partner in tree.pollinated_by:
            assert (partner.crop, partner.variety) in there


def test_the_set_is_proven_and_beats_picking_from_the_list(plan: Plan) -> None:
    assert plan.status == "optimal"
    assert plan.optimality_gap == 0.0
    assert plan.measured.value > plan.greedy.value
    assert plan.harvest_cover == pytest.approx(sum(w.covered for w in plan.weeks) / len(plan.weeks), abs=1e-4)
    assert set(plan.alternatives[0].trees) != set(plan.measured.trees)


def test_all_trees_have_a_place_off_the_path(plan: Plan) -> None:
    for tree in plan.trees:
        assert tree.x is not None
        assert tree.y is not None
        assert abs(tree.y - 7) >= 1.5


def test_the_record_has_what_others_read(plan: Plan) -> None:
    record = json.loads(plan_text(plan))
    assert {"trees", "harvest_cover", "optimality_gap", "solve_seconds", "schema", "version"} <= record.keys()
    for tree in record["trees"]:
        assert {"crop", "variety", "rootstock", "x", "y", "pollinated_by", "harvest"} <= tree.keys()
    assert json.loads(schema_text())["properties"].keys() >= record.keys()


def test_locked_trees_stay_and_dropped_ones_go(catalog: Catalog, ranking: Ranking, plan: Plan) -> None:
    gone, kept = plan.trees[0].key, "apple:Ashmead's Kernel"
    again = compose(
        SITE,
        GOALS,
        PlantingWishes(trees=6, fixed=(kept,), dropped=(gone,), alternatives=0, time_limit_s=60),
        catalog=catalog,
        ranking=ranking,
    )
    keys = {tree.key: tree for tree in again.trees}
    assert kept in keys
    assert keys[kept].locked
    assert gone not in keys


def test_where_there_is_room_for_one_tree_it_bears_alone_or_is_a_family(catalog: Catalog) -> None:
    site, goals = Site(lat=51.15, lon=-2.85), Goals(crops=("apple",))
    single = compose(site, goals, PlantingWishes(trees=1, alternatives=0), catalog=catalog)
    assert len(single.trees) == 1
    assert not single.trees[0].grafted_with
    assert 2 <= len(single.one_tree[0].trees) <= 3
    family = compose(site, goals, PlantingWishes(trees=1, one_tree="family", alternatives=0), catalog=catalog)
    tree = family.trees[0]
    assert 1 <= len(tree.grafted_with) <= 2
    matrix = catalog_matrix(catalog, {"apple"})
    rows = [matrix.position("apple", name) for name in (tree.variety, *tree.grafted_with)]
    inside = matrix.take(rows)
    served = inside.likely_partner() & ~np.eye(len(rows), dtype=bool)
    assert (served.any(axis=1) | ~inside.needs_partner()).all()


def test_wishes_that_cannot_be_met_are_named(catalog: Catalog, ranking: Ranking) -> None:
    wishes = PlantingWishes(trees=2, quotas={"apple": (2, 2), "hazelnut": (2, 2)})
    with pytest.raises(NoPlanting) as told:
        compose(SITE, GOALS, wishes, catalog=catalog, ranking=ranking)
    assert told.value.give_up
    assert "Traceback" not in str(told.value)
    with pytest.raises(UnknownName, match="Withy"):
        compose(SITE, GOALS, PlantingWishes(fixed=("apple:Withy Wonder",)), catalog=catalog, ranking=ranking)


@pytest.mark.parametrize(
    "answers",
    [
        {"trees": 0},
        {"trees": 99},
        {"fresh_from": "07-15"},
        {"store_to": "32-13"},
        {"budget": 50},
        {"quotas": {"apple": "3-1"}},
        {"quotas": {"apple": "many"}},
        {"fixed": ("a",), "dropped": ("a",)},
        {"style": "maze"},
        {"prices": {"any": -1}},
        {"treees": 3},
    ],
)
def test_wishes_that_cannot_be_are_refused(answers: dict[str, Any]) -> None:
    with pytest.raises(BadInput):
        PlantingWishes(**answers)


def test_a_saved_plan_opens_as_it_was(plan: Plan, catalog: Catalog, tmp_path: Path) -> None:
    save_plan(plan, tmp_path / "plan.json")
    found = open_plan(tmp_path / "plan.json", catalog)
    assert found.plan == plan
    assert found.changes == ()
    assert [path.name for path in tmp_path.iterdir()] == ["plan.json"]


def test_a_plan_opened_after_the_data_were_rebuilt_names_what_changed(plan: Plan, catalog: Catalog) -> None:
    tree, other = plan.trees[0], plan.trees[1]
    then = plan.model_copy(
        update={
            "data_key": "older",
            "trees": (
                tree.model_copy(update={"facts": {**tree.facts, "s_alleles": "S98S99"}}),
                other.model_copy(update={"variety": "Withy Wonder", "rootstock": "W.1"}),
                *plan.trees[2:],
            ),
        }
    )
    told = " ".join(changed(then, catalog))
    assert "rebuilt" in told
    assert f"{tree.variety}:" in told
    assert "S98S99" in told
    assert "Withy Wonder is no longer in the catalog" in told
    assert "W.1" in told
    assert changed(plan.model_copy(update={"data_key": "older"}), catalog)[-1].startswith("Nothing this plan")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("{", "not JSON"),
        ("[]", "no saved plan"),
        ('{"schema": "orchardwright-plan"}', "version"),
        ('{"schema": "orchardwright-plan", "version": 99}', "later version"),
        ('{"schema": "orchardwright-plan", "version": 1}', "damaged"),
    ],
)
def test_a_file_that_is_no_plan_is_told(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "plan.json"
    path.write_text(text)
    with pytest.raises(BadInput, match=words):
        open_plan(path)


@pytest.mark.parametrize(
    ("place", "words"),
    [
        ('"spacing_m": ', "trees.0.spacing_m"),
        ('"store_weeks": ', "trees.0.harvest.store_weeks"),
        ('"x": ', "trees.0.x"),
        ('"solve_seconds": ', "solve_seconds"),
        ('"elevation_m": ', "damaged at site"),
        ('"budget": ', "damaged at planting"),
        ('"width_m": ', "damaged at plot"),
    ],
)
@pytest.mark.parametrize("number", ["NaN", "-Infinity", "1e308", "1e999"])
def test_a_number_nobody_can_plant_by_is_told(place: str, words: str, number: str) -> None:
    text = (datasets_folder() / "demo" / "withy-hollow-plan.json").read_text(encoding="utf-8")
    bad, found = re.subn(f"{place}[-0-9.]+", place + number, text, count=1)
    assert found == 1
    with pytest.raises(BadInput, match=words if number[0] == "1" else "not JSON") as told:
        read_plan(bad.encode(), "plan.json")
    assert "(plan.json)" in str(told.value)


def test_a_plan_that_cannot_be_written_is_told(plan: Plan, tmp_path: Path) -> None:
    with pytest.raises(StorageFault):
        save_plan(plan, tmp_path / "missing" / "plan.json")


def test_the_calendar_reads_back_with_the_same_dates(plan: Plan, catalog: Catalog) -> None:
    made = papers.events_of(plan, catalog, 2027)
    text = papers.calendar_of(plan, catalog, 2027)
    assert all(len(line.encode()) <= 75 for line in text.split("\r\n"))
    back = icalendar.Calendar.from_ical(text)
    entries = back.walk("VEVENT")
    assert len(entries) == len(made)
    assert len({str(entry["uid"]) for entry in entries}) == len(entries)
    for entry, event in zip(entries, made, strict=True):
        assert entry.decoded("dtstart") == event.first
        assert entry.decoded("dtend") > event.first
    kinds = {event.kind for event in made}
    assert {"planting", "water", "mulch", "frost", "harvest"} <= kinds
    assert all(event.standing for event in made)


def test_nothing_is_picked_in_the_year_of_planting(plan: Plan, catalog: Catalog) -> None:
    made = papers.events_of(plan, catalog, 2027)
    for tree in plan.trees:
        picks = [e for e in made if e.kind == "harvest" and e.trees == (tree.variety,)]
        early, late = first_crop(tree, 2027)
        assert early > 2027
        assert [pick.first.year for pick in picks] == [early]
        assert all(pick.yearly and str(early) in pick.words and str(late) in pick.words for pick in picks)
    assert [event.first.year for event in made if event.kind == "first season"] == [2027]
    assert "RRULE:FREQ=YEARLY" in papers.calendar_of(plan, catalog, 2027)


def test_planting_windows_follow_the_winter(catalog: Catalog) -> None:
    facts = Facts(catalog.planting())
    cold, _ = climate_of(Site(place="Minneapolis, Minnesota"))
    mild, _ = climate_of(Site(place="Bristol, England"))
    south, _ = climate_of(Site(place="Hobart, Australia"))
    assert climate_kind(cold) == "cold"
    assert climate_kind(mild) == climate_kind(south) == "mild"
    first = planting_windows(cold, facts)[0]
    assert "03-15" <= (cold.date(first.first) or "") <= "04-30"
    assert (mild.date(planting_windows(mild, facts)[0].first) or "")[:2] in ("01", "02", "03")
    assert (south.date(planting_windows(south, facts)[0].first) or "")[:2] in ("06", "07", "08")
    evergreen = planting_windows(mild, facts, evergreen=True)
    assert {window.kind for window in evergreen} == {"potted"}


def test_harvest_events_of_the_south_fall_in_its_own_summer_and_autumn(catalog: Catalog) -> None:
    site = Site(place="Hobart, Australia")
    found = compose(site, Goals(crops=("apple",)), PlantingWishes(trees=3, alternatives=0), catalog=catalog)
    picked = [event for event in papers.events_of(found, catalog, 2027) if event.kind == "harvest"]
    assert picked
    assert all(event.first.month in (12, 1, 2, 3, 4, 5, 6, 7) for event in picked)


@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_the_sheet_is_one_page(plan: Plan, catalog: Catalog, size: str) -> None:
    content = papers.pdf_of(plan, catalog, size)
    assert content.startswith(b"%PDF")
    assert content.count(b"/Type /Page\n") == 1


def test_an_unknown_paper_is_refused(plan: Plan, catalog: Catalog) -> None:
    with pytest.raises(BadInput, match="paper"):
        pdf_bytes(papers.sheet_of(plan, catalog), "A9")


def test_every_step_has_a_standing_and_published_ones_a_source(plan: Plan, catalog: Catalog) -> None:
    sheet = papers.sheet_of(plan, catalog)
    assert {"Hole width", "Root flare", "Mound", "Backfill", "Mulch", "Water in"} <= {
        s.topic for s in sheet.steps
    }
    for step in sheet.steps:
        assert step.standing in ("published", "common practice", "from memory")
        assert step.standing != "published" or step.source_id
    topics = {caution.topic for caution in sheet.cautions}
    assert {"utilities", "ladder"} <= topics


def test_a_pot_gets_its_weight_and_the_balcony_caution(catalog: Catalog, plan: Plan) -> None:
    steps = {step.topic: step for step in container_steps(50.0, Facts(catalog.planting()), 8.0)}
    assert {"Drainage holes", "No gravel", "Mix", "Weight", "Repot", "Feed", "Frost"} <= steps.keys()
    assert "engineer" in steps["Weight"].words
    potted = plan.model_copy(update={"site": {**plan.site, "container_L": 50.0}})
    profile, _ = climate_of(SITE)
    sheet = planting_sheet(potted, catalog.planting(), catalog.cautions(), profile)
    assert "structural-load" in {caution.topic for caution in sheet.cautions}


def test_the_html_sheet_escapes_names_and_holds_the_drawing(plan: Plan, catalog: Catalog) -> None:
    trees = (plan.trees[0].model_copy(update={"variety": "<script>alert(1)</script>"}), *plan.trees[1:])
    sheet = replace(papers.sheet_of(plan, catalog), title="<b>x</b>")
    text = papers.html_of(plan.model_copy(update={"trees": trees}), catalog)
    assert "<script>" not in text
    assert "<svg" in text
    assert sheet.title == "<b>x</b>"


def test_plain_types_make_the_same_plan(plan: Plan) -> None:
    assert plan_from(json.loads(plan_text(plan))) == plan


def test_a_hedge_closer_than_the_stock_wants_says_what_it_costs(catalog: Catalog, ranking: Ranking) -> None:
    wishes = PlantingWishes(
        trees=4, style="hedge", in_row_m=0.9, row_m=3, alternatives=0, quotas={"apple": (4, 4)}
    )
    found = compose(SITE, GOALS, wishes, Plot(width_m=8, depth_m=8), catalog, ranking=ranking)
    assert all(tree.spacing_m == 0.9 for tree in found.trees)
    told = [note for note in notes_for(found) if "pruned every summer" in note]
    assert len(told) == 1
    assert all(tree.variety in told[0] for tree in found.trees)
    assert "35 in from the next tree" in " ".join(notes_for(found, "imperial"))
    roomy = wishes.model_copy(update={"in_row_m": 8.0})
    wide = compose(SITE, GOALS, roomy, Plot(width_m=20, depth_m=40), catalog, ranking=ranking)
    assert not [note for note in notes_for(wide) if "pruned every summer" in note]
