"""Names, figures and dates as a reader meets them: the one home of labels, marks and units in words.

In come values in SI units and the catalog's own keys; out go short texts in British or American habit. It
computes nothing about fruit or climate; the command line, the pages and the charts all speak through it.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any, Literal

from recommender import units as convert
from recommender.catalog.traits import trait as known_trait
from recommender.errors import BadInput

if TYPE_CHECKING:
    import pandas as pd

Units = Literal["metric", "imperial"]
VERDICTS = ("sound", "with care", "doubtful", "ruled out")
MARKS = {"sound": "●", "with care": "◐", "doubtful": "○", "ruled out": "⊗"}
VERDICT_MEANINGS = {
    "sound": "the evidence fits your site on every count that matters; plant it with ordinary care.",
    "with care": "it should do well if you mind what stands under “watch”: a late frost, a partner, a stock.",
    "doubtful": "something that matters fits badly, or too little is known to say; try one tree at most.",
    "ruled out": "one thing alone decides against it here, such as winter cold or too little chill.",
}
STANDINGS = ("published", "common practice", "estimated", "from memory", "unknown")
STANDING_MEANINGS = {
    "published": "a source you can look up gives it",
    "common practice": "growers agree on it, but no single source was found",
    "estimated": "worked out from other facts, with an interval",
    "from memory": "nobody has found its source yet; weigh it lightly",
    "unknown": "nobody has published it",
}
# From this share of draws a verdict is called sure without a figure.
SURE = 0.95
MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip

_LABELS = {
    "zone_min": "Coldest zone it stands (USDA zone)",
    "zone_max": "Warmest zone it suits (USDA zone)",
    "min_survival_temp": "Cold it survives",
    "chill_hours": "Winter chill it needs (chill hours)",
    "chill_portions": "Winter chill it needs (chill portions)",
    "chill_units": "Winter chill it needs (Utah chill units)",
    "heat_to_bloom": "Warmth from chill to bloom (growing degree hours)",
    "bloom_offset": "Blooms",
    "ripening_offset": "Ripens",
    "harvest_start": "Picking starts, where it was recorded",
    "harvest_end": "Picking ends, where it was recorded",
    "bloom_to_harvest": "Bloom to harvest",
    "storage": "Keeps (cold store)",
    "mature_height": "Full-grown height",
    "bearing_years": "First crop after planting",
    "brix": "Sweetness of the juice (Brix)",
    "ploidy": "Sets of chromosomes (ploidy)",
    "self_fertility": "Sets fruit alone? (self-fertility)",
    "ripening_season": "Ripening season",
    "bloom_season": "Bloom season",
    "bloom_group": "Bloom group",
    "stone_freedom": "Stone comes free?",
    "yield_class": "Crop weight",
    "pollen": "Pollen",
    "frost_tolerance_bloom": "Frost tolerance in bloom",
    "rain_cracking": "Cracking in rain",
    "rights": "Propagation rights",
    "graft_on_quince": "Grafts on quince?",
    "s_alleles": "Compatibility genes (S-alleles)",
    "sport_of": "Sport of",
    "use": "Use",
}
_UNIT_WORDS = {
    "h": "hours", "d": "days", "wk": "weeks", "yr": "years", "CP": "portions", "CU": "units", "degBx": "°Bx",
    "GDH": "degree hours", "sets of chromosomes": "",
}  # fmt: skip
_CRITERIA = {
    "winter": "lives through winter", "chill": "enough winter chill", "dormancy": "sleeps until spring",
    "bloom_frost": "flowers escape frost", "season": "season long enough", "warmth": "summer warm enough",
    "pollination": "pollen partner", "disease": "health of the tree", "size": "fits the room",
    "care": "light to care for", "rating": "rated for the zone", "track": "does well in places like it",
    "use": "use wished for", "harvest": "season wished for", "storage": "keeps as wished",
    "wishes": "your wishes",
}  # fmt: skip


def plain(text: object) -> str:
    """Text with control and direction-changing characters taken out, so that a name cannot steer a
    terminal.
    """
    return "".join(
        letter
        for letter in str(text)
        if letter in "\n\t" or unicodedata.category(letter) not in ("Cc", "Cf", "Cs")
    )


def rows(frame: pd.DataFrame) -> Iterator[Any]:
    """The rows of a frame to be told one by one, each with its columns as attributes."""
    yield from frame.itertuples()


def missing(value: object) -> bool:
    """True for None, NaN, pandas' own gaps and empty text."""
    # Known by name, so that words can be shown without importing pandas.
    if value is None or type(value).__name__ in ("NAType", "NaTType"):
        return True
    return value == "" or (isinstance(value, float) and math.isnan(value))


