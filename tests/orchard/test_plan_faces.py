"""The command, the page and the charts of a planting."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from recommender import Goals, PlantingWishes, Plot, Site, compose, open_catalog
from recommender.catalog.catalog import Catalog
from recommender.charts_orchard import harvest_chart, network_chart, plot_chart
from recommender.cli import main
from recommender.orchard.network import network_of
from recommender.orchard.plan import Plan

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
    harvest, network, plot = harvest_chart(plan), network_chart(network_of(plan, catalog)), plot_chart(plan)
    assert harvest is not None
    assert network is not None
    assert plot is not None
    for tree in plan.trees:
        assert tree.variety in network.alt_text
        assert tree.variety in plot.alt_text
        if tree.harvest is not None:
            assert tree.variety in harvest.alt_text
    drawing = plot.chart.to_dict()
    (low, high), (bottom, top) = (
        drawing["layer"][0]["encoding"][axis]["scale"]["domain"] for axis in ("x", "y")
    )
    across = drawing["layer"][0].get("width", drawing["width"]) / (high - low)
    assert across == pytest.approx(drawing["height"] / (top - bottom), rel=0.01)


def test_a_plan_without_a_plot_has_no_drawing(plan: Plan) -> None:
    assert plot_chart(plan.model_copy(update={"plot": None})) is None


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
