"""Whatever bytes a file holds, a reader reads it or says what is wrong in an error of the one family."""

from __future__ import annotations

import contextlib
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from recommender.errors import OrchardwrightError
from tests.hardening.hostile import ODD_BYTES, climbing_zip, damaged, zip_bomb
from tests.hardening.readers import FOUND, READERS, TEXTS


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
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_a_damaged_file_ends_in_the_one_family_of_errors(reader: str, data: st.DataObject) -> None:
    whole = READERS[reader][2]
    raw = data.draw(st.one_of(damaged(whole[:20_000]), st.binary(max_size=300)))
    with tempfile.TemporaryDirectory() as folder:
        _read(reader, raw, Path(folder))


@pytest.mark.parametrize("found", FOUND)
def test_what_broke_a_reader_once_is_refused(found: str, tmp_path: Path) -> None:
    reader, raw = FOUND[found]
    name, read, _ = READERS[reader]
    (tmp_path / name).write_bytes(raw)
    with pytest.raises(OrchardwrightError):
        read(tmp_path / name)


@pytest.mark.parametrize("reader", TEXTS)
def test_an_example_of_a_text_is_understood(reader: str) -> None:
    understand, example = TEXTS[reader]
    assert understand(example) is not None


@pytest.mark.parametrize("reader", TEXTS)
@settings(max_examples=40)
@given(data=st.data())
def test_whatever_is_typed_is_understood_or_told(reader: str, data: st.DataObject) -> None:
    understand, example = TEXTS[reader]
    mixed = st.lists(
        st.sampled_from([*example.split(), ":", ";", "|", "x", "-1", "1e999", "\0", "’", "ß", "²"])
    )
    text = data.draw(st.one_of(mixed.map(" ".join), st.text(max_size=60)))
    with contextlib.suppress(OrchardwrightError):
        understand(text)


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