def crop_name(crop: str) -> str:
    """A crop's key as words.

    >>> crop_name("european-pear")
    'European pear'
    """
    words = plain(crop).replace("-", " ")
    return words[:1].upper() + words[1:]


def crop_in_sentence(crop: str) -> str:
    """A crop's key as it stands within a sentence: nations keep their capital.

    >>> crop_in_sentence("european-pear"), crop_in_sentence("sweet-cherry")
    ('European pear', 'sweet cherry')
    """
    name = crop_name(crop)
    return name if name.split(" ")[0] in ("European", "Asian", "American", "Japanese") else name.lower()


def crop_plural(crop: str) -> str:
    """The crop as one would order several, within a sentence.

    >>> crop_plural("apple"), crop_plural("sweet-cherry"), crop_plural("european-pear"), crop_plural("mango")
    ('apples', 'sweet cherries', 'European pears', 'mangoes')
    """
    name = crop_in_sentence(crop)
    if name.endswith("citrus") or name.endswith("kiwi"):
        return name
    if name.endswith("y"):
        return name[:-1] + "ies"
    if name.endswith(("sh", "ch", "mango")):
        return name + "es"
    return name if name.endswith("s") else name + "s"


def trait_label(trait: str) -> str:
    """What a trait is called: plain words first, the trade term in brackets.

    >>> trait_label("disease:fire-blight")
    'Resistance to fire blight'
    """
    if trait in _LABELS:
        return _LABELS[trait]
    if trait.startswith("disease:"):
        return f"Resistance to {trait.removeprefix('disease:').replace('-', ' ')}"
    return crop_name(trait.replace("_", " ").replace(":", ": "))


def criterion_label(criterion: str) -> str:
    """A criterion's name in words."""
    return _CRITERIA.get(criterion, plain(criterion).replace("_", " "))


def day_words(month_day: str, units: Units = "metric") -> str:
    """A date of the year in words, never in digits that could be read two ways. `MM-DD` in.

    >>> day_words("04-14"), day_words("04-14", "imperial")
    ('14 April', 'April 14')
    """
    month, _, day = plain(month_day).partition("-")
    if not (month.isdigit() and day.isdigit() and 1 <= int(month) <= 12 and 1 <= int(day) <= 31):
        return plain(month_day)
    name = MONTHS[int(month) - 1]
    return f"{name} {int(day)}" if units == "imperial" else f"{int(day)} {name}"


def day_of_year_words(day: float, units: Units = "metric") -> str:
    """Day of a common year (1 to 365) in words.

    >>> day_of_year_words(104)
    '14 April'
    """
    remaining = round(day)
    for month, length in enumerate((31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31), start=1):
        if remaining <= length:
            return day_words(f"{month:02d}-{max(remaining, 1):02d}", units)
        remaining -= length
    return day_of_year_words(day - 365, units)


def number_words(value: float) -> str:
    """A figure without false precision: whole above 20, one decimal below, a real minus sign, thousands set
    apart.

    >>> number_words(1240.4), number_words(-3.26), number_words(6.0)
    ('1,240', '−3.3', '6')
    """
    text = f"{value:,.0f}" if abs(value) >= 20 or abs(value - round(value)) < 0.05 else f"{value:,.1f}"
    return "0" if text in ("-0", "-0.0") else text.replace("-", "−")


