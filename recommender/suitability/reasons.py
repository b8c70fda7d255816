"""Scores in words: why a variety suits a site, what to watch, what nobody knows, with numbers and evidence.

In comes a `Context` (the arrays a ranking was made of); out go one line of why and one of what to watch for
every variety, and three to five sentences for those that are shown.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from recommender import units as convert
from recommender.suitability import cautions, disease
from recommender.suitability.expectations import text
from recommender.suitability.verdicts import DOUBTFUL, LIMITS, RULED_OUT, SOUND, TOO_LITTLE, WELL_KNOWN
from recommender.wording import crop_in_sentence, crop_plural, list_words

if TYPE_CHECKING:
    from recommender.climate.profile import Profile
    from recommender.suitability.expectations import Varieties
    from recommender.suitability.garden import Garden as Plot
    from recommender.suitability.garden_partners import Garden
    from recommender.suitability.goals import Goals
    from recommender.suitability.site import Site
    from recommender.suitability.timing import Timing

Floats = NDArray[np.float64]
# Shares of years are told as so many of these.
SPAN = 20
PARTNER_IN_DOUBT = 0.7

# Below this a criterion is worth a warning, above the second it is worth praise.
WATCH = {name: limit.sound for name, limit in LIMITS.items()}
PRAISE = 0.95
# A tree that stands there is named as a partner from this chance on.
PARTNER_SERVES = 0.6
# Traits whose sources are counted in a sentence.
_SOURCED = ("zone_min", "min_survival_temp", "chill_hours", "chill_portions")


@dataclass(frozen=True, eq=False)
class Context:
    """What a ranking was made of, row for row of `varieties`."""

    varieties: Varieties
    profile: Profile
    when: Timing
    garden: Garden
    found: dict[str, Floats]
    wished: dict[str, Floats]
    verdict: NDArray[np.intp]
    site: Site
    goals: Goals
    trees: tuple[tuple[str, str], ...]
    cautions: pd.DataFrame
    country: str
    region: str
    kills: tuple[Floats, Floats] = (np.empty(0), np.empty(0))
    plot: Plot | None = None
    recommended: Callable[[int], list[str]] | None = None

    @cached_property
    def ranges(self) -> dict[str, tuple[float, float]]:
        """The site's figures in eight years of ten (10th and 90th percentile)."""
        names = ("annual_min", "chill_hours_below_7", "chill_hours_0_7", "chill_portions", "gdd10")
        ends = {name: np.percentile(getattr(self.profile, name), [10, 90]) for name in names}
        return {name: (float(low), float(high)) for name, (low, high) in ends.items()}

    @cached_property
    def harvest_median(self) -> Floats:
        """Median ripe day of the season (V,)."""
        return np.asarray(np.median(self.when.harvest, axis=1))


def _degrees(celsius: float, units: str) -> str:
    value, sign = (convert.fahrenheit(celsius), "°F") if units == "imperial" else (celsius, "°C")
    return f"{'−' if round(value) < 0 else ''}{abs(round(value))} {sign}"


def _round_hours(hours: float) -> int:
    return int(round(hours / 10.0) * 10) if hours >= 100 else round(hours)


def _times(share: float, noun: str) -> str:
    """A share of years told as so many in SPAN.

    >>> _times(0.85, "winter"), _times(1.0, "year"), _times(0.01, "summer")
    ('in 17 winters in 20', 'in nearly every year', 'in hardly any summer')
    """
    count = round(share * SPAN)
    if count == SPAN:
        return f"in nearly every {noun}"
    if count == 0:
        return f"in hardly any {noun}"
    return f"in {count} {noun}{'s' if count > 1 else ''} in {SPAN}"


def zone_words(number: float) -> str:
    """A zone number as on a label.

    >>> zone_words(5.0), zone_words(5.5)
    ('5a', '5b')
    """
    return f"{int(number)}{'b' if number % 1 >= 0.5 else 'a'}"


