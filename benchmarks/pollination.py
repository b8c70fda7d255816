"""How long the pollination matrix of 1,500 varieties takes, beside a plain double loop over the same pairs.

Run: python -m benchmarks.pollination [--varieties 1500]. Both sides judge the same prepared varieties in
this one run, the faster side several times (best taken), and their answers are checked to be equal. The
varieties are those of the crops with the most varieties, so that as many pairs as possible have something
to judge.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable

import numpy as np

from benchmarks.plain_pollination import plain_codes
from benchmarks.record import compared
from recommender import open_catalog
from recommender.biology import pollination, pollination_inputs

REPEATS = 9


def main(varieties: int = 1500) -> float:
    """Print the times [ms] and return the ratio of the plain loop to the arrays."""
    catalog = open_catalog()
    traits, crops = catalog.traits(), catalog.crops()
    pairs, evidence, names = catalog.pairs(), catalog.evidence(), catalog.names()
    size = traits.groupby("crop")["variety"].transform("size")
    order = np.lexsort((traits["variety"], traits["crop"], -size))
    chosen = traits.iloc[np.sort(order[:varieties])].reset_index(drop=True)
    whole = [
        timed(lambda: pollination.pollination_matrix(chosen, pairs, crops, evidence=evidence, names=names))
        for _ in range(REPEATS)
    ]
    prepared = pollination_inputs.prepare(pollination_inputs.needed(chosen), pairs, crops, evidence, names)
    arrays = min(timed(lambda: pollination.pair_codes(prepared)) for _ in range(REPEATS))
    codes, _ = pollination.pair_codes(prepared)
    start = time.process_time()
    result, reason, standing = plain_codes(prepared)
    plain = time.process_time() - start
    equal = all(
        np.array_equal(one, two)
        for one, two in ((codes.result, result), (codes.reason, reason), (codes.standing, standing))
    )
    say = sys.stdout.write
    say(f"{len(chosen)} varieties of {chosen['crop'].nunique()} crops, {result.size:,} ordered pairs\n")
    say(f"from catalog frames to the finished matrix   {min(whole) * 1e3:9.1f} ms (best of {REPEATS})\n")
    say(f"pairs alone, whole arrays                    {arrays * 1e3:9.1f} ms (best of {REPEATS})\n")
    say(f"pairs alone, plain double loop               {plain * 1e3:9.1f} ms\n")
    say(f"plain loop / arrays                          {plain / arrays:9.0f} x\n")
    say(f"plain loop / whole way                       {plain / min(whole):9.0f} x\n")
    say(f"equal answers                                {equal!s:>9}\n")
    compared(f"{result.size:,} pairs judged", arrays * 1e3, "a double loop over the pairs", plain * 1e3, "ms")
    if not equal:
        raise SystemExit(1)
    return plain / arrays


def timed(call: Callable[[], object]) -> float:
    """Processor time of one call [s]; not wall time, so that other work on the machine does not count."""
    start = time.process_time()
    call()
    return time.process_time() - start


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--varieties", type=int, default=1500)
    main(parser.parse_args().varieties)
