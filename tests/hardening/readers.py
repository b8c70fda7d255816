"""Every reader of a file or of a text that people type, each with a valid example.

Out: `READERS`, files by name (the file's name, what reads it, a valid file), and `TEXTS`, what reads one
text. The fuzz tests and the coverage-guided search go through both, so that a new reader is one line here.
"""

from __future__ import annotations

import functools
import io
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from recommender import Goals, Site
from recommender.atlas.folder import About, AtlasFolder
from recommender.atlas.sites import listed_sites
from recommender.catalog.csv_table import read_text_table
from recommender.catalog.package import datasets_folder, read_descriptor
from recommender.climate.fetch import read_inventory, read_stations
from recommender.climate.point import point_of
from recommender.climate.weather import read_weather
from recommender.errors import DataFaults
from recommender.nursery.decisions import Decisions
from recommender.nursery.stock_files import ORDERS, read_table
from recommender.nursery.stock_line import mended, parse_count, parse_price, spaced
from recommender.orchard.ground_text import points_of
from recommender.orchard.plan_file import open_plan
from recommender.outputs import json_text
from recommender.swap.event_file import Event, open_event, save_event
from recommender.swap.offers import Offer, many, stocks_at_hand
from recommender.swap.reading import read_offers, read_requests
from tests.climate import weather_samples as weather

if TYPE_CHECKING:
    from recommender.catalog import Catalog

_DAILY = b"date,tmin,tmax\n" + b"".join(
    b"2001-%02d-%02d,%d.5,%d.0\n" % (month, day, day * month % 7, day * month % 7 + 9 + day % 3)
    for month in range(1, 13)
    for day in range(1, 29)
)
_DECISIONS = b"name,crop_said,crop,variety\nkidds orange,,apple,Kidd's Orange Red\n"
_SITES = b"name,lat,lon,elevation_m\nWithy Hollow,50.9,-3.1,60\n"
_STATIONS = "\n".join(
    f"XXW0000000{n} {51 + n:8.4f} {-2.6:9.4f} {60.0:6.1f}    {'WITHY HOLLOW':<30}              "
    for n in range(1, 6)
).encode()
_INVENTORY = "\n".join(
    f"XXW00000001 {51.2:8.4f} {-2.6:9.4f} {element} 1990 2020" for element in ("TMIN", "TMAX")
).encode()


def workbook() -> bytes:
    """A stock list of one line, as XLSX."""
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


def _atlas() -> bytes:
    return json_text(
        About("key", "key", 600, 2, "beginner", "yes", ("apple",), (0.0, 2.0), years=4, seed=1)
    ).encode()


def _demo(name: str) -> bytes:
    return (datasets_folder() / "demo" / name).read_bytes()


def _lines(written: list[str]) -> bytes:
    return ("\n".join(written) + "\n").encode()


_SERIES = weather.invented_series("2001-01-01", "2001-02-15")


def _weather(path: Path) -> object:
    return read_weather(path, lat=51.0)


def _orders(path: Path) -> object:
    return read_table(path, ORDERS)


def _about(path: Path) -> object:
    about = AtlasFolder(path.parent).about()
    return about.blocks, about


def _table_of_data(path: Path) -> object:
    table = read_text_table(path, "names.csv", ["crop", "name"])
    if any(fault.effect == "stops" for fault in table.faults):
        raise DataFaults("It cannot be used", [str(fault) for fault in table.faults])
    return table


