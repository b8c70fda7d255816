"""The names of a catalog, indexed for reading stock lists: what is left of a line -> the varieties it may
mean.

In come queries (the rest of a line, the same with its crop words, the crops it may be); out goes a `Match`
each:
candidates best first, a confidence in [0, 1] that the first is right, and how it was found. Dictionary
look-ups come first (exact, word order, shortened), then spelling distances by rapidfuzz in blocks of one
crop.

The confidence of a misspelt name is a logistic regression fitted by `python -m benchmarks.nursery names
--fit` on
lists made by the noise process of docs/stock-names.md; its coefficients stand below.
"""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from recommender.nursery.stock_line import LineReader, line_reader, mended, spaced

if TYPE_CHECKING:
    from recommender.catalog.catalog import Catalog

Variety = tuple[str, str]
N_CANDIDATES = 4
DECIDED = 0.85
"""Least confidence at which a line is decided; below it a person looks."""
WORTH_SHOWING = 0.55
"""Least similarity at which a candidate is worth a look; below it the line is unknown."""
CONFIDENCE = {
    "remembered": 1.0,
    "exact": 1.0,
    "other name": 0.99,
    "word order": 0.97,
    "both names": 0.98,
    "without describing words": 0.96,
    "shortened": 0.95,
    "several": 0.5,
    "other crop": 0.5,
}
"""By how a name was found, where no distance was needed: shares found right on lists of the noise process,
rounded."""
SPELLING = {
    "intercept": -14.7,
    "similarity": 9.9,
    "lead": 15.1,
    "worst word": 5.3,
    "length": 0.07,
    "first letter": 2.0,
    "crop known": 0.5,
}
_DESCRIBING = frozenset(
    [
        "a",
        "an",
        "and",
        "the",
        "of",
        "tree",
        "trees",
        "fruit",
        "fruits",
        "fruiting",
        "dessert",
        "cooker",
        "cooking",
        "culinary",
        "eater",
        "eating",
        "self",
        "fertile",
        "new",
        "organic",
        "heritage",
        "variety",
        "var",
        "cv",
        "cultivar",
        "certified",
        "virus",
        "free",
        "top",
        "quality",
        "grade",
        "strong",
        "plant",
        "plants",
        "young",
        "aged",
        "price",
        "each",
        "ea",
        "vat",
        "inc",
        "excl",
        "stock",
        "available",
        "special",
        "offer",
        "sale",
        "limited",
        "nice",
        "lovely",
        "grafted",
        "on",
        "now",
        "only",
        "our",
        "own",
        "grown",
        "english",
        "uk",
        "local",
        "reduced",
        "no",
        "qty",
        "size",
        "form",
        "pot",
        "approx",
        "x",
        "l",
        "cm",
        "m",
        "litre",
        "yr",
        "year",
        "old",
        "type",
        "trained",
        "ref",
        "sku",
    ]
)
_GENERIC = frozenset(
    [
        "seedling",
        "pippin",
        "apple",
        "pear",
        "plum",
        "cherry",
        "gage",
        "prune",
        "damson",
        "quince",
        "crab",
        "peach",
        "nectarine",
        "beurre",
    ]
)
_BRACKETS = re.compile(r"\s*\([^)]*\)\s*")
_UMLAUTS = str.maketrans(
    {"ä": "ae", "ö": "oe", "ü": "ue", "Ä": "Ae", "Ö": "Oe", "Ü": "Ue", "å": "aa", "ø": "oe"}
)
_WRITTEN_OUT = {"st": "saint", "ste": "sainte", "dr": "doctor", "mt": "mount"}


@dataclass(frozen=True)
class Query:
    """What to look up. crops: the crops it can only be (from a column or a word of the line); empty for
    any."""

    rest: str
    whole: str
    crops: tuple[str, ...] = ()


@dataclass(frozen=True)
class Match:
    """The answer. candidates: (crop, variety, similarity in [0, 1]), best first; how: one of CONFIDENCE or
    "spelling"."""

    candidates: tuple[tuple[str, str, float], ...]
    confidence: float
    how: str

    @property
    def decided(self) -> bool:
        """Whether the first candidate may be taken without a look."""
        return bool(self.candidates) and self.confidence >= DECIDED


