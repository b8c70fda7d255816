"""The command line, run as a grower runs it: what is printed, what is not, and how it ends."""

from __future__ import annotations

import ast
import csv
import io
import json
import math
import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from recommender.catalog.package import datasets_folder
from recommender.cli import main
from recommender.climate.winter import zone_number
from recommender.wording import MARKS, VERDICTS

BRISTOL = ("--place", "Bristol, England")


@dataclass(frozen=True)
class Ended:
    code: int
    out: str
    err: str

    def object(self) -> Any:
        """Standard output as one JSON value, with NaN and infinity refused."""
        return json.loads(self.out, parse_constant=lambda name: pytest.fail(f"{name} in JSON"))


Run = Callable[..., Ended]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    monkeypatch.setenv("COLUMNS", "80")

    def command(*arguments: str) -> Ended:
        capsys.readouterr()
        with pytest.raises(SystemExit) as ended:
            main(arguments)
        said = capsys.readouterr()
        code = ended.value.code
        return Ended(code if isinstance(code, int) else 0 if code is None else 1, said.out, said.err)

    return command


def test_rank_json_is_one_object_with_site_and_varieties(run: Run) -> None:
    ended = run("rank", *BRISTOL, "--crop", "apple", "--top", "4", "--json")
    assert (ended.code, ended.err) == (0, "")
    found = ended.object()
    assert set(found) == {"site", "varieties"}
    assert found["site"]["country"] == "United Kingdom"
    assert len(found["varieties"]) == 4
    for place, record in enumerate(found["varieties"], start=1):
        assert record["crop"] == "apple"
        assert record["rank"] == place
        assert 0 <= record["score"] <= 1
        assert record["verdict"] in VERDICTS
        assert record["reasons"]
        assert all(isinstance(reason, str) and reason for reason in record["reasons"])
        assert record["criteria"]
        assert all(value is None or 0 <= value <= 1 for value in record["criteria"].values())


def test_all_ranks_every_variety_once(run: Run) -> None:
    found = run("rank", *BRISTOL, "--crop", "quince", "--all", "--json").object()
    names = [record["variety"] for record in found["varieties"]]
    with (datasets_folder() / "varieties.csv").open(encoding="utf-8") as file:
        known = [row["variety"] for row in csv.DictReader(file) if row["crop"] == "quince"]
    assert sorted(names) == sorted(known)


def test_rank_csv_has_the_same_order_as_json(run: Run) -> None:
    as_csv = run("rank", *BRISTOL, "--crop", "quince", "--top", "6", "--csv")
    listed = list(csv.DictReader(io.StringIO(as_csv.out)))
    as_json = run("rank", *BRISTOL, "--crop", "quince", "--top", "6", "--json").object()
    assert [row["variety"] for row in listed] == [record["variety"] for record in as_json["varieties"]]


def test_rank_text_fits_eighty_columns_and_says_which_place_it_took(run: Run) -> None:
    ended = run("rank", "--place", "Bristol", "--top", "5")
    assert ended.code == 0
    assert max(len(line) for line in ended.out.splitlines()) <= 80
    flat = " ".join(ended.out.split())
    assert "Took Bristol, England, United Kingdom" in flat
    assert "Others called Bristol: " in flat
    assert any(f"{mark} {word}" in flat for word, mark in MARKS.items())


def test_rank_shows_no_escape_codes_when_nobody_watches(run: Run) -> None:
    assert "\x1b" not in run("rank", *BRISTOL, "--crop", "quince").out


def test_typed_zone_and_chill_serve_where_no_town_is_near(run: Run) -> None:
    site = run("rank", "--zone", "7b", "--chill-hours", "900", "--crop", "quince", "--json").object()["site"]
    assert site["zone"] == "7b"