def temperature_words(celsius: float, units: Units = "metric") -> str:
    """A temperature, rounded to the degree.

    >>> temperature_words(-7.4), temperature_words(-7.4, "imperial")
    ('−7 °C', '19 °F')
    """
    if units == "imperial":
        return f"{number_words(round(convert.fahrenheit(celsius)))} °F"
    return f"{number_words(round(celsius))} °C"


def length_words(metres: float, units: Units = "metric") -> str:
    """A length or height, in metres or feet.

    >>> length_words(2.5), length_words(2.5, "imperial")
    ('2.5 m', '8 ft')
    """
    if units == "imperial":
        return f"{number_words(round(metres / convert.METRES_PER_FOOT))} ft"
    return f"{number_words(metres)} m"


def zone_words(zone: float | str) -> str:
    """A half-zone as the trade writes it; numbers carry the half.

    >>> zone_words(7.5), zone_words(7.0), zone_words("7b")
    ('7b', '7a', '7b')
    """
    if isinstance(zone, str):
        return plain(zone)
    half = "b" if zone - math.floor(zone) >= 0.5 else "a"
    return f"{math.floor(zone)}{half}"


def _with_unit(number: float, unit: str, units: Units) -> str:
    if unit == "USDA zone":
        return zone_words(number)
    if unit == "degC":
        return temperature_words(number, units)
    if unit == "m":
        return length_words(number, units)
    if unit == "day of year":
        return day_of_year_words(number, units)
    if unit == "offset":
        days = round(number)
        if days == 0:
            return "the same day"
        return f"{abs(days)} day{'' if abs(days) == 1 else 's'} {'later' if days > 0 else 'earlier'}"
    shown = round(number) if unit in ("h", "d", "wk", "CP", "CU", "GDH") else number
    return f"{number_words(shown)} {_UNIT_WORDS.get(unit, unit)}".rstrip()


def _within_range(number: float, unit: str, units: Units) -> str:
    """As `_with_unit`, but without repeating the unit where the figure before the bracket already has it."""
    text = _with_unit(number, unit, units)
    return text if unit in ("USDA zone", "day of year", "offset") else text.partition(" ")[0]


def score_words(row: Any) -> str:
    """A score with its interval. row: a row of `Ranking.frame`."""
    low, high = f"{row.score_low:.2f}", f"{row.score_high:.2f}"
    return f"{row.score:.2f}" + ("" if low == high else f" ({low} to {high})")


def settled_words(row: Any, units: Units = "metric") -> str:
    """A row of `Catalog.settled()` in words: value, spread, and what days are counted from."""
    if row.kind != "numeric" or missing(row.number):
        return trait_words(row.trait, row.value)
    text = trait_words(row.trait, row.number, row.low, row.high, units)
    reference = "" if missing(row.unit) else plain(row.unit).partition(" from ")[2]
    return f"{text}, against {reference}" if reference else text


def trait_words(
    trait: str,
    value: object,
    low: object = None,
    high: object = None,
    units: Units = "metric",
) -> str:
    """A settled value in words, with its spread where it has one.

    >>> trait_words("chill_hours", 800.0, 700.0, 900.0)
    '800 hours (700 to 900)'
    >>> trait_words("ripening_season", "very-late")
    'very late'
    """
    if missing(value):
        return "not known"
    if isinstance(value, (int, float)):
        unit = "offset" if trait.endswith("_offset") else known_trait(trait).unit
        text = _with_unit(float(value), unit, units)
        ends = [float(end) for end in (low, high) if isinstance(end, (int, float)) and not missing(end)]
        if len(ends) == 2:
            low_text, high_text = (_within_range(end, unit, units) for end in ends)
            if low_text != high_text:
                return f"{text} ({low_text} to {high_text})"
        return text
    return ", ".join(category_words(trait, part) for part in str(value).split("|"))


def category_words(trait: str, value: str) -> str:
    """A category as words; names, genes and groups stay as they are.

    >>> category_words("bloom_season", "mid-late"), category_words("self_fertility", "partly-self-fertile")
    ('mid to late', 'partly self-fertile')
    """
    if trait in ("s_alleles", "parentage", "sport_of", "bloom_group", "rights"):
        return plain(value)
    if value in ("early-mid", "mid-late"):
        return plain(value).replace("-", " to ")
    return plain(value).replace("-", " ").replace("self ", "self-")


