"""5,000 offers and 5,000 requests matched exactly, against always taking the best match first.

Run: python -m benchmarks.swap [offers and requests, default 5000] [--far]

Both see the same pairs with the same benefits, in one run. People, places of growing and wishes are drawn
with a fixed seed; the varieties are the catalog's apples, pears, European plums, quinces and hazels. With
`--far` everyone has a place of their own and a limit of the way, so no two offers can be pooled.
Peak memory is that of the whole process, catalog included.
"""

from __future__ import annotations

import resource
import sys
import time
from collections.abc import Callable
from datetime import date
from typing import Any

import numpy as np

from benchmarks.record import compared
from recommender import open_catalog
from recommender.catalog.catalog import Catalog
from recommender.suitability.site import Site
from recommender.swap.assignment import Solution, greedy, solve
from recommender.swap.candidates import candidates
from recommender.swap.matching import as_problem, match_swap
from recommender.swap.offers import Offer, Request
from recommender.swap.people import SwapSettings, look_up
from recommender.swap.together import solve_together

CROPS = ("apple", "european-pear", "european-plum", "quince", "hazelnut")
TOWNS = (
    "Bristol", "Wells, England", "Taunton", "Exeter", "Hereford", "Ledbury", "Malvern, England", "Evesham",
    "Gloucester, England", "Bath, England", "Yeovil", "Dorchester, England", "Salisbury, England",
    "Tiverton",
    "Bridgwater, England", "Glastonbury, England", "Frome", "Shepton Mallet",
    "Ross on Wye", "Worcester, England",
)  # fmt: skip


def event(size: int, catalog: Catalog, far: bool, seed: int = 8) -> tuple[list[Offer], list[Request]]:
    """Invented offers and requests; half of the people bring something and ask for something."""
    rng = np.random.default_rng(seed)
    frame = catalog.varieties()
    frame = frame[frame["crop"].isin(CROPS)]
    known = list(zip(frame["crop"], frame["variety"], strict=True))
    liked = 1.0 / (1.0 + rng.permutation(len(known)))
    liked /= liked.sum()

    def drawn(number: int) -> list[tuple[str, str]]:
        return [known[place] for place in rng.choice(len(known), number, p=liked)]

    offers = [
        Offer(
            id=f"O{k}",
            person=f"P{k if k % 2 else size + k}",
            crop=crop,
            variety=variety,
            kind="plant" if rng.random() < 0.7 else "scion wood",
            count=int(rng.integers(1, 3)),
            cut_on=date(2027, 1, 20),
            place=TOWNS[k % len(TOWNS)] if far else None,
        )
        for k, (crop, variety) in enumerate(drawn(size))
    ]
    requests = []
    for k in range(size):
        wished = [f"{crop}:{variety}" for crop, variety in drawn(int(rng.integers(1, 4)))]
        trees = [f"{crop}:{variety}" for crop, variety in drawn(int(rng.integers(0, 3)))]
        requests.append(
            Request(
                id=f"R{k}",
                person=f"P{k}",
                place=TOWNS[int(rng.integers(len(TOWNS)))],
                varieties=tuple(wished),
                existing_trees=tuple(trees),
                rootstocks=("M26 x 2", "Quince A") if rng.random() < 0.3 else (),
                soil="clay" if rng.random() < 0.5 else "loam",
                take=int(rng.integers(1, 5)),
                max_km=float(rng.choice([60, 120, 250])) if far else None,
            )
        )
    return offers, requests


def timed(act: Callable[..., Any], *given: Any, **named: Any) -> tuple[Any, float, float]:
    """(result, wall seconds, seconds of work by all cores)."""
    start, work = time.perf_counter(), time.process_time()
    found = act(*given, **named)
    return found, time.perf_counter() - start, time.process_time() - work


def main() -> None:
    """Print the comparison."""
    numbers = [int(word) for word in sys.argv[1:] if word.isdigit()]
    size, far = numbers[0] if numbers else 5000, "--far" in sys.argv
    catalog = open_catalog()
    offers, requests = event(size, catalog, far)
    settings = SwapSettings(on=date(2027, 2, 13), site=Site(lat=51.15, lon=-2.85), region="GB")
    whole, wall, work = timed(match_swap, offers, requests, settings=settings, catalog=catalog)
    print(f"{size:,} offers, {size:,} requests{', each with a way to go' if far else ''}")
    print(
        f"match_swap, sites and reasons included: {wall:.1f} s ({work:.1f} s of work), "
        f"{len(whole.matches):,} matches"
    )
    desk = look_up(offers, requests, catalog, settings)
    found = candidates(desk, catalog, settings)
    problem, _, _ = as_problem(desk, found)
    print(
        f"pairs that meet in a wish {len(found):,}, possible {len(problem):,}, lots {len(found.lots):,}, "
        f"gains of pollen among them {len(problem.gain):,}"
    )
    print("people with at least 1, 2, ... plants, and the sum of benefits:")
    results: dict[str, tuple[Solution, float, float]] = {
        "with pairs": timed(solve_together, problem),
        "givers first": timed(solve_together, problem, True),
        "blind to pairs": timed(solve, problem),
        "best first": timed(greedy, problem),
    }
    for name, (best, wall, work) in results.items():
        print(f"{name:14} {best.rounds} {best.benefit:,.1f} in {wall:.2f} s ({work:.2f} s of work)")
    exact, plain = results["with pairs"][0], results["best first"][0]
    print(
        f"with pairs against best first: {exact.rounds[0] - plain.rounds[0]:+,} people served, "
        f"{exact.benefit / plain.benefit - 1:+.2%} benefit; {exact.proof}"
    )
    compared(
        f"benefit of a swap of {size:,} offers", exact.benefit, "best match first", plain.benefit, "points"
    )
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:,.0f} MB")


if __name__ == "__main__":
    main()
