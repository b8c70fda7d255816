"""Proof and speed of the choice of trees on the whole catalog, beside picking from the top of the list.

Run: python -m benchmarks.selection [--trees 12]. For four very different sites the programme is solved and
the ranked list is picked from (greedy) in the same run; printed are the gap, the time, and of both sets the
harvest cover and the share of trees with a donor. Times are processor and wall seconds of this run.
"""

from __future__ import annotations

import argparse
import sys
import time

import numpy as np

from benchmarks.record import compared
from recommender import Goals, PlantingWishes, Site, open_catalog, rank
from recommender.orchard.candidates import candidates
from recommender.orchard.problem import greedy
from recommender.orchard.reduction import solve_all
from recommender.orchard.selection import measure

SITES: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("Bristol, England", ("apple", "european-pear", "european-plum", "quince", "hazelnut")),
    (
        "Fresno, California",
        ("peach", "apricot", "fig", "pomegranate", "almond", "sweet-orange", "japanese-plum"),
    ),
    ("Minneapolis, Minnesota", ()),
    ("Hobart, Australia", ()),
)


def main(sizes: tuple[int, ...] = (4, 8, 12), time_limit: float = 60.0) -> None:
    """Print one line a site and size."""
    catalog = open_catalog()
    say = sys.stdout.write
    say("site                    trees   from     gap   cpu s  wall s | ")
    say("cover  list | donor  list | second list | sure  list\n")
    for place, crops in SITES:
        ranking = rank(Site(place=place), Goals(crops=crops), catalog=catalog)
        for trees in sizes:
            found = candidates(ranking, catalog, PlantingWishes(trees=trees))
            start = time.process_time()
            solution = solve_all(found.problem, time_limit=time_limit)
            spent = time.process_time() - start
            ours = measure(found, solution.chosen)
            order = np.argsort(-found.problem.score, kind="stable")
            theirs = measure(found, greedy(found.problem, order))
            say(
                f"{place:<24}{trees:>4}{len(found.frame):>7}  {solution.gap:.4f}  {spent:6.2f}  "
                f"{solution.seconds:6.2f} | {ours.harvest_cover:5.0%} {theirs.harvest_cover:5.0%} | "
                f"{ours.served:5.0%} {theirs.served:5.0%} | {ours.served_twice:6.0%} "
                f"{theirs.served_twice:4.0%} | {ours.served_sure:4.0%} {theirs.served_sure:5.0%}\n"
            )
            what = f"trees with a pollen donor in the set, {trees} at {place}"
            compared(what, ours.served, "the top of the ranked list", theirs.served, "of all")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trees", type=int, nargs="*", default=[4, 8, 12])
    parser.add_argument("--time-limit", type=float, default=60.0)
    given = parser.parse_args()
    main(tuple(given.trees), given.time_limit)
