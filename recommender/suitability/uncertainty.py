"""How sure a ranking is: score interval, rank range, chance of each verdict, from drawn traits and climate.

In come the arrays a ranking was made of; out goes a `Spread`. Each draw takes one possible truth: every
variety's traits (bloom, harvest, hardiness, chill need, warmth need, disease) moved by a normal deviate times
their errors, the site's figures moved by theirs, and the years drawn anew with replacement. Years and site
are the same for all varieties within a draw (common random numbers), so what they share does not blur who
stands above whom. A variety's deviates depend on its name and the seed alone, not on which other crops were
asked for.

Left out: the error of the model itself, pollination (an answer, not a figure), proof and the wishes that are
yes or no.

References
    [1] Glasserman and Yao 1992, Some guidelines and guarantees for common random numbers,
        doi 10.1287/mnsc.38.6.884.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from recommender.biology.bloom_parameters import HOURS_PER_PORTION
from recommender.suitability import criteria
from recommender.suitability.verdicts import (
    DOUBTFUL,
    LIMITS,
    RULED_OUT,
    RULED_OUT_CEILING,
    SOUND,
    WITH_CARE,
    tier,
)

if TYPE_CHECKING:
    from recommender.climate.profile import Profile
    from recommender.suitability.expectations import Trait, Varieties
    from recommender.suitability.timing import Timing

Floats = NDArray[np.float64]

DRAWS = 100
SEED = 20261125
# Interval and rank range hold this share of the draws.
HOLDS = 0.8
# A variety is level with the leader of its group unless the leader beats it in at least this share of draws.
CLEARLY_BETTER = 0.75
# Half of the span between a crop's failing and its good summer warmth is doubt about that span (our
# choice).
WARMTH_DOUBT = 0.5
_NODES = np.array([-3.0, -1.75, -0.75, 0.0, 0.75, 1.75, 3.0])
_POOL = 1 << 16
_TRAITS = ("hardiness", "chill", "bloom", "harvest", "warmth", "disease")


@dataclass(frozen=True, eq=False)
class Spread:
    """score_low, score_high (V,): hold 8 of 10 draws; rank_low, rank_high (V,): the same of the place;
    chance (V, 4): of each verdict, best first; ranked_by (V, D): score in each draw, one less where ruled
    out."""

    score_low: Floats
    score_high: Floats
    rank_low: NDArray[np.intp]
    rank_high: NDArray[np.intp]
    chance: Floats
    ranked_by: NDArray[np.float32]


@lru_cache(maxsize=8)
def _pool(seed: int, trait: int) -> Floats:
    return np.random.default_rng([seed, trait]).standard_normal(_POOL)


def deviates(names: list[str], trait: str, draws: int, seed: int) -> Floats:
    """Standard normal deviates (V, D) of one trait: the same for a name and seed whatever else is asked."""
    start = np.array([zlib.crc32(name.encode()) for name in names], dtype=np.int64) % (_POOL - draws)
    return _pool(seed, _TRAITS.index(trait))[start[:, None] + np.arange(draws)[None, :]]


def _above(years: Floats, need: Floats) -> Floats:
    """Share of years (D, Y; each row sorted) above the needs (V, D) of the same draw."""
    draws, count = years.shape
    share = np.empty(need.shape)
    columns = np.ascontiguousarray(need.T)
    for draw in range(draws):
        share[:, draw] = count - np.searchsorted(years[draw], columns[draw], side="right")
    return share / count


def _at_nodes(by_node: Floats, weight: Floats, step: Floats) -> Floats:
    """Years averaged by the weights of each draw (Y, D), then read off between the nodes at `step` (V, D).

    by_node (V, N, Y).
    """
    size, nodes, years = by_node.shape
    means = (by_node.reshape(size * nodes, years) @ weight).reshape(size, nodes, -1)
    place = np.interp(step, _NODES, np.arange(nodes))
    low = np.minimum(place.astype(np.intp), nodes - 2)
    part = place - low
    row, draw = np.arange(size)[:, None], np.arange(step.shape[1])[None, :]
    lower = means[row, low, draw]
    return lower + part * (means[row, low + 1, draw] - lower)


def _frost_by_node(tmin: Floats, when: Timing, kills: tuple[Floats, Floats]) -> Floats:
    """Share of a crop left (V, N, Y) with bloom moved by each node's number of errors."""
    years, days = tmin.shape
    coldest = criteria.coldest_fortnight(tmin)
    kill10, kill90 = kills[0][:, None, None], kills[1][:, None, None]
    move = np.rint(_NODES[None, :] * when.bloom_error[:, None]).astype(np.intp)
    at = np.clip(when.bloom[:, None, :] + move[:, :, None], 0, days - 1)
    night = coldest[np.arange(years)[None, None, :], at]
    dead = np.clip(0.1 + 0.8 * (kill10 - night) / (kill10 - kill90), 0.0, 1.0)
    dead = np.where(np.isfinite(night), dead, 0.0)
    return np.minimum((1.0 - dead) / criteria.FLOWERS_FOR_A_CROP, 1.0)


