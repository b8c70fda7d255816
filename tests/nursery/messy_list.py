"""A messy stock list with its truth beside it, made from the catalog's own names by a documented noise
process.

In come the catalog, a seed and a size; out goes a frame with `text` and the truth: crop, variety (None for a
name that the book must not know), rootstock, count, what was done. docs/stock-names.md describes every step.
The process shares no code with the reader it tests.
"""

from __future__ import annotations

import random
import string
import unicodedata
from pathlib import Path
from typing import Any

import pandas as pd

from recommender.catalog.catalog import Catalog

PUBLISHED = Path(__file__).parents[1] / "published" / "trade_designations.csv"
_NEAR = {
    "a": "qsz", "b": "vn", "c": "xv", "d": "sfe", "e": "wrd", "f": "dg", "g": "fh", "h": "gj", "i": "uok",
    "j": "hk",
    "k": "jl", "l": "k", "m": "n", "n": "bm", "o": "ip", "p": "o", "q": "wa", "r": "et", "s": "ad",
    "t": "ry", "u": "yi",
    "v": "cb", "w": "qe", "x": "zc", "y": "tu", "z": "xs",
}  # fmt: skip
_ROOTSTOCKS = {
    "apple": ["M9", "M.9", "M26", "MM106", "MM 106", "mm106", "M27", "M25", "MM111", "M.116", "B9"],
    "european-pear": ["Quince A", "QUINCE C", "Qu. A", "OHxF 87", "Pyrodwarf"],
    "european-plum": ["St Julien A", "St. Julien A", "ST JULIEN A", "Pixy", "Brompton", "Krymsk 1"],
    "sweet-cherry": ["Colt", "Gisela 5", "GISELA 6", "F12/1"],
    "peach": ["St Julien A", "GF 677", "Montclar"],
    "quince": ["Quince A", "Quince C"],
}
_TRUE_ROOTSTOCK = {"m9": "M.9", "m26": "M.26", "mm106": "MM.106", "m27": "M.27", "m25": "M.25",
"mm111": "MM.111",
                   "m116": "M.116", "b9": "B.9", "quincea": "Quince A", "quincec": "Quince C",
                   "ohxf87": "OHxF 87",
                   "pyrodwarf": "Pyrodwarf", "stjuliena": "St Julien A", "pixy": "Pixy",
                   "brompton": "Brompton",
                   "krymsk1": "Krymsk 1 (VVA-1)", "colt": "Colt", "gisela5": "Gisela 5",
                   "gisela6": "Gisela 6",
                   "f121": "F12/1", "gf677": "GF 677", "montclar": "Montclar"}  # fmt: skip
_FORMS = [
    "bush",
    "half std",
    "half-standard",
    "1/2 std",
    "standard",
    "cordon",
    "espalier",
    "fan",
    "maiden",
    "whip",
    "feathered maiden",
]
_SIZES = [
    "12L",
    "7 litre",
    "C10",
    "10L pot",
    "150-175cm",
    "120/150",
    "2m",
    "5 gal",
    "8-10 cm girth",
    "bare root",
    "BR",
    "container grown",
]
_WORDS = [
    "self fertile",
    "new",
    "organic",
    "fruit tree",
    "dessert",
    "culinary",
    "heritage variety",
    "virus free",
    "special offer",
]
_PLACES = [
    "Withy",
    "Hollow",
    "Sedge",
    "Alder",
    "Nettle",
    "Marl",
    "Ferny",
    "Larks",
    "Thistle",
    "Osier",
    "Rushy",
    "Dapple",
]
_KINDS = [
    "Glory",
    "Delight",
    "Wonder",
    "Pearmain",
    "Favourite",
    "Russet",
    "Beauty",
    "Prolific",
    "Treasure",
    "Perfection",
    "Queen",
    "Codlin",
]