def span_words(figure: Mapping[str, object], unit: str = "", units: Units = "metric") -> tuple[str, str]:
    """A climate figure over the years -> (middle value, "low to high", nine years in ten lying between).

    figure: p10, p50, p90, each a number or an `MM-DD` date. unit: degC, h or the word to set after the
    number.
    """
    middle, low, high = (figure.get(key) for key in ("p50", "p10", "p90"))
    if missing(middle):
        return "none in most years", ""
    if isinstance(middle, str):
        if missing(low) or missing(high):
            return day_words(middle, units), "not every year"
        return day_words(middle, units), f"{day_words(str(low), units)} to {day_words(str(high), units)}"

    if not all(isinstance(value, (int, float)) for value in (middle, low, high)):
        return plain(middle), ""
    numbers = [float(value) for value in (low, middle, high) if isinstance(value, (int, float))]
    low_text, high_text = (_within_range(value, unit, units) for value in (numbers[0], numbers[2]))
    return _with_unit(numbers[1], unit, units), "" if low_text == high_text else f"{low_text} to {high_text}"


def zone_span_words(figures: Mapping[str, Any]) -> str:
    """The hardiness zone of a climate summary, and what it may be instead.

    >>> zone_span_words({"zone": {"p10": "8b", "p50": "9a", "p90": "9b"}})
    '9a (it may be 8b to 9b)'
    """
    zone = figures["zone"]
    low, middle, high = (plain(zone[level]) for level in ("p10", "p50", "p90"))
    if low == high:
        return middle
    return (
        f"{middle} (it may be {low if low != middle else high})"
        if middle in (low, high)
        else (f"{middle} (it may be {low} to {high})")
    )


# A figure of the climate summary -> (what it is called, unit).
CLIMATE_FIGURES = {
    "annual_extreme_min_degC": ("Coldest night of the winter", "degC"),
    "chill_hours_0_7": ("Winter chill, hours at 0 to 7 °C", "h"),
    "chill_hours_below_7": ("Winter chill, hours below 7 °C", "h"),
    "chill_units": ("Winter chill, Utah units", "CU"),
    "chill_portions": ("Winter chill, portions (Dynamic Model)", "CP"),
    "last_spring_frost": ("Last spring frost", ""),
    "first_autumn_frost": ("First autumn frost", ""),
    "frost_free_days": ("Days between the frosts", "d"),
}


def list_words(items: Iterable[str], joiner: str = "and") -> str:
    """Items as a list in a sentence.

    >>> list_words(["apples", "pears", "quinces"])
    'apples, pears and quinces'
    """
    words = list(items)
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {joiner} {words[-1]}"


def as_units(text: str) -> Units:
    """`metric` or `imperial`; BadInput otherwise."""
    if text == "metric":
        return "metric"
    if text == "imperial":
        return "imperial"
    raise BadInput(f"Units cannot be “{plain(text)}”", where="--units", remedy="Choose metric or imperial")


def metres(length: float | None, units: Units) -> float | None:
    """A length as the reader gave it (metres, or feet when imperial) -> metres."""
    return length if length is None or units == "metric" else length * convert.METRES_PER_FOOT


def litres(volume: float | None, units: Units) -> float | None:
    """A volume as the reader gave it (litres, or US gallons when imperial) -> litres."""
    return volume if volume is None or units == "metric" else volume * convert.LITRES_PER_US_GALLON


def place_sentence(site: Mapping[str, Any], units: Units = "metric") -> str:
    """Which place was taken, and which others bear its name. site: `Ranking.site`."""
    if not site.get("place"):
        if "zone" in site.get("answers", {}):
            return "Took a typical climate with the zone and the winter chill you gave."
        point = point_words(site["lat"], site["lon"])
        return f"Took the point at {point}, {height_words(site['elevation_m'], units)}."
    named = ", ".join(
        dict.fromkeys(plain(site[key]) for key in ("place", "region", "country") if site.get(key))
    )
    others = [plain(other) for other in site.get("others", ())]
    shown = "; ".join(others[:3]) + (f"; and {len(others) - 3} more" if len(others) > 3 else "")
    also = f" Others called {plain(site['place'])}: {shown}. Add region or country to mean one of these."
    return f"Took {named}, {height_words(site['elevation_m'], units)}.{also if others else ''}"


