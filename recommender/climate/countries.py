"""Countries and their parts by code, as the gazetteer has them.

In: a country or part of one as people write it (a code, a name, a usual short form). Out: ISO codes: `FR`,
`US-NY`, `GB-NIR`, `CA-ON`, `AU-TAS`. Names and codes are those of GeoNames; letters for Australian and
Canadian parts are those that `places` knows.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq

from recommender.catalog.package import datasets_folder
from recommender.climate.place_names import folded
from recommender.climate.places import COUNTRY_WORDS, REGION_WORDS
from recommender.errors import StorageFault


@dataclass(frozen=True)
class _Codes:
    """names: folded country -> code; parts: (country code, folded part) -> letters of the part."""

    names: dict[str, str]
    parts: dict[tuple[str, str], str]


def country_code(text: str) -> str:
    """The ISO code of a country given as its code, name or usual short form; "" where it is none.

    >>> country_code("France"), country_code("uk"), country_code("nl"), country_code("Atlantis")
    ('FR', 'GB', 'NL', '')
    """
    names = _codes(datasets_folder()).names
    key = folded(text)
    if len(key) == 2 and key.upper() in names.values():
        return key.upper()
    return names.get(key, "")


def part_code(country: str, part: str) -> str:
    """The ISO code of a part of a country, given the country's code and the part's name or letters; "" where
    it is none.

    >>> part_code("US", "New York"), part_code("GB", "Northern Ireland"), part_code("CA", "ON")
    ('US-NY', 'GB-NIR', 'CA-ON')
    """
    letters = _codes(datasets_folder()).parts.get((country, folded(part)), "")
    return f"{country}-{letters}" if letters else ""


def code_of(text: str) -> str:
    """The code of a country or of a part of one, by its code or name; "" where it is neither.

    A name that is both a country's and a part's (Georgia) means the country.

    >>> code_of("us-ny"), code_of("Tasmania"), code_of("Northern Ireland"), code_of("Spain"), code_of("ZZ")
    ('US-NY', 'AU-TAS', 'GB-NIR', 'ES', '')
    """
    found = country_code(text)
    if found:
        return found
    before, dash, after = text.strip().partition("-")
    if dash and (country := country_code(before)):
        return part_code(country, after)
    parts = _codes(datasets_folder()).parts
    matching = {country for country, name in parts if name == folded(text) and len(name) > 3}
    return part_code(matching.pop(), text) if len(matching) == 1 else ""


@lru_cache(maxsize=2)
def _codes(folder: Path) -> _Codes:
    path = folder / "places.parquet"
    try:
        table = pq.read_table(path, columns=["country", "country_code", "region", "region_code"])
    except (OSError, ValueError) as fault:
        raise StorageFault(
            "The gazetteer cannot be read",
            where=str(path),
            remedy="Install Orchardwright again, or point ORCHARDWRIGHT_DATASETS at a complete datasets "
            "folder",
        ) from fault
    rows: pa.Table = table.group_by(["country", "country_code", "region", "region_code"]).aggregate([])
    names = dict(COUNTRY_WORDS)
    letters = {(country, number): word.upper() for (country, word), number in REGION_WORDS.items()}
    parts = {(country, word): word.upper() for country, word in REGION_WORDS}
    for row in rows.to_pylist():
        country, code = row["country_code"], row["region_code"]
        names[folded(row["country"]).removeprefix("the ")] = names[folded(row["country"])] = country
        part = code if code.isalpha() else letters.get((country, code), "")
        if part and row["region"]:
            parts[country, folded(row["region"])] = parts[country, part.casefold()] = part
    return _Codes(names, parts)
