"""Fetching weather: against a server on this machine that serves small invented files in the real layouts,
with faults.
"""

from __future__ import annotations

import gzip
import hashlib
import json
import socket
import threading
import time
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from recommender.climate import download, fetch
from recommender.climate.download import FetchFault, Manners, cached
from recommender.climate.fetch import (
    fetch_weather,
    nearest_stations,
    read_inventory,
    read_stations,
    server_address,
)
from recommender.errors import BadInput, OrchardwrightError
from tests.climate.weather_samples import by_station_lines, invented_series

QUICK = Manners(connect_timeout=2.0, read_timeout=0.4, tries=3, wait=0.0, pause=0.0)


class Server:
    """Files by path, and what to do wrong: `faults` holds, by path, the misdeeds of the coming requests in
    order.
    """

    def __init__(self) -> None:
        self.files: dict[str, bytes] = {}
        self.faults: dict[str, list[str]] = {}
        self.asked: list[tuple[str, dict[str, str]]] = []
        self.open_now = self.open_most = 0
        server = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def log_message(self, *args: object) -> None:
                """Keep the test's output quiet."""

            def do_GET(self) -> None:
                server.asked.append((self.path, dict(self.headers)))
                faults = server.faults.get(self.path, [])
                server.answer(self, faults.pop(0) if faults else "")

        self.http = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self.http.server_port}"
        self.thread = threading.Thread(target=self.http.serve_forever, args=(0.05,), daemon=True)
        self.thread.start()

    def answer(self, to: BaseHTTPRequestHandler, fault: str) -> None:
        data = self.files.get(to.path)
        if fault == "wait":
            time.sleep(1.0)
        if fault == "500" or fault == "429":
            to.send_response(int(fault))
            to.send_header("Retry-After", "7")
            to.send_header("Content-Length", "0")
            to.end_headers()
            return
        if data is None or fault == "404":
            to.send_error(404)
            return
        etag = f'"{hashlib.md5(data).hexdigest()}"'
        asked, start = to.headers.get("Range"), 0
        if asked and to.headers.get("If-Range") == etag and fault != "no ranges":
            start = int(asked.removeprefix("bytes=").rstrip("-"))
            to.send_response(206)
            to.send_header("Content-Range", f"bytes {start}-{len(data) - 1}/{len(data)}")
        else:
            to.send_response(200)
        to.send_header("Content-Length", str(len(data) - start))
        to.send_header("ETag", etag)
        to.end_headers()
        part = data[start:]
        if fault == "cut":
            part = part[: len(part) // 2]
        to.wfile.write(part)
        to.wfile.flush()
        if fault == "cut":
            to.close_connection = True
            to.connection.shutdown(socket.SHUT_RDWR)

    def paths(self) -> list[str]:
        return [path for path, _ in self.asked]


def station_line(name: str, lat: float, lon: float, height: float, title: str) -> str:
    return f"{name:<11} {lat:8.4f} {lon:9.4f} {height:6.1f}    {title:<30}              "


def inventory_line(name: str, lat: float, lon: float, element: str, first: int, last: int) -> str:
    return f"{name:<11} {lat:8.4f} {lon:9.4f} {element:<4} {first:4d} {last:4d}"


# Invented stations: (id, lat, lon, height, name, first, last, elements)
STATIONS = [
    ("XXW00000001", 51.25, -2.60, 60.0, "WITHY HOLLOW", 1990, 2026, ("TMAX", "TMIN", "PRCP")),
    ("XXW00000002", 51.20, -2.61, 62.0, "WITHY GAUGE", 1950, 2026, ("PRCP",)),
    ("XXW00000003", 51.21, -2.60, 900.0, "BEACON TOP", 1950, 2026, ("TMAX", "TMIN")),
    ("XXW00000004", 51.60, -2.60, 80.0, "FARTHER FIELD", 1960, 2025, ("TMAX", "TMIN", "PRCP")),
    ("XXW00000005", 51.22, -2.60, 61.0, "OLD MILL", 1900, 1950, ("TMAX", "TMIN")),
    ("XXW00000006", 51.22, -2.59, 61.0, "NEW SCHOOL", 2022, 2026, ("TMAX", "TMIN")),
    ("XXW00000007", -33.0, 19.0, 200.0, "OTHER SIDE", 1950, 2026, ("TMAX", "TMIN")),
    ("XXW00000008", 51.30, -2.60, -999.9, "NO HEIGHT", 1970, 2026, ("TMAX", "TMIN")),
]


def station_file(name: str, first: str = "2000-07-01", last: str = "2015-06-30") -> bytes:
    lines = by_station_lines(invented_series(first, last))
    return gzip.compress("\n".join(line.replace("XXW00012345", name) for line in lines).encode())


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> Iterator[Server]:
    for name in ("http_proxy", "https_proxy", "all_proxy"):
        monkeypatch.delenv(name, raising=False)
        monkeypatch.delenv(name.upper(), raising=False)
    monkeypatch.delenv(fetch.SERVER_VARIABLE, raising=False)
    served = Server()
    served.files["/ghcnd-stations.txt"] = "\n".join(
        station_line(s, lat, lon, height, title) for s, lat, lon, height, title, *_ in STATIONS
    ).encode()
    served.files["/ghcnd-inventory.txt"] = "\n".join(
        inventory_line(s, lat, lon, element, first, last)
        for s, lat, lon, _, _, first, last, elements in STATIONS
        for element in elements
    ).encode()
    for name in ("XXW00000001", "XXW00000004", "XXW00000008"):
        served.files[f"/by_station/{name}.csv.gz"] = station_file(name)
    yield served
    served.http.shutdown()
    served.http.server_close()
    served.thread.join(5.0)


def get(server: Server, tmp_path: Path, **options: Any) -> fetch.Fetched:
    settled: dict[str, Any] = {
        "server": server.url, "cache": tmp_path, "manners": QUICK, "sleep": lambda seconds: None
    }  # fmt: skip
    return fetch_weather(51.2, -2.6, 62.0, **(settled | options))


# --- choosing -----------------------------------------------------------------------------------------------


def test_the_nearest_suitable_station_is_fetched_and_read(server: Server, tmp_path: Path) -> None:
    fetched = get(server, tmp_path)
    assert fetched.station.name == "WITHY HOLLOW"
    assert fetched.record.format == "GHCN-Daily by-station CSV"
    assert (fetched.record.lat, fetched.record.elevation_m) == (51.25, 60.0)
    expected = invented_series("2000-07-01", "2015-06-30")
    np.testing.assert_array_equal(fetched.record.frame["tmin_degC"], expected["tmin"] / 10.0)
    assert fetched.station.distance_km == pytest.approx(5.56, abs=0.01)  # 0.05 degrees of latitude
    assert fetched.notes == ()


def test_unsuitable_stations_are_not_offered(server: Server, tmp_path: Path) -> None:
    names = [station.name for station in get(server, tmp_path).candidates]
    assert names == ["WITHY HOLLOW", "NO HEIGHT", "FARTHER FIELD"]


def test_no_station_near_enough_points_to_the_built_in_climate(server: Server, tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="No station within 10 km") as error:
        fetch_weather(0.0, -30.0, server=server.url, cache=tmp_path, manners=QUICK, max_km=10.0)
    assert "built-in climate" in error.value.remedy


def test_a_missing_station_file_leads_to_the_next_station(server: Server, tmp_path: Path) -> None:
    del server.files["/by_station/XXW00000001.csv.gz"]
    fetched = get(server, tmp_path)
    assert fetched.station.name == "NO HEIGHT"
    assert "WITHY HOLLOW" in fetched.notes[0]
    assert "404" in fetched.notes[0]


def test_a_record_full_of_holes_leads_to_the_next_station(server: Server, tmp_path: Path) -> None:
    server.files["/by_station/XXW00000001.csv.gz"] = station_file("XXW00000001", "2010-01-01", "2013-12-31")
    fetched = get(server, tmp_path)
    assert fetched.station.name == "NO HEIGHT"
    assert "only 3 winters" in fetched.notes[0]


def test_station_lists_are_read_by_column(server: Server, tmp_path: Path) -> None:
    paths = [tmp_path / "s.txt", tmp_path / "i.txt"]
    paths[0].write_bytes(server.files["/ghcnd-stations.txt"])
    paths[1].write_bytes(server.files["/ghcnd-inventory.txt"])
    stations, inventory = read_stations(paths[0]), read_inventory(paths[1])
    assert stations["id"].tolist() == [station[0] for station in STATIONS]
    assert stations["lat"].tolist() == [station[1] for station in STATIONS]
    assert stations["lon"].tolist() == [station[2] for station in STATIONS]
    assert stations["name"].tolist() == [station[4] for station in STATIONS]
    assert stations["elevation_m"].isna().tolist() == [station[3] == -999.9 for station in STATIONS]
    assert "XXW00000002" not in set(inventory["id"])  # measures rain only
    assert list(inventory.set_index("id").loc["XXW00000004"]) == [1960, 2025]


def test_the_years_of_a_station_are_those_of_both_elements(tmp_path: Path) -> None:
    path = tmp_path / "i.txt"
    rows = [("TMAX", 1950, 2000), ("TMIN", 1980, 2020)]
    path.write_text(
        "\n".join(inventory_line("XXW00000001", 51.0, -2.0, *row) for row in rows), encoding="utf-8"
    )
    assert list(read_inventory(path).loc[0]) == ["XXW00000001", 1980, 2000]


def test_height_and_age_weigh_against_nearness() -> None:
    stations = pd.DataFrame(
        {
            "id": list("abc"),
            "lat": [51.0, 51.2, 51.0],
            "lon": [0.0] * 3,
            "elevation_m": [400.0, 0.0, 0.0],
            "name": list("abc"),
        }
    )
    inventory = pd.DataFrame({"id": list("abc"), "first_year": 1950, "last_year": [2025, 2025, 2000]})
    order = nearest_stations(51.0, 0.0, 0.0, stations, inventory, this_year=2026)
    assert [station.id for station in order] == ["b", "c", "a"]  # 22 km; 25 years closed; 400 m higher


# --- the cache ----------------------------------------------------------------------------------------------


def test_a_second_asking_uses_no_network(server: Server, tmp_path: Path) -> None:
    first = get(server, tmp_path)
    assert server.paths() == ["/ghcnd-stations.txt", "/ghcnd-inventory.txt", "/by_station/XXW00000001.csv.gz"]
    second = get(server, tmp_path)
    assert len(server.asked) == 3
    assert second.file.from_cache
    pd.testing.assert_frame_equal(first.record.frame, second.record.frame)


def test_the_checksum_is_recorded_and_a_spoilt_file_is_fetched_anew(server: Server, tmp_path: Path) -> None:
    fetched = get(server, tmp_path)
    whole = server.files["/by_station/XXW00000001.csv.gz"]
    assert fetched.file.sha256 == hashlib.sha256(whole).hexdigest()
    fetched.file.path.write_bytes(whole[:-20])
    assert cached(fetched.file.path, fetched.file.url) is None
    assert get(server, tmp_path).file.path.read_bytes() == whole
    assert server.paths().count("/by_station/XXW00000001.csv.gz") == 2


def test_an_old_file_serves_when_the_server_is_gone(server: Server, tmp_path: Path) -> None:
    get(server, tmp_path)
    for note in tmp_path.rglob("*.from.json"):
        told = json.loads(note.read_text(encoding="utf-8"))
        note.write_text(json.dumps(told | {"fetched_at": "2001-01-01T00:00:00+00:00"}), encoding="utf-8")
    server.faults = {path: ["500"] * 9 for path in server.files}
    fetched = get(server, tmp_path)
    assert fetched.file.stale
    assert any("2001-01-01" in note for note in fetched.notes)


def test_refresh_asks_again(server: Server, tmp_path: Path) -> None:
    get(server, tmp_path)
    get(server, tmp_path, refresh=True)
    assert len(server.asked) == 6


def test_nothing_half_written_is_left(server: Server, tmp_path: Path) -> None:
    get(server, tmp_path)
    left = {path.suffix for path in tmp_path.rglob("*") if path.is_file()}
    assert left <= {".txt", ".gz", ".json", ".lock"}


# --- faults of the server -----------------------------------------------------------------------------------


@pytest.mark.parametrize("fault", ["500", "429", "cut", "wait"])
def test_one_fault_is_overcome(server: Server, tmp_path: Path, fault: str) -> None:
    server.faults["/by_station/XXW00000001.csv.gz"] = [fault]
    fetched = get(server, tmp_path)
    assert fetched.station.name == "WITHY HOLLOW"
    assert fetched.file.path.read_bytes() == server.files["/by_station/XXW00000001.csv.gz"]


def test_a_broken_download_is_taken_up_where_it_stopped(server: Server, tmp_path: Path) -> None:
    path = "/by_station/XXW00000001.csv.gz"
    server.faults[path] = ["cut"]
    get(server, tmp_path)
    half = len(server.files[path]) // 2
    resumed = [headers for asked, headers in server.asked if asked == path][1]
    start = int(resumed["Range"].removeprefix("bytes=").rstrip("-"))
    assert half - download._CHUNK < start <= half  # all that came, but for the piece under way


def test_a_broken_download_is_taken_up_by_a_later_run(server: Server, tmp_path: Path) -> None:
    path = "/by_station/XXW00000001.csv.gz"
    server.faults[path] = ["cut"] + ["500"] * 2
    with pytest.raises(FetchFault):
        get(server, tmp_path)
    assert get(server, tmp_path).file.path.read_bytes() == server.files[path]
    assert [headers for asked, headers in server.asked if asked == path][-1]["Range"].startswith("bytes=")


def test_a_file_that_changed_meanwhile_is_fetched_whole(server: Server, tmp_path: Path) -> None:
    path = "/by_station/XXW00000001.csv.gz"
    server.faults[path] = ["cut"] + ["500"] * 2
    with pytest.raises(FetchFault):
        get(server, tmp_path)
    server.files[path] = station_file("XXW00000001", "1999-07-01", "2016-06-30")
    assert get(server, tmp_path).file.path.read_bytes() == server.files[path]


@pytest.mark.parametrize(("fault", "says"), [("cut", "broke off"), ("wait", "in time"), ("500", "HTTP 500")])
def test_a_lasting_fault_ends_in_one_clear_word(
    server: Server, tmp_path: Path, fault: str, says: str
) -> None:
    # The truncated file is cut again from the start each time: the server allows no ranges.
    server.files = {"/ghcnd-stations.txt": server.files["/ghcnd-stations.txt"]}
    server.faults = {"/ghcnd-stations.txt": [fault] * 9}
    with pytest.raises(FetchFault, match=says) as error:
        get(server, tmp_path)
    assert error.value.transient
    assert "built-in climate" in error.value.remedy
    assert len(server.asked) == QUICK.tries
    assert not (tmp_path / "ghcnd-stations.txt").exists()


@pytest.mark.parametrize("garbage", [b"<html>maintenance</html>", bytes(range(256)) * 40, b"\x00" * 500])
@pytest.mark.parametrize("path", ["/ghcnd-stations.txt", "/ghcnd-inventory.txt"])
def test_garbage_never_enters_the_cache(server: Server, tmp_path: Path, path: str, garbage: bytes) -> None:
    server.files[path] = garbage
    with pytest.raises(FetchFault, match="not the file that was asked for") as error:
        get(server, tmp_path)
    assert not error.value.transient
    assert not (tmp_path / path.lstrip("/")).exists()
    assert not (tmp_path / f"{path.lstrip('/')}.part").exists()


def test_a_garbage_station_file_leads_to_the_next_station(server: Server, tmp_path: Path) -> None:
    server.files["/by_station/XXW00000001.csv.gz"] = b"<html>maintenance</html>"
    assert get(server, tmp_path).station.name == "NO HEIGHT"
    assert not (tmp_path / "by_station" / "XXW00000001.csv.gz").exists()


def test_a_missing_list_is_not_tried_again(server: Server, tmp_path: Path) -> None:
    server.faults["/ghcnd-stations.txt"] = ["404"]
    with pytest.raises(FetchFault, match="404"):
        get(server, tmp_path)
    assert len(server.asked) == 1


def test_too_large_a_file_is_refused(server: Server, tmp_path: Path) -> None:
    with pytest.raises(FetchFault, match="too large"):
        get(server, tmp_path, manners=Manners(pause=0.0, max_bytes=100))


def test_without_a_network_the_message_points_to_the_built_in_climate(tmp_path: Path) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with pytest.raises(FetchFault, match="could not be reached") as error:
        fetch_weather(51.2, -2.6, server=f"http://127.0.0.1:{port}", cache=tmp_path, manners=QUICK)
    assert "orchardwright climate" in error.value.remedy
    assert isinstance(error.value, OrchardwrightError)


# --- manners ------------------------------------------------------------------------------------------------


def test_waits_grow_and_the_server_may_ask_for_more(server: Server, tmp_path: Path) -> None:
    waited: list[float] = []
    server.faults["/ghcnd-stations.txt"] = ["wait", "wait"]
    get(
        server, tmp_path, manners=Manners(read_timeout=0.3, tries=3, wait=2.0, pause=0.5), sleep=waited.append
    )
    assert waited == [2.0, 4.0, 0.5, 0.5, 0.5]
    waited.clear()
    server.faults["/ghcnd-stations.txt"] = ["429"]
    get(server, tmp_path, manners=Manners(wait=2.0, pause=0.0), sleep=waited.append, refresh=True)
    assert waited[0] == 7.0  # Retry-After


def test_the_program_names_itself(server: Server, tmp_path: Path) -> None:
    get(server, tmp_path)
    assert {headers["User-Agent"] for _, headers in server.asked} == {download.USER_AGENT}
    assert "orchardwright" in download.USER_AGENT


@pytest.mark.parametrize(
    "address", ["ftp://example.org", "http://example.org/x", "example.org", "", "https://"]
)
def test_only_https_or_this_machine_is_asked(address: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(fetch.SERVER_VARIABLE, raising=False)
    if address == "":
        assert server_address(address) == fetch.NOAA_BASE
        return
    with pytest.raises(BadInput, match="no server"):
        server_address(address)


def test_the_server_can_be_named_by_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(fetch.SERVER_VARIABLE, "https://mirror.example.org/ghcn/")
    assert server_address() == "https://mirror.example.org/ghcn"


def test_a_point_off_the_globe_is_refused_before_any_call(server: Server, tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="Latitude 95"):
        fetch_weather(95.0, 0.0, server=server.url, cache=tmp_path, manners=QUICK)
    assert server.asked == []


def test_reading_a_file_makes_no_call(
    server: Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from recommender.climate.weather import read_weather

    def refuse(*args: object, **options: object) -> None:
        raise AssertionError("a network call was made without being asked for")

    path = tmp_path / "x.csv.gz"
    path.write_bytes(station_file("XXW00000001"))
    monkeypatch.setattr(socket.socket, "connect", refuse)
    assert len(read_weather(path).frame) > 0
