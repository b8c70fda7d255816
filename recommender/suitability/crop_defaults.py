"""What is taken for a whole crop where the open data give no figure: heat to bloom, days to ripe, warmth,
hardiness.

Out goes one frame, one row a crop. The bloom sums marked `computed` are fitted; every other figure is `from
memory`, enters with a wide error, and gives way to any published value of the variety itself.

References
    [1] Bloom dates with daily weather of five places, doi 10.60507/FK2/MZIELI: median heat above 4 degC from
        midwinter to full bloom, brought to a winter mean of 3 degC (see `timing.bloom_day`).
    [2] Anderson, Richardson and Kesner 1986: base of 4 degC for the heat to bloom of temperate fruit trees.
"""

from __future__ import annotations

from functools import lru_cache

import pandas as pd

# crop: heat from midwinter to full bloom [degree days above 4 degC], days from bloom to ripe fruit at 17
# degC, spread of the latter between varieties [d], summer warmth at which fruit of a middling variety just
# fails and is just good [degree days above 10 degC over the frost-free season], coldest night survived
# [degC].
_ROWS: dict[str, tuple[float, float, float, float, float, float]] = {
    "almond": (155, 200, 14, 900, 1500, -23),
    "american-persimmon": (620, 140, 15, 900, 1500, -32),
    "american-plum": (230, 110, 15, 350, 650, -38),
    "apple": (318, 140, 20, 350, 650, -33),
    "apricot": (165, 100, 12, 500, 850, -29),
    "asian-pear": (235, 135, 18, 600, 950, -29),
    "asian-persimmon": (600, 165, 18, 1300, 2000, -16),
    "avocado": (500, 270, 40, 1000, 1800, -4),
    "bush-cherry": (260, 70, 10, 250, 500, -38),
    "cherry-plum": (170, 100, 15, 400, 700, -32),
    "duke-cherry": (280, 65, 10, 350, 650, -29),
    "european-pear": (250, 135, 20, 400, 750, -31),
    "european-plum": (240, 125, 18, 400, 750, -31),
    "feijoa": (650, 160, 18, 900, 1500, -9),
    "fig": (500, 130, 20, 800, 1400, -12),
    "grapefruit": (500, 300, 40, 2000, 3200, -4),
    "hardy-citrus": (500, 210, 30, 900, 1600, -14),
    "hardy-kiwi": (520, 120, 12, 600, 1000, -33),
    "hazelnut": (200, 170, 12, 400, 750, -30),
    "japanese-plum": (180, 125, 20, 600, 950, -28),
    "jujube": (720, 110, 15, 1200, 1900, -28),
    "kiwifruit": (600, 165, 12, 900, 1400, -12),
    "kumquat": (600, 210, 25, 1000, 1800, -9),
    "lemon": (450, 240, 40, 1000, 1800, -4),
    "lime": (500, 180, 40, 1600, 2600, -2),
    "loquat": (100, 150, 20, 800, 1400, -12),
    "mandarin": (500, 230, 30, 1300, 2200, -8),
    "mango": (500, 130, 25, 2500, 3500, -4),
    "medlar": (400, 165, 10, 400, 750, -29),
    "mulberry": (420, 60, 10, 600, 1000, -29),
    "nectarine": (195, 120, 25, 650, 1050, -27),
    "olive": (600, 175, 20, 1200, 1900, -12),
    "pawpaw": (430, 140, 12, 900, 1400, -32),
    "peach": (195, 120, 25, 600, 1000, -28),
    "plum-apricot": (175, 120, 20, 600, 1000, -27),
    "pomegranate": (620, 160, 18, 1300, 2000, -13),
    "quince": (390, 155, 14, 500, 900, -29),
    "sour-cherry": (290, 65, 9, 300, 600, -35),
    "sweet-cherry": (264, 65, 12, 400, 700, -30),
    "sweet-orange": (500, 280, 40, 1600, 2600, -6),
    "walnut": (330, 150, 12, 700, 1200, -28),
}
_NAMES = ["bloom_heat", "ripe_days", "ripe_spread", "warmth_fails", "warmth_good", "hardiness"]
# Crops whose bloom heat is fitted to [1]; the other figures of the table are from memory.
FITTED_BLOOM = (
    "almond",
    "apple",
    "apricot",
    "european-pear",
    "european-plum",
    "japanese-plum",
    "sweet-cherry",
)
# A crop that stands in the data but not here (somebody added it): a middling fruit tree, as little as that
# says.
_OTHER = (300.0, 130.0, 30.0, 600.0, 1100.0, -20.0)


@lru_cache(maxsize=1)
def crop_defaults() -> pd.DataFrame:
    """One row a crop (index): bloom_heat [degree days], ripe_days [d], ripe_spread [d], warmth_fails and
    warmth_good [degree days], hardiness [degC], bloom_basis."""
    frame = pd.DataFrame.from_dict(_ROWS, orient="index", columns=_NAMES).astype(float)
    frame["bloom_basis"] = "from memory"
    frame.loc[list(FITTED_BLOOM), "bloom_basis"] = "computed"
    return frame


def defaults_for(crop: pd.Series) -> pd.DataFrame:
    """The defaults in the order of `crop` (V,), a middling fruit tree for crops not listed."""
    frame = crop_defaults().reindex(crop.to_numpy())
    for name, value in zip(_NAMES, _OTHER, strict=True):
        frame[name] = frame[name].fillna(value)
    return frame.reset_index(drop=True)