def _season_by_node(when: Timing) -> Floats:
    """Whether fruit is ripe in time (V, N, Y), with harvest moved by each node's number of errors."""
    spare = (when.season_end[None, :] - when.harvest).astype(float)[:, None, :]
    ripe = ndtr((spare - (_NODES[None, :] * when.harvest_error[:, None])[:, :, None]) / 4.0)
    return np.where(when.bears[:, None, :], ripe, 1.0)


def _warmth_by_node(gdd10: Floats, varieties: Varieties, error: float) -> Floats:
    need, width = criteria.warmth_need(varieties)
    doubt = np.hypot(width * WARMTH_DOUBT, error)
    soft = width * np.sqrt(1.0 - WARMTH_DOUBT**2)
    apart = gdd10[None, None, :] - need[:, None, None] - (_NODES[None, :] * doubt[:, None])[:, :, None]
    return ndtr(apart / soft[:, None, None])


def drawn_limits(
    varieties: Varieties,
    profile: Profile,
    when: Timing,
    kills: tuple[Floats, Floats],
    frost_shift: float,
    draws: int = DRAWS,
    seed: int = SEED,
) -> dict[str, Floats]:
    """The limiting criteria of `verdicts.LIMITS` in every draw (V, D)."""
    names = names_of(varieties)
    rng = np.random.default_rng(seed)
    count = len(profile.annual_min)
    chosen = rng.integers(count, size=(draws, count))
    weight = np.stack([np.bincount(row, minlength=count) for row in chosen], axis=1) / count
    site_cold, site_chill = rng.standard_normal((2, draws, 1))
    error_K = criteria.site_error(profile, "annual_extreme_min_degC", 2.0)
    error_hours = criteria.site_error(profile, "chill_hours_below_7", 100.0)
    error_portions = criteria.site_error(profile, "chill_portions", 6.0)

    coldest = np.sort(profile.annual_min[chosen] + 0.5 * frost_shift + site_cold * error_K, axis=1)
    hardy = varieties.hardiness
    cold = hardy.value[:, None] + hardy.error[:, None] * deviates(names, "hardiness", draws, seed)
    found = {"winter": _above(coldest, cold)}

    hours = np.sort(profile.chill_hours_below_7[chosen] + site_chill * error_hours, axis=1)
    portions = np.sort(profile.chill_portions[chosen] + site_chill * error_portions, axis=1)
    step = deviates(names, "chill", draws, seed)
    need, wanted = varieties.chill_hours, varieties.chill_portions
    drawn = np.maximum(need.value[:, None] + need.error[:, None] * step, 0.0)
    drawn_portions = wanted.value[:, None] + wanted.error[:, None] * step
    in_portions = varieties.by_portions[:, None]
    as_portions = np.where(in_portions, drawn_portions, drawn / HOURS_PER_PORTION)
    by_hours = np.where(in_portions, 0.0, _above(hours, drawn))
    found["chill"] = np.maximum(by_hours, _above(portions, as_portions))
    found["chill"][~varieties.by_portions & (need.value <= 0.0)] = 1.0

    found["dormancy"] = _dormancy(profile.chill_hours_0_7, varieties, drawn, drawn_portions)
    still = varieties.evergreen
    frost = _frost_by_node(profile.tmin + frost_shift, when, kills)
    found["bloom_frost"] = _at_nodes(frost, weight, deviates(names, "bloom", draws, seed))
    found["season"] = _at_nodes(_season_by_node(when), weight, deviates(names, "harvest", draws, seed))
    found["bloom_frost"][still] = found["season"][still] = 1.0
    error_gdd = criteria.site_error(profile, "gdd10", 60.0)
    warm = _warmth_by_node(profile.gdd10, varieties, error_gdd)
    found["warmth"] = _at_nodes(warm, weight, deviates(names, "warmth", draws, seed))
    return found