def test_the_demo_site_file_works_and_options_overrule_it(run: Run) -> None:
    path = str(datasets_folder() / "demo" / "withy-hollow.toml")
    listed = run("rank", "--site", path, "--top", "40", "--json").object()
    assert {record["crop"] for record in listed["varieties"]} <= {
        "apple", "european-pear", "european-plum", "quince", "hazelnut",
    }  # fmt: skip
    moved = run("rank", "--site", path, *BRISTOL, "--crop", "quince", "--json").object()
    assert moved["site"]["place"] == "Bristol"
    assert {record["crop"] for record in moved["varieties"]} == {"quince"}


def test_imperial_reads_feet_and_shows_fahrenheit(run: Run) -> None:
    in_feet = run(
        "rank", *BRISTOL, "--crop", "quince", "--space", "10", "--units", "imperial", "--json"
    ).object()
    assert in_feet["site"]["answers"]["space_m"] == pytest.approx(3.048)
    cold = run(
        "rank", "--place", "Minot, North Dakota", "--crop", "apple", "--units", "imperial", "--all"
    ).out
    assert "winter cold kills it here" in " ".join(cold.split()).casefold()
    assert "°F" in cold
    assert "°C" not in cold


def test_climate_json_gives_each_figure_with_its_spread(run: Run) -> None:
    found = run("climate", *BRISTOL, "--json").object()
    figures = (
        "annual_extreme_min_degC", "chill_hours_0_7", "chill_hours_below_7", "chill_units", "chill_portions",
        "frost_free_days",
    )  # fmt: skip
    for name in figures:
        assert found[name]["p10"] <= found[name]["p50"] <= found[name]["p90"]
    month, day = found["last_spring_frost"]["p50"].split("-")
    assert 1 <= int(month) <= 12
    assert 1 <= int(day) <= 31
    zones = [zone_number(found["zone"][level]) for level in ("p10", "p50", "p90")]
    assert zones == sorted(zones)
    assert found["zone_name"] == found["zone"]["p50"]


def test_climate_tells_today_and_warmer_years(run: Run) -> None:
    found = run("climate", *BRISTOL, "--warming", "2", "--json").object()
    warmer = found["warmer"]
    assert warmer["warming_degC"] == [2.0]
    assert warmer["annual_extreme_min_degC"]["p50"] == pytest.approx(
        found["annual_extreme_min_degC"]["p50"] + 2.0, abs=0.11
    )
    assert warmer["chill_portions"]["p50"] < found["chill_portions"]["p50"]
    assert warmer["last_spring_frost"]["p50"] < found["last_spring_frost"]["p50"]
    shown = run("climate", *BRISTOL, "--warming", "2").out
    assert shown.count("  today ") == shown.count("  warmer ") == 9
    assert max(len(line) for line in shown.splitlines()) <= 80
    summer = run("climate", *BRISTOL, "--warming", "0,0,3,0", "--json").object()
    assert summer["warmer"]["chill_portions"] == {
        **summer["chill_portions"], "error": summer["warmer"]["chill_portions"]["error"]
    }  # fmt: skip
    assert summer["warmer"]["gdd10"]["p50"] > summer["gdd10"]["p50"] + 200


def test_climate_of_a_spot_differs_from_the_country_around(run: Run) -> None:
    usual = run("climate", *BRISTOL, "--json").object()
    hollow = run("climate", *BRISTOL, "--frost-hollow", "--json").object()
    assert hollow["last_spring_frost"]["p50"] > usual["last_spring_frost"]["p50"]
    assert any(said.startswith("Frost hollow") for said in hollow["made_from"])
    higher = run("climate", *BRISTOL, "--higher", "1000", "--units", "imperial", "--json").object()
    fall = usual["summer_mean"]["p50"] - higher["summer_mean"]["p50"]
    assert fall == pytest.approx(304.8 * 0.0065, abs=0.11)


