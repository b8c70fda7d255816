"""What a person typed -> the accepted crop and variety.

Comes in: the tables of crops, varieties and names. Goes out: a `Resolver`. Accents, capitals, blanks and
punctuation do not matter; synonyms, trade designations and spellings lead to the accepted name. A name
that is not known is never guessed: `UnknownName` carries the nearest three (rapidfuzz).
"""

from __future__ import annotations

import pandas as pd

from recommender.catalog.references import fold
from recommender.errors import BadInput, UnknownName

Variety = tuple[str, str]
N_SUGGESTIONS = 3


class Resolver:
    """Names of one catalog, indexed once."""

    def __init__(self, crops: pd.DataFrame, varieties: pd.DataFrame, names: pd.DataFrame) -> None:
        self._crops = tuple(crops["crop"])
        self._scientific = {fold(name): crop for crop, name in _pairs(crops, "crop", "scientific_name")}
        self._accepted: dict[str, set[Variety]] = {}
        self._other: dict[str, set[Variety]] = {}
        self._printed: dict[str, tuple[Variety, str]] = {}
        for crop, variety in _pairs(varieties, "crop", "variety"):
            self._accepted.setdefault(fold(variety), set()).add((crop, variety))
            self._printed[f"{crop}:{fold(variety)}"] = ((crop, variety), variety)
        columns = ["crop", "name", "variety"]
        for crop, name, variety in names[columns].itertuples(index=False, name=None):
            self._other.setdefault(fold(name), set()).add((crop, variety))
            self._printed.setdefault(f"{crop}:{fold(name)}", ((crop, variety), name))

    def crop(self, text: str) -> str:
        """Accepted crop of a text: its id, plural, scientific name, or the one crop a word of it begins.

        Raises BadInput if several crops fit, UnknownName with the nearest three if none does.
        """
        wanted = fold(text)
        if not wanted:
            raise BadInput("No crop was named", remedy="Name one, for example “apple”")
        ids = {fold(crop): crop for crop in self._crops}
        forms = _singulars(wanted)
        for form in forms:
            if form in ids:
                return ids[form]
            if form in self._scientific:
                return self._scientific[form]
        for form in forms:
            fitting = [crop for crop in self._crops if form in {fold(part) for part in crop.split("-")}]
            fitting += [crop for crop in self._crops if len(form) >= 4 and fold(crop).startswith(form)]
            fitting = list(dict.fromkeys(fitting))
            if len(fitting) == 1:
                return fitting[0]
            if fitting:
                raise BadInput(
                    f"“{text}” may be {_listed(fitting)}",
                    where="crop",
                    remedy=f"Say which, for example “{fitting[0]}”",
                )
        raise UnknownName("crop", text, _nearest(wanted, {fold(crop): crop for crop in self._crops}))

    def variety(self, text: str, crop: str | None = None) -> Variety:
        """Accepted (crop, variety) of a text, which may be "crop:variety".

        Raises BadInput if it names varieties of several crops, UnknownName with the nearest three if none.
        """
        if crop is None and ":" in text:
            crop, text = text.split(":", 1)
        wanted = fold(text)
        if not wanted:
            raise BadInput("No variety was named", remedy="Name one, for example “Discovery”")
        its_crop = self.crop(crop) if crop else None
        for index in (self._accepted, self._other):
            found = sorted(pair for pair in index.get(wanted, ()) if its_crop in (None, pair[0]))
            if len(found) == 1:
                return found[0]
            if found:
                crops = list(dict.fromkeys(pair[0] for pair in found))
                if len(crops) > 1:
                    raise BadInput(
                        f"“{text.strip()}” is a variety of {_listed(crops, 'and')}",
                        where="variety",
                        remedy=f"Say which, for example “{crops[0]}:{found[0][1]}”",
                    )
                raise BadInput(
                    f"“{text.strip()}” is another name of {_listed([pair[1] for pair in found], 'and')}",
                    where=crops[0],
                    remedy=f"Say which, for example “{found[0][1]}”",
                )
        raise UnknownName("variety", text.strip(), self._suggestions(wanted, its_crop), where=its_crop or "")

    def _suggestions(self, wanted: str, crop: str | None) -> list[str]:
        choices = {
            key: printed
            for key, ((its_crop, _), printed) in self._printed.items()
            if crop in (None, its_crop)
        }
        near = _nearest(wanted, {key: key for key in choices}, strip_crop=True)
        if crop:
            return [choices[key] for key in near]
        return [f"{self._printed[key][0][0]}:{choices[key]}" for key in near]


def _pairs(frame: pd.DataFrame, first: str, second: str) -> list[Variety]:
    known = frame[[first, second]].dropna()
    return list(known.itertuples(index=False, name=None))


def _singulars(folded: str) -> list[str]:
    forms = [folded]
    if folded.endswith("ies"):
        forms.append(folded[:-3] + "y")
    if folded.endswith("es"):
        forms.append(folded[:-2])
    if folded.endswith("s"):
        forms.append(folded[:-1])
    return forms


def _nearest(wanted: str, choices: dict[str, str], *, strip_crop: bool = False) -> list[str]:
    """The nearest three of `choices` (key compared -> what is returned)."""
    from rapidfuzz import fuzz, process

    compared = {key: key.split(":", 1)[1] if strip_crop else key for key in choices}
    found = process.extract(wanted, compared, scorer=fuzz.WRatio, limit=4 * N_SUGGESTIONS)
    found.sort(key=lambda hit: (-hit[1], -fuzz.ratio(wanted, hit[0]), hit[2]))
    return [choices[key] for _, _, key in found[:N_SUGGESTIONS]]


def nearest(text: str, choices: list[str]) -> list[str]:
    """The nearest three of some words.

    >>> nearest("settle", ["settled", "sources"])[0]
    'settled'
    """
    return _nearest(fold(text), {fold(choice): choice for choice in choices})


def _listed(words: list[str], joint: str = "or") -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {joint} {words[-1]}"