class Teller:
    """Writes the sentences of one ranking; holds the columns it reads so that each sentence is cheap."""

    def __init__(self, context: Context, units: str = "metric") -> None:
        self.context, self.units = context, units
        frame = context.varieties.frame
        self.crop = frame["crop"].to_list()
        self.zone = self._column(frame, "zone_min")
        self.cold = self._column(frame, "min_survival_temp")
        self.plural = {crop: crop_plural(crop) for crop in set(self.crop)}
        self.standing = {trait: text(frame, f"{trait}_standing").tolist() for trait in _SOURCED}
        self.counts = {trait: count.tolist() for trait, count in context.varieties.n_sources.items()}
        self.uses = text(frame, "use").tolist()
        self.trees = context.trees

    @staticmethod
    def _column(frame: pd.DataFrame, name: str) -> list[float]:
        if name not in frame:
            return [float("nan")] * len(frame)
        return [float(value) for value in pd.to_numeric(frame[name], errors="coerce")]

    def _sources(self, trait: str, row: int) -> str:
        standing = self.standing[trait][row]
        if standing not in ("", "published"):
            return str(standing)
        count = int(self.counts[trait][row]) if trait in self.counts else 0
        return f"{count} published source{'s' if count > 1 else ''}" if count else "published"

    def _estimated(self, group: str, row: int) -> bool:
        rows = self.context.varieties.estimated.get(group)
        return rows is not None and bool(rows[row])

    def _kelvin(self, error: float) -> str:
        return f"{error * 1.8:.0f} °F" if self.units == "imperial" else f"{error:.0f} K"

    def _crops(self, row: int) -> str:
        return self.plural[self.crop[row]]

    def winter(self, row: int) -> str:
        """Winter cold against what the variety stands."""
        context = self.context
        hardy = context.varieties.hardiness
        share = _times(context.found["winter"][row], "winter")
        limit = _degrees(hardy.value[row], self.units)
        low, high = (_degrees(value, self.units) for value in context.ranges["annual_min"])
        here = f"the coldest night here is {low} to {high} in eight winters of ten"
        if not hardy.known[row]:
            usual = (
                f"it is estimated to stand about {limit} (± {self._kelvin(hardy.error[row])})"
                if self._estimated("hardiness", row)
                else f"{self._crops(row)} usually stand about {limit}"
            )
            return f"Nobody has published how much cold it stands; {usual}, which is enough {share} ({here})"
        told = []
        if self.zone[row] == self.zone[row]:
            told.append(f"zone {zone_words(self.zone[row])} ({self._sources('zone_min', row)})")
        if self.cold[row] == self.cold[row]:
            told.append(f"{_degrees(self.cold[row], self.units)} ({self._sources('min_survival_temp', row)})")
        verb = (
            "It stands the winter cold"
            if context.found["winter"][row] >= WATCH["winter"]
            else (
                "Winter cold is too much for it in some years"
                if context.found["winter"][row] >= 0.5
                else "Winter cold kills it here"
            )
        )
        return f"{verb}: safe {share}; rated to {list_words(told)}, taken as about {limit}, and {here}"

    def chill(self, row: int) -> str:
        """Winter chill against the need."""
        context, varieties = self.context, self.context.varieties
        share = _times(context.found["chill"][row], "winter")
        if varieties.by_portions[row]:
            low, high = context.ranges["chill_portions"]
            need, unit, trait = varieties.chill_portions.value[row], "chill portions", "chill_portions"
            wanted, brings = f"about {need:.0f}", f"{low:.0f} to {high:.0f}"
        else:
            low, high = context.ranges["chill_hours_below_7"]
            need, unit, trait = varieties.chill_hours.value[row], "chill hours", "chill_hours"
            wanted, brings = f"about {_round_hours(need)}", f"{_round_hours(low)} to {_round_hours(high)}"
            if need <= 0:
                return f"{self._crops(row).capitalize()} need no winter chill"
        here = f"winters here bring {brings}"
        if not varieties.by_portions[row]:
            few, many = context.ranges["chill_portions"]
            here += f" ({few:.0f} to {many:.0f} chill portions)"
        if not varieties.chill_hours.known[row] and not varieties.by_portions[row]:
            bottom, top = _round_hours(varieties.chill_low[row]), _round_hours(varieties.chill_high[row])
            span = f"range {bottom} to {top}" if bottom < top else f"need about {top}"
            guess = ""
            if self._estimated("chill", row):
                error = _round_hours(varieties.chill_hours.error[row])
                guess = f" (its own is estimated at about {wanted}, ± {error})"
            return (
                f"Nobody has published its chill need; {self._crops(row)} {span} hours{guess}, and {here}, "
                f"likely enough {share}"
            )
        verb = (
            "It gets enough winter chill"
            if context.found["chill"][row] >= WATCH["chill"]
            else (
                "Winter chill runs short in some years"
                if context.found["chill"][row] >= 0.4
                else "There is too little winter chill for it"
            )
        )
        return f"{verb}: enough {share}; it needs {wanted} {unit} ({self._sources(trait, row)}), and {here}"

    def dormancy(self, row: int) -> str:
        """Waking too early."""
        low, high = self.context.ranges["chill_hours_0_7"]
        return (
            f"Its small need of chill is met early: with {_round_hours(low)} to {_round_hours(high)} chill "
            "hours here it may wake in a mild spell and be caught by frost"
        )

    def bloom_frost(self, row: int) -> str:
        """Frost at bloom."""
        share = round(self.context.found["bloom_frost"][row] * 100)
        return f"Frost at bloom leaves about {share} % of a full crop over the years (estimated)"

    def season(self, row: int) -> str:
        """Ripening before the season ends."""
        context = self.context
        share = _times(context.found["season"][row], "year")
        whose = (
            ""
            if context.when.harvest_known[row]
            else (f"; nobody has published when it ripens, so the usual time of {self._crops(row)} is taken")
        )
        if context.varieties.evergreen[row]:
            return "Its fruit hangs through winter, so the length of summer does not decide"
        return f"Fruit ripens before the season ends {share} (estimated{whose})"

    def warmth(self, row: int) -> str:
        """Summer warmth."""
        share = _times(self.context.found["warmth"][row], "summer")
        low, high = self.context.ranges["gdd10"]
        return (
            f"Summers are warm enough for good fruit {share} ({_round_hours(low)} to {_round_hours(high)} "
            f"degree days above 10 °C here; what {self._crops(row)} want is judged by the coolest places "
            "where they are known to crop)"
        )

    def partner(self, row: int) -> str:
        """Pollination in this garden."""
        garden = self.context.garden
        taken = "" if garden.known[row] else f" (not published for it; usual of {self._crops(row)})"
        if garden.male[row]:
            return "It bears no fruit itself: it is grown as a pollen partner"
        alone = "It sets fruit alone (self-fertile)"
        serving = self._serving_tree(row)
        if garden.alone[row]:
            better = "; a partner adds to the crop" if garden.gains[row] else ""
            return f"{alone}{taken}{better}"
        need = "It needs a pollen partner of another variety"
        if garden.gains[row]:
            need = "It sets some fruit alone and more with a partner"
        elif garden.female[row]:
            need = "It needs a male pollen partner"
        if serving:
            return f"{serving}. {need}{taken}"
        near = {
            "yes": "; neighbours' fruit trees may serve",
            "no": "; plant one with it, for none stands near",
        }.get(
            self.context.site.neighbours_have_fruit_trees, "; check what blooms near by, or plant one with it"
        )
        return f"{need}{taken}{near}"

    def _serving_tree(self, row: int) -> str:
        """The sentence on a tree that stands there and serves the variety; empty where none does."""
        partner = self.context.garden.partner
        if partner.chance[row] < PARTNER_SERVES:
            return ""
        crop, variety = self.trees[partner.tree[row]]
        named = variety if crop == self.crop[row] else f"{variety} ({crop_in_sentence(crop)})"
        then = "both set fruit" if partner.both[row] else "it sets fruit"
        days = partner.days[row]
        if days != days:
            return f"Your {named} gives it pollen, so {then}"
        return f"Blooms with your {named}, so {then} (bloom overlap about {days:.0f} days)"

    def size(self, row: int) -> str:
        """Room against the least height."""
        height = self.context.varieties.height
        tall = height.value[row]
        shown = f"{tall / convert.METRES_PER_FOOT:.0f} ft" if self.units == "imperial" else f"{tall:.1f} m"
        fit = "fits" if self.context.wished["size"][row] >= 0.5 else "is hard to keep within"
        doubt = "" if height.known[row] else " (estimated)"
        return f"Kept small it stands about {shown} high{doubt}, and {fit} the room"

    def wish(self, row: int) -> list[str]:
        """Uses, season and disease, where they were asked for."""
        context, told = self.context, []
        wished = context.wished
        if "use" in wished:
            listed = self.uses[row]
            if not listed:
                told.append("Nobody has published what its fruit is best for")
            elif wished["use"][row] >= 0.99:
                told.append(f"Its fruit is for {list_words(str(listed).split('|'))}, as you wish")
            else:
                told.append(
                    f"Its fruit is known for {list_words(str(listed).split('|'))}, not for what you wish"
                )
        if "harvest" in wished:
            if not context.varieties.ripe_class.known[row]:
                told.append("Nobody has published whether it ripens early or late")
            elif wished["harvest"][row] >= 0.5:
                told.append(f"It ripens {list_words(list(context.goals.seasons))} in the season, as you wish")
            else:
                told.append("It ripens outside the part of the season you wish")
        if (context.goals.low_spray or context.site.wetness == "wet") and context.plot is not None:
            weather = context.plot.around.weather
            told.append(disease.told(context.varieties, weather, context.site.wetness, row))
        if context.plot is not None and "ground" in context.wished:
            told.append(context.plot.stock_sentence(self.crop[row], context.site, context.goals))
        told = [sentence for sentence in told if sentence]
        return told

    def record(self, row: int) -> str:
        """Which published lists for like climates recommend it; empty where none does."""
        named = self.context.recommended(row) if self.context.recommended else []
        if not named:
            return ""
        count = "a published list for a region" if len(named) == 1 else f"lists for {len(named)} regions"
        return f"Recommended by {count} with a climate like yours: {list_words(region_names(named[:3]))}"

    def known(self, row: int) -> str:
        """That little is known of it here; empty where enough is."""
        evidence = self.context.found["evidence"][row]
        if evidence >= WELL_KNOWN:
            return ""
        how = "Too little" if evidence < TOO_LITTLE else "Not much"
        return (
            f"{how} is known of it: few figures are published and few lists or descriptions come from "
            f"climates like yours, so this rests on what is usual of {self._crops(row)}"
        )

    def limit(self, name: str, row: int) -> str:
        """The sentence of one limiting criterion."""
        sentence: str = getattr(self, name)(row)
        return sentence


