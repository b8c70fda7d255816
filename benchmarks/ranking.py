"""What a ranking of every variety costs, warm, beside the same rules written as a row-by-row pandas `apply`.

Run: python -m benchmarks.ranking [place]

What many sites at once cost a core follows (benchmarks.scoring_batch).

Both ways get the same inputs (expectations, climate, bloom and harvest days) and must give the same score and
verdict for every variety, or the script says so and exits with 1. The row-by-row way is what one would write
first: each criterion as a function of one row, applied down the frame.
"""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Callable
from statistics import median
from typing import Any

import numpy as np
import pandas as pd

from benchmarks import scoring_batch
from benchmarks.record import compared
from recommender import Goals, Site, open_catalog, rank
from recommender.biology.bloom_parameters import HOURS_PER_PORTION
from recommender.suitability import care, criteria, disease, garden, ranking, uncertainty, verdicts
from recommender.suitability.criteria import FLOWERS_FOR_A_CROP
from recommender.suitability.crop_defaults import early_crops
from recommender.suitability.garden_partners import garden_partners
from recommender.suitability.limits import ENDS, STRIPPED, LOW_NEED_h
from recommender.suitability.site import climate_of
from recommender.suitability.timing import timing
from recommender.suitability.weights import LEAST


def normal(value: float) -> float:
    """Standard normal distribution function of one number."""
    return 0.5 * math.erfc(-value / math.sqrt(2.0))


def share(years: np.ndarray, need: float, error: float) -> float:
    """Expected share of years above a need, one year after the other."""
    return sum(normal((year - need) / max(error, 1e-9)) for year in years) / len(years)