def _dormancy(hours_0_7: Floats, varieties: Varieties, drawn: Floats, drawn_portions: Floats) -> Floats:
    """`criteria.stays_asleep` of drawn needs (V, D)."""
    answer = np.ones(drawn.shape)
    asked = criteria.may_wake_early(varieties)
    if asked.any():
        need = np.where(varieties.by_portions[:, None], drawn_portions * HOURS_PER_PORTION, drawn)[asked]
        supply = max(float(np.median(hours_0_7)), 1.0)
        doublings = np.log2(criteria.WAKING_RATIO) - np.log2(supply / np.maximum(need, 50.0))
        answer[asked] = 0.3 + 0.7 * ndtr(doublings / criteria.WAKING_SPREAD)
    return answer


def drawn_verdicts(found: dict[str, Floats], best: NDArray[np.intp]) -> NDArray[np.int8]:
    """The verdict in every draw (V, D) as its place in VERDICTS. In a draw nothing is uncertain, so the
    thresholds hold as they stand. best (V,): the best verdict that partner, room and evidence allow."""
    shape = next(iter(found.values())).shape
    sound, doubtful, ruled_out = (np.full(shape, value) for value in (True, False, False))
    for name, limit in LIMITS.items():
        sound &= found[name] >= limit.sound
        doubtful |= found[name] < limit.doubtful
        ruled_out |= found[name] < limit.veto
    verdict = np.full(shape, WITH_CARE, dtype=np.int8)
    verdict[sound] = SOUND
    verdict[doubtful] = DOUBTFUL
    np.maximum(verdict, best[:, None].astype(np.int8), out=verdict)
    verdict[ruled_out] = RULED_OUT
    return verdict


def names_of(varieties: Varieties) -> list[str]:
    """Crop and name of each variety, which its deviates hang on."""
    frame = varieties.frame
    return (frame["crop"].astype(str) + ":" + frame["variety"].astype(str)).to_list()


def with_disease(
    varieties: Varieties,
    trait: Trait,
    factor: Floats,
    swing: Floats,
    draws: int = DRAWS,
    seed: int = SEED,
) -> Floats:
    """What multiplies the product of the limiting criteria in every draw (V, D).

    trait: the disease criterion with its error; factor (V,): as shown; swing (V,): relative change of it
    from no resistance to full resistance.
    """
    moved = trait.error[:, None] * deviates(names_of(varieties), "disease", draws, seed)
    moved = np.clip(trait.value[:, None] + moved, 0.0, 1.0) - trait.value[:, None]
    return factor[:, None] * np.maximum(1.0 + swing[:, None] * moved, 0.0)


