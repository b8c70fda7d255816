"""Ripening against published dates and offsets.

Sources: harvest dates in the evidence of the catalog, named at each; ripening offsets of the sources named;
scores of build/fit_ripening.py.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy.stats import spearmanr

from recommender import open_catalog
from recommender.biology.phenology import phenology
from recommender.catalog.catalog import Catalog
from recommender.catalog.package import datasets_folder
from recommender.climate.normals import normals_at
from recommender.climate.profile import build_profile
from recommender.climate.season import season_day


@pytest.fixture(scope="module")
def catalog() -> Catalog:
    return open_catalog()


def harvest_days(catalog: Catalog, crop: str, point: tuple[float, float]) -> pd.Series:
    """Median first picking by variety, days of the season."""
    traits = catalog.traits()
    traits = traits[traits["crop"] == crop].reset_index(drop=True)
    found = phenology(traits, build_profile(normals_at(*point), years=12))
    return pd.Series(np.nanmedian(found.harvest.start, axis=1), index=traits["variety"].to_numpy())


@pytest.mark.parametrize(
    ("crop", "source", "point", "within_d"),
    [
        ("peach", "auburn-peach-sugvar4", (32.9, -86.7), 6.0),
        ("peach", "parker-2006-nc-peach", (35.2, -79.7), 6.0),
        ("sweet-cherry", "omafra-02-037", (43.15, -79.4), 4.0),
        ("plum-apricot", "ilovetiny-pluot", (46.2, -119.8), 9.0),
    ],
)
def test_published_ripening_offsets_are_reproduced(
    catalog: Catalog, crop: str, source: str, point: tuple[float, float], within_d: float
) -> None:
    """The median difference between two varieties' dates and the source's, over all its pairs."""
    evidence = catalog.evidence(crop)
    told = evidence[(evidence["trait"] == "ripening_offset") & (evidence["source_id"] == source)]
    said = told[["value", "low", "high"]].apply(pd.to_numeric, errors="coerce").mean(axis=1)
    offset = said.groupby(told["variety"]).mean().dropna()
    days = harvest_days(catalog, crop, point).reindex(offset.index).dropna()
    offset = offset.reindex(days.index)
    apart = (days - days.median()) - (offset - offset.median())
    print(f"\n{crop}, {source}: {len(days)} varieties, median off by {apart.abs().median():.1f} d")
    assert len(days) >= 5
    assert apart.abs().median() <= within_d


@pytest.mark.parametrize(
    ("note", "point", "within_d"),
    [
        ("Sandhills Research Station, Jackson Springs, North Carolina", (35.19, -79.68), 10.0),
        ("Ontario, Vineland, average first harvest", (43.15, -79.40), 8.0),
        ("southern New Jersey", (39.50, -75.20), 10.0),
    ],
)
def test_published_harvest_dates_of_a_place_are_met(
    catalog: Catalog, note: str, point: tuple[float, float], within_d: float
) -> None:
    """These dates are part of the fit of one number a crop; the places left out are scored in
    ripening_scores.csv."""
    evidence = catalog.evidence()
    told = evidence[(evidence["trait"] == "harvest_start") & (evidence["note"] == note)]
    off = []
    for crop, part in told.groupby("crop"):
        days = harvest_days(catalog, str(crop), point)
        rows: Any = part.itertuples()
        for row in rows:
            off.append(float(days[row.variety]) - season_day(str(row.value), "north", after=184))
    print(f"\n{note}: {len(off)} dates, median off by {np.median(np.abs(off)):.1f} d")
    assert np.median(np.abs(off)) <= within_d


def test_ripening_order_follows_the_season_words(catalog: Catalog) -> None:
    """Season words of sources that gave no dates, in England."""
    words = {"very-early": 0, "early": 1, "early-mid": 2, "mid": 3, "mid-late": 4, "late": 5, "very-late": 6}
    for crop in ("apple", "european-pear", "european-plum"):
        traits = catalog.traits()
        traits = traits[(traits["crop"] == crop)].set_index("variety")
        days = harvest_days(catalog, crop, (51.3, 0.45))
        word = traits["ripening_season"].astype(object).map(words).dropna()
        assert spearmanr(days.reindex(word.index), word).statistic > 0.5


def test_years_and_places_left_out_beat_the_same_date() -> None:
    scores = pd.read_csv(datasets_folder() / "ripening_scores.csv")
    print(f"\n{scores.to_string(index=False)}")
    assert (scores["rmse_d"] < scores["rmse_same_date_d"]).all()


def test_fruit_said_to_be_picked_all_year_is_given_its_crops_window_not_new_years_day() -> None:
    from recommender.biology.ripening import ripening_needs

    # Eureka lemon in California: 1 January to 31 December (ccpdpp-popular-citrus).
    traits = pd.DataFrame(
        {"crop": ["lemon"] * 2, "harvest_start": [1.0, np.nan], "harvest_end": [365.0, np.nan]}
    )
    needs = ripening_needs(traits, np.zeros(2))
    assert needs.window_start[0] == needs.window_start[1] != 1.0
    assert needs.window_end[0] - needs.window_start[0] == 364.0