def by_rows(site: Site, catalog: Any) -> pd.DataFrame:
    """Score and verdict of every variety by `DataFrame.apply`, one row at a time."""
    profile, match = climate_of(site)
    country = match.country_code if match else ""
    all_of = ranking.varieties_of(catalog)
    when = timing(profile, all_of, site.frost_shift)
    kill10, kill90 = criteria.kill_temperatures(catalog.bloom_critical_temps(), all_of.frame["crop"])
    weather = disease.weather_of(site, profile.lat, profile.lon, profile.elevation_m)
    presses = {name: disease.pressure(name, weather, site.wetness) for name in disease.DISEASES}
    waking = math.log2(max(float(np.median(profile.chill_hours_0_7)), 1.0))
    error_K = criteria.site_error(profile, "annual_extreme_min_degC", 2.0)
    error_hours = criteria.site_error(profile, "chill_hours_below_7", 100.0)
    error_portions = criteria.site_error(profile, "chill_portions", 6.0)
    coldest, tmin = profile.annual_min + 0.5 * site.frost_shift, profile.tmin + site.frost_shift
    partners = garden_partners(catalog, [], np.arange(len(all_of)), when.blooms)
    counted = ranking.records_of(catalog)[1]
    frame = all_of.frame[["crop", "variety"]].assign(
        hardy=all_of.hardiness.value,
        hardy_error=all_of.hardiness.error,
        hardy_known=all_of.hardiness.known,
        need=all_of.chill_hours.value,
        need_error=all_of.chill_hours.error,
        need_known=all_of.chill_hours.known,
        portions=all_of.chill_portions.value,
        portions_error=all_of.chill_portions.error,
        by_portions=all_of.by_portions,
        evergreen=all_of.evergreen,
        alone=partners.alone,
        gains=partners.gains,
        male=partners.male,
        early=all_of.frame["crop"].isin(early_crops()),
        kill10=kill10,
        kill90=kill90,
        fails=all_of.defaults["warmth_fails"].to_numpy(),
        good=all_of.defaults["warmth_good"].to_numpy(),
        heat=criteria.text(all_of.frame, "heat_need"),
        place=all_of.ripe_class.value,
        height=all_of.height.value,
        **{f"resists_{name}": disease.resistance(all_of, name).value for name in disease.DISEASES},
        general=all_of.disease.value,
        rating=criteria.rated_for_zone(all_of, profile.zone_number),
        share=ranking.known_share(all_of),
        track=ranking.track(catalog, profile, country, ranking.known_share(all_of), np.arange(len(all_of))),
        at=np.arange(len(all_of)),
    )

    def chill(row: pd.Series, step: float, width: float) -> float:
        if row["by_portions"]:
            need = row["portions"] + step * row["portions_error"]
            return share(
                profile.chill_portions, need, math.hypot(row["portions_error"] * width, error_portions)
            )
        if row["need"] <= 0:
            return 1.0
        need, error = row["need"] + step * row["need_error"], row["need_error"] * width
        return max(
            share(profile.chill_hours_below_7, need, math.hypot(error, error_hours)),
            share(
                profile.chill_portions,
                row["need"] / HOURS_PER_PORTION + step * (row["need_error"] / HOURS_PER_PORTION),
                math.hypot(error / HOURS_PER_PORTION, error_portions),
            ),
        )

    def frost(row: pd.Series) -> float:
        if row["evergreen"]:
            return 1.0
        spread, total = round(when.bloom_error[row["at"]]), 0.0
        for year in range(len(tmin)):
            for weight, move in ((0.25, -1), (0.5, 0), (0.25, 1)):
                day = min(max(when.bloom[row["at"], year] + move * spread, 0), tmin.shape[1] - 1)
                night = tmin[year, max(day - 2, 0) : day + criteria.BLOOM_LASTS_DAYS + 1].min()
                dead = 0.1 + 0.8 * (row["kill10"] - night) / (row["kill10"] - row["kill90"])
                total += weight * min((1.0 - min(max(dead, 0.0), 1.0)) / FLOWERS_FOR_A_CROP, 1.0)
        return total / len(tmin)

    def dormancy(row: pd.Series) -> float:
        if row["evergreen"] or not row["early"]:
            return 1.0
        need = max(row["portions"] * HOURS_PER_PORTION if row["by_portions"] else row["need"], 50.0)
        spread = math.hypot(criteria.WAKING_SPREAD, min(row["need_error"] / need, 1.0))
        return 0.3 + 0.7 * normal((math.log2(criteria.WAKING_RATIO) - waking + math.log2(need)) / spread)

    def season(row: pd.Series, step: float) -> float:
        if row["evergreen"]:
            return 1.0
        error, bears = when.harvest_error[row["at"]], when.bears[row["at"]]
        spare = when.season_end - when.harvest[row["at"]]
        ripe = [
            normal(days / error - step) if bearing else 1.0
            for days, bearing in zip(spare, bears, strict=True)
        ]
        return sum(ripe) / len(ripe)

    def warmth(row: pd.Series) -> float:
        own = {"low": 0.85, "high": 1.15}.get(row["heat"], 1.0)
        middle = (row["fails"] + row["good"]) / 2 * own * (1 + 0.08 * min(max(row["place"], -2.0), 2.0))
        return share(profile.gdd10, middle, (row["good"] - row["fails"]) / 2)

    def health(row: pd.Series) -> float:
        hosts = disease.HOSTS.get(row["crop"])
        if hosts is None:
            return 1.0 - disease.MIDDLING * (1.0 - row["general"])
        loss = sum(weight * presses[name] * (1.0 - row[f"resists_{name}"]) for name, weight in hosts.items())
        return min(max(1.0 - loss / sum(hosts.values()), 0.0), 1.0)

    def effort(winter: float, bloom: float, partner: float, healthy: float, height: float) -> float:
        burden = care.BURDENS["disease"] * (1 - healthy) + care.BURDENS["frost"] * (1 - bloom)
        burden += care.BURDENS["cover"] * min(max((0.9 - winter) / 0.4, 0.0), 1.0)
        burden += care.BURDENS["partner"] if partner < 0.7 else 0.0
        burden += care.BURDENS["ladder"] * normal((height - care.LADDER_FROM_M) / 0.5)
        return min(max(1.0 - burden, 0.0), 1.0)

    def score(row: pd.Series) -> pd.Series:
        error = math.hypot(row["hardy_error"], error_K)
        far = {name: 1.0 if row[f"{name}_known"] else 2.0 for name in ("hardy", "need")}
        far["need"] = 1.0 if row["by_portions"] else far["need"]
        winter = share(coldest, row["hardy"], error)
        cold = chill(row, 0.0, 1.0)
        found = {
            "winter": winter, "chill": cold, "dormancy": dormancy(row), "bloom_frost": frost(row),
            "season": season(row, 0.0), "warmth": warmth(row),
        }  # fmt: skip
        low = {
            "winter": min(winter, share(coldest, row["hardy"] + row["hardy_error"], error_K)),
            "chill": min(cold, chill(row, 1.0, 0.0)),
            "season": min(found["season"], season(row, ENDS["_low"][0])),
        }
        high = {
            "winter": max(winter, share(coldest, row["hardy"] - far["hardy"] * row["hardy_error"], error_K)),
            "chill": max(cold, chill(row, -far["need"], 0.0)),
            "season": max(found["season"], season(row, -ENDS["_high"][1])),
        }
        if not row["by_portions"] and row["need"] <= LOW_NEED_h:
            high["chill"] = max(high["chill"], STRIPPED)
        kind = "alone" if row["alone"] else "no fruit" if row["male"] else "unknown"
        kind = "partly" if row["gains"] and kind == "unknown" else kind
        partner = criteria.POLLINATION[kind]
        healthy = health(row)
        weights = (ranking.WISHES["pollination"], ranking.WISHES["disease"], garden.WEIGHTS["care"])
        ease = effort(winter, found["bloom_frost"], partner, healthy, row["height"])
        liked = weights[0] * partner + weights[1] * healthy + weights[2] * ease
        liked /= sum(weights)
        by_wishes, trust = ranking.PRESETS["beginner"]
        thin = counted.rating * (1 - row["rating"]) + trust * counted.total * (1 - row["track"])
        value = (1 - by_wishes * (1 - liked)) * math.exp(-thin)
        verdict = 0 if partner >= verdicts.PARTNER_MISSING else 1
        known = 1 - (1 - row["share"]) * (1 - row["track"])
        verdict = (
            2 if known < verdicts.TOO_LITTLE else max(verdict, 1) if known < verdicts.WELL_KNOWN else verdict
        )
        ruled_out = False
        for name, limit in verdicts.LIMITS.items():
            value *= min(max(found[name], LEAST), 1.0) ** counted.powers[name]
            hopeless = name not in verdicts.NEVER_HOPELESS and found[name] < limit.veto * verdicts.HOPELESS
            ruled_out |= high.get(name, found[name]) < limit.veto or hopeless
            if found[name] < limit.doubtful:
                verdict = 2
            if found[name] < limit.sound or low.get(name, 1.0) < verdicts.UNPROVEN:
                verdict = max(verdict, 1)
        verdict = 3 if ruled_out else verdict
        value *= verdicts.RULED_OUT_CEILING if verdict == 3 else 1.0
        return pd.Series({"score": value, "verdict": verdicts.VERDICTS[verdict]})

    return frame[["crop", "variety"]].join(frame.apply(score, axis=1))