def columns(sure: Spread, order: NDArray[np.intp], verdicts: tuple[str, ...]) -> dict[str, NDArray[Any]]:
    """The columns of the ranking's frame (V,), from its order (V rows, best first): score_low, score_high,
    rank_low, rank_high, level_with and chance_<verdict>."""
    level = np.empty(len(order), dtype=np.intp)
    level[order] = level_with(sure.ranked_by[order])
    return {
        "score_low": sure.score_low.round(6),
        "score_high": sure.score_high.round(6),
        "rank_low": sure.rank_low,
        "rank_high": sure.rank_high,
        "level_with": level,
        **{f"chance_{name.replace(' ', '_')}": sure.chance[:, at] for at, name in enumerate(verdicts)},
    }


def spread(
    found: dict[str, Floats],
    powers: dict[str, float],
    score: Floats,
    other: Floats,
    best: NDArray[np.intp],
    shown_order: NDArray[np.intp],
) -> Spread:
    """Interval, rank range and chances of drawn criteria.

    found: criterion -> (V, D); powers: of each criterion in the product; score (V,): the score shown;
    other (V,) or (V, D): what multiplies the product of the limiting criteria; best: as for `drawn_verdicts`;
    shown_order (V,): the rows as ranked, best first. The interval always
    holds the shown score and place.
    """
    product = np.ones(next(iter(found.values())).shape)
    for name, power in powers.items():
        product *= np.maximum(found[name], 1e-6) ** power
    verdict = drawn_verdicts(found, best)
    scores = product * (other if other.ndim == 2 else other[:, None])
    scores[verdict == RULED_OUT] *= RULED_OUT_CEILING
    tails = np.array([0.5 - HOLDS / 2.0, 0.5 + HOLDS / 2.0])
    low, high = _quantiles(scores, tails)
    # Scores lie in [0, 1], so one less for each tier puts what is doubtful below, and what is ruled out last.
    ranked_by = scores - tier(verdict)
    order = np.argsort(-ranked_by, axis=0, kind="stable")
    ranks = np.empty(order.shape, dtype=np.intp)
    np.put_along_axis(ranks, order, np.arange(1, len(score) + 1)[:, None], axis=0)
    first, last = _quantiles(ranks.astype(np.float64), tails)
    shown = np.empty(len(score), dtype=np.intp)
    shown[shown_order] = np.arange(1, len(score) + 1)
    chance = np.stack([(verdict == place).mean(axis=1) for place in range(4)], axis=1)
    return Spread(
        score_low=np.minimum(low, score),
        score_high=np.maximum(high, score),
        rank_low=np.minimum(np.floor(first).astype(np.intp), shown),
        rank_high=np.maximum(np.ceil(last).astype(np.intp), shown),
        chance=chance,
        ranked_by=ranked_by.astype(np.float32),
    )


def _quantiles(values: Floats, tails: Floats) -> tuple[Floats, Floats]:
    """Lower and upper quantile (V,) of each row, the nearest draws outward."""
    draws = values.shape[1]
    low, high = int(np.floor(tails[0] * (draws - 1))), int(np.ceil(tails[1] * (draws - 1)))
    parted = np.partition(values, (low, high), axis=1)
    return parted[:, low], parted[:, high]


def level_with(scores: NDArray[np.float32]) -> NDArray[np.intp]:
    """For rows in ranked order (V, D): the place (from 1) of the first variety each is level with.

    A variety is level with the leader of its group unless the leader beats it in at least three draws of four
    (the same draws for both); the first that is clearly worse leads the next group.
    """
    size = len(scores)
    level = np.empty(size, dtype=np.intp)
    leader = 0
    while leader < size:
        end, block = leader + 1, 64
        while end < size:
            part = scores[end : end + block]
            better = (scores[leader] > part).mean(axis=1) + 0.5 * (scores[leader] == part).mean(axis=1)
            beaten = np.flatnonzero(better >= CLEARLY_BETTER)
            if len(beaten):
                end += int(beaten[0])
                break
            end += len(part)
        level[leader:end] = leader + 1
        leader = end
    return level
