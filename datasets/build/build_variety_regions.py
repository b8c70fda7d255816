"""Where varieties were described: variety_regions.csv, from the places that sources and notes name.

In come `sources.csv`, `traits/*.csv` and `build/institution_places.csv`; out goes one row for each variety,
place and source: a source at work in a place that gives figures of a variety has seen it there. A note that
names a place of its own ("Kentville NS", "Poland") overrules where the source sits.

    python datasets/build/build_variety_regions.py

Places are ISO codes: a state or province for Australia, Canada and the United States, else a country.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

import pandas as pd

DATASETS = Path(__file__).parents[1]
TARGET = DATASETS / "variety_regions.csv"
STATES = (
    "Alabama:AL Alaska:AK Arizona:AZ Arkansas:AR California:CA Colorado:CO Connecticut:CT "
    "Delaware:DE Florida:FL Hawaii:HI Idaho:ID Illinois:IL Indiana:IN Iowa:IA Kansas:KS Kentucky:KY "
    "Louisiana:LA Maine:ME Maryland:MD Massachusetts:MA Michigan:MI Minnesota:MN Mississippi:MS "
    "Missouri:MO Montana:MT Nebraska:NE Nevada:NV Ohio:OH Oklahoma:OK Oregon:OR Pennsylvania:PA "
    "Tennessee:TN Texas:TX Utah:UT Vermont:VT Virginia:VA Washington:WA Wisconsin:WI Wyoming:WY "
    "Georgia:GA "
)
NAMES: dict[str, str] = {
    **{name: f"US-{code}" for name, code in (pair.split(":") for pair in STATES.split())},
    "New Hampshire": "US-NH", "New Jersey": "US-NJ", "New Mexico": "US-NM", "New York": "US-NY",
    "North Carolina": "US-NC", "North Dakota": "US-ND", "Rhode Island": "US-RI",
    "South Carolina": "US-SC", "South Dakota": "US-SD", "West Virginia": "US-WV",
    "Ontario": "CA-ON", "Quebec": "CA-QC", "Nova Scotia": "CA-NS", "New Brunswick": "CA-NB",
    "Manitoba": "CA-MB", "Saskatchewan": "CA-SK", "Alberta": "CA-AB", "British Columbia": "CA-BC",
    "Tasmania": "AU-TAS", "New South Wales": "AU-NSW", "Queensland": "AU-QLD", "Victoria": "AU-VIC",
    "Western Australia": "AU-WA", "South Australia": "AU-SA",
    "England": "GB", "Scotland": "GB", "Wales": "GB", "United Kingdom": "GB", "Britain": "GB", "UK": "GB",
    "Ireland": "IE", "France": "FR", "Germany": "DE", "Austria": "AT", "Switzerland": "CH", "Italy": "IT",
    "Spain": "ES", "Portugal": "PT", "Netherlands": "NL", "Belgium": "BE", "Denmark": "DK", "Sweden": "SE",
    "Norway": "NO", "Finland": "FI", "Poland": "PL", "Czech Republic": "CZ", "Slovakia": "SK",
    "Hungary": "HU", "Romania": "RO", "Bulgaria": "BG", "Serbia": "RS", "Croatia": "HR", "Greece": "GR",
    "Turkey": "TR", "Ukraine": "UA", "Russia": "RU", "Latvia": "LV", "Lithuania": "LT", "Estonia": "EE",
    "Belarus": "BY", "Israel": "IL", "Iran": "IR", "Tunisia": "TN", "Morocco": "MA", "Algeria": "DZ",
    "Egypt": "EG", "South Africa": "ZA", "India": "IN", "Pakistan": "PK", "China": "CN", "Japan": "JP",
    "Korea": "KR", "Taiwan": "TW", "New Zealand": "NZ", "Chile": "CL", "Argentina": "AR", "Brazil": "BR",
    "Mexico": "MX",
}  # fmt: skip
ENDINGS = {
    "uk": "GB", "de": "DE", "fr": "FR", "it": "IT", "es": "ES", "nl": "NL", "be": "BE", "dk": "DK",
    "se": "SE", "no": "NO", "fi": "FI", "pl": "PL", "cz": "CZ", "sk": "SK", "hu": "HU", "ro": "RO",
    "rs": "RS", "bg": "BG", "gr": "GR", "tr": "TR", "ua": "UA", "ru": "RU", "lv": "LV", "lt": "LT",
    "ch": "CH", "at": "AT", "nz": "NZ", "za": "ZA", "jp": "JP", "cn": "CN", "kr": "KR", "in": "IN",
    "il": "IL", "cl": "CL", "br": "BR", "ie": "IE", "pt": "PT",
}  # fmt: skip
"""Country of a web address by its last part; sites that only host copies of others' texts are left out."""
HOSTS = ("scribd", "docslib", "vdocuments", "yumpu", "pinterest", "ikkinhibitor")
# Longer names first, so that West Virginia is not read as Virginia.
_NAMED = re.compile(r"\b(" + "|".join(sorted(map(re.escape, NAMES), key=len, reverse=True)) + r")\b")
_STATE_CODE = re.compile(r"(?:,|\b[A-Z][a-z]+) (" + "|".join(
    code[3:] for code in NAMES.values() if code.startswith("US-")
) + r")\b")  # fmt: skip


