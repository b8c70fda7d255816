"""Altair charts for pages and sheets.

In come frames that already hold every figure; out goes a `Picture`: the chart, the sentence it shows (its
title) and the same in words for those who cannot see it. Nothing is computed here but counts for the
sentence.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import altair as alt
import pandas as pd

from recommender.catalog.traits import SEASONS
from recommender.wording import crop_in_sentence, list_words, plain, rows

_ROW_HEIGHT = 26
# Colours of ink and accent stand in .streamlit/config.toml; a mid green that reads on paper and on dark
# alike.
_LEAF = "#5f9a6b"


@dataclass(frozen=True)
class Picture:
    """A chart with the sentence it shows and its text for screen readers."""

    chart: Any
    sentence: str
    alt_text: str


def harvest_seasons(varieties: pd.DataFrame) -> Picture | None:
    """When the varieties of a list ripen, within the season of their own crop.

    varieties: `crop`, `variety`, `ripening_season` (very-early .. very-late or missing), in the order to
    show. None if no season is known for any of them.
    """
    known = varieties[varieties["ripening_season"].isin(SEASONS)]
    if known.empty:
        return None
    several = len(set(varieties["crop"])) > 1
    data = pd.DataFrame(
        {
            "name": [
                f"{plain(row.variety)} ({crop_in_sentence(row.crop)})" if several else plain(row.variety)
                for row in rows(known)
            ],
            "season": [str(season).replace("-", " ") for season in known["ripening_season"]],
        }
    )
    order = [season.replace("-", " ") for season in SEASONS]
    sentence = _season_sentence(data["season"], len(varieties), order)
    words = "; ".join(f"{name}: {season}" for name, season in zip(data["name"], data["season"], strict=True))
    x = alt.X("season:N", sort=order, scale=alt.Scale(domain=order), title=None)
    y = alt.Y("name:N", sort=list(data["name"]), title=None)
    chart = (
        alt.Chart(data)
        .mark_bar(color=_LEAF, height={"band": 0.5})
        .encode(
            x=x.axis(orient="top", labelAngle=0, grid=True, domain=False, ticks=False, labelFontSize=13),
            y=y.axis(domain=False, ticks=False, labelLimit=190, labelFontSize=13, labelPadding=8),
            tooltip=[alt.Tooltip("name:N", title="Variety"), alt.Tooltip("season:N", title="Ripens")],
        )
        .properties(
            height=_ROW_HEIGHT * len(data) + 30, width="container", description=f"{sentence} {words}."
        )
        .configure_view(stroke=None)
    )
    return Picture(chart, sentence, f"{sentence} {words}.")


def _season_sentence(seasons: pd.Series, listed: int, order: list[str]) -> str:
    counts = seasons.value_counts()
    parts = [
        f"{counts[name]} {'in mid season' if name == 'mid' else name}" for name in order if name in counts
    ]
    verb = "ripens" if len(seasons) == 1 else "ripen"
    first, *rest = parts
    number, _, when = first.partition(" ")
    silent = listed - len(seasons)
    gap = f"; for {silent} nobody has published it" if silent else ""
    return f"Of these {listed}, {list_words([f'{number} {verb} {when}', *rest])}{gap}."
