"""The command, the page and the charts of a planting."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from streamlit.testing.v1 import AppTest

from recommender import Goals, PlantingWishes, Plot, Site, compose, open_catalog
from recommender.catalog.catalog import Catalog
from recommender.charts_orchard import harvest_chart, network_chart
from recommender.cli import main
from recommender.errors import BadInput
from recommender.orchard.drawing import drawn, svg
from recommender.orchard.ground_text import plot_of, points_of, quotas_of, text_of
from recommender.orchard.network import network_of
from recommender.orchard.plan import Plan
from recommender.orchard.plan_file import open_plan

SCRIPT = str(Path(__file__).parents[2] / "app.py")
DEMO = Path(__file__).parents[2] / "datasets" / "demo" / "withy-hollow.toml"


@pytest.fixture(scope="module")
def catalog() -> Catalog:
    return open_catalog()


@pytest.fixture(scope="module")
def plan(catalog: Catalog) -> Plan:
    site, goals = Site.from_file(DEMO), Goals.from_file(DEMO)
    wishes = PlantingWishes(trees=4, alternatives=0, time_limit_s=60)
    return compose(site, goals, wishes, Plot(width_m=12, depth_m=12), catalog)


def _run(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> tuple[int, str, str]:
    code = 0
    try:
        main(arguments)
    except SystemExit as end:
        code = int(end.code or 0)
    said = capsys.readouterr()
    return code, said.out, said.err


def test_the_command_writes_plan_sheet_and_calendar(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    files = {name: tmp_path / f"plan.{name}" for name in ("json", "pdf", "html", "ics")}
    code, out, _ = _run(
        [
            "plan",
            "--site",
            str(DEMO),
            "--crop",
            "quince",
            "--crop",
            "apple",
            "--trees",
            "3",
            "--plot",
            "12x10",
            "--save",
            str(files["json"]),
            "--pdf",
            str(files["pdf"]),
            "--html",
            str(files["html"]),
            "--calendar",
            str(files["ics"]),
            "--year",
            "2027",
            "--json",
        ],
        capsys,
    )
    assert code == 0
    record = json.loads(out)
    assert len(record["trees"]) == 3
    assert record["optimality_gap"] == 0.0
    assert all(path.stat().st_size > 500 for path in files.values())
    code, out, _ = _run(["plan", "--open", str(files["json"])], capsys)
    assert code == 0
    assert record["trees"][0]["variety"] in out


@pytest.mark.parametrize(
    ("extra", "words"),
    [
        (["--plot", "wide"], "no size of a plot"),
        (["--fresh", "July"], "no span of dates"),
        (["--quota", "apple"], "no pair"),
        (["--price", "any=cheap"], "no price"),
        (["--open", "no-such-plan.json"], "cannot be read"),
    ],
)
def test_bad_options_are_told(extra: list[str], words: str, capsys: pytest.CaptureFixture[str]) -> None:
    code, _, told = _run(["plan", "--site", str(DEMO), *extra], capsys)
    assert code == 2
    assert words in told
    assert "Traceback" not in told


def test_the_charts_say_in_words_what_they_show(plan: Plan, catalog: Catalog) -> None:
    harvest, network, plot = harvest_chart(plan), network_chart(network_of(plan, catalog)), drawn(plan)
    assert harvest is not None
    assert network is not None
    assert plot is not None
    for tree in plan.trees:
        assert tree.variety in network.alt_text
        assert tree.variety in plot.words
        if tree.harvest is not None:
            assert tree.variety in harvest.alt_text


def test_the_drawing_is_to_scale(plan: Plan) -> None:
    picture = drawn(plan)
    assert picture is not None
    text = svg(picture, 1000)
    wide, high = (float(part) for part in re.findall(r'viewBox="0 0 (\d+) (\d+)"', text)[0])
    (x0, y0), (x1, y1) = picture.low, picture.high
    assert wide / (x1 - x0) == pytest.approx(high / (y1 - y0), rel=0.01)
    radii = [float(radius) for radius in re.findall(r' r="([\d.]+)"', text)]
    drawn_m = [radius / wide * (x1 - x0) for radius in radii]
    assert drawn_m == pytest.approx([tree.spread_m / 2 for tree in plan.trees], rel=0.01)
    assert 'stroke="#ece9e0"' in svg(picture, paper="dark")


def test_a_plan_without_a_plot_has_no_drawing(plan: Plan) -> None:
    assert drawn(plan.model_copy(update={"plot": None})) is None


DEMO_PLAN = DEMO.with_name("withy-hollow-plan.json")


def test_the_demo_plan_opens_and_names_what_changed(
    catalog: Catalog, capsys: pytest.CaptureFixture[str]
) -> None:
    found = open_plan(DEMO_PLAN, catalog)
    assert len(found.plan.trees) == 8
    assert found.plan.optimality_gap == 0.0
    rebuilt = found.plan.data_key != str(catalog.info["data_key"])
    assert (len(found.changes) >= 2) == rebuilt
    assert Plot(**(found.plan.plot or {})).obstacles
    code, out, _ = _run(["plan", "--open", str(DEMO_PLAN)], capsys)
    assert code == 0
    assert all(tree.variety in out for tree in found.plan.trees)


def test_the_demo_plan_is_what_its_command_makes(catalog: Catalog) -> None:
    path = DEMO.with_name("withy-hollow-orchard.toml")
    saved = open_plan(DEMO_PLAN).plan
    made = (Site.from_file(path), Goals.from_file(path), PlantingWishes.from_file(path), Plot.from_file(path))
    assert [part.model_dump(mode="json", exclude_none=True) for part in made] == [
        saved.site, saved.goals, saved.planting, saved.plot,
    ]  # fmt: skip


@pytest.fixture
def opened_page(page: AppTest, catalog: Catalog) -> AppTest:
    page.session_state["plan_opened"] = open_plan(DEMO_PLAN, catalog)
    return page.run()


def test_a_saved_plan_is_shown_as_it_was_and_can_be_chosen_again(opened_page: AppTest) -> None:
    assert not opened_page.exception
    assert "A saved plan" in _said(opened_page)
    assert _said(opened_page).count("<article") == 8
    assert any(button.label == "Choose again with its answers" for button in opened_page.button)
    next(button for button in opened_page.button if button.label == "Close this plan").click().run()
    assert not opened_page.exception
    assert "A saved plan" not in _said(opened_page)


@pytest.mark.parametrize(
    ("text", "words"), [("0 0; 5", "“5” is no point"), ("a b", "is no point"), ("", "is no point")]
)
def test_points_that_cannot_be_read_are_told(text: str, words: str) -> None:
    with pytest.raises(BadInput, match=words):
        points_of(text)


def test_a_table_of_things_becomes_a_plot() -> None:
    rows: list[dict[str, object]] = [
        {"what": "building", "where": "0 10; 4 10; 4 13; 0 13", "high": float("nan"), "trained": True},
        {"what": None, "where": None},
        {"what": "tree", "where": "8, 3", "wide": 12.0, "name": "apple:Discovery", "trained": False},
    ]
    plot = Plot(**plot_of(40, 30, "", 15.0, rows, "imperial"))
    assert plot.width_m == pytest.approx(12.192)
    house, tree = plot.obstacles
    assert house.trained
    assert house.height_m is None
    assert tree.spread_m == pytest.approx(3.6576)
    assert plot_of(None, None, "", 0.0, []) == {}
    with pytest.raises(BadInput, match="no size yet"):
        plot_of(12.0, None, "", 0.0, [])
    with pytest.raises(BadInput, match="what stands there"):
        plot_of(12.0, 9.0, "", 0.0, [{"what": "", "where": "1 1"}])
    with pytest.raises(BadInput, match="where the path is"):
        plot_of(12.0, 9.0, "", 0.0, [{"what": "path", "where": " "}])


@given(st.lists(st.tuples(st.integers(-99, 99), st.integers(-99, 99)), min_size=1, max_size=5))
def test_points_written_are_read_back(points: list[tuple[int, int]]) -> None:
    assert points_of(text_of(points)) == tuple((float(x), float(y)) for x, y in points)


def test_numbers_and_prices_by_fruit() -> None:
    quotas, prices = quotas_of([{"crop": "apple", "fewest": 1, "most": None, "price": 20}, {"crop": None}])
    assert quotas == {"apple": (1, 20)}
    assert prices == {"apple": 20.0}
    with pytest.raises(BadInput, match="At least 3 and at most 1"):
        quotas_of([{"crop": "apple", "fewest": 3, "most": 1}])
    with pytest.raises(BadInput, match="for which fruit"):
        quotas_of([{"crop": None, "price": 4.0}])


def _said(app: AppTest) -> str:
    return " ".join(str(part.proto.body) for part in app.get("html"))


@pytest.fixture
def page() -> AppTest:
    app = AppTest.from_function(_page, default_timeout=180)
    return app.run()


def _page() -> None:
    from recommender.pages import plan

    plan.page()


def test_the_page_chooses_keeps_and_leaves_out(page: AppTest) -> None:
    assert not page.exception
    assert "Bristol, England" in _said(page)
    page.number_input(key="trees").set_value(3)
    page.multiselect(key="crop").set_value(["quince", "hazelnut"])
    page.text_input(key="place").set_value("Bristol, England").run()
    assert not page.exception
    assert _said(page).count("<article") == 3
    first = next(button for button in page.button if button.label.startswith("Leave out "))
    name = first.label.removeprefix("Leave out ")
    first.click().run()
    assert not page.exception
    assert f"Left out at your wish: {name}" in _said(page)
    keep = next(button for button in page.button if button.label.startswith("Keep "))
    kept = keep.label.removeprefix("Keep ")
    keep.click().run()
    assert any(button.label == f"Do not insist on {kept}" for button in page.button)


def test_the_page_says_plainly_what_cannot_be(page: AppTest) -> None:
    page.text_input(key="place").set_value("Qwxyzzy").run()
    assert not page.exception
    assert "No place is called" in _said(page)