READERS: dict[str, tuple[str, Callable[[Path], object], bytes]] = {
    "site file, TOML": ("site.toml", Site.from_file, _demo("withy-hollow.toml")),
    "site file, JSON": ("site.json", Site.from_file, b'{"site": {"lat": 51.15, "lon": -2.85}}'),
    "wishes, TOML": ("site.toml", Goals.from_file, _demo("withy-hollow.toml")),
    "stock list, CSV": ("stock.csv", read_table, _demo("nursery-stock.csv")),
    "stock list, XLSX": ("stock.xlsx", read_table, workbook()),
    "back orders": ("orders.csv", _orders, _demo("back-orders.csv")),
    "swap offers": ("offers.csv", read_offers, _demo("swap-offers.csv")),
    "swap requests": ("requests.csv", read_requests, _demo("swap-requests.csv")),
    "swap offers, XLSX": ("offers.xlsx", read_offers, workbook()),
    "swap event": ("e.swap.json", open_event, _event()),
    "plan": ("plan.json", open_plan, _demo("withy-hollow-plan.json")),
    "decisions": ("decisions.csv", Decisions, _DECISIONS),
    "weather, daily": ("station.csv", _weather, _DAILY),
    "weather, .dly": ("station.dly", _weather, _lines(weather.dly_lines(_SERIES))),
    "weather, by station": ("station.csv", _weather, _lines(weather.by_station_lines(_SERIES, True))),
    "weather, access": ("station.csv", _weather, _lines(weather.access_lines(_SERIES))),
    "weather, EPW": ("site.epw", _weather, _lines(weather.epw_lines(_SERIES[:3]))),
    "weather, TMY3": ("site.csv", _weather, _lines(weather.tmy3_lines(_SERIES[:3]))),
    "stations": ("ghcnd-stations.txt", read_stations, _STATIONS),
    "stations' elements": ("ghcnd-inventory.txt", read_inventory, _INVENTORY),
    "sites of an atlas": ("sites.csv", listed_sites, _SITES),
    "atlas": ("atlas.json", _about, _atlas()),
    "a table of the data": ("names.csv", _table_of_data, b'crop,name\napple,"Cox, Orange"\n'),
    "account of the data": (
        "datapackage.json",
        lambda path: read_descriptor(path.parent),
        (datasets_folder() / "datapackage.json").read_bytes(),
    ),
}


@functools.cache
def catalog() -> Catalog:
    """The catalog, opened once for all readers of names."""
    from recommender import open_catalog

    return open_catalog()


@functools.cache
def _finder() -> Any:
    from recommender.catalog.search import Finder

    held = catalog()
    return Finder(held.varieties(), held.names(), held.statement_counts())


def _place(text: str) -> object:
    from recommender.climate.places import find_place

    return find_place(text)


def _stock_line(text: str) -> object:
    from recommender.nursery.names import read_lines

    return read_lines([text], catalog())


def _swap_answers(text: str) -> object:
    answers: dict[str, Any] = dict.fromkeys(("person", "variety", "note"), text[:60])
    return many(text), stocks_at_hand(many(text)), Offer(**answers)


# What broke a reader once, found by chance (hypothesis) or by `coverage_guided`.
FOUND: dict[str, tuple[str, bytes]] = {
    "a cell that opens a quotation": (
        "weather, daily",
        b'date,tmin,tmax\n2001-01-01,1,10\n2001-01"-02,"2,11\n2001-01-03,3,12\n2001-01-04,4,13"\n',
    ),
    "headings without a station": (
        "weather, access", b'STATION","DATE","TMAX","TMIN"\n"X","2001-01-01","9","1"\n'
    ),
    "headings without a dry bulb": (
        "weather, TMY3", b'9,"X",XX,0,51,-2,6\n"Date,Time,x Dry-bulb (C)"\n1,2,3\n'
    ),
    "an account nested too deep": ("account of the data", b'{"resources": ' + b"[" * 100_000),
    "an account of another make": (
        "account of the data",
        b'{"resources": [{"name": "a", "path": "a.csv", "format": "csv", "schema": {"fields": [3]}}]}',
    ),
    "a table outside the folder": (
        "account of the data", b'{"resources": [{"name": "a", "path": "../a.csv", "format": "json"}]}'
    ),
    "an atlas of blocks of nothing": ("atlas", _atlas().replace(b'"block": 256', b'"block": 0')),
    "an atlas without end": ("atlas", _atlas().replace(b'"sites": 600', b'"sites": 600000000000000')),
    "an atlas of a crop outside": ("atlas", _atlas().replace(b'"apple"', b'"../apple"')),
}  # fmt: skip


TEXTS: dict[str, tuple[Callable[[str], object], str]] = {
    "a variety": (lambda text: catalog().resolve(text), "apple:Cox's Orange Pippin"),
    "a crop": (lambda text: catalog().resolve_crop(text), "european plum"),
    "a search": (lambda text: _finder().find(text), "bramleys seedling"),
    "a place": (_place, "Geneva, New York"),
    "a point": (point_of, "51.45° N, 2.60° W"),
    "points of a plot": (points_of, "0 11; 5 11; 5 14"),
    "a count": (parse_count, "1,200 pcs"),
    "a price": (parse_price, "£ 12.50 each"),
    "a spelling": (lambda text: (mended(text), spaced(text)), "BelleÂ de Boskoop"),
    "a stock line": (_stock_line, "Apple Discovery M26 bush 12L x 3 £14"),
    "an offer": (_swap_answers, "M26 x 3 | Quince A"),
    "a region": (lambda text: Offer(person="Wren", variety="Katy", region=text), "US-NY"),
    "a zone": (lambda text: Site(zone=text, chill_hours=800), "6b"),
}
