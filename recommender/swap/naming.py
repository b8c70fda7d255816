"""Names of offers, wishes and trees, read by the nursery desk's name resolution.

In come a name as somebody wrote it and, where they said it, the fruit; out goes a `ReadName`: decided, with
how sure that is; under review, with the varieties it may mean; or unknown, with the nearest names. What is
not decided is never guessed: a person chooses. docs/stock-names.md tells how names are read, and how often
rightly.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from recommender.errors import BadInput, OrchardwrightError, UnknownName
from recommender.nursery.name_book import Match, Query
from recommender.nursery.names import book_of
from recommender.swap.offers import Doubt
from recommender.wording import crop_in_sentence, list_words

if TYPE_CHECKING:
    from recommender.catalog.store import Catalog

Variety = tuple[str, str]
Decision = Literal["decided", "review", "unknown"]
# Ways of reading that change nothing a giver could be surprised by.
_TO_THE_LETTER = ("exact", "other name", "word order", "both names", "remembered")
_NAMELESS = ("unknown", "not known", "unnamed", "no name", "?", "n/a")
# Below this confidence the nearest name is hardly meant, only near.
_LIKELY = 0.25
_HOW = {
    "spelling": "its spelling corrected",
    "shortened": "written out",
    "without describing words": "without the describing words",
}


@dataclass(frozen=True)
class ReadName:
    """decision; variety: (crop, variety), ("", "") unless decided; confidence in [0, 1] that it is right;
    candidates: what else it may mean, likeliest first; says: a sentence to tell, "" where none is needed;
    remedy: what to do about it."""

    text: str
    decision: Decision
    variety: Variety = ("", "")
    confidence: float = 0.0
    candidates: tuple[Variety, ...] = ()
    says: str = ""
    remedy: str = ""

    def doubt(self, kind: str, id_: str) -> Doubt:
        """What a person has to look at, for the entry it stands in."""
        return Doubt(kind, id_, self.text, self.decision, self.candidates, self.says)


class Names:
    """Names as written, each read once; `learn` reads many together, which is much faster."""

    def __init__(self, catalog: Catalog) -> None:
        self._catalog, self._book = catalog, book_of(catalog)
        self._known: dict[tuple[str, str], ReadName] = {}

    def learn(self, names: Iterable[tuple[str, str]]) -> None:
        """Read (name, fruit) pairs; the fruit may be ""."""
        new = [key for key in dict.fromkeys(names) if key not in self._known]
        queries: dict[tuple[str, str], Query] = {}
        for key in new:
            try:
                queries[key] = self._query(*key)
            except OrchardwrightError as error:
                self._known[key] = ReadName(key[0], "unknown", says=error.what, remedy=_remedy(error))
        for key, match in zip(queries, self._book.match(list(queries.values())), strict=True):
            self._known[key] = self._read(key, match)

    def read(self, text: str, crop: str = "") -> ReadName:
        """How a name is read."""
        self.learn([(text, crop)])
        return self._known[text, crop]

    def _query(self, text: str, crop: str) -> Query:
        if " ".join(text.casefold().split()) in _NAMELESS:
            raise BadInput("Nobody has said which variety it is", remedy="Somebody at the table may know it")
        name = text
        crops: tuple[str, ...] = ()
        before, colon, after = text.partition(":")
        if colon and (said := self._book.reader.crops_of(before)):
            name, crops = after.strip(), said
        if crop:
            asked = self._book.reader.crops_of(crop) or (self._catalog.resolve_crop(crop),)
            crops = tuple(one for one in crops if one in asked) or asked
        parts = self._book.reader.parts(name)
        if parts.crops and not parts.rest:
            raise BadInput(
                f"“{text}” is a fruit, not a variety", remedy="Name the variety; a wish for a fruit is a crop"
            )
        if not crops:
            crops = parts.crops
        elif set(parts.crops) & set(crops):
            crops = tuple(one for one in parts.crops if one in crops)
        return Query(parts.rest, parts.whole, crops)

    def _read(self, key: tuple[str, str], match: Match) -> ReadName:
        text, crop = key
        listed = tuple((crop_of, name) for crop_of, name, _ in match.candidates)
        if match.decided:
            says = ""
            if match.how not in _TO_THE_LETTER:
                sure = min(round(100 * match.confidence), 99)
                how = _HOW.get(match.how, match.how)
                says = f"“{text}” was read as {_named(listed[0])}, {how} (right in about {sure} of 100)"
            return ReadName(text, "decided", listed[0], match.confidence, listed[1:], says)
        if listed:
            names = list_words([_named(one) for one in listed], "or")
            said = f"“{text}” may mean {names}"
            if match.how == "other crop":
                said = f"“{text}” is not known of that fruit; it may mean {names}"
            elif match.confidence < _LIKELY:
                said = f"No variety is called “{text}”; the nearest names are {names}"
            return ReadName(
                text,
                "review",
                confidence=match.confidence,
                candidates=listed,
                says=said,
                remedy="Say which it is; nothing is guessed",
            )
        try:
            # Names that are nothing like a stock line, such as keys of the catalog.
            return ReadName(text, "decided", self._catalog.resolve(text, crop or None), 1.0)
        except OrchardwrightError as error:
            return ReadName(text, "unknown", says=error.what, remedy=_remedy(error))


def resolve_name(text: str, crop: str, catalog: Catalog) -> ReadName:
    """How the nursery desk reads one name. text: as written, or "crop:variety"; crop: as written, or ""."""
    return Names(catalog).read(text, crop)


def _named(variety: Variety) -> str:
    return f"{crop_in_sentence(variety[0])} {variety[1]}"


def _remedy(error: OrchardwrightError) -> str:
    if isinstance(error, UnknownName) and not error.suggestions:
        return "Correct the name, or name the fruit"
    return error.remedy