NOTHING = Match((), 0.0, "unknown")


class NameBook:
    """Accepted names, synonyms, trade designations and spellings of one catalog."""

    def __init__(self, entries: Iterable[tuple[str, str, str, bool]], reader: LineReader) -> None:
        """entries: (crop, name, variety, whether it is the accepted name)."""
        self.reader = reader
        self._exact: dict[str, dict[Variety, bool]] = {}
        self._sorted: dict[str, set[Variety]] = {}
        self._initials: dict[tuple[str, ...], list[tuple[tuple[str, ...], Variety]]] = {}
        self._starts: dict[str, list[tuple[str, Variety]]] = {}
        rows: dict[tuple[str, str], Variety] = {}
        for crop, name, variety, accepted in entries:
            pair = (crop, variety)
            for form in _forms(name):
                words = spaced(form)
                if not words:
                    continue
                folded = words.replace(" ", "")
                kept = self._exact.setdefault(folded, {})
                kept[pair] = kept.get(pair, False) or accepted
                if (crop, words) in rows:
                    continue
                rows[(crop, words)] = pair
                tokens = tuple(words.split())
                self._sorted.setdefault("".join(sorted(tokens)), set()).add(pair)
                for full in (tokens, _written_out(tokens)):
                    self._initials.setdefault(tuple(word[0] for word in full), []).append((full, pair))
                self._starts.setdefault(folded[:4], []).append((folded, pair))
        order = sorted(rows)
        self._crop_of = np.array([crop for crop, _ in order], dtype=object)
        self._words = [words for _, words in order]
        self._folded = [words.replace(" ", "") for words in self._words]
        self._pair = [rows[key] for key in order]
        self._blocks = {crop: np.flatnonzero(self._crop_of == crop) for crop in dict.fromkeys(self._crop_of)}

    def match(self, queries: Sequence[Query]) -> list[Match]:
        """One answer for each query, in order. Equal queries are looked up once."""
        distinct = list(dict.fromkeys(queries))
        found: dict[Query, Match] = {}
        left: list[Query] = []
        for query in distinct:
            match = self._look_up(query)
            if match is None:
                left.append(query)
            else:
                found[query] = match
        by_crops: dict[tuple[str, ...], list[Query]] = {}
        for query in left:
            by_crops.setdefault(query.crops, []).append(query)
        for crops, group in by_crops.items():
            for start in range(0, len(group), 2048):
                part = group[start : start + 2048]
                found.update(zip(part, self._by_spelling(part, crops), strict=True))
        return [found[query] for query in queries]

    def _look_up(self, query: Query) -> Match | None:
        """A match that needs no distance, or None. The line as it stands comes before the line without crop
        words."""
        texts = [text for text in dict.fromkeys((query.whole, query.rest)) if text]
        if not texts:
            return NOTHING
        for how, find in (
            ("exact", self._exactly),
            ("word order", self._in_any_order),
            ("both names", self._twice_named),
            ("without describing words", self._without_describing_words),
            ("shortened", self._shortened),
        ):
            for text in texts:
                match = self._settled(find(text), query.crops, how)
                if match is not None:
                    return match
        return None

    def _settled(self, pairs: dict[Variety, bool], crops: tuple[str, ...], how: str) -> Match | None:
        if not pairs:
            return None
        fitting = {pair: accepted for pair, accepted in pairs.items() if not crops or pair[0] in crops}
        if not fitting:
            if how == "shortened":
                return None
            return Match(_listed(pairs), CONFIDENCE["other crop"], "other crop")
        if len(fitting) > 1:
            accepted = [pair for pair, is_accepted in fitting.items() if is_accepted]
            if len(accepted) != 1 or len({pair[0] for pair in fitting}) > 1:
                # Names that two varieties share, and a short form that several begin with, are for a person.
                return (
                    None if how == "shortened" else Match(_listed(fitting), CONFIDENCE["several"], "several")
                )
            fitting = {accepted[0]: True}
        how = "other name" if how == "exact" and not next(iter(fitting.values())) else how
        return Match(_listed(fitting), CONFIDENCE[how], how)

    def _exactly(self, text: str) -> dict[Variety, bool]:
        return self._exact.get(spaced(text).replace(" ", ""), {})

    def _in_any_order(self, text: str) -> dict[Variety, bool]:
        tokens = spaced(text).split()
        return dict.fromkeys(self._sorted.get("".join(sorted(tokens)), ()), True) if len(tokens) > 1 else {}

    def _twice_named(self, text: str) -> dict[Variety, bool]:
        """Two names of one variety side by side: "Fiesta (Red Pippin)"."""
        tokens = spaced(text).split()
        for place in range(1, len(tokens)):
            one = self._exact.get("".join(tokens[:place]))
            two = self._exact.get("".join(tokens[place:])) if one else None
            if one and two and one.keys() & two.keys():
                return dict.fromkeys(one.keys() & two.keys(), True)
        return {}

    def _without_describing_words(self, text: str) -> dict[Variety, bool]:
        tokens = spaced(text).split()
        kept = [word for word in tokens if word not in _DESCRIBING]
        if not kept:
            return {}
        found = self._exact.get("".join(kept), {}) if len(kept) < len(tokens) else {}
        if found or len(kept) < 2:
            return found
        if kept[-1].isdigit() and len(kept[-1]) < 5:
            # A lone number at the end is a count or a code; the name before it must be known to the letter.
            return self._exact.get("".join(kept[:-1]), {})
        return {}

    def _shortened(self, text: str) -> dict[Variety, bool]:
        """Names of which every word is begun ("Gold Del"), or which the line breaks off ("Cox's Orange
        Pipp")."""
        tokens = tuple(word for word in spaced(text).split() if word not in _DESCRIBING or len(word) == 1)
        folded = "".join(tokens)
        found: dict[Variety, bool] = {}
        if len(tokens) > 1 and len(folded) >= 5:
            for full, pair in self._initials.get(tuple(word[0] for word in tokens), ()):
                if all(whole.startswith(short) for whole, short in zip(full, tokens, strict=True)):
                    found[pair] = False
        if len(folded) >= 5:
            for name, pair in self._starts.get(folded[:4], ()):
                cut = name[len(folded) :]
                if (
                    cut
                    and name.startswith(folded)
                    and ((len(folded) >= 9 and len(cut) <= len(folded)) or cut in _GENERIC)
                ):
                    found[pair] = False
        if any(character.isdigit() for character in folded):
            return {}
        return found

    def _by_spelling(self, queries: list[Query], crops: tuple[str, ...]) -> list[Match]:
        rows = np.concatenate(
            [self._blocks[crop] for crop in crops if crop in self._blocks] or [np.empty(0, np.intp)]
        )
        if not crops:
            rows = np.arange(len(self._folded))
        if not len(rows):
            return [NOTHING] * len(queries)
        texts = [_plain(query.rest or query.whole) for query in queries]
        similar = self.similarity(texts, rows)
        if any(query.whole != query.rest for query in queries):
            similar = np.maximum(
                similar, self.similarity([_plain(query.whole) for query in queries], rows) - np.float32(0.01)
            )
        return [
            self._judged(row, rows, text, bool(query.crops))
            for row, text, query in zip(similar, texts, queries, strict=True)
        ]

    def similarity(self, texts: Sequence[str], rows: NDArray[np.intp]) -> NDArray[np.float32]:
        """(texts, rows) float32 in [0, 1]: the better of two likenesses to the names at `rows`.

        One counts single-letter slips, swaps included (optimal string alignment); the other sets words in
        order first.
        """
        from rapidfuzz import fuzz, process
        from rapidfuzz.distance import OSA

        joined = process.cdist(
            [text.replace(" ", "") for text in texts],
            [self._folded[row] for row in rows],
            scorer=OSA.normalized_similarity,
            dtype=np.float32,
            workers=2,
        )
        ordered = process.cdist(
            texts,
            [self._words[row] for row in rows],
            scorer=fuzz.token_sort_ratio,
            dtype=np.float32,
            workers=2,
        )
        return np.maximum(joined, ordered / np.float32(100.0) - np.float32(0.02))

    def _judged(
        self, similar: NDArray[np.float32], rows: NDArray[np.intp], text: str, crop_known: bool
    ) -> Match:
        best = np.argpartition(-similar, min(24, len(rows) - 1))[:24]
        best = best[np.argsort(-similar[best], kind="stable")]
        candidates: dict[Variety, tuple[float, int]] = {}
        for place in best:
            pair = self._pair[rows[place]]
            if pair not in candidates:
                candidates[pair] = (float(similar[place]), int(rows[place]))
        shown = [(pair, *held) for pair, held in candidates.items()][:N_CANDIDATES]
        if not shown or shown[0][1] < WORTH_SHOWING:
            return Match((), shown[0][1] if shown else 0.0, "unknown")
        runner_up = shown[1][1] if len(shown) > 1 else 0.0
        confidence = spelling_confidence(
            spelling_features(text, self._words[shown[0][2]], shown[0][1], runner_up, crop_known)
        )
        return Match(
            tuple((crop, variety, round(s, 3)) for (crop, variety), s, _ in shown),
            round(confidence, 4),
            "spelling",
        )


