"""Site-variety scores a second in batch, beside the same rules as pandas row-wise `apply` and as one DuckDB
query.

Run: python -m benchmarks.scoring_batch [sites]

All three ways get the same climates and expectations, bloom and harvest dates included for the two slower
ones, and must give the same scores, or the script says so and exits with 1. The query and the row-wise
functions score a share of the sites, as they are slow; rates are per core (one process, one thread of
DuckDB).
"""

from __future__ import annotations

import math
import sys
import time
from typing import Any

import duckdb
import numpy as np
import pandas as pd

from recommender import open_catalog
from recommender.biology.bloom_parameters import HOURS_PER_PORTION
from recommender.climate.normals import normals_at
from recommender.climate.profile import build_profile
from recommender.suitability import batch, criteria, track_record
from recommender.suitability.criteria import FLOWERS_FOR_A_CROP
from recommender.suitability.limits import ENDS, STRIPPED, LOW_NEED_h
from recommender.suitability.ranking import records_of, varieties_of
from recommender.suitability.timing import timing
from recommender.suitability.verdicts import HOPELESS, LIMITS, NEVER_HOPELESS, RULED_OUT_CEILING
from recommender.suitability.weights import LEAST

FAR = ENDS["_high"][1]
RUNS = 5
PLACES = [(42.87, -76.99), (30.52, -87.9), (50.9, -97.2), (48.8, 9.8), (-43.0, 147.0), (36.3, -115.1)]


def inputs(
    feature: batch.SiteFeatures, ready: batch.Plan, catalog: Any
) -> tuple[pd.DataFrame, dict[str, Any]]:
    """One row a variety with all that the slower ways need, and the site's figures."""
    profile, everyone = feature.profile, varieties_of(catalog)
    tables, weights = records_of(catalog)
    assert tables is not None
    parts = track_record.track_records(tables, feature.figures[None, :], [feature.country])
    when = timing(profile, everyone)
    kill10, kill90 = criteria.kill_temperatures(catalog.bloom_critical_temps(), everyone.frame["crop"])
    spread, days = np.rint(when.bloom_error).astype(int), feature.coldest.shape[1]
    years = np.arange(len(feature.coldest))[None, :]
    nights = [
        feature.coldest[years, np.clip(when.bloom + step * spread[:, None], 0, days - 1)]
        for step in (-1, 0, 1)
    ]
    heat = criteria.mapped(
        criteria.text(everyone.frame, "heat_need"), {"low": 0.85, "medium": 1.0, "high": 1.15}
    )
    fails = everyone.defaults["warmth_fails"].to_numpy()
    good = everyone.defaults["warmth_good"].to_numpy()
    rows = pd.DataFrame(
        {
            "variety_row": np.arange(len(everyone)),
            "hardy": everyone.hardiness.value,
            "hardy_error": everyone.hardiness.error,
            "hardy_far": np.where(everyone.hardiness.known, 1.0, 2.0),
            "need": everyone.chill_hours.value,
            "need_error": everyone.chill_hours.error,
            "need_far": np.where(everyone.chill_hours.known | everyone.by_portions, 1.0, 2.0),
            "portions": everyone.chill_portions.value,
            "portions_error": everyone.chill_portions.error,
            "by_portions": everyone.by_portions,
            "evergreen": everyone.evergreen,
            "early": criteria.may_wake_early(everyone),
            "kill10": kill10,
            "kill90": kill90,
            "before": nights[0].tolist(),
            "during": nights[1].tolist(),
            "after": nights[2].tolist(),
            # A year without bloom is not held against the season.
            "spare": np.where(when.bears, when.season_end[None, :] - when.harvest, 1e6).tolist(),
            "harvest_error": when.harvest_error,
            "warm_need": (fails + good)
            / 2
            * np.nan_to_num(heat, nan=1.0)
            * (1 + 0.08 * np.clip(everyone.ripe_class.value, -2, 2)),
            "warm_error": (good - fails) / 2,
            "rating": criteria.rated_for_zone(everyone, profile.zone_number),
            "track": track_record.combined(parts, dict(weights.record))[0],
            "liked": batch.wishes_at(batch.stacked([feature], ready), ready)[0],
        }
    )
    site = {
        "coldest": profile.annual_min.tolist(),
        "hours": profile.chill_hours_below_7.tolist(),
        "chill_portions": profile.chill_portions.tolist(),
        "gdd": profile.gdd10.tolist(),
        "supply": math.log2(max(float(np.median(profile.chill_hours_0_7)), 1.0)),
        "error_K": criteria.site_error(profile, "annual_extreme_min_degC", 2.0),
        "error_hours": criteria.site_error(profile, "chill_hours_below_7", 100.0),
        "error_portions": criteria.site_error(profile, "chill_portions", 6.0),
    }
    return rows, site


