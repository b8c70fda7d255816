"""What is worked out once for each catalog or table of varieties, and kept as long as that lives.

In comes a function of one object; out goes the same function with its answers held beside the object, weakly,
so that a closed catalog takes its answers with it.
"""

from __future__ import annotations

import weakref
from collections.abc import Callable
from functools import wraps
from typing import TypeVar

Of = TypeVar("Of")
Found = TypeVar("Found")


def kept(work: Callable[[Of], Found]) -> Callable[[Of], Found]:
    """The function, worked out once for each object it is asked about. Whoever asks must not change the
    answer."""
    held: weakref.WeakKeyDictionary[Of, Found] = weakref.WeakKeyDictionary()

    @wraps(work)
    def asked(of: Of) -> Found:
        if of not in held:
            held[of] = work(of)
        return held[of]

    return asked