def _order(context: Context, rows: NDArray[np.intp]) -> NDArray[np.intp]:
    """For each row the limiting criteria, worst first against what `sound` asks (R, 6)."""
    lacks = {name: context.found[name][rows] - WATCH[name] for name in WATCH}
    # A tree short of chill blooms late or not at all, so its fruit is late as well: the cause comes first.
    lacks["season"] = np.where(
        lacks["chill"] < 0.0, np.maximum(lacks["season"], lacks["chill"]), lacks["season"]
    )
    lack = np.stack(list(lacks.values()), axis=1)
    return np.argsort(lack, axis=1, kind="stable")


def why_and_watch(context: Context, units: str = "metric") -> tuple[NDArray[np.object_], NDArray[np.object_]]:
    """One line of why and one of what to watch, for every variety (V,), in metric or imperial units."""
    teller, names, size = Teller(context, units), list(WATCH), len(context.varieties)
    everyone = np.arange(size)
    order = _order(context, everyone)
    lows = np.stack([context.found[name] < WATCH[name] for name in names], axis=1)
    hardy, chill = context.varieties.hardiness.known, context.varieties.chill_hours.known
    chill = chill | context.varieties.by_portions | context.varieties.evergreen
    winter, cold = context.found["winter"], context.found["chill"]
    partner = context.wished["pollination"]
    size_fit = context.wished["size"]
    fails = np.any([context.found[name] < limit.doubtful for name, limit in LIMITS.items()], axis=0)
    fails |= context.found["evidence"] >= TOO_LITTLE
    why, watch = np.full(size, "", dtype=object), np.full(size, "", dtype=object)
    for row in range(size):
        worst = names[order[row, 0]]
        good = []
        little = teller.known(row)
        if context.verdict[row] == DOUBTFUL and not fails[row]:
            why[row] = _stop(little)
            if lows[row, order[row, 0]]:
                watch[row] = _stop(teller.limit(worst, row))
            elif partner[row] < 0.9:
                watch[row] = _stop(teller.partner(row))
            continue
        if context.verdict[row] in (DOUBTFUL, RULED_OUT) and lows[row, order[row, 0]]:
            why[row] = _stop(teller.limit(worst, row))
            second = names[order[row, 1]]
            if lows[row, order[row, 1]]:
                watch[row] = _stop(teller.limit(second, row))
            elif partner[row] < 0.7:
                watch[row] = _stop(teller.partner(row))
            continue
        if hardy[row]:
            good.append(f"safe from winter cold {_times(winter[row], 'winter')}")
        if chill[row] and context.varieties.chill_hours.value[row] > 0:
            good.append(f"enough chill {_times(cold[row], 'winter')}")
        good.append(f"ripe in time {_times(context.found['season'][row], 'year')}")
        why[row] = _stop(_capital(list_words(good)))
        if lows[row, order[row, 0]]:
            watch[row] = _stop(teller.limit(worst, row))
        elif size_fit[row] < 0.4:
            watch[row] = _stop(teller.size(row))
        elif not hardy[row] and context.found["winter_low"][row] < 0.9:
            watch[row] = _stop(teller.winter(row))
        elif not chill[row] and context.found["chill_low"][row] < 0.9:
            watch[row] = _stop(teller.chill(row))
        elif little:
            watch[row] = _stop(little)
        elif partner[row] < PARTNER_IN_DOUBT and context.verdict[row] == SOUND:
            watch[row] = _stop(f"Sound, with a partner: {_lower(teller.partner(row))}")
        elif partner[row] < 0.9:
            watch[row] = _stop(teller.partner(row))
    return why, watch


