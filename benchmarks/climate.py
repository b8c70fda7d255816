"""Speed and memory of the climate engine beside what one would use instead, all in one run.

`python -m benchmarks.climate` prints a table of ratios. Times are the best of several runs on one core; a
ratio above 1 means that the engine is faster.
"""

from __future__ import annotations

import math
import os
import time
import tracemalloc
from collections.abc import Callable, Sequence
from functools import partial

for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")

import numpy as np  # noqa: E402  (after the number of threads is set)
from numpy.typing import NDArray  # noqa: E402

from benchmarks.record import compared  # noqa: E402
from recommender.climate import chill  # noqa: E402
from recommender.climate.normals import Normals  # noqa: E402
from recommender.climate.profile import build_profile  # noqa: E402

WINTER_DAYS = 182
SITE_WINTERS, MANY_WINTERS = 30, 2000

E0, E1, A0, A1, SLOPE, TF = 4153.5, 12888.8, 139500.0, 2.567e18, 1.6, 277.0


def plain_python(hours: Sequence[float]) -> float:
    """The recurrence as it is written, hour after hour, on Python's own numbers and `math`."""
    total, product, share_before = 0.0, 0.0, 0.0
    for hour, temperature in enumerate(hours):
        kelvin = temperature + 273.0
        ratio = math.exp(SLOPE * TF * (kelvin - TF) / kelvin)
        share = ratio / (1.0 + ratio)
        equilibrium = A0 / A1 * math.exp((E1 - E0) / kelvin)
        rate = A1 * math.exp(-E1 / kelvin)
        left = product if product < 1.0 else product * (1.0 - share_before)
        product = equilibrium - (equilibrium - left) * math.exp(-rate) if hour else 0.0
        if product >= 1.0:
            total += product * share
        share_before = share
    return total


def plain_arrays(hours: NDArray[np.float64]) -> float:
    """The same loop over the elements of arrays with NumPy's functions, as it is often written."""
    product, portions = np.zeros(len(hours)), np.zeros(len(hours))
    kelvin = hours + 273.0
    for hour in range(len(hours)):
        ratio = np.exp(SLOPE * TF * (kelvin[hour] - TF) / kelvin[hour])
        share = ratio / (1.0 + ratio)
        equilibrium = A0 / A1 * np.exp((E1 - E0) / kelvin[hour])
        rate = A1 * np.exp(-E1 / kelvin[hour])
        if hour:
            left = product[hour - 1]
            if left >= 1.0:
                before = np.exp(SLOPE * TF * (kelvin[hour - 1] - TF) / kelvin[hour - 1])
                left = left * (1.0 - before / (1.0 + before))
            product[hour] = equilibrium - (equilibrium - left) * np.exp(-rate)
        if product[hour] >= 1.0:
            portions[hour] = product[hour] * share
    return float(portions.sum())


def fused_numpy(winters: NDArray[np.float64]) -> NDArray[np.float64]:
    """One loop over hours, each step on all winters (W, hours) at once, coefficients computed in the step."""
    total, product = np.zeros(len(winters)), np.zeros(len(winters))
    share_before = np.zeros(len(winters))
    for hour, temperature in enumerate(np.ascontiguousarray(winters.T)):
        kelvin = temperature + 273.0
        share = 1.0 / (1.0 + np.exp(-SLOPE * TF * (kelvin - TF) / kelvin))
        equilibrium = A0 / A1 * np.exp((E1 - E0) / kelvin)
        kept = np.exp(-A1 * np.exp(-E1 / kelvin))
        left = np.where(product < 1.0, product, product * (1.0 - share_before))
        product = equilibrium - (equilibrium - left) * kept if hour else product
        total += np.where(product >= 1.0, product * share, 0.0)
        share_before = share
    return total


def best_of(work: Callable[[], object], runs: int) -> float:
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def peak_mib(work: Callable[[], object]) -> float:
    tracemalloc.start()
    work()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 2**20


def winters(count: int) -> NDArray[np.float64]:
    """Hourly temperatures of temperate winters (count, days, 24) [degC], seeded."""
    rng = np.random.default_rng(7)
    days = 5.0 + 4.0 * np.sin(np.arange(WINTER_DAYS) / 7.0) + rng.normal(0.0, 3.0, (count, WINTER_DAYS))
    return days[..., None] + 4.0 * np.sin((np.arange(24) - 8.0) / 24.0 * 2.0 * np.pi)


def example_normals() -> Normals:
    """Invented normals of a temperate place."""
    means = 10.0 - 8.5 * np.cos(2.0 * np.pi * (np.arange(12) - 0.3) / 12.0)
    return Normals(
        lat=50.0,
        lon=8.0,
        elevation_m=100.0,
        tmax=means + 4.5,
        tmin=means - 4.5,
        rain_mm=np.full(12, 60.0),
        annual_extreme_min_degC=-11.0,
        error_monthly_degC=0.9,
        error_extreme_degC=1.6,
    )


def main() -> None:
    site, many = winters(SITE_WINTERS), winters(MANY_WINTERS)
    site_hours, many_hours = site.reshape(SITE_WINTERS, -1), many.reshape(MANY_WINTERS, -1)
    site_lists = site_hours.tolist()
    ours = chill.dynamic_portions(site)
    for name, theirs in (
        ("plain Python", np.array([plain_python(hours) for hours in site_lists])),
        ("array elements", np.array([plain_arrays(hours) for hours in site_hours[:2]])),
        ("fused NumPy", fused_numpy(site_hours)),
    ):
        assert np.allclose(ours[: len(theirs)], theirs, atol=1e-9, rtol=0.0), name

    seconds_site = best_of(lambda: chill.dynamic_portions(site), 15)
    seconds_many = best_of(lambda: chill.dynamic_portions(many), 3)
    rows = [
        (
            f"Dynamic Model, {SITE_WINTERS} winters, loop on Python numbers",
            best_of(lambda: [plain_python(hours) for hours in site_lists], 3),
            seconds_site,
        ),
        (
            f"Dynamic Model, {SITE_WINTERS} winters, loop on array elements",
            best_of(lambda: [plain_arrays(hours) for hours in site_hours], 1),
            seconds_site,
        ),
        (
            f"Dynamic Model, {SITE_WINTERS} winters, fused NumPy over hours",
            best_of(lambda: fused_numpy(site_hours), 5),
            seconds_site,
        ),
        (
            f"Dynamic Model, {MANY_WINTERS} winters, fused NumPy over hours",
            best_of(lambda: fused_numpy(many_hours), 3),
            seconds_many,
        ),
    ]
    print(f"{'instead':58s} {'theirs':>10s} {'ours':>10s} {'ratio':>7s}")
    for name, theirs_seconds, ours_seconds in rows:
        ratio = theirs_seconds / ours_seconds
        print(f"{name:58s} {theirs_seconds * 1e3:7.1f} ms {ours_seconds * 1e3:7.1f} ms {ratio:7.1f}")
        subject, _, instead = name.rpartition(", ")
        compared(subject, ours_seconds * 1e3, instead, theirs_seconds * 1e3, "ms")

    normals = example_normals()
    profile_seconds = best_of(lambda: build_profile(normals), 7)
    print(f"\nProfile of one site, {SITE_WINTERS} seasons: {profile_seconds * 1e3:.0f} ms")
    print("Memory at the peak:", end="")
    for years in (30, 120, 480):
        peak = peak_mib(partial(build_profile, normals, years=years))
        print(f"  {years} seasons {peak:.0f} MiB ({peak / years:.2f} MiB each)", end=";")
    print()


if __name__ == "__main__":
    main()