def by_rows(rows: pd.DataFrame, site: dict[str, Any], catalog: Any) -> np.ndarray:
    """The scores (V,) by `DataFrame.apply`, one row at a time."""
    weights = records_of(catalog)[1]
    total = weights.total

    def normal(value: float) -> float:
        return 0.5 * math.erfc(-value / math.sqrt(2.0))

    def share(years: list[float], need: float, error: float) -> float:
        return sum(normal((year - need) / max(error, 1e-9)) for year in years) / len(years)

    def chill(row: pd.Series, step: float, width: float) -> float:
        if row["by_portions"]:
            error = math.hypot(row["portions_error"] * width, site["error_portions"])
            return share(site["chill_portions"], row["portions"] + step * row["portions_error"], error)
        if row["need"] <= 0:
            return 1.0
        need, error = row["need"] + step * row["need_error"], row["need_error"] * width
        return max(
            share(site["hours"], need, math.hypot(error, site["error_hours"])),
            share(
                site["chill_portions"],
                need / HOURS_PER_PORTION,
                math.hypot(error / HOURS_PER_PORTION, site["error_portions"]),
            ),
        )

    def kept(row: pd.Series) -> float:
        total_kept = 0.0
        for name, weight in (("before", 0.25), ("during", 0.5), ("after", 0.25)):
            for night in row[name]:
                dead = 0.1 + 0.8 * (row["kill10"] - night) / (row["kill10"] - row["kill90"])
                dead = min(max(dead, 0.0), 1.0) if math.isfinite(dead) else 0.0
                total_kept += weight * min((1.0 - dead) / FLOWERS_FOR_A_CROP, 1.0)
        return total_kept / len(row["during"])

    def dormancy(row: pd.Series) -> float:
        if row["evergreen"] or not row["early"]:
            return 1.0
        need = max(row["portions"] * HOURS_PER_PORTION if row["by_portions"] else row["need"], 50.0)
        spread = math.hypot(criteria.WAKING_SPREAD, min(row["need_error"] / need, 1.0))
        ratio = math.log2(criteria.WAKING_RATIO) - site["supply"] + math.log2(need)
        return 0.3 + 0.7 * normal(ratio / spread)

    def season(row: pd.Series, step: float) -> float:
        if row["evergreen"]:
            return 1.0
        years = row["spare"]
        return sum(normal(days / row["harvest_error"] - step) for days in years) / len(years)

    def score(row: pd.Series) -> float:
        found = {
            "winter": share(site["coldest"], row["hardy"], math.hypot(row["hardy_error"], site["error_K"])),
            "chill": chill(row, 0.0, 1.0),
            "dormancy": dormancy(row),
            "bloom_frost": 1.0 if row["evergreen"] else kept(row),
            "season": season(row, 0.0),
            "warmth": share(site["gdd"], row["warm_need"], row["warm_error"]),
        }
        reach = row["hardy"] - row["hardy_far"] * row["hardy_error"]
        high = {
            "winter": max(found["winter"], share(site["coldest"], reach, site["error_K"])),
            "chill": max(found["chill"], chill(row, -row["need_far"], 0.0)),
            "season": max(found["season"], season(row, -FAR)),
        }
        if not row["by_portions"] and row["need"] <= LOW_NEED_h:
            high["chill"] = max(high["chill"], STRIPPED)
        value = row["liked"] * math.exp(-weights.rating * (1 - row["rating"]) - total * (1 - row["track"]))
        fallen = False
        for name, limit in LIMITS.items():
            value *= min(max(found[name], LEAST), 1.0) ** weights.powers[name]
            hopeless = name not in NEVER_HOPELESS and found[name] < limit.veto * HOPELESS
            fallen |= high.get(name, found[name]) < limit.veto or hopeless
        return value * RULED_OUT_CEILING if fallen else value

    return rows.apply(score, axis=1).to_numpy(dtype=float)