def seconds(work: Callable[[], Any], times: int) -> tuple[float, Any]:
    """Median seconds of CPU time of `times` runs, and the last result: other work on the machine counts
    little."""
    taken, result = [], None
    for _ in range(times):
        start = time.process_time()
        result = work()
        taken.append(time.process_time() - start)
    return median(taken), result


def main() -> int:
    """Print the figures; 1 if the two ways disagree."""
    site = Site(place=sys.argv[1] if len(sys.argv) > 1 else "Geneva, New York")
    catalog = open_catalog()
    first, ranked = seconds(lambda: rank(site, Goals(), catalog), 1)
    warm, ranked = seconds(lambda: rank(site, Goals(), catalog), 9)
    drawn, _ = seconds(lambda: rank(site, Goals(), catalog, intervals=True), 9)
    told, records = seconds(ranked.records, 3)
    rows, slow = seconds(lambda: by_rows(site, catalog), 1)
    both = ranked.frame.merge(slow, on=["crop", "variety"], suffixes=("", "_rows"))
    apart = float((both["score"] - both["score_rows"]).abs().max())
    same = bool((both["verdict"] == both["verdict_rows"]).all()) and apart < 1e-5
    years = len(ranked.context.profile.annual_min)
    print(f"{len(ranked.frame)} varieties, {years} years, {site.place}; times are of CPU")
    print(f"first ranking, climate included    {first * 1000:8.0f} ms")
    print(f"ranking of all varieties, warm     {warm * 1000:8.0f} ms (criteria, verdicts, why and watch)")
    extra = drawn - warm
    print(f"the same with intervals            {drawn * 1000:8.0f} ms ({uncertainty.DRAWS} draws)")
    print(f"a ranking for every draw instead   {uncertainty.DRAWS * warm * 1000:8.0f} ms (computed)")
    print(f"ratio of that to the draws         {uncertainty.DRAWS * warm / extra:8.0f} times")
    print(f"every reason in words              {told * 1000:8.0f} ms ({len(records)} records)")
    print(f"same rules by pandas apply         {rows * 1000:8.0f} ms (score and verdict only)")
    print(f"ratio                              {rows / warm:8.0f} times")
    what = f"ranking of {len(ranked.frame):,} varieties at a site, warm"
    compared(what, warm * 1e3, "the same rules by pandas apply, row by row", rows * 1e3, "ms")
    in_full = uncertainty.DRAWS * warm * 1e3
    compared("intervals and rank ranges", extra * 1e3, "a ranking for each draw", in_full, "ms")
    print(f"results {'the same' if same else 'DIFFER'}: scores apart by at most {apart:.1e}\n")
    return scoring_batch.main() or (0 if same else 1)


if __name__ == "__main__":
    sys.exit(main())
