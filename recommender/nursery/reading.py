"""The paragraph read to a customer: what differs first, then what is alike, then that it will do where they
are.

In come the sold-out variety, a stand-in and, if known, the customer's site; out go what differs as a short
list and the paragraph. Only published or settled values are spoken of; what is not known is said once, at the
end.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from recommender.biology.pollination_result import with_article
from recommender.nursery import holds as demands
from recommender.nursery.resemblance import SEASONS
from recommender.wording import category_words, crop_in_sentence, list_words, missing, plain

if TYPE_CHECKING:
    from recommender.catalog.catalog import Catalog

_ORDER = {"small": 0, "medium": 1, "large": 2, "very-large": 3}
_USES = {"fresh": "eating fresh", "drying": "drying", "oil": "pressing for oil"}
_LEAST_DAYS = 5.0
"""Days apart below which two ripening dates are called the same: sources differ by as much."""
_DISEASE_STEPS = (
    "immune",
    "resistant",
    "moderately-resistant",
    "moderately-susceptible",
    "susceptible",
    "very-susceptible",
)


@dataclass(eq=False)
class Teller:
    """Tells of stand-ins for one sold-out variety. wanted: its row; trees: rows of trees known without a
    site."""

    catalog: Catalog
    wanted: int
    place: demands.Place | None = None
    trees: Sequence[int] = ()
    _rows: dict[int, dict[str, Any]] = field(default_factory=dict)

    def tell(self, row: int, sport: bool) -> tuple[str, str]:
        """(what differs, the paragraph) for the stand-in at `row`."""
        old, new = self._row(self.wanted), self._row(row)
        name, was = plain(new["variety"]), plain(old["variety"])
        if new["crop"] != old["crop"]:
            differs = [
                f"it is {with_article(crop_in_sentence(str(new['crop'])))}, not"
                f" {with_article(crop_in_sentence(str(old['crop'])))}"
            ]
            alike: list[str] = []
            silent: list[str] = []
        else:
            differs, alike, silent = compared(old, new)
        if self._needs(row) and not self._needs(self.wanted):
            differs.append("it needs a pollen partner, which the other does not")
        elif self._needs(self.wanted) and not self._needs(row):
            differs.append("it bears without a pollen partner")
        start = f"Set beside {was}, what differs in {name}: {list_words(differs)}."
        if not differs:
            start = f"No difference between {name} and {was} has been published."
        if sport:
            start += f" It is a sport (a bud mutation) of the same tree as {was}." if name != was else ""
        parts = [start]
        if alike:
            parts.append(f"Alike: {list_words(alike)}.")
        parts += self._there(row, name)
        if silent:
            parts.append(f"Not published of both: {list_words(silent)}.")
        return ("; ".join(differs) if differs else "nothing published", " ".join(parts))

    def _row(self, row: int) -> dict[str, Any]:
        if row not in self._rows:
            values = demands.varieties_of(self.catalog).frame.iloc[row].to_dict()
            self._rows[row] = {str(name): value for name, value in values.items()}
        return self._rows[row]

    def _named(self, rows: Sequence[int]) -> str:
        return list_words([plain(self._row(row)["variety"]) for row in rows])

    def _needs(self, row: int) -> bool:
        return bool(demands.matrix_of(self.catalog).needs_partner()[row])

    def _there(self, row: int, name: str) -> list[str]:
        """That it will do where the customer is: winter and chill, pollen for it, pollen from it."""
        parts: list[str] = []
        if self.place is not None:
            verdict = str(self.place.verdict[row])
            why = plain(self.place.why[row]).rstrip(".")
            parts.append(f"For your site it is {verdict}{f': {why[:1].lower()}{why[1:]}' if why else ''}.")
        standing = tuple(dict.fromkeys([*(self.place.trees if self.place is not None else ()), *self.trees]))
        if not standing:
            if self._needs(row):
                parts.append("It needs pollen of another variety in flower near by.")
            return parts
        chance = demands.chance_of(self.catalog)
        matrix = demands.matrix_of(self.catalog)
        if self._needs(row):
            givers = [tree for tree in standing if chance[row, tree] >= demands.LIKELY]
            if givers:
                best = max(givers, key=lambda tree: float(chance[row, tree]))
                sure = (
                    "gives it the pollen it needs"
                    if matrix.sets_fruit()[row, best]
                    else "very likely gives it the pollen it needs"
                )
                parts.append(f"Your {plain(self._row(best)['variety'])} {sure}.")
            else:
                parts.append(
                    "None of your trees is known to give it the pollen it needs; it would want a partner too."
                )
        waiting = demands.relying(self.catalog, self.wanted, standing)
        served = [tree for tree in waiting if chance[tree, row] >= demands.LIKELY]
        if served:
            parts.append(
                f"It pollinates your"
                f" {list_words([plain(self._row(tree)['variety']) for tree in served])} in its stead."
            )
        lost = [tree for tree in waiting if tree not in served]
        if lost:
            parts.append(
                f"Your {list_words([plain(self._row(tree)['variety']) for tree in lost])} would still"
                f" lack a pollen partner."
            )
        return parts


def compared(old: dict[str, Any], new: dict[str, Any]) -> tuple[list[str], list[str], list[str]]:
    """(differs, alike, not published of both) in words, for two rows of the wide traits frame of one crop."""
    differs: list[str] = []
    alike: list[str] = []
    silent: list[str] = []
    for label, tell in _COMPARISONS:
        found = tell(old, new)
        if found is None:
            silent.append(label)
        elif found[0]:
            differs.append(found[1])
        else:
            alike.append(found[1])
    return differs, alike, silent[:3]


Told = tuple[bool, str] | None


def _ripening(old: dict[str, Any], new: dict[str, Any]) -> Told:
    a, b = _number(old, "ripening_offset"), _number(new, "ripening_offset")
    if np.isfinite(a) and np.isfinite(b):
        days = round(b - a)
        if abs(days) < _LEAST_DAYS:
            return False, "they ripen within days of each other"
        return True, f"it ripens about {_span(abs(days))} {'later' if days > 0 else 'earlier'}"
    one, two = _text(old, "ripening_season"), _text(new, "ripening_season")
    if not one or not two:
        return None
    if one == two:
        return False, f"both ripen {_season(one)}"
    later = SEASONS.get(two, 0.0) > SEASONS.get(one, 0.0)
    return True, f"it ripens {'later' if later else 'earlier'} ({_season(two)}, not {_season(one)})"


def _season(text: str) -> str:
    words = category_words("ripening_season", text)
    return (
        "in mid season"
        if words == "mid"
        else f"{words} in the season"
        if words.startswith(("early to", "mid to"))
        else words
    )


def _uses(old: dict[str, Any], new: dict[str, Any]) -> Told:
    one, two = (set(filter(None, _text(row, "use").split("|"))) for row in (old, new))
    if not one or not two:
        return None
    words = lambda uses: list_words([_USES.get(use, use) for use in sorted(uses)])  # noqa: E731
    if one == two:
        return False, f"both are for {words(one)}"
    if one & two:
        extra = [f"also for {words(two - one)}"] if two - one else []
        extra += [f"not named for {words(one - two)}"] if one - two else []
        return True, f"it is {list_words(extra, 'but')} (both for {words(one & two)})"
    return True, f"it is for {words(two)}, not for {words(one)}"


def _same(trait: str, same: str, other: str) -> Callable[[dict[str, Any], dict[str, Any]], Told]:
    def tell(old: dict[str, Any], new: dict[str, Any]) -> Told:
        one, two = _text(old, trait), _text(new, trait)
        if not one or not two:
            return None
        a, b = category_words(trait, one), category_words(trait, two)
        return (False, same.format(a)) if one == two else (True, other.format(b, a))

    return tell


def _size(old: dict[str, Any], new: dict[str, Any]) -> Told:
    one, two = _text(old, "fruit_size"), _text(new, "fruit_size")
    if one not in _ORDER or two not in _ORDER:
        return None
    if one == two:
        return False, f"both bear {category_words('fruit_size', one)} fruit"
    return True, f"its fruit is {'larger' if _ORDER[two] > _ORDER[one] else 'smaller'}"


def _keeping(old: dict[str, Any], new: dict[str, Any]) -> Told:
    a, b = _number(old, "storage"), _number(new, "storage")
    if not np.isfinite(a) or not np.isfinite(b):
        return None
    if abs(a - b) < 3 or max(a, b) < 1.35 * min(a, b):
        return False, "both keep about as long"
    return True, f"it keeps {'longer' if b > a else 'less long'} (about {b:.0f} weeks, not {a:.0f})"


def _sugar(old: dict[str, Any], new: dict[str, Any]) -> Told:
    a, b = _number(old, "brix"), _number(new, "brix")
    if not np.isfinite(a) or not np.isfinite(b):
        return None
    if abs(a - b) < 1.5:
        return False, "both are about as sweet"
    return True, f"it is {'sweeter' if b > a else 'less sweet'} (sugar {b:.0f} against {a:.0f} °Brix)"


def _health(old: dict[str, Any], new: dict[str, Any]) -> Told:
    better, worse, known = [], [], False
    for name, value in old.items():
        if not name.startswith("disease:") or name.endswith(("_standing", "_agreement")):
            continue
        one, two = str(value), _text(new, name)
        if one in _DISEASE_STEPS and two in _DISEASE_STEPS:
            known = True
            step = _DISEASE_STEPS.index(two) - _DISEASE_STEPS.index(one)
            disease = name.removeprefix("disease:").replace("-", " ")
            if step <= -2:
                better.append(disease)
            elif step >= 2:
                worse.append(disease)
    if not known:
        return None
    parts = [f"it stands {list_words(better)} better"] if better else []
    parts += [f"it takes {list_words(worse)} more easily"] if worse else []
    return (True, " but ".join(parts)) if parts else (False, "they stand disease about as well")


_COMPARISONS: tuple[tuple[str, Callable[[dict[str, Any], dict[str, Any]], Told]], ...] = (
    ("when they ripen", _ripening),
    ("what they are for", _uses),
    ("the colour of the skin", _same("skin_colour", "both are {0}", "it is {0} rather than {1}")),
    ("the colour of the flesh", _same("flesh_colour", "both have {0} flesh", "its flesh is {0}, not {1}")),
    ("the size of the fruit", _size),
    ("the stone", _same("stone_freedom", "the stone is {0} in both", "its stone is {0}, not {1}")),
    ("how long they keep", _keeping),
    ("how sweet they are", _sugar),
    ("how they stand disease", _health),
)


def _text(row: dict[str, Any], name: str) -> str:
    value = row.get(name)
    return "" if missing(value) else str(value)


def _number(row: dict[str, Any], name: str) -> float:
    value = row.get(name)
    return float("nan") if missing(value) else float(str(value))


def _span(days: int) -> str:
    return f"{days} days" if days < 14 else f"{round(days / 7)} weeks"
