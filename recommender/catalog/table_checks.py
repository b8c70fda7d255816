"""The rules of datapackage.json and of the trait vocabulary, applied to whole tables at once.

In: text tables in an order in which each comes after those it refers to. Out: typed tables of the rows that
hold, and a `Fault` for each cell or row that does not. Types, classes, ranges, patterns and keys are checked
by pandera schemas generated from datapackage.json; references and the trait vocabulary here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from rapidfuzz import process

from recommender.catalog.csv_table import FILE, ROW, Fault

NUMBERS = ("number", "integer")
JOIN = "\x1f"
_SUGGESTIONS = 100
_BOUNDS = ("low", "high")


class Checker:
    """Takes the tables one after the other; keeps what holds in `tables` and what does not in `faults`."""

    def __init__(self) -> None:
        self.tables: dict[str, pd.DataFrame] = {}
        self.faults: list[Fault] = []
        self._unreadable: set[str] = set()
        self._suggested = 0

    def check(self, table: str, resource: Mapping[str, Any], text: pd.DataFrame, *, whole: bool) -> None:
        """Check one table and keep its sound rows. `whole` is False if some file of it could not be read."""
        if not whole:
            self._unreadable.add(table)
        frame, bad = self._typed(resource["schema"], text)
        bad |= self._by_schema(resource["schema"], frame, text, ~bad)
        bad |= self._by_repetition(frame, ~bad)
        if table == "traits":
            bad |= self._by_vocabulary(frame, text, ~bad)
        if table == "names":
            bad |= self._by_accepted_name(frame, ~bad)
        bad |= self._by_references(table, resource, frame, ~bad)
        self.tables[table] = frame[~bad].reset_index(drop=True)

    def warnings(self) -> pd.DataFrame:
        """Rows that hold but deserve a second look: file, row, column, value, what."""
        from recommender.catalog.second_look import second_look

        return second_look(self.tables)

    # ------------------------------------------------------------------ one rule each; each returns bad rows

    def _typed(self, schema: Mapping[str, Any], text: pd.DataFrame) -> tuple[pd.DataFrame, np.ndarray]:
        frame = text.copy()
        bad = np.zeros(len(text), dtype=bool)
        keyed = "primaryKey" in schema
        for item in schema["fields"]:
            name = item["name"]
            blank = text[name].str.strip().eq("").to_numpy()
            if item["type"] not in NUMBERS:
                frame[name] = text[name].mask(blank)
                continue
            number = pd.to_numeric(text[name].mask(blank), errors="coerce").astype("float64")
            wrong = ~blank & ~np.isfinite(number.to_numpy())
            what = "is not a number"
            if item["type"] == "integer":
                wrong = wrong | (~blank & ~np.equal(np.mod(number.fillna(0).to_numpy(), 1), 0))
                what = "is not a whole number"
            frame[name] = number.mask(wrong)
            if item["type"] == "integer":
                frame[name] = frame[name].astype("Int64")
            effect = "cell" if keyed and not item.get("constraints", {}).get("required") else "row"
            self._tell(text, wrong, name, what, "Write a number with a point for decimals", effect)
            if effect == "row":
                bad |= wrong
        return frame, bad

    def _by_schema(
        self, schema: Mapping[str, Any], frame: pd.DataFrame, text: pd.DataFrame, rows: np.ndarray
    ) -> np.ndarray:
        import pandera.pandas as pa

        from recommender.catalog.pandera_schema import explain, frame_schema

        bad = np.zeros(len(frame), dtype=bool)
        optional = {
            item["name"]
            for item in schema["fields"]
            if "primaryKey" in schema and not item.get("constraints", {}).get("required")
        }
        try:
            frame_schema(schema).validate(frame[rows], lazy=True)
            return bad
        except pa.errors.SchemaErrors as problem:
            cases = problem.failure_cases
        seen = set()
        fields = {item["name"]: item for item in schema["fields"]}
        for column, check, index in zip(cases["column"], cases["check"], cases["index"], strict=True):
            position = int(index)
            double = check == "multiple_fields_uniqueness"
            effect = "cell" if column in optional and not double else "row"
            if double:
                column = _as_list(schema["primaryKey"])[-1]
            if (position, column, check) in seen:
                continue
            seen.add((position, column, check))
            what, remedy = explain(fields[column], check, _as_list(schema.get("primaryKey", [])))
            mask = np.zeros(len(frame), dtype=bool)
            mask[position] = True
            self._tell(text, mask, column, what, remedy, effect)
            if effect == "row":
                bad[position] = True
            else:
                frame.loc[position, column] = pd.NA if frame[column].dtype == "Int64" else np.nan
        return bad

    def _by_repetition(self, frame: pd.DataFrame, rows: np.ndarray) -> np.ndarray:
        again = frame.drop(columns=[FILE, ROW]).duplicated().to_numpy() & rows
        self._tell(frame, again, "", "is word for word the same as an earlier row", "Remove one of the two")
        return again

    def _by_accepted_name(self, frame: pd.DataFrame, rows: np.ndarray) -> np.ndarray:
        accepted = set(_key(self.tables["varieties"], ["crop", "variety"]))
        wrong = _key(frame, ["crop", "name"]).isin(accepted).to_numpy() & rows
        self._tell(
            frame,
            wrong,
            "name",
            "is itself an accepted name of this crop",
            "Remove the row, or take the name out of varieties.csv",
        )
        return wrong

    def _by_references(
        self, table: str, resource: Mapping[str, Any], frame: pd.DataFrame, rows: np.ndarray
    ) -> np.ndarray:
        bad = np.zeros(len(frame), dtype=bool)
        for link in [*resource["schema"].get("foreignKeys", ()), *resource.get("references", ())]:
            target = link["reference"]["resource"].replace("-", "_")
            if target in self._unreadable:
                continue
            columns = _as_list(link["fields"])
            keys = _as_list(link["reference"]["fields"])
            known = pd.Index(_key(frame[rows] if target == table else self.tables[target], keys).unique())
            part = frame.loc[rows, [FILE, ROW, *columns]].dropna(subset=columns)
            wanted = _key(part, columns)
            if "separator" in link:
                wanted = wanted.str.split(link["separator"], regex=False).explode()
            wrong = wanted[~wanted.isin(known)]
            if "except" in link:
                wrong = wrong[~wrong.str.rsplit(JOIN, n=1).str[-1].isin(link["except"])]
            home = link["reference"]["resource"]
            said = f"is not in {_file_of(home)} (or its row there was rejected)"
            for position, value in zip(wrong.index, wrong, strict=True):
                remedy = f"Add it to {_file_of(home)}, or correct it{self._nearest(value, known)}"
                here = np.zeros(len(frame), dtype=bool)
                here[position] = True
                self._tell(frame, here, columns[-1], said, remedy, shown=value.replace(JOIN, ": "))
                bad[position] = True
        return bad

    def _by_vocabulary(self, frame: pd.DataFrame, text: pd.DataFrame, rows: np.ndarray) -> np.ndarray:
        bad = np.zeros(len(frame), dtype=bool)
        if "trait_vocabulary" in self._unreadable:
            return bad
        words = self.tables["trait_vocabulary"].set_index("trait")
        known = rows & frame["trait"].isin(words.index).to_numpy()
        kind = frame["trait"].map(words["kind"]).to_numpy()
        value = text["value"].fillna("")
        stated = frame["value"].notna().to_numpy()
        numeric = known & (kind == "numeric")
        number = pd.to_numeric(value.where(numeric & stated), errors="coerce").astype("float64")

        def rule(wrong: np.ndarray, column: str, what: str, remedy: str) -> None:
            self._tell(text, wrong & ~bad, column, what, remedy)
            bad[wrong] = True

        rule(numeric & stated & ~np.isfinite(number.to_numpy()), "value", "is not a number", "Write a number")
        bare = numeric & ~stated & frame[list(_BOUNDS)].isna().all(axis=1).to_numpy()
        rule(
            bare,
            "value",
            "The row states neither a value nor a bound",
            "Give value, low or high, or remove the row",
        )
        least, most = (frame["trait"].map(words[name]).to_numpy(dtype="float64") for name in ("min", "max"))
        for name, numbers in (("value", number), ("low", frame["low"]), ("high", frame["high"])):
            array = numbers.to_numpy(dtype="float64")
            out = numeric & ((array < least) | (array > most))
            rule(
                out,
                name,
                "is outside what the trait can be",
                "Check the unit and the sign, or min and max in traits.csv",
            )
        low, high = (frame[name].to_numpy(dtype="float64") for name in _BOUNDS)
        rule(numeric & (low > high), "low", "is above high", "Swap low and high")
        value_array = number.to_numpy()
        outside = numeric & ((value_array < low) | (value_array > high))
        rule(outside, "value", "is outside its own low and high", "Check which of the three is wrong")
        unit = frame["unit"].fillna("").to_numpy() != frame["trait"].map(words["unit"]).fillna("").to_numpy()
        rule(
            known & unit,
            "unit",
            "is not the unit of the trait",
            "Convert the number, or write the unit of traits.csv",
        )

        worded = known & (kind != "numeric")
        rule(worded & ~stated, "value", "The row states nothing", "Give a value, or remove the row")
        bounds = frame[list(_BOUNDS)].notna().any(axis=1).to_numpy()
        rule(worded & bounds, "low", "The trait takes words, not a range", "Leave low and high blank")
        dates = pd.to_datetime(
            "2000-" + value.where(known & (kind == "date")), format="%Y-%m-%d", errors="coerce"
        )
        shaped = value.str.fullmatch(r"\d\d-\d\d").to_numpy(dtype=bool)
        undated = known & (kind == "date") & ~(shaped & dates.notna().to_numpy())
        rule(undated, "value", "is no date of the form MM-DD", "Write month and day with two digits each")
        for which, separator in (("category", None), ("set", "|")):
            rule(
                known & (kind == which) & ~_in_classes(frame["trait"], value, words, which, separator),
                "value",
                "is not a class of the trait",
                "Use one of the categories of traits.csv",
            )
        return bad

    # ------------------------------------------------------------------ wording

    def _tell(
        self,
        frame: pd.DataFrame,
        wrong: np.ndarray,
        column: str,
        what: str,
        remedy: str,
        effect: str = "row",
        *,
        shown: str | None = None,
    ) -> None:
        if not wrong.any():
            return
        rows = frame[wrong]
        values = rows[column].fillna("").astype("str").tolist() if column else [""] * len(rows)
        for file, row, value in zip(rows[FILE], rows[ROW], values, strict=True):
            told = value if shown is None else shown
            self.faults.append(Fault(str(file), int(row), column, told, what, remedy, effect))

    def _nearest(self, value: str, known: pd.Index) -> str:
        if self._suggested >= _SUGGESTIONS:
            return ""
        self._suggested += 1
        crop, _, _ = value.rpartition(JOIN)
        pool = [name for name in known if name.startswith(crop + JOIN)] if crop else list(known)
        near = process.extractOne(value, pool, score_cutoff=70)
        return f" (nearest: {near[0].rpartition(JOIN)[2]})" if near else ""


def _in_classes(
    traits: pd.Series, value: pd.Series, words: pd.DataFrame, kind: str, separator: str | None
) -> np.ndarray:
    """True where the value (each part of it) is a class of its trait; one Boolean per row."""
    classes = words.loc[words["kind"].eq(kind), "categories"].str.split("|", regex=False).explode()
    allowed = set(classes.index + JOIN + classes)
    parts = value if separator is None else value.str.split(separator, regex=False).explode()
    keys = traits.reindex(parts.index).fillna("") + JOIN + parts
    good: np.ndarray = keys.isin(allowed).groupby(level=0).all().reindex(value.index).to_numpy(dtype=bool)
    return good


def _as_list(names: str | Sequence[str]) -> list[str]:
    return [names] if isinstance(names, str) else list(names)


def _key(frame: pd.DataFrame, columns: Iterable[str]) -> pd.Series:
    first, *others = columns
    key = frame[first].astype("str")
    for name in others:
        key = key + JOIN + frame[name].astype("str")
    return key


def _file_of(resource: str) -> str:
    names = {"trait-vocabulary": "traits.csv", "traits": "traits/"}
    return names.get(resource, resource.replace("-", "_") + ".csv")