def query(catalog: Any) -> str:
    """The same rules as one SQL query over the tables `rows` (site, at, ...) and `sites` (site, ...)."""
    weights = records_of(catalog)[1]
    total = weights.total

    def normal(value: str) -> str:
        # DuckDB has no error function: Abramowitz and Stegun 7.1.26, error below 1.5e-7.
        x, t = (
            f"(abs({value}) * 0.7071067811865476)",
            f"(1 / (1 + 0.3275911 * abs({value}) * 0.7071067811865476))",
        )
        poly = f"(((1.061405429 * {t} - 1.453152027) * {t} + 1.421413741) * {t} - 0.284496736)"
        poly = f"({poly} * {t} + 0.254829592)"
        return f"(0.5 + 0.5 * sign({value}) * (1 - {poly} * {t} * exp(-{x} * {x})))"

    def share(years: str, need: str, error: str) -> str:
        return f"list_avg([{normal(f'((y - {need}) / ({error}))')} for y in {years}])"

    def hypot(one: str, two: str) -> str:
        return f"sqrt(({one}) * ({one}) + ({two}) * ({two}))"

    def chill(step: str, width: str) -> str:
        by_portions = share(
            "chill_portions",
            f"(portions + {step} * portions_error)",
            hypot(f"portions_error * {width}", "error_portions"),
        )
        need = f"(need + {step} * need_error)"
        hours = share("hours", need, hypot(f"need_error * {width}", "error_hours"))
        as_portions = share(
            "chill_portions",
            f"({need} / {HOURS_PER_PORTION})",
            hypot(f"need_error * {width} / {HOURS_PER_PORTION}", "error_portions"),
        )
        return (
            f"CASE WHEN by_portions THEN {by_portions} WHEN need <= 0 THEN 1.0 "
            f"ELSE greatest({hours}, {as_portions}) END"
        )

    def kept(nights: str) -> str:
        dead = "least(greatest(0.1 + 0.8 * (kill10 - n) / (kill10 - kill90), 0.0), 1.0)"
        return f"list_avg([least((1 - {dead}) / {FLOWERS_FOR_A_CROP}, 1.0) for n in {nights}])"

    def season(step: str) -> str:
        late = normal(f"(d / harvest_error - ({step}))")
        return f"CASE WHEN evergreen THEN 1.0 ELSE list_avg([{late} for d in spare]) END"

    asleep = f"greatest(CASE WHEN by_portions THEN portions * {HOURS_PER_PORTION} ELSE need END, 50.0)"
    waking = (
        f"((log2({criteria.WAKING_RATIO}) - supply + log2({asleep})) / "
        f"{hypot(str(criteria.WAKING_SPREAD), f'least(need_error / {asleep}, 1.0)')})"
    )
    found = {
        "winter": share("coldest", "hardy", hypot("hardy_error", "error_K")),
        "winter_high": share("coldest", "(hardy - hardy_far * hardy_error)", "error_K"),
        "chill": chill("0.0", "1.0"),
        "chill_high": f"greatest({chill('(-need_far)', '0.0')}, "
        f"CASE WHEN NOT by_portions AND need <= {LOW_NEED_h} THEN {STRIPPED} ELSE 0.0 END)",
        "dormancy": f"CASE WHEN evergreen OR NOT early THEN 1.0 ELSE 0.3 + 0.7 * {normal(waking)} END",
        "bloom_frost": f"CASE WHEN evergreen THEN 1.0 ELSE "
        f"0.25 * {kept('before')} + 0.5 * {kept('during')} + 0.25 * {kept('after')} END",
        "season": season("0.0"),
        "season_high": season(str(-FAR)),
        "warmth": share("gdd", "warm_need", "warm_error"),
    }
    columns = ", ".join(f"{expression} AS {name}" for name, expression in found.items())
    product = " * ".join(
        f"pow(least(greatest({name}, {LEAST}), 1.0), {power})" for name, power in weights.powers.items()
    )
    fallen = " OR ".join(
        f"greatest({name}, {name}_high) < {limit.veto}"
        if f"{name}_high" in found
        else f"{name} < {limit.veto}"
        for name, limit in LIMITS.items()
    )
    hopeless = " OR ".join(
        f"{name} < {limit.veto * HOPELESS}" for name, limit in LIMITS.items() if name not in NEVER_HOPELESS
    )
    return (
        f"WITH found AS (SELECT site, variety_row, rating, track, liked, {columns} FROM rows "
        "JOIN sites USING (site)) "
        f"SELECT {product} * liked * exp(-{weights.rating} * (1 - rating) - {total} * (1 - track)) * "
        f"CASE WHEN {fallen} OR {hopeless} THEN {RULED_OUT_CEILING} ELSE 1.0 END AS score "
        "FROM found ORDER BY site, variety_row"
    )


