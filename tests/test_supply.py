"""What the project is made of: bounds of its packages, their licences, and the wheel that is installed."""

from __future__ import annotations

import importlib.util
import os
import re
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

ROOT = Path(__file__).parents[1]
PROJECT: dict[str, Any] = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
NAMED = [
    *PROJECT["dependencies"],
    *(each for part in PROJECT["optional-dependencies"].values() for each in part),
]


@pytest.fixture(scope="module")
def licences() -> ModuleType:
    spec = importlib.util.spec_from_file_location("licences", ROOT / ".ci" / "licences.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built without a network and laid out as pip lays it out, outside the checkout."""
    folder = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)],
        cwd=ROOT,
        check=True,
        capture_output=True,
    )
    site = folder / "site"
    with zipfile.ZipFile(next(folder.glob("*.whl"))) as wheel:
        wheel.extractall(site)
    return site


def _run(site: Path, folder: Path, *arguments: str) -> str:
    """What the wheel's Python prints, away from the checkout and with a cache of its own."""
    around = {**os.environ, "PYTHONPATH": str(site), "ORCHARDWRIGHT_CACHE": str(folder / "cache")}
    around.pop("ORCHARDWRIGHT_DATASETS", None)
    done = subprocess.run(
        [sys.executable, *arguments], cwd=folder, env=around, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_every_package_states_its_oldest_and_its_newest_version() -> None:
    """`.ci/oldest` reads the first bound; without the second a new major version would come unasked."""
    for line in NAMED:
        if not line.startswith(PROJECT["name"]):
            assert re.fullmatch(r"[\w.-]+>=[\d.]+,<[\d.]+", line), line


def test_the_page_of_licences_has_every_package_that_the_project_names(licences: ModuleType) -> None:
    page = (ROOT / "docs" / "licences.md").read_text(encoding="utf-8")
    listed = {licences.plain_name(name) for name in re.findall(r"^\| (\S+) \|.*\* \|$", page, re.MULTILINE)}
    named = {licences.plain_name(re.split(r"[>\[]", line)[0]) for line in NAMED} - {PROJECT["name"]}
    assert listed == named


@pytest.mark.parametrize(
    ("licence", "told"),
    [
        ("MIT", ""),
        ("BSD-3-Clause", ""),
        ("", "states no licence"),
        ("GPL-3.0-or-later", "asks more"),
        ("MIT AND LGPL-2.1-or-later", "asks more"),
        ("Mozilla Public License 2.0 (MPL 2.0)", "asks more"),
        ("CC-BY-NC-4.0", "asks more"),
        ("House rules of the parish", "not known here"),
    ],
)
def test_a_licence_that_is_missing_unknown_or_asks_more_is_a_question(
    licences: ModuleType, licence: str, told: str
) -> None:
    said = licences.question("an-invented-package", licence)
    assert bool(said) == bool(told)
    assert told in said


def test_packages_of_packages_and_of_extras_are_listed(licences: ModuleType) -> None:
    run, atlas = licences.needed("orchardwright"), licences.needed("orchardwright", frozenset({"atlas"}))
    assert run["pandas"]
    assert run["python-dateutil"] is False
    assert "dask" not in run
    assert atlas["dask"]
    assert atlas["tornado"] is False


def test_the_wheel_ranks_from_the_data_it_brings(installed: Path, tmp_path: Path) -> None:
    where = _run(installed, tmp_path, "-c", "import recommender; print(recommender.__file__)")
    assert Path(where.strip()).is_relative_to(installed)
    shown = _run(
        installed, tmp_path, *("-m", "recommender.cli"), *("rank", "--zone", "7b", "--chill-hours", "1100"),
        *("--crop", "quince", "--top", "1"),
    )  # fmt: skip
    assert "The best 1 of" in shown


def test_the_wheel_has_the_app_its_face_and_no_build_scripts(installed: Path, tmp_path: Path) -> None:
    served = "from recommender.commands.serve import script; print(script())"
    entry = Path(_run(installed, tmp_path, "-c", served).strip())
    assert entry == installed / "recommender" / "_app.py"
    assert entry.read_bytes() == (ROOT / "app.py").read_bytes()
    for name in (".streamlit/config.toml", "pages/face.css", "_datasets/datapackage.json", "_datasets/demo"):
        assert (installed / "recommender" / name).exists(), name
    assert not (installed / "recommender" / "_datasets" / "build").exists()