def messy_list(
    catalog: Catalog, size: int = 2000, seed: int = 20261125, strangers: float = 0.12
) -> tuple[pd.DataFrame, set[Any]]:
    """A list of `size` lines, and the varieties hidden from the book.

    strangers: share of lines whose name the book must not know: half of them real varieties that are left out
    of the book, half invented.
    """
    dice = random.Random(seed)
    varieties, names = catalog.varieties(), catalog.names()
    crop: str
    name: str
    truth: str | None
    source: str
    accepted = [(str(c), str(v)) for c, v in zip(varieties["crop"], varieties["variety"], strict=True)]
    hidden = set(dice.sample(accepted, k=len(accepted) // 20))
    columns = [names[column].astype(str) for column in ("crop", "name", "variety", "kind")]
    other = [entry for entry in zip(*columns, strict=True) if (entry[0], entry[2]) not in hidden]
    trade = published_pairs(catalog, hidden)
    known = sorted(set(accepted) - hidden)
    out = []
    for number in range(size):
        draw = dice.random()
        if draw < strangers / 2:
            crop, variety = dice.choice(sorted(hidden))
            name, truth, source = str(variety), None, "left out of the book"
        elif draw < strangers:
            crop = dice.choice(
                ["apple", "apple", "european-pear", "european-plum", "sweet-cherry", "quince", "hazelnut"]
            )
            name, truth, source = f"{dice.choice(_PLACES)} {dice.choice(_KINDS)}", None, "invented"
        elif draw < strangers + 0.05 and trade:
            crop, name, truth, source = dice.choice(trade)
        elif draw < strangers + 0.20:
            crop, name, truth, source = dice.choice(other)
        else:
            crop, truth = dice.choice(known)
            name, source = truth, "accepted"
        if name.endswith(" (of some)"):
            name = name.removesuffix(" (of some)")
        out.append(
            {
                "line": number + 1,
                "crop": crop,
                "variety": truth,
                "source": source,
                **_line(dice, crop, name, catalog),
            }
        )
    return pd.DataFrame(out), hidden


def published_pairs(catalog: Catalog, hidden: set[Any]) -> list[tuple[str, str, str, str]]:
    """Trade designations and their cultivar names as published (tests/published/trade_designations.csv).

    crop, name, the catalog's variety (told by its own table of names, not by the reader), kind.
    """
    names, varieties = catalog.names(), catalog.varieties()
    leads = {
        (str(crop), str(name)): str(variety)
        for crop, name, variety in zip(names["crop"], names["name"], names["variety"], strict=True)
    }
    leads |= {
        (str(crop), str(name)): str(name)
        for crop, name in zip(varieties["crop"], varieties["variety"], strict=True)
    }
    out = []
    for row in pd.read_csv(PUBLISHED).to_dict("records"):
        crop = str(row["crop"])
        for part in ("trade", "cultivar"):
            variety = leads[(crop, str(row[part]))]
            if (crop, variety) not in hidden:
                out.append((crop, str(row[part]), variety, f"published {part} name"))
    return out


def _line(dice: random.Random, crop: str, name: str, catalog: Catalog) -> dict[str, Any]:
    done: list[str] = []
    if dice.random() < 0.35:
        name = _slip(dice, name)
        done.append("slip")
        if dice.random() < 0.2:
            name = _slip(dice, name)
            done.append("second slip")
    draw = dice.random()
    words = name.split()
    if draw < 0.05 and len(words) > 1 and not any(c.isdigit() for c in name):
        name = " ".join(
            word if place == 0 else word[: dice.randint(1, 4)] + "." for place, word in enumerate(words)
        )
        done.append("abbreviated")
    elif draw < 0.08 and len(words) > 1:
        name = f"{words[-1]}, {' '.join(words[:-1])}"
        done.append("turned round")
    elif draw < 0.10 and len(name) > 14:
        name = name[: dice.randint(11, len(name) - 1)].rstrip()
        done.append("cut off")
    if dice.random() < 0.3:
        name = "".join(c for c in unicodedata.normalize("NFKD", name) if not unicodedata.combining(c))
        done.append("no accents")
    if dice.random() < 0.2:
        name = name.replace("'", "") if dice.random() < 0.5 else name.replace("'", "’")
    if dice.random() < 0.08:
        name += dice.choice(["™", "®", " (R)", "(TM)"])
        done.append("mark")
    if dice.random() < 0.15:
        name = f"'{name}'"
    crop_word, scientific = _crop_words(crop, catalog)
    draw = dice.random()
    if draw < 0.35:
        name = dice.choice(
            [
                f"{crop_word} {name}",
                f"{name} {crop_word}",
                f"{crop_word} - {name}",
                f"{crop_word.upper()} {name}",
            ]
        )
        given = True
    elif draw < 0.50:
        name = f"{scientific} {name}"
        given = True
    else:
        given = False
    tail, truth = _tail(dice, crop)
    text = " ".join([name, *tail]) if dice.random() < 0.85 else ", ".join([name, *tail])
    draw = dice.random()
    text = text.upper() if draw < 0.3 else text.lower() if draw < 0.4 else text
    if dice.random() < 0.04 and not text.isascii():
        try:
            text = text.encode("utf-8").decode("cp1252")
            done.append("wrongly decoded")
        except UnicodeError:
            pass
    if dice.random() < 0.1:
        text = text.replace(" ", "  ")
    return {"text": text, "crop_said": given, "done": ", ".join(done), **truth}


def _tail(dice: random.Random, crop: str) -> tuple[list[str], dict[str, Any]]:
    tail: list[str] = []
    truth: dict[str, Any] = {"rootstock": None, "count": None}
    if dice.random() < 0.5 and crop in _ROOTSTOCKS:
        stock = dice.choice([s for s in _ROOTSTOCKS[crop] if s != "Qu. A"])
        word = stock in ("Colt", "Pixy", "Brompton", "Pyrodwarf", "Montclar")
        tail.append(f"on {stock}" if word or dice.random() < 0.3 else stock)
        truth["rootstock"] = _TRUE_ROOTSTOCK["".join(c for c in stock.casefold() if c.isalnum())]
    if dice.random() < 0.25:
        tail.append(dice.choice(["1yr", "2yr", "2 year", "3 yr old"]))
    if dice.random() < 0.4:
        tail.append(dice.choice(_FORMS))
    if dice.random() < 0.4:
        tail.append(dice.choice(_SIZES))
    if dice.random() < 0.12:
        tail.append(dice.choice(_WORDS))
    dice.shuffle(tail)
    if dice.random() < 0.3:
        truth["count"] = dice.randint(1, 400)
        tail.append(
            dice.choice(
                [
                    f"x{truth['count']}",
                    f"{truth['count']} pcs",
                    f"qty {truth['count']}",
                    f"({truth['count']})",
                    f"{truth['count']} @ £{dice.randint(9, 60)}.50",
                ]
            )
        )
    elif dice.random() < 0.2:
        tail.append(
            dice.choice(
                [f"£{dice.randint(8, 60)}.99", f"{dice.randint(8, 60)},50 €", f"£{dice.randint(8, 60)} each"]
            )
        )
    return tail, truth


def _slip(dice: random.Random, name: str) -> str:
    """One slip of the finger or ear in a letter: left out, doubled, swapped, or its neighbour on the
    keyboard."""
    letters = [place for place, c in enumerate(name) if c.isalpha()]
    if len(letters) < 5:
        return name
    place = dice.choice(letters[1:] if dice.random() < 0.9 else letters)
    draw = dice.random()
    if draw < 0.3:
        return name[:place] + name[place + 1 :]
    if draw < 0.5:
        return name[:place] + name[place] + name[place:]
    if draw < 0.7 and place + 1 < len(name) and name[place + 1].isalpha():
        return name[:place] + name[place + 1] + name[place] + name[place + 2 :]
    near = _NEAR.get(name[place].lower(), string.ascii_lowercase)
    swap = dice.choice(near)
    return name[:place] + (swap.upper() if name[place].isupper() else swap) + name[place + 1 :]


def _crop_words(crop: str, catalog: Catalog) -> tuple[str, str]:
    row = catalog.crops().set_index("crop").loc[crop]
    plain = crop.replace("-", " ")
    short = {
        "european pear": "pear",
        "european plum": "plum",
        "hazelnut": "hazel",
        "sweet cherry": "cherry",
    }.get(plain, plain)
    return short.capitalize(), str(row["scientific_name"]).split("(")[0].strip()
