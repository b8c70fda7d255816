"""Whatever bytes a file holds, a reader reads it or says what is wrong in an error of the one family."""

from __future__ import annotations

import io
import tempfile
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from recommender import Goals, Site
from recommender.catalog.package import datasets_folder
from recommender.climate.weather import read_weather
from recommender.errors import OrchardwrightError
from recommender.nursery.decisions import Decisions
from recommender.nursery.stock_files import read_table
from recommender.orchard.plan_file import open_plan
from recommender.swap.event_file import Event, open_event, save_event
from recommender.swap.offers import Offer
from recommender.swap.reading import read_offers, read_requests
from tests.hardening.hostile import ODD_BYTES, climbing_zip, damaged, zip_bomb

_WEATHER = b"date,tmin,tmax\n" + b"".join(
    b"2001-%02d-%02d,%d.5,%d.0\n" % (month, day, day * month % 7, day * month % 7 + 9 + day % 3)
    for month in range(1, 13)
    for day in range(1, 29)
)
_DECISIONS = b"name,crop_said,crop,variety\nkidds orange,,apple,Kidd's Orange Red\n"


def _workbook() -> bytes:
    from openpyxl import Workbook

    book = Workbook()
    book.active.append(["Description", "Qty"])
    book.active.append(["Discovery M26 bush", 3])
    held = io.BytesIO()
    book.save(held)
    return held.getvalue()


def _event() -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "e.swap.json"
        save_event(path, Event("Withy Hollow", offers=(Offer(id="O1", person="Wren", variety="Discovery"),)))
        return path.read_bytes()


def _demo(name: str) -> bytes:
    return (datasets_folder() / "demo" / name).read_bytes()


READERS: dict[str, tuple[str, Callable[[Path], object], bytes]] = {
    "site file, TOML": ("site.toml", Site.from_file, _demo("withy-hollow.toml")),
    "site file, JSON": ("site.json", Site.from_file, b'{"site": {"lat": 51.15, "lon": -2.85}}'),
    "wishes, TOML": ("site.toml", Goals.from_file, _demo("withy-hollow.toml")),
    "stock list, CSV": ("stock.csv", read_table, _demo("nursery-stock.csv")),
    "stock list, XLSX": ("stock.xlsx", read_table, _workbook()),
    "swap offers": ("offers.csv", read_offers, _demo("swap-offers.csv")),
    "swap requests": ("requests.csv", read_requests, _demo("swap-requests.csv")),
    "swap offers, XLSX": ("offers.xlsx", read_offers, _workbook()),
    "swap event": ("e.swap.json", open_event, _event()),
    "plan": ("plan.json", open_plan, _demo("withy-hollow-plan.json")),
    "decisions": ("decisions.csv", Decisions, _DECISIONS),
    "weather": ("station.csv", lambda path: read_weather(path, lat=51.0), _WEATHER),
}


def _read(reader: str, raw: bytes, folder: Path) -> None:
    name, read, _ = READERS[reader]
    path = folder / name
    path.write_bytes(raw)
    told = "read"
    try:
        read(path)
    except OrchardwrightError as error:
        told = str(error)
    assert told.strip()
    assert "Traceback" not in told
    assert path.read_bytes() == raw


@pytest.mark.parametrize("reader", READERS)
def test_a_valid_file_is_read(reader: str, tmp_path: Path) -> None:
    name, read, whole = READERS[reader]
    if reader == "swap offers, XLSX":
        pytest.skip("a stock list is no table of offers; it stands here to be damaged")
    (tmp_path / name).write_bytes(whole)
    assert read(tmp_path / name) is not None


@pytest.mark.parametrize("odd", ODD_BYTES)
@pytest.mark.parametrize("reader", READERS)
def test_odd_bytes_end_in_the_one_family_of_errors(reader: str, odd: str, tmp_path: Path) -> None:
    _read(reader, ODD_BYTES[odd], tmp_path)


@pytest.mark.parametrize("reader", READERS)
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_a_damaged_file_ends_in_the_one_family_of_errors(reader: str, data: st.DataObject) -> None:
    whole = READERS[reader][2]
    raw = data.draw(st.one_of(damaged(whole[:20_000]), st.binary(max_size=300)))
    with tempfile.TemporaryDirectory() as folder:
        _read(reader, raw, Path(folder))


@pytest.mark.parametrize("reader", [name for name in READERS if READERS[name][0].endswith(("csv", "xlsx"))])
def test_archives_that_swell_or_climb_are_refused(reader: str, tmp_path: Path) -> None:
    name, read, _ = READERS[reader]
    for raw in (zip_bomb(), climbing_zip()):
        path = tmp_path / name
        path.write_bytes(raw)
        with pytest.raises(OrchardwrightError):
            read(path)
    assert sorted(each.name for each in tmp_path.iterdir()) == [name]
    assert not (tmp_path.parent / "escaped.txt").exists()
