"""What is taken for a whole crop where the open data give no figure: summer warmth, hardiness, early blossom.

Out goes one frame, one row a crop. Every figure is `from memory`, enters with a wide error, and gives way to
any published value of the variety itself.
"""

from __future__ import annotations

from functools import lru_cache

import pandas as pd

# crop: summer warmth at which fruit of a middling variety just fails and is just good [degree days above 10
# degC over the frost-free season], coldest night survived [degC].
_ROWS: dict[str, tuple[float, float, float]] = {
    "almond": (900, 1500, -23),
    "american-persimmon": (900, 1500, -32),
    "american-plum": (350, 650, -38),
    "apple": (350, 650, -33),
    "apricot": (500, 850, -29),
    "asian-pear": (600, 950, -29),
    "asian-persimmon": (1300, 2000, -16),
    "avocado": (1000, 1800, -4),
    "bush-cherry": (250, 500, -38),
    "cherry-plum": (400, 700, -32),
    "duke-cherry": (350, 650, -29),
    "european-pear": (400, 750, -31),
    "european-plum": (400, 750, -31),
    "feijoa": (900, 1500, -9),
    "fig": (800, 1400, -12),
    "grapefruit": (2000, 3200, -4),
    "hardy-citrus": (900, 1600, -14),
    "hardy-kiwi": (600, 1000, -33),
    "hazelnut": (400, 750, -30),
    "japanese-plum": (600, 950, -28),
    "jujube": (1200, 1900, -28),
    "kiwifruit": (900, 1400, -12),
    "kumquat": (1000, 1800, -9),
    "lemon": (1000, 1800, -4),
    "lime": (1600, 2600, -2),
    "loquat": (800, 1400, -12),
    "mandarin": (1300, 2200, -8),
    "mango": (2500, 3500, -4),
    "medlar": (400, 750, -29),
    "mulberry": (600, 1000, -29),
    "nectarine": (650, 1050, -27),
    "olive": (1200, 1900, -12),
    "pawpaw": (900, 1400, -32),
    "peach": (600, 1000, -28),
    "plum-apricot": (600, 1000, -27),
    "pomegranate": (1300, 2000, -13),
    "quince": (500, 900, -29),
    "sour-cherry": (300, 600, -35),
    "sweet-cherry": (400, 700, -30),
    "sweet-orange": (1600, 2600, -6),
    "walnut": (700, 1200, -28),
}
_NAMES = ["warmth_fails", "warmth_good", "hardiness"]
# Crops that blossom as soon as spring allows, so that waking in a mild spell costs them flowers; the others
# wait for warmth (from memory).
EARLY_CROPS = frozenset(
    {
        "almond",
        "american-plum",
        "apple",
        "apricot",
        "asian-pear",
        "bush-cherry",
        "cherry-plum",
        "duke-cherry",
        "european-pear",
        "european-plum",
        "hazelnut",
        "japanese-plum",
        "loquat",
        "nectarine",
        "peach",
        "plum-apricot",
        "sour-cherry",
        "sweet-cherry",
        "walnut",
    }
)
# A crop that stands in the data but not here (somebody added it): a middling fruit tree, as little as that
# says.
_OTHER = (600.0, 1100.0, -20.0)


@lru_cache(maxsize=1)
def crop_defaults() -> pd.DataFrame:
    """One row a crop (index): warmth_fails and warmth_good [degree days], hardiness [degC]."""
    return pd.DataFrame.from_dict(_ROWS, orient="index", columns=_NAMES).astype(float)


def defaults_for(crop: pd.Series) -> pd.DataFrame:
    """The defaults in the order of `crop` (V,), a middling fruit tree for crops not listed."""
    frame = crop_defaults().reindex(crop.to_numpy())
    for name, value in zip(_NAMES, _OTHER, strict=True):
        frame[name] = frame[name].fillna(value)
    return frame.reset_index(drop=True)
