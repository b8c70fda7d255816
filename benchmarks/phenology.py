"""How long bloom, overlap, frost and harvest take for 1,500 varieties over 30 years.

    python benchmarks/phenology.py

Bloom is paired in the same run with a plain loop: one variety and one year at a time, each with its own
heat sum.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

from recommender import open_catalog
from recommender.biology import bloom_model
from recommender.biology.bloom import full_bloom
from recommender.biology.bloom_parameters import bloom_needs, load_bloom_parameters
from recommender.biology.phenology import bloom, frost_damage, harvest_window, overlap_days
from recommender.climate.normals import normals_at
from recommender.climate.profile import Profile, build_profile

VARIETIES, YEARS, LOOPED = 1500, 30, 60


def seconds(work: Callable[[], object], times: int = 3) -> float:
    """Best of a few runs."""
    best = float("inf")
    for _ in range(times):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return best


def main() -> None:
    """Print the figures."""
    catalog = open_catalog()
    traits = catalog.traits().sample(VARIETIES, random_state=1).sort_index().reset_index(drop=True)
    profile = build_profile(normals_at(51.5, -2.6), years=YEARS)
    parameters = load_bloom_parameters()
    needs = bloom_needs(traits, parameters)

    def cold() -> None:
        bloom_model._KEPT.pop(profile, None)
        full_bloom(traits, profile, parameters)

    fresh, kept = seconds(cold), seconds(lambda: full_bloom(traits, profile, parameters))
    looped = seconds(lambda: plain_loop(needs, profile), 1) * VARIETIES / LOOPED
    size = f"{VARIETIES} varieties, {YEARS} years"
    print(f"full bloom, {size}: {fresh * 1e3:.0f} ms (weather at hand: {kept * 1e3:.0f})")
    print(f"plain loop, from {LOOPED} varieties: {looped * 1e3:.0f} ms, {looped / fresh:.0f} times as long")
    blooms = bloom(traits, profile, parameters)
    apples = np.flatnonzero(traits["crop"] == "apple")
    table = catalog.bloom_critical_temps()
    for name, work in (
        ("bloom with length and chill", lambda: bloom(traits, profile, parameters)),
        (f"overlap of {len(apples)} apples with each other", lambda: overlap_days(blooms, apples, apples)),
        ("frost damage", lambda: frost_damage(traits, profile, table, 0.0, parameters)),
        ("harvest windows", lambda: harvest_window(traits, profile, blooms, needs.shift_d)),
    ):
        print(f"{name}: {seconds(work, 2) * 1e3:.0f} ms")


def plain_loop(needs: object, profile: Profile) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """Bloom of the first varieties, everything worked out anew for each."""
    from recommender.biology.bloom_parameters import BloomNeeds

    assert isinstance(needs, BloomNeeds)
    parameters = load_bloom_parameters()
    weather = bloom_model.bud_weather(profile)
    out = np.empty((LOOPED, len(profile.year)))
    for variety in range(LOOPED):
        curve = parameters.curve(str(needs.crop[variety]), float(needs.need_factor[variety]))
        start = bloom_model.bud_day_of(curve.heat_from, profile)
        for year in range(len(profile.year)):
            daily = bloom_model.warmth(weather.hourly[year], curve.warmth_degC, curve.steepness)
            running = bloom_model.heat_sum(daily, weather.chill[year], curve, weather.light, start)
            wanted = [np.exp(needs.log_requirement[variety])]
            out[variety, year] = bloom_model.day_reached(running, wanted)[0]
    return out


if __name__ == "__main__":
    main()