def test_climate_reads_a_weather_file_and_writes_profiles(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "invented.csv"
    days = [date(2001, 1, 1) + timedelta(days=day) for day in range(365 * 6 + 1)]
    means = [10.0 - 8.0 * math.cos(2 * math.pi * (day.timetuple().tm_yday - 20) / 365) for day in days]
    swings = [4.0 * math.sin(number * 1.7) for number in range(len(days))]
    lines = [
        f"{day},{mean + swing - 4:.1f},{mean + swing + 5:.1f}"
        for day, mean, swing in zip(days, means, swings, strict=True)
    ]
    path.write_text("\n".join(["date,tmin_degC,tmax_degC", *lines]), encoding="utf-8")
    refused = run("climate", "--weather", str(path))
    assert (refused.code, refused.out) == (2, "")
    assert "--lat" in refused.err
    saved = tmp_path / "profile.parquet"
    ended = run("climate", "--weather", str(path), "--lat", "51", "--save", str(saved), "--json")
    found = ended.object()
    assert (found["whole_winters"], found["whole_growing_years"]) == (5, 6)
    assert found["chill_portions"]["p10"] <= found["chill_portions"]["p50"]
    assert len(pd.read_parquet(saved)) == found["seasons"] == 6
    assert "Took the weather of invented.csv" in run("climate", "--weather", str(path), "--lat", "51").out


def test_climate_text_names_months_in_words(run: Run) -> None:
    shown = run("climate", *BRISTOL).out
    assert "Last spring frost" in shown
    assert any(month in shown for month in ("March", "April", "May"))
    assert max(len(line) for line in shown.splitlines()) <= 80


def test_show_gives_every_value_its_standing_and_every_source_its_address(run: Run) -> None:
    shown = run("show", "Bramley's Seedling")
    assert shown.code == 0
    found = run("show", "bramley", "--crop", "apple", "--json").object()
    assert found["variety"] == "Bramley's Seedling"
    assert found["values"]
    assert {value["standing"] for value in found["values"]} <= {
        "published", "common practice", "estimated", "from memory", "unknown",
    }  # fmt: skip
    for source in found["sources"]:
        if source["url"]:
            assert source["url"].split("?")[0].split(" ")[0] in shown.out.replace("\n      ", "")
    assert "Cautions" in shown.out


def test_show_takes_crop_and_variety_in_one(run: Run) -> None:
    assert "Conference (European pear)" in run("show", "european-pear:Conference").out


def test_sources_are_searched_by_words(run: Run) -> None:
    listed = run("sources", "watts", "--json").object()
    assert listed
    assert all("watts" in json.dumps(source).casefold() for source in listed)
    nothing = run("sources", "zzzzqqqq")
    assert nothing.code == 0
    assert "No source holds these words" in nothing.out


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("rank", "--place", "Brisstol, England"), ("Brisstol", "Bristol")),
        (("rank", *BRISTOL, "--crop", "appel"), ("appel", "apple")),
        (("rank", *BRISTOL, "--existing", "Diskovery"), ("Diskovery", "Discovery")),
        (("show", "Bramly"), ("Bramly", "Bramley")),
        (("show", "Bramly", "--json"), ("Bramly", "Bramley")),
    ],
)
def test_an_unknown_name_gets_the_nearest_three(
    run: Run, arguments: tuple[str, ...], said: tuple[str, ...]
) -> None:
    ended = run(*arguments)
    assert ended.code == 2
    assert ended.out == ""
    assert "Traceback" not in ended.err
    assert ended.err.count(", or ") == 2
    for word in said:
        assert word in ended.err


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("rank",), "Nothing says where the site is"),
        (("rank", *BRISTOL, "--json", "--csv"), "Only one of --json and --csv"),
        (("rank", "--lat", "51"), "Give both"),
        (("rank", "--lat", "51", "--lon", "-30"), "sea"),
        (("rank", "--lat", "951", "--lon", "0"), "90"),
        (("rank", "--zone", "99", "--chill-hours", "800"), "zone"),
        (("rank", *BRISTOL, "--use", "juggling"), "juggling"),
        (("rank", *BRISTOL, "--units", "furlongs"), "metric or imperial"),
        (("rank", "--site", "there-is-no-such-file.toml"), "there-is-no-such-file.toml"),
        (("rank", *BRISTOL, "--top", "0"), "--top"),
        (("climate", *BRISTOL, "--warming", "hot"), "no warming"),
        (("climate", *BRISTOL, "--warming", "1,2"), "one, four or twelve"),
        (("climate", *BRISTOL, "--wall", "up"), "no direction"),
        (("climate", *BRISTOL, "--slope", "10"), "Say where"),
        (("climate", *BRISTOL, "--save", "climate.txt"), ".parquet"),
        (("climate", *BRISTOL, "--weather", "w.csv"), "asked for twice"),
        (("climate", "--weather", "there-is-none.csv"), "there-is-none.csv"),
        (("weather", "check", "there-is-none.csv"), "there-is-none.csv"),
        (("sources", "caf\udce9"), "“caf?” is not text in UTF-8 (argument 2)"),
        (("rank", "--place", "\udcff"), "not text in UTF-8 (argument 3)"),
        (("rank", "--zone", "\udcff"), "not text in UTF-8 (argument 3)"),
    ],
)
def test_what_the_user_can_mend_ends_with_two_and_says_how(
    run: Run, arguments: tuple[str, ...], said: str
) -> None:
    ended = run(*arguments)
    assert ended.code == 2
    assert ended.out == ""
    assert "Traceback" not in ended.err
    assert said in ended.err


