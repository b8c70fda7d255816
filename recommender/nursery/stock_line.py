"""One stock line as it was typed -> its parts: rootstock, form, size, age, count, price, crop words, and the
rest.

In come texts such as "APPLE Coxs Orange Pipin MM106 2yr bush 12L x40 £14.50"; out goes a `LineParts` each,
whose
`rest` is what is left for the name. Nothing is decided about the variety here. Patterns are the trade's
common practice of writing labels; they run in a fixed order, and names that hold such a pattern themselves
("Compact Stella", "PF 24C") are held back first so that they stay whole.
"""

from __future__ import annotations

import html
import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache

import pandas as pd

_MARKS = re.compile(r"[™®©℠]|\((?:tm|r|c)\)|&trade;|&reg;", re.IGNORECASE)
_APOSTROPHES = re.compile(r"[’‘`´ʼ′]")
_QUOTES = re.compile(r"[\"“”„«»]|(?<![^\W\d_])'|'(?![^\W\d_])")
_BROKEN = re.compile(r"[\u00c2-\u00f4][^\x00-\x7f]{1,3}")
_SEPARATORS = re.compile(r"[,;:|/\\_*+#\[\]{}()<>=~]+|\s[-–—]+(?=\s|$)|(?:^|\s)[-–—]+\s")
_BLANKS = re.compile(r"\s+")
_NO_WORD = re.compile(r"[^a-z0-9]+")

_MONEY = r"\d{1,5}(?:[.,]\d{2})?"
_EACH = r"(?:\s?(?:each|ea|per tree|p\.?p\.?)\b)?(?:\s?\+?\s?vat\b)?"
# The sign before the amount is looked for first: in "40 £14.50" the 40 is no price.
_PRICES = tuple(
    re.compile(pattern + _EACH, re.IGNORECASE)
    for pattern in (
        rf"(?P<sign>[£$€])\s?(?P<amount>{_MONEY})",
        rf"(?<![\w.])(?P<amount>{_MONEY})\s?(?P<sign>[£$€]|(?:eur|gbp|usd)\b)",
        rf"(?<=@)\s?(?P<amount>{_MONEY})(?P<sign>)(?![\w.])",
    )
)
_CURRENCY = {"£": "GBP", "$": "USD", "€": "EUR"}
MOST_COUNTED = 9_999_999
"""Trees of a line; what is more is a code or a slip."""
_COUNT = re.compile(
    r"\b(?:qty|quantity|stock|count|avail(?:able|ability)?|pcs|pieces)\.?\s?[:=]?\s?(?P<a>-?\d{1,6})\b"
    r"|(?<![\w-])(?P<b>-?\d{1,6})\s?(?:x(?![a-z])|@|pcs\b|pieces\b|stk\b|st(?:ü|ue)ck\b|trees?\b|plants?\b|units?\b|off\b"
    r"|in stock\b|avail(?:able)?\b)"
    r"|(?<![\w])x\s?(?P<c>-?\d{1,6})\b"
    r"|\(\s?(?P<d>-?\d{1,6})\s?\)",
    re.IGNORECASE,
)
_SIZE = re.compile(
    r"\b(?:c|co|pot)\s?\d{1,3}(?:[.,]\d)?(?:\s?l\b|\b)|\b\d{1,3}(?:[.,]\d)?\s?(?:l|lt|ltr|litres?|liters?|gal|gallons?)\b\.?(?:\s?pot\b)?"
    r"|\b\d{1,3}\s?[-–/]\s?\d{1,3}\s?(?:cm|mm|ft)\b(?:\s?girth\b)?|\b\d{2,3}\s?[-–/]\s?\d{2,3}\b"
    r"|\b\d{1,3}(?:[.,]\d{1,2})?\s?(?:cm|mm|ft|m)\b(?:\s?girth\b)?",
    re.IGNORECASE,
)
_AGE = re.compile(
    r"\b\d\s?-?\s?(?:yrs?|years?|y/o|jahre?|ans?)\b\.?(?:[\s-]?old\b)?|\b\d\s?/\s?[01]\b", re.IGNORECASE
)
_FORMS = {
    "half standard": r"half[\s-]?(?:standard|std)|1/2\s?(?:standard|std)|½\s?(?:standard|std)|h/?std",
    "standard": r"(?:full[\s-]?)?standard|std",
    "bush": r"bush",
    "cordon": r"cordons?",
    "espalier": r"espaliers?|esp",
    "fan": r"fan(?:[\s-]?trained)?",
    "stepover": r"step[\s-]?overs?",
    "maiden": r"maidens?(?:\s?whips?)?|mdn|whips?",
    "feathered": r"feathered|fthd",
    "pyramid": r"pyramid",
    "spindle": r"spindle(?:[\s-]?bush)?",
    "patio": r"patio",
}
_FORM = re.compile(
    r"\b(?:" + "|".join(f"(?P<{name.replace(' ', '_')}>{text})" for name, text in _FORMS.items()) + r")\b\.?",
    re.IGNORECASE,
)
_ROOTS = re.compile(
    r"\b(?:bare[\s-]?root(?:ed)?|b/?r|root[\s-]?ball(?:ed)?|r/?b|containeri[sz]ed|container[\s-]?grown"
    r"|cont\.?|potted|in pots?|pot)(?!\w)",
    re.IGNORECASE,
)
_HYBRID = re.compile(r"\s×\s|\bcv\.?\s|\bvar\.?\s", re.IGNORECASE)
_LEAD = r"(?:\b(?:on|auf|sur|op|rootstock|r/?s|stock|unterlage)\b[:.]?\s*|[@/]\s*)"
HELD = "\ue000"
"""Stands for a name that is held back while the patterns run."""


