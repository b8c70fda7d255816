"""Evidence rows made ready for settling: numbers read, standing and weight attached, unusable ones set aside.

Comes in: the rows of datasets/traits/ as text and the table of sources. Goes out: the same rows with
`kind` (of the source), `tier`, `weight`, `value_number`, `low_number`, `high_number`, `told` (how its numbers
were moved, if they were) and `set_aside` (empty, or why the row cannot be used). The weights and the reasons
for them: docs/settling-evidence.md.
"""

from __future__ import annotations

import calendar
import datetime as dt

import numpy as np
import pandas as pd

from recommender.catalog.traits import NUMERIC, trait

SOURCE_WEIGHTS = {
    "paper": 1.0,
    "register": 1.0,
    "genebank": 1.0,
    "government": 1.0,
    "standard": 1.0,
    "extension": 0.8,
    "book": 0.5,
    "catalogue": 0.3,
    "memory": 0.15,
}
UNKNOWN_SOURCE_WEIGHT = 0.15

TIERS = {"published": 0, "computed": 0, "common practice": 1, "from memory": 2}
STANDINGS = ("published", "common practice", "from memory")
_BASIS_WORDS = {"memory": "from memory", "common-practice": "common practice"}

GENERAL_STATEMENT_WEIGHT = 0.15
GENERAL_STATEMENT = (
    r"species[- ]level|species range|species:|species lower|for the species|crop-level|group-level"
    r"|group statement|as a (?:group|class)|for the group|group range|group value|\brace\b|in general"
    r"|general statement|\bseries statement|the whole series|genus page|source: (?:all|most)"
    r"|\ball pomegranates|one value for all|most (?:named )?(?:varieties|cultivars)"
    r"|established California varieties|is (?:hexaploid|mostly tetraploid)"
)
"""Wordings that mark a statement about a species, race, series or nursery group: no fact of one variety."""

SINGLE_TREE_WEIGHT = 0.3
SINGLE_TREE_SOURCES = ("watts-2021-abc",)
"""One season, mostly one tree a variety: bloom differences under two days mean nothing there."""

UNCERTAIN_NOTE_WEIGHT = 0.5
UNCERTAIN_NOTE = (
    r"presumed|doubtful|forum|grower report|as claimed|expanded by compiler|garble|taken from descr"
)

DAYS_IN_YEAR = 365
_DAY_OF_YEAR = {
    f"{month:02d}-{day:02d}": dt.date(2001, month, day).timetuple().tm_yday
    for month in range(1, 13)
    for day in range(1, calendar.monthrange(2001, month)[1] + 1)
} | {"02-29": 59}
_DATE_TEXT = {number: text for text, number in _DAY_OF_YEAR.items() if text != "02-29"}

SOUTHERN_PLACE = (
    r"southern hemisphere|Australia|Adelaide|New Zealand|Waikato|Hawke|South Africa|Western Cape"
    r"|Chile|Argentina|Uruguay|\bNSW\b|Queensland|Tasmania|Victoria, AU|Stanthorpe|\bOrange NSW"
)
HALF_YEAR = 182


SOUTHERN_MOVED = "southern dates moved by half a year"
COUNTS_MOVED = "days counted by"
"""How what is `told` of moved numbers begins; a move is no disagreement."""


def date_text(day_of_year: float) -> str:
    """Day of year (1 to 365) -> "MM-DD".

    >>> date_text(32.0)
    '02-01'
    """
    return _DATE_TEXT[int(round(day_of_year) - 1) % DAYS_IN_YEAR + 1]