def main(sites: int = 510) -> int:
    """Print the rates; 1 if the ways disagree."""
    repeats = max(sites // len(PLACES), 1)
    catalog = open_catalog()
    ready = batch.plan(catalog)
    start = time.perf_counter()
    profiles = [build_profile(normals_at(lat, lon)) for lat, lon in PLACES]
    features = [batch.features_of(profile, ready) for profile in profiles]
    prepared = time.perf_counter() - start
    batch.score_batch(features, catalog, ready)
    rates = []
    for _ in range(RUNS):
        start = time.process_time()
        scores = batch.score_batch(features * repeats, catalog, ready)
        rates.append(scores.size / (time.process_time() - start))
    fast = float(np.median(rates))

    tables = [inputs(feature, ready, catalog) for feature in features]
    start = time.process_time()
    slow = by_rows(*tables[0], catalog)
    row_wise = len(slow) / (time.process_time() - start)

    connection = duckdb.connect(config={"threads": 1})
    connection.register(
        "rows_frame", pd.concat([rows.assign(site=at) for at, (rows, _) in enumerate(tables)])
    )
    connection.register(
        "sites_frame", pd.DataFrame([{"site": at, **site} for at, (_, site) in enumerate(tables)])
    )
    connection.execute(
        "CREATE TABLE rows AS SELECT * FROM rows_frame; CREATE TABLE sites AS SELECT * FROM sites_frame"
    )
    text = query(catalog)
    start = time.process_time()
    asked = connection.sql(text).fetchnumpy()["score"].reshape(len(tables), -1)
    by_query = asked.size / (time.process_time() - start)

    apart = max(float(np.abs(slow - scores[0]).max()), float(np.abs(asked - scores[: len(tables)]).max()))
    print(f"{scores.shape[0]} sites, {scores.shape[1]} varieties, {len(profiles[0].annual_min)} years")
    print(f"climate of one site, prepared once     {prepared / len(PLACES) * 1000:12.0f} ms")
    print(f"scores a second a core, batch          {fast:12,.0f}")
    print(f"  best and worst of {RUNS} runs        {max(rates):12,.0f} {min(rates):12,.0f}")
    print(f"the same by pandas apply               {row_wise:12,.0f}  ratio {fast / row_wise:8.0f}")
    print(f"the same by one DuckDB query           {by_query:12,.0f}  ratio {fast / by_query:8.1f}")
    same = apart < 1e-5
    print(f"results {'the same' if same else 'DIFFER'}: scores apart by at most {apart:.1e}")
    return 0 if same else 1


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])))