@dataclass(frozen=True)
class LineParts:
    """What one line says. count, price: None if not said; crop_words: the crops its words may mean, empty if
    none.

    rest: what is left for the name; whole: the same with the crop words left in, for names that hold one.
    """

    text: str
    rest: str
    whole: str
    crops: tuple[str, ...] = ()
    rootstock: str | None = None
    form: str | None = None
    size: str | None = None
    age: str | None = None
    count: int | None = None
    price: float | None = None
    currency: str | None = None


def _decoded_again(match: re.Match[str]) -> str:
    """Letters that are the bytes of one letter of UTF-8, read as Windows-1252, as that letter; others as they
    are.
    """
    run = match.group()
    data = b"".join(_byte(letter) for letter in run)
    for length in range(len(run), 1, -1):
        try:
            if len(data) == len(run) and len(fixed := data[:length].decode("utf-8")) == 1:
                return fixed + run[length:]
        except UnicodeDecodeError:
            continue
    return run


def _byte(letter: str) -> bytes:
    for code in ("cp1252", "latin-1"):
        try:
            return letter.encode(code)
        except UnicodeEncodeError:
            continue
    return b""


def mended(text: str) -> str:
    """A line as it was meant: UTF-8 that was read as Windows-1252 turned back, marks and quotes taken off.

    >>> mended("ÃšjfehÃ©rtÃ³i FÃ¼rtÃ¶s™ ")
    'Újfehértói Fürtös'
    """
    if "&" in text:
        text = html.unescape(text)
    text = _BROKEN.sub(_decoded_again, text)
    text = _MARKS.sub(" ", text)
    text = unicodedata.normalize("NFKC", text)
    text = _APOSTROPHES.sub("'", text)
    text = _QUOTES.sub(" ", text)
    if not text.isprintable():
        text = "".join(" " if unicodedata.category(c) == "Cc" else c for c in text)
    return _BLANKS.sub(" ", text).strip()


@lru_cache(maxsize=100_000)
def spaced(text: str) -> str:
    """Lower case, no accents, words of letters and digits parted by one blank; an apostrophe joins.

    >>> spaced("Cox's Orange-Pippin"), spaced("Érdi Bőtermő")
    ('coxs orange pippin', 'erdi botermo')
    """
    if text.isascii():
        return " ".join(_NO_WORD.sub(" ", text.lower().replace("'", "")).split())
    plain = unicodedata.normalize(
        "NFKD", text.replace("ß", "ss").replace("ł", "l").replace("ø", "o").replace("æ", "ae")
    )
    plain = plain.casefold().replace("'", "")
    return " ".join("".join(c if c.isalnum() else " " for c in plain if not unicodedata.combining(c)).split())


_LETTERS = re.compile(r"[^\W\d_]+|\d+")