def named(text: str) -> set[str]:
    """Places that a text names in full, or as a state's two letters after a comma or a town."""
    found = {NAMES[name] for name in _NAMED.findall(text)}
    return found | {f"US-{code}" for code in _STATE_CODE.findall(text) if code not in ("IN", "OR", "ME")}


def place_of_source(source: pd.Series, institutions: list[tuple[re.Pattern[str], str]]) -> set[str]:
    """Where a source is at work: by its title and author, else its institution, else its web address."""
    words = f"{source['title']} {source['author']}"
    found = named(words)
    if found:
        return found
    address = str(source["url"]).split("/")[2:3]
    host = address[0].removeprefix("www.") if address else ""
    hosted = any(name in host for name in HOSTS)
    searched = f"{source['source_id']} {words} {'' if hosted else host}".lower()
    found = {place for pattern, place in institutions if pattern.search(searched)}
    if found:
        return found
    ending = host.rsplit(".", 1)[-1]
    return set() if hosted or ending not in ENDINGS else {ENDINGS[ending]}


def regions_of_varieties() -> pd.DataFrame:
    """One row a variety, place and source, with the number of facts given."""
    sources = pd.read_csv(DATASETS / "sources.csv", dtype=str, keep_default_na=False)
    table = pd.read_csv(DATASETS / "build" / "institution_places.csv", dtype=str)
    institutions = [
        (re.compile(r"(?<![a-z])(?:" + pattern + ")"), place)
        for pattern, place in table[["pattern", "place"]].itertuples(index=False)
    ]
    by_source = {
        str(source["source_id"]): place_of_source(source, institutions) for _, source in sources.iterrows()
    }
    files = sorted((DATASETS / "traits").glob("*.csv"))
    facts = pd.concat([pd.read_csv(file, dtype=str, keep_default_na=False) for file in files])
    facts = facts[facts["source_id"] != "memory"]
    rows: dict[tuple[str, str, str, str], int] = {}
    for crop, variety, source_id, note in facts[["crop", "variety", "source_id", "note"]].itertuples(
        index=False
    ):
        for place in named(note) or by_source.get(source_id, set()):
            key = (crop, variety, place, source_id)
            rows[key] = rows.get(key, 0) + 1
    frame = pd.DataFrame([(*key, count) for key, count in rows.items()])
    frame.columns = pd.Index(["crop", "variety", "place", "source_id", "facts"])
    return frame.sort_values(["crop", "variety", "place", "source_id"])


def main() -> int:
    """Write the table in one step and say what it holds."""
    frame = regions_of_varieties()
    partial = TARGET.with_suffix(".csv.partial")
    frame.to_csv(partial, index=False, lineterminator="\n")
    partial.replace(TARGET)
    sys.stdout.write(
        f"{len(frame)} rows, {frame.groupby(['crop', 'variety']).ngroups} varieties, "
        f"{frame['place'].nunique()} places, {frame['source_id'].nunique()} sources\n"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