def spelling_features(
    text: str, name: str, similarity: float, runner_up: float, crop_known: bool
) -> tuple[float, ...]:
    """Values of SPELLING's terms in its order but the intercept, then whether the digits differ.

    text, name: spaced words. similarity, runner_up: likeness of the best and of the next variety, in [0, 1].
    """
    words, names = text.split(), name.split()
    joined = len(name) - len(names) + 1
    return (
        similarity,
        similarity - runner_up,
        _worst_word(words, names),
        float(min(joined, 20)),
        float(text[:1] == name[:1]),
        float(crop_known),
        float(_digits(text) != _digits(name)),
    )


def _worst_word(words: list[str], names: list[str]) -> float:
    """Likeness in [0, 1] of the word that fits worst; a slip leaves every word recognisable, another name
    does not.

    Words parted or joined otherwise ("Red Haven", "Redhaven") are compared as one.
    """
    from rapidfuzz.distance import OSA

    if len(words) != len(names):
        return float(OSA.normalized_similarity("".join(words), "".join(names)))
    return min(max(float(OSA.normalized_similarity(word, name)) for name in names) for word in words)


def spelling_confidence(features: tuple[float, ...]) -> float:
    """Chance in [0, 1] that a misspelt name is its nearest one. A number is never corrected: at most one half
    then."""
    *numbers, digits_differ = features
    intercept, *weights = SPELLING.values()
    total = intercept + sum(weight * number for weight, number in zip(weights, numbers, strict=True))
    chance = 1.0 / (1.0 + math.exp(-total))
    return min(chance, 0.5) if digits_differ else chance