@dataclass(frozen=True)
class Guarded:
    """A long pattern, and the words one of which must be in a line before it is worth trying."""

    pattern: re.Pattern[str]
    heads: frozenset[str]

    def may_be_in(self, words: set[str]) -> bool:
        """Whether any of the heads is among the words."""
        return not self.heads.isdisjoint(words)


@dataclass(frozen=True)
class LineReader:
    """Patterns of one catalog: its rootstocks, its crops, and its names that look like something else."""

    rootstocks: Mapping[str, str] = field(repr=False)
    crop_words: Mapping[str, tuple[str, ...]] = field(repr=False)
    _rootstock: Guarded = field(repr=False)
    _crop: Guarded = field(repr=False)
    _fragile: Guarded | None = field(repr=False, default=None)

    def parts(self, text: str) -> LineParts:
        """The parts of one line."""
        return self._parts(mended(text), self._fragile)

    def _parts(self, line: str, fragile: Guarded | None) -> LineParts:
        held: list[str] = []
        words = set(_LETTERS.findall(spaced(line)))

        def hold(match: re.Match[str]) -> str:
            held.append(match.group())
            return f" {HELD} "

        left = fragile.pattern.sub(hold, line) if fragile is not None and fragile.may_be_in(words) else line
        found: dict[str, str] = {}
        stock = self._rootstock.pattern.search(left) if self._rootstock.may_be_in(words) else None
        rootstock = None
        if stock:
            rootstock = self.rootstocks[_key(stock.group(str(stock.lastgroup)))]
            left = f"{left[: stock.start()]} , {left[stock.end() :]}"
        left, price, currency = _price(left)
        left, count = _count(left)
        for name, pattern in (("age", _AGE), ("size", _SIZE), ("roots", _ROOTS)):
            match = pattern.search(left)
            if match:
                found[name] = _BLANKS.sub(" ", match.group().strip(" .,"))
                left = pattern.sub(" , ", left)
        forms = [str(match.lastgroup).replace("_", " ") for match in _FORM.finditer(left)]
        if forms:
            left = _FORM.sub(" , ", left)
        if "roots" in found:
            forms.append(_roots_word(found["roots"]))
        crops: tuple[str, ...] | None = None
        for match in self._crop.pattern.finditer(left) if self._crop.may_be_in(words) else ():
            meant = self.crop_words[spaced(match.group())]
            both = meant if crops is None else tuple(crop for crop in crops if crop in meant)
            crops = both or crops
        rest = _HYBRID.sub(" ", self._crop.pattern.sub(" , ", left) if crops else left)
        whole = _put_back(left, held)
        return LineParts(
            text=line,
            rest=_put_back(rest, held),
            whole=whole,
            crops=crops or (),
            rootstock=rootstock,
            form=", ".join(dict.fromkeys(forms)) or None,
            size=found.get("size"),
            age=found.get("age"),
            count=count,
            price=price,
            currency=currency,
        )

    def rootstock(self, text: str) -> str | None:
        """The rootstock a cell of its own names, or None."""
        line = mended(text)
        exact = self.rootstocks.get(_key(line))
        if exact:
            return exact
        match = self._rootstock.pattern.search(f"on {line}")
        return self.rootstocks[_key(match.group(str(match.lastgroup)))] if match else None

    def crops_of(self, text: str) -> tuple[str, ...]:
        """The crops a cell of its own may mean; empty if it names none."""
        key = spaced(mended(text))
        if key in self.crop_words:
            return self.crop_words[key]
        crops: tuple[str, ...] = ()
        for match in self._crop.pattern.finditer(key):
            meant = self.crop_words[spaced(match.group())]
            crops = tuple(c for c in crops if c in meant) or meant if crops else meant
        return crops


def parse_count(cell: str) -> int | None:
    """A cell for the count: "34", "34 pcs", "34 @ £12.50", "£12.50 x 34", "1,200". None if it says no whole
    number, or one above MOST_COUNTED.

    >>> parse_count("34 @ £12.50"), parse_count("1,200"), parse_count("-3"), parse_count("some")
    (34, 1200, -3, None)
    """
    text = mended(cell)
    bare = re.fullmatch(
        r"(?:ca\.?|approx\.?|~)?\s*(-?\d{1,3}(?:[,' ]\d{3})+|-?\d{1,7})(?:[.,]0+)?", text, re.IGNORECASE
    )
    if bare:
        number = int(re.sub(r"[,' ]", "", bare.group(1)))
        return number if abs(number) <= MOST_COUNTED else None
    left, count = _count(_price(text)[0])
    if count is not None:
        return count
    alone = re.fullmatch(r"[^\w-]*(-?\d{1,6})[^\w]*", left)
    return int(alone.group(1)) if alone else None