@pytest.mark.parametrize("content", ["place = ", "\xff\xfe", '[site]\nplaec = "Bristol"\n'])
def test_a_broken_site_file_is_named(run: Run, tmp_path: Path, content: str) -> None:
    path = tmp_path / "site.toml"
    path.write_bytes(content.encode("latin-1"))
    ended = run("rank", "--site", str(path))
    assert ended.code == 2
    assert "Traceback" not in ended.err


def test_every_fault_of_a_broken_table_is_told_at_once(
    run: Run, small_data: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    quince = small_data / "traits" / "quince.csv"
    with quince.open("a", encoding="utf-8") as file:
        file.write("quince,Champion,zone_min,77,,,usda-zone,published,palmaverde-champion,\n")
        file.write("quince,Champion,vigour,weak,,,,published,no-such-source,\n")
    monkeypatch.setenv("ORCHARDWRIGHT_DATASETS", str(small_data))
    ended = run("build", "--check")
    assert ended.code == 2
    assert "Traceback" not in ended.err
    assert ended.err.count("traits/quince.csv") >= 2
    assert "no-such-source" in ended.err


def test_a_table_without_its_column_stops_every_command(
    run: Run, small_data: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    crops = small_data / "crops.csv"
    text = crops.read_text(encoding="utf-8")
    crops.write_text(text.replace("scientific_name", "latin", 1), encoding="utf-8")
    monkeypatch.setenv("ORCHARDWRIGHT_DATASETS", str(small_data))
    ended = run("sources")
    assert ended.code == 2
    assert ended.out == ""
    assert "crops.csv" in ended.err
    assert "scientific_name" in ended.err
    assert "Traceback" not in ended.err


def test_a_damaged_catalog_is_rebuilt_and_said_so(
    run: Run, small_data: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ORCHARDWRIGHT_DATASETS", str(small_data))
    monkeypatch.setenv("ORCHARDWRIGHT_CACHE", str(tmp_path / "cache"))
    assert run("sources", "--json").code == 0
    (database,) = (tmp_path / "cache").glob("*.duckdb")
    database.write_bytes(database.read_bytes()[:5000])
    ended = run("sources", "--json")
    assert ended.code == 0
    assert ended.object()
    assert "built again" in ended.err


def test_a_cache_that_cannot_be_written_is_worked_around_and_said_so(
    run: Run, small_data: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a-file").write_text("not a folder")
    monkeypatch.setenv("ORCHARDWRIGHT_DATASETS", str(small_data))
    monkeypatch.setenv("ORCHARDWRIGHT_CACHE", str(tmp_path / "a-file" / "cache"))
    ended = run("sources", "--json")
    assert ended.code == 0
    assert ended.object()
    assert "ORCHARDWRIGHT_CACHE" in ended.err


def test_storage_that_fails_altogether_ends_with_three(
    run: Run, small_data: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from recommender.catalog import store

    (tmp_path / "a-file").write_text("not a folder")
    monkeypatch.setenv("ORCHARDWRIGHT_DATASETS", str(small_data))
    monkeypatch.setenv("ORCHARDWRIGHT_CACHE", str(tmp_path / "a-file" / "cache"))
    store.private_folder.cache_clear()
    monkeypatch.setattr("tempfile.mkdtemp", _no_room)
    ended = run("sources")
    store.private_folder.cache_clear()
    assert ended.code == 3
    assert ended.out == ""
    assert "ORCHARDWRIGHT_CACHE" in ended.err
    assert "Traceback" not in ended.err


def _no_room(*_: object, **__: object) -> str:
    raise PermissionError(13, "Permission denied")


def test_help_and_rank_leave_the_heavy_rooms_closed() -> None:
    code = (
        "import sys\nfrom recommender.cli import main\n"
        "try:\n    main(sys.argv[1:])\nexcept SystemExit:\n    pass\n"
        "print(sorted(sys.modules), file=sys.stderr)\n"
    )
    for arguments, closed in (
        (["--help"], {"numpy", "pandas", "duckdb", "streamlit", "sklearn", "altair"}),
        (["rank", *BRISTOL, "--crop", "quince"], {"streamlit", "sklearn", "altair"}),
    ):
        ended = subprocess.run(
            [sys.executable, "-c", code, *arguments], capture_output=True, text=True, check=True
        )
        opened = set(ast.literal_eval(ended.stderr.strip().splitlines()[-1]))
        assert "typer" in opened
        assert not opened & closed


def test_progress_and_notices_never_reach_standard_output() -> None:
    ended = subprocess.run(
        [sys.executable, "-m", "recommender.cli", "rank", *BRISTOL, "--crop", "quince", "--json"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert json.loads(ended.stdout)["varieties"]
    assert ended.stderr == ""


FULL = Path("/dev/full")


@pytest.mark.skipif(not FULL.exists(), reason="a device that is always full is Linux's")
@pytest.mark.parametrize("arguments", [("sources", "--csv"), ("rank", "--help")])
def test_a_full_disk_behind_standard_output_is_told(
    run: Run, monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...]
) -> None:
    with FULL.open("w", encoding="utf-8") as out:
        monkeypatch.setattr(sys, "stdout", out)
        ended = run(*arguments)
    assert ended.code == 3
    assert "could not be written: No space left on device (standard output)" in ended.err


@pytest.mark.skipif(os.name != "posix", reason="redirects as a POSIX shell does")
@pytest.mark.parametrize(
    ("redirects", "said"), [(">&-", "No variety is called"), ("2>&-", ""), (">&- 2>&-", "")]
)
def test_closed_streams_leave_the_exit_code_as_it_is(redirects: str, said: str) -> None:
    ended = subprocess.run(
        ["sh", "-c", f'"$0" -m recommender.cli show Bramly {redirects}', sys.executable],
        capture_output=True,
        text=True,
        check=False,
    )
    assert ended.returncode == 2
    assert "Traceback" not in ended.stderr
    assert ended.stderr.startswith(said)


def test_a_result_for_a_closed_standard_output_is_dropped(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdout", None)
    ended = run("sources", "--csv")
    assert (ended.code, ended.err) == (0, "")


def test_a_reader_who_leaves_ends_it_without_a_word() -> None:
    """The text waits in the stream until the end, when its reader is gone."""
    reader, writer = os.pipe()
    os.close(reader)
    ended = subprocess.run(
        [sys.executable, "-m", "recommender.cli", "sources", "--help"],
        stdout=writer,
        stderr=subprocess.PIPE,
        check=False,
    )
    os.close(writer)
    assert (ended.returncode, ended.stderr) == (1, b"")


def test_what_the_system_refuses_is_told_with_its_name(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied", "/srv/withy/list.csv")

    monkeypatch.setattr("recommender.cli.app", refuse)
    ended = run("sources")
    assert ended.code == 3
    assert "Permission denied (/srv/withy/list.csv)" in ended.err