def name_book(catalog: Catalog, leave_out: Collection[Variety] = ()) -> NameBook:
    """The names of a catalog. leave_out: varieties to pretend unknown (for measuring)."""
    out = set(leave_out)
    varieties, names = catalog.varieties(), catalog.names()
    entries = [
        (crop, variety, variety, True)
        for crop, variety in zip(varieties["crop"], varieties["variety"], strict=True)
        if (crop, variety) not in out
    ]
    entries += [
        (crop, name, variety, False)
        for crop, name, variety in zip(names["crop"], names["name"], names["variety"], strict=True)
        if (crop, variety) not in out
    ]
    reader = line_reader(catalog.crops(), catalog.rootstocks(), [name for _, name, _, _ in entries])
    return NameBook(entries, reader)


def _forms(name: str) -> list[str]:
    """A name as it may be written: whole, without brackets, with umlauts written out."""
    name = mended(name)
    forms = [name, _BRACKETS.sub(" ", name).strip()]
    forms += [form.translate(_UMLAUTS) for form in forms]
    return list(dict.fromkeys(form for form in forms if form))


def _written_out(tokens: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(_WRITTEN_OUT.get(word, word) for word in tokens)


def _plain(text: str) -> str:
    words = spaced(text).split()
    kept = [word for word in words if word not in _DESCRIBING]
    return " ".join(kept or words)


def _digits(text: str) -> str:
    return "".join(character for character in text if character.isdigit())


def _listed(pairs: dict[Variety, bool]) -> tuple[tuple[str, str, float], ...]:
    ordered = sorted(pairs, key=lambda pair: (not pairs[pair], pair))
    return tuple((crop, variety, 1.0) for crop, variety in ordered[:N_CANDIDATES])