def why_no_count(cell: str, else_why: str) -> str:
    """Why `parse_count` found none that can be used: it is too large, or what `else_why` says.

    >>> why_no_count("999,999,999", "is no whole number"), why_no_count("some", "is no whole number")
    ('is above 9,999,999, the most that is read', 'is no whole number')
    """
    figures = re.sub(r"[,' ]", "", mended(cell))
    too_large = re.search(r"\d{8}", figures) and not figures.startswith("-")
    return f"is above {MOST_COUNTED:,}, the most that is read" if too_large else else_why


def parse_price(cell: str) -> tuple[float | None, str | None]:
    """A cell for the price: the amount and its currency (None if not said).

    >>> parse_price("£12.50"), parse_price("12,50 €"), parse_price("18")
    ((12.5, 'GBP'), (12.5, 'EUR'), (18.0, None))
    """
    text = mended(cell)
    _, price, currency = _price(text)
    if price is None:
        bare = re.fullmatch(r"\d{1,6}(?:[.,]\d{1,2})?", text)
        return (float(text.replace(",", ".")), None) if bare else (None, None)
    return price, currency


def _price(text: str) -> tuple[str, float | None, str | None]:
    match = next((found for pattern in _PRICES if (found := pattern.search(text))), None)
    if match is None:
        return text, None, None
    amount, sign = match["amount"], match["sign"]
    currency = _CURRENCY.get(sign, sign.upper()) if sign else None
    return f"{text[: match.start()]} ; {text[match.end() :]}", float(amount.replace(",", ".")), currency


def _count(text: str) -> tuple[str, int | None]:
    match = _COUNT.search(text)
    if not match:
        return text, None
    number = next(value for value in match.groups() if value is not None)
    return f"{text[: match.start()]} ; {text[match.end() :]}", int(number)


def _roots_word(text: str) -> str:
    word = text.casefold().replace(" ", "").replace("-", "")
    if word.startswith(("bare", "br", "b/")):
        return "bare root"
    return "rootball" if word.startswith(("root", "rb", "r/")) else "container"


def _put_back(text: str, held: list[str]) -> str:
    for name in held:
        text = text.replace(HELD, name, 1)
    return _BLANKS.sub(" ", _SEPARATORS.sub(" ", text)).strip(" .,-")


def _key(text: str) -> str:
    return spaced(text).replace(" ", "")


def _rootstock_pattern(name: str) -> tuple[str, bool]:
    """The pattern of one rootstock name, and whether it needs "on" before it (a plain word may be a
    variety)."""
    words = re.findall(r"[^\W\d_]+|\d+", name)
    pattern = r"[\s.\-/]*".join(re.escape(word) for word in words)
    plain_word = len(words) == 1 and words[0].isalpha()
    return pattern, plain_word


_ROOTSTOCK_SHORT = {
    "SJA": "St Julien A",
    "QA": "Quince A",
    "QC": "Quince C",
    "BA29": "Quince BA29",
    "Quince BA 29": "Quince BA29",
}
_CROP_ALIASES = {
    "hazel": "hazelnut", "hazels": "hazelnut", "cob": "hazelnut", "cobnut": "hazelnut",
    "cobnuts": "hazelnut", "filbert": "hazelnut",
    "filberts": "hazelnut", "nashi": "asian-pear", "corylus": "hazelnut", "cydonia": "quince",
    "malus": "apple",
    "kaki": "asian-persimmon", "zwetschge": "european-plum", "zwetschgen": "european-plum",
    "gage": "european-plum",
    "gages": "european-plum", "damson": "european-plum", "damsons": "european-plum",
    "pflaume": "european-plum",
    "apfel": "apple", "birne": "european-pear", "quitte": "quince", "pomme": "apple",
    "poire": "european-pear",
    "prunier": "european-plum", "pommier": "apple", "poirier": "european-pear", "cognassier": "quince",
}  # fmt: skip
"""Words of the trade for a crop beside its own name (common practice)."""