def region_names(regions: Sequence[str]) -> list[str]:
    """Names of regions as written in a sentence.

    >>> region_names(["georgia-south"])
    ['Georgia South']
    """
    return [name.replace("-", " ").title() for name in regions]


def _stop(sentence: str) -> str:
    return f"{sentence}."


def _lower(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]


def _capital(sentence: str) -> str:
    return sentence[:1].upper() + sentence[1:]


def reasons(context: Context, rows: NDArray[np.intp], units: str = "metric") -> list[list[str]]:
    """Three to five sentences and, where one concerns the act, a caution, for each of `rows`; strongest
    first.

    The criteria that speak against the variety come first (worst first), then what speaks for it; winter and
    chill are always told, with what is not known of them.
    """
    teller, names = Teller(context, units), list(WATCH)
    order = _order(context, np.asarray(rows, dtype=np.intp))
    warnings = cautions.sentences(
        context.cautions, set(context.varieties.frame["crop"].iloc[rows]), context.country, context.region,
        context.site, context.goals,
    )  # fmt: skip
    told = []
    for row, ranked in zip(rows, order, strict=True):
        against = [names[at] for at in ranked if context.found[names[at]][row] < WATCH[names[at]]]
        little = teller.known(row)
        tell = [little] if little and context.verdict[row] == DOUBTFUL else []
        tell += [teller.limit(name, row) for name in against[: 3 - len(tell)]]
        tell += [teller.limit(name, row) for name in ("winter", "chill") if name not in against[:3]]
        tell.append(teller.partner(row))
        if context.wished["size"][row] < 0.99:
            tell.append(teller.size(row))
        tell += teller.wish(row)
        if little and little not in tell:
            tell.append(little)
        if len(tell) < 4:
            tell.append(teller.limit("season", row))
        if len(tell) < 5 and (record := teller.record(row)):
            tell.append(record)
        sentences = [_stop(sentence) for sentence in tell[:5]]
        warning = warnings.get(teller.crop[row])
        told.append([*sentences, warning] if warning else sentences)
    return told


def dates(context: Context) -> dict[str, Any]:
    """Median bloom, first and last picking of each variety (V,) as days of its season, NaN where the year
    ends before."""
    last = context.profile.tmin.shape[1]
    bloom = np.median(context.when.bloom, axis=1)
    harvest = context.harvest_median
    return {
        "bloom_day": np.where(bloom < last, bloom, np.nan),
        "bloom_error_d": context.when.bloom_error.round(1),
        "harvest_day": np.where(harvest < last, np.rint(harvest), np.nan),
        "harvest_end": np.where(harvest < last, np.rint(harvest + context.when.picking), np.nan),
        "harvest_error_d": context.when.harvest_error.round(1),
    }


__all__ = ["Context", "Teller", "dates", "reasons", "why_and_watch", "zone_words"]