def prepare(evidence: pd.DataFrame, sources: pd.DataFrame) -> pd.DataFrame:
    """Evidence rows (columns of the tables in datasets/traits/) made ready.

    Harvest dates become days of the year; dates from southern places are moved by half a year, so that all
    stand in one (northern) calendar. No row is dropped: what cannot be used says why in `set_aside`.
    """
    rows = evidence.reset_index(drop=True).copy()
    for column in ("value", "low", "high", "unit", "basis", "source_id", "note"):
        rows[column] = _text(rows[column]) if column in rows else ""
    rows["basis"] = rows["basis"].replace(_BASIS_WORDS)
    kinds = sources.drop_duplicates("source_id").set_index("source_id")["kind"]
    rows["kind"] = rows["source_id"].map(kinds).fillna("").astype(str)
    rows.loc[rows["basis"].eq("from memory"), "kind"] = "memory"
    rows["tier"] = rows["basis"].map(TIERS).fillna(2).astype("int64")
    rows["weight"] = _weights(rows)
    rows["set_aside"] = ""
    rows = _with_numbers(rows)
    bare = rows["value"].eq("") & rows["low"].eq("") & rows["high"].eq("")
    rows.loc[bare, "set_aside"] = "neither a value nor a bound"
    _set_aside_unknown_classes(rows)
    return rows


def _text(column: pd.Series) -> pd.Series:
    if pd.api.types.is_numeric_dtype(column):
        text = [f"{number:g}" if number == number else "" for number in column.to_numpy(dtype="float64")]
        return pd.Series(text, index=column.index, dtype="object")
    return column.fillna("").astype(str).str.strip()


def _weights(rows: pd.DataFrame) -> np.ndarray:
    weight = rows["kind"].map(SOURCE_WEIGHTS).fillna(UNKNOWN_SOURCE_WEIGHT).to_numpy(dtype="float64").copy()
    notes = rows["note"].drop_duplicates()
    general = set(notes[notes.str.contains(GENERAL_STATEMENT, case=False, regex=True)])
    uncertain = set(notes[notes.str.contains(UNCERTAIN_NOTE, case=False, regex=True)])
    weight[rows["note"].isin(general).to_numpy()] *= GENERAL_STATEMENT_WEIGHT
    weight[rows["note"].isin(uncertain).to_numpy()] *= UNCERTAIN_NOTE_WEIGHT
    weight[rows["source_id"].isin(SINGLE_TREE_SOURCES).to_numpy()] *= SINGLE_TREE_WEIGHT
    return weight


def _with_numbers(rows: pd.DataFrame) -> pd.DataFrame:
    names = rows["trait"].drop_duplicates()
    numeric = rows["trait"].isin({name for name in names if trait(name).kind == NUMERIC})
    dates = rows["trait"].isin({name for name in names if trait(name).date})
    southern_notes = rows.loc[dates, "note"].drop_duplicates()
    southern_notes = southern_notes[southern_notes.str.contains(SOUTHERN_PLACE, regex=True)]
    southern = dates & rows["note"].isin(set(southern_notes))
    rows["told"] = np.where(southern, SOUTHERN_MOVED, "")
    least = rows["trait"].map({name: trait(name).least for name in names})
    most = rows["trait"].map({name: trait(name).most for name in names})
    for column in ("value", "low", "high"):
        text = rows[column].where(numeric, "")
        number = pd.to_numeric(text.where(~dates, ""), errors="coerce").astype("float64")
        number = number.where(~dates, text.map(_DAY_OF_YEAR).astype("float64"))
        rows.loc[text.ne("") & number.isna(), "set_aside"] = f"{column} is not a number or a date MM-DD"
        number = number.where(~southern, (number - 1 + HALF_YEAR) % DAYS_IN_YEAR + 1)
        out = number.notna() & ((number < least) | (number > most))
        rows.loc[out, "set_aside"] = f"{column} outside the plausible range of the trait"
        rows[f"{column}_number"] = number
    swapped = ~dates & (rows["low_number"] > rows["high_number"])
    rows.loc[swapped, "set_aside"] = "low is above high"
    return rows


def _set_aside_unknown_classes(rows: pd.DataFrame) -> None:
    for name in rows["trait"].drop_duplicates():
        allowed = trait(name).classes
        if allowed:
            known = {*allowed, *trait(name).between}
            wrong = rows["trait"].eq(name) & ~rows["value"].isin(known)
            rows.loc[wrong, "set_aside"] = "no class of this trait"