def _crop_words(crops: pd.DataFrame) -> dict[str, tuple[str, ...]]:
    words: dict[str, dict[str, None]] = {}

    def add(word: str, crop: str) -> None:
        words.setdefault(spaced(word), {})[crop] = None

    names = set(crops["crop"])
    ends = {crop.split("-")[-1] for crop in names}
    for crop, scientific in zip(crops["crop"], crops["scientific_name"], strict=True):
        for word in dict.fromkeys((crop, *(part for part in crop.split("-") if part in ends))):
            plural = (
                word[:-1] + "ies"
                if word.endswith("y")
                else word + ("es" if word.endswith(("h", "s")) else "s")
            )
            for form in (word, plural):
                add(form, crop)
        if isinstance(scientific, str):
            plain = re.sub(r"[×]|\bx\b", " ", scientific.split("(")[0])
            for length in (len(plain.split()), 2, 1):
                add(" ".join(plain.split()[:length]), crop)
    for word, crop in _CROP_ALIASES.items():
        if crop in names:
            words[spaced(word)] = {crop: None}
    return {word: tuple(crops_of) for word, crops_of in words.items()}


def line_reader(crops: pd.DataFrame, rootstocks: pd.DataFrame, names: Iterable[str]) -> LineReader:
    """The patterns for a catalog. names: every accepted and other name, to find those that need holding
    back."""
    stocks: dict[str, str] = {}
    loose: list[str] = []
    stock_heads: set[str] = set()
    led: list[str] = []
    spellings = [(str(name), str(name)) for name in rootstocks["rootstock"]]
    spellings += [
        (short, full) for short, full in _ROOTSTOCK_SHORT.items() if full in set(rootstocks["rootstock"])
    ]
    for written, name in spellings:
        inside = re.findall(r"\(([^)]*)\)", written)
        for form in dict.fromkeys([re.sub(r"\s*\([^)]*\)", "", written), *inside]):
            if len(_key(form)) < 2:
                continue
            pattern, plain_word = _rootstock_pattern(form)
            stocks.setdefault(_key(form), name)
            stock_heads.add(_LETTERS.findall(spaced(form))[0])
            (led if plain_word else loose).append(pattern)
    loose.sort(key=len, reverse=True)
    led.sort(key=len, reverse=True)
    rootstock_pattern = re.compile(
        rf"{_LEAD}(?P<led>{'|'.join([*loose, *led])})(?!\w)|(?<!\w)(?P<loose>{'|'.join(loose)})(?!\w)",
        re.IGNORECASE,
    )
    words = _crop_words(crops)
    ordered = sorted(words, key=len, reverse=True)
    crop_pattern = re.compile(
        r"(?<!\w)(?:"
        + "|".join(r"[\s.\-]+".join(map(re.escape, word.split())) for word in ordered)
        + r")(?!['\w])",
        re.IGNORECASE,
    )
    rootstock = Guarded(rootstock_pattern, frozenset(stock_heads))
    crop = Guarded(crop_pattern, frozenset(word.split()[0] for word in words))
    reader = LineReader(stocks, words, rootstock, crop)
    fragile = []
    for name in dict.fromkeys(names):
        parts = reader._parts(mended(name), None)
        if _key(parts.rest) != _key(name) or parts.rootstock:
            fragile.append(name)
    if not fragile:
        return reader
    patterns: list[str] = []
    heads: set[str] = set()
    for name in sorted(fragile, key=len, reverse=True):
        tokens = re.findall(r"\w+", mended(name).replace("'", ""))
        # A bare crop word ("Quince") or one digit group is no name to hold back.
        if _key(name) in {word.replace(" ", "") for word in words} or len(_key(name)) < 3:
            continue
        heads.add(_LETTERS.findall(spaced(name))[0])
        patterns.append(
            r"[\W_]*".join(
                "'?".join(map(re.escape, token)) if len(token) < 24 else re.escape(token) for token in tokens
            )
        )
    if not patterns:
        return reader
    held = Guarded(
        re.compile(r"(?<!\w)(?:" + "|".join(patterns) + r")(?!\w)", re.IGNORECASE), frozenset(heads)
    )
    return LineReader(stocks, words, rootstock, crop, held)
