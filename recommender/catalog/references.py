"""Reference varieties of offsets and places of harvest dates, read from the notes of the evidence.

Comes in: the note of an evidence row and the known names of its crop and near kin. Goes out: reference
varieties (several where a source counts from their mean), or the place of a harvest date.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping

import pandas as pd

FAMILIES = {
    "nectarine": "peach",
    "japanese-plum": "plum",
    "european-plum": "plum",
    "american-plum": "plum",
    "plum-apricot": "plum",
}
"""Crops whose sources count from varieties of one another; their offsets are solved together."""

Variety = tuple[str, str]
_ITSELF = re.compile(r"\breference (?:variety )?itself|it is the reference variety|zero point of the offsets")
_LEAD = re.compile(
    r"(?:\bvs (?:the commercial cultivars )?|\brelative to |\breference (?:European plum )?"
    r"|\bdays (?:from|after) |\bmonth after |\bweeks after |\babout with |\bwith )"
)
_JOIN = re.compile(r"\s*(?:,|and|\(and)\s+")
_STOP = re.compile(r"[,;()]| and |\bpeak\b|\bfull\b")
_CALENDAR = re.compile(
    r"\b(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*\b|\bearly\b|\bmid\b|\bmiddle\b|\blate\b"
    r"|\bend of\b|\bbeginning\b|\bfirst\b|\bsecond\b|\bthird\b|\bhalf\b|\bten days\b|\bweek\b|\bmonths?\b"
    r"|\bsource\b|\baccession\b|\bday\b|\bstands?\b|\bripe\b|\bholds\b|\bseed|\bhardiness\b|\bhardy\b"
    r"|\babout\b|\bas \w|\baverage\b|\bmean\b|\bestimate\b|\bearliest\b|\bsummer\b|\bwinter\b|\bspring\b"
    r"|\bfall\b"
    r"|\blisted\b|\bgroup\b|\bproduction\b|\btree cold\b|\bobservation\b|\bpick date\b|\bexpected\b|\bcrop\b",
    re.IGNORECASE,
)


def fold(text: str) -> str:
    """Letters and digits only, without accents, lower case.

    >>> fold("Újfehértói Fürtös"), fold("Cox's Orange Pippin")
    ('ujfehertoifurtos', 'coxsorangepippin')
    """
    plain = unicodedata.normalize("NFKD", text.replace("ß", "ss").replace("ł", "l").replace("ø", "o"))
    return "".join(character for character in plain.casefold() if character.isalnum())


def known_names(varieties: pd.DataFrame, names: pd.DataFrame | None) -> dict[str, dict[str, Variety]]:
    """Per family: folded accepted name or synonym -> (crop, variety). Accepted names win over synonyms."""
    known: dict[str, dict[str, Variety]] = {}
    if names is not None and not names.empty:
        for crop, name, variety in zip(names["crop"], names["name"], names["variety"], strict=True):
            known.setdefault(FAMILIES.get(crop, crop), {})[fold(name)] = (crop, variety)
    for crop, variety in zip(varieties["crop"], varieties["variety"], strict=True):
        known.setdefault(FAMILIES.get(crop, crop), {})[fold(variety)] = (crop, variety)
    return known


def references_in(note: str, crop: str, known: Mapping[str, Variety]) -> tuple[Variety, ...] | None:
    """Reference varieties named in a note; empty if the variety is its own reference; None if none is named.

    known: folded names of the crop's family. A name of the crop itself wins over one of its kin; a
    reference that is in no table still counts as a node of its own: (crop, "name as printed").

    >>> references_in("vs McIntosh; Kentville", "apple", {"mcintosh": ("apple", "McIntosh")})
    (('apple', 'McIntosh'),)
    >>> references_in("it is the reference variety", "plum", {})
    ()
    """
    if _ITSELF.search(note):
        return ()
    for lead in _LEAD.finditer(note):
        rest = note[lead.end() :]
        found: list[Variety] = []
        name, length = _longest_name(rest, known)
        while name is not None:
            found.append(name)
            rest = rest[length:]
            joint = _JOIN.match(rest)
            if not joint:
                break
            rest = rest[joint.end() :]
            comma = joint.group().strip() == ","
            name, length = _longest_name(rest, known)
            if comma and "cultivars" not in lead.group():
                break
        if found:
            return tuple(dict.fromkeys(found))
        printed = _STOP.split(rest, maxsplit=1)[0].strip()
        if printed[:1].isupper():
            return ((crop, printed),)
    return None


def _longest_name(text: str, known: Mapping[str, Variety]) -> tuple[Variety | None, int]:
    """Longest known name at the start of a text, and how many characters it takes."""
    ends = [match.end() for match in re.finditer(r"[^\s,;()=+]+", text)][:6]
    for end in reversed(ends):
        candidate = text[:end]
        if re.search(r"[,;()]", candidate):
            continue
        variety = known.get(fold(candidate))
        if variety is not None:
            return variety, end
    return None, 0


def place_in(note: str) -> str:
    """The parts of a harvest note that name a place, without the words of the calendar.

    >>> place_in("late August, central California"), place_in("Ontario, Vineland, average first harvest")
    ('central california', 'ontario vineland')
    """
    parts = [part.strip() for part in re.split(r"[,;]", note)]
    kept = [part for part in parts if part and not _CALENDAR.search(part)]
    return " ".join(kept).lower()
