"""What would change a verdict: a partner, cover, a warmer spot; and what would not, such as a rootstock.

In come the arrays a ranking was made of; out go sentences for the rows asked. Each change is tried by itself
and told only if the verdict really comes out better, so nothing is promised that the model would not grant.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from recommender.climate.adjustments import STILL_NIGHT_K
from recommender.suitability import cover, criteria
from recommender.suitability.verdicts import LIMITS, TOO_BIG, VERDICTS, WITH_CARE, verdicts

if TYPE_CHECKING:
    from recommender.suitability.garden import Garden
    from recommender.suitability.reasons import Context

Floats = NDArray[np.float64]
Verdicts = NDArray[np.intp]

PARTNER = "partner"
COVER = "cover"
WALL = "wall"


@dataclass(frozen=True, eq=False)
class Changes:
    """Verdict (V,) as it stands and after each change tried, as places in `verdicts.VERDICTS`."""

    now: Verdicts
    after: dict[str, Verdicts]
    frost_at_wall: Floats


def changes(context: Context, plot: Garden) -> Changes:
    """Try each change on every variety."""
    found, wished = context.found, context.wished
    after: dict[str, Verdicts] = {}
    fruitless = context.garden.male
    partner = {**wished, "pollination": np.where(fruitless, wished["pollination"], 1.0)}
    after[PARTNER] = verdicts(found, partner)
    gain = plot.winter_covered - found["winter"]
    wrapped = {
        **found,
        **{name: np.clip(found[name] + gain, 0.0, 1.0) for name in ("winter", "winter_low", "winter_high")},
    }
    after[COVER] = np.maximum(verdicts(wrapped, wished), WITH_CARE)
    shift = STILL_NIGHT_K["sheltered"] - context.site.frost_shift
    milder = found["bloom_frost"]
    if shift > 0:
        kills = (context.kills[0], context.kills[1])
        milder = criteria.bloom_without_frost(
            context.profile.tmin + STILL_NIGHT_K["sheltered"],
            context.when,
            *kills,
            context.varieties.evergreen,
        )
    after[WALL] = verdicts({**found, "bloom_frost": np.maximum(milder, found["bloom_frost"])}, wished)
    return Changes(context.verdict, after, milder)


def _step(kelvin: float, units: str) -> str:
    """A difference of temperature in words."""
    return f"{kelvin * 1.8:.0f} °F" if units == "imperial" else f"{kelvin:g} °C"


def sentences(
    context: Context, plot: Garden, rows: NDArray[np.intp], units: str = "metric"
) -> list[list[str]]:
    """What would lift the verdict of each of `rows`, and what would not; [] for a variety that is sound."""

    tried = changes(context, plot)
    told: list[list[str]] = []
    for row in np.asarray(rows, dtype=np.intp).tolist():
        now, lines = int(tried.now[row]), []
        if now == 0:
            told.append([])
            continue
        better = {
            name: VERDICTS[int(verdict[row])] for name, verdict in tried.after.items() if verdict[row] < now
        }
        if PARTNER in better:
            lines.append(
                f"A pollen partner that blooms with it would lift it from {VERDICTS[now]} "
                f"to {better[PARTNER]}."
            )
        # A cover that still leaves it doubtful is no advice.
        if better.get(COVER) == VERDICTS[1] and plot.can_be_wrapped[row]:
            crop = str(context.varieties.frame["crop"].iloc[row])
            lines.append(
                cover.sentence(
                    _step(plot.around.cover_gain_K, units), plot.around.cover_standing,
                    float(plot.nights[row]), float(plot.winter_covered[row]), crop,
                    f"{better[COVER]} instead of {VERDICTS[now]}",
                )
            )  # fmt: skip
        if WALL in better:
            lines.append(
                f"A spot by a wall or under shelter, {_step(STILL_NIGHT_K['sheltered'], units)} milder on "
                f"still nights (common practice), would lift it to {better[WALL]}."
            )
        lacking = [name for name, limit in LIMITS.items() if context.found[name][row] < limit.sound]
        if "winter" in lacking:
            lines.append("A hardier rootstock would not help: it does not make the top hardier.")
        if "chill" in lacking:
            lines.append("Nothing a gardener does makes up for missing winter chill; choose a lower need.")
        if not lines and ("warmth" in lacking or "season" in lacking):
            lines.append("Only a warmer place would help: summers here are too short or too cool for it.")
        if not lines and "dormancy" in lacking:
            lines.append(
                "A colder spot, such as a north slope, would keep it asleep longer (common practice)."
            )
        if not lines and "bloom_frost" in lacking:
            lines.append("Shelter alone would not do; only a later-blooming variety escapes the frost here.")
        if context.wished["size"][row] < TOO_BIG:
            lines.append("More room, a smaller stock or a pot would be needed: it is hard to keep so small.")
        if not lines and not lacking:
            lines.append(
                "Nothing is known to stand against it; published figures on cold and chill would settle it."
            )
        told.append(lines)
    return told