def point_words(lat: float, lon: float) -> str:
    """A point on the map, to the hundredth of a degree.

    >>> point_words(51.454, -2.596)
    '51.45° N, 2.60° W'
    """
    return f"{abs(lat):.2f}° {'S' if lat < 0 else 'N'}, {abs(lon):.2f}° {'W' if lon < 0 else 'E'}"


def height_words(elevation_m: float, units: Units = "metric") -> str:
    """Height above the sea, without false precision.

    >>> height_words(123.4), height_words(123.4, "imperial")
    ('about 120 m above the sea', 'about 400 ft above the sea')
    """
    step, unit = (100.0, "ft") if units == "imperial" else (10.0, "m")
    value = elevation_m / convert.METRES_PER_FOOT if units == "imperial" else elevation_m
    return f"about {number_words(round(value / step) * step)} {unit} above the sea"


def climate_figures(site: Mapping[str, Any], units: Units = "metric") -> list[tuple[str, str, str]]:
    """The four figures a grower asks for first: what it is called, the usual value, its spread over the
    winters.
    """
    figures = site["figures"]
    cold, cold_span = span_words(figures["annual_extreme_min_degC"], "degC", units)
    chill, chill_span = span_words(figures["chill_hours_below_7"], "h", units)
    last, last_span = span_words(figures["last_spring_frost"], "", units)
    first, first_span = span_words(figures["first_autumn_frost"], "", units)
    portions = span_words(figures["chill_portions"], "CP", units)[0]
    unfrozen = (
        f"{span_words(figures['chill_hours_0_7'], 'h', units)[0].removesuffix(' hours')} above freezing"
    )
    return [
        ("Hardiness zone (USDA)", f"{site['zone']}", f"coldest night {cold}, {cold_span}".rstrip(", ")),
        ("Winter chill below 7 °C" if units == "metric" else "Winter chill below 45 °F", chill,
         "; ".join(part for part in (chill_span, unfrozen, portions) if part)),
        ("Last spring frost", last, last_span),
        ("First autumn frost", first, first_span),
    ]  # fmt: skip


def climate_sentences(site: Mapping[str, Any], units: Units = "metric") -> list[str]:
    """The same figures as sentences, for the terminal."""
    return [
        f"{name}: {figure}{f' ({span})' if span else ''}."
        for name, figure, span in climate_figures(site, units)
    ]


def ordinal(place: int) -> str:
    """A place in a list.

    >>> ordinal(1), ordinal(22), ordinal(13)
    ('1st', '22nd', '13th')
    """
    ending = "th" if 10 <= place % 100 <= 20 else {1: "st", 2: "nd", 3: "rd"}.get(place % 10, "th")
    return f"{place}{ending}"


def certainty(row: Any, count: int, with_score: bool = True) -> str:
    """One line on how sure place and verdict of a ranked row with intervals are; "" without intervals.

    with_score: also between which scores.

    row: rank, rank_low, rank_high, level_with, score_low, score_high, verdict and chance_<verdict>.
    """
    if getattr(row, "rank_low", None) is None:
        return ""
    chance = float(getattr(row, f"chance_{row.verdict.replace(' ', '_')}"))
    between = (
        f"{ordinal(row.rank_low)} of {count}"
        if row.rank_low == row.rank_high
        else f"between {ordinal(row.rank_low)} and {ordinal(row.rank_high)} of {count}"
    )
    level = "" if row.level_with >= row.rank else f", level with the {ordinal(row.level_with)}"
    how = "" if chance >= SURE else f"; {row.verdict} in {round(chance * 10)} cases of 10"
    score = f"; score {row.score_low:.2f} to {row.score_high:.2f}" if with_score else ""
    return f"{between}{level}{score}{how}."
