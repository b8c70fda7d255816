"""Order of bloom against observers outside this project, beside a rule that knows only early, mid and late.

Sources of truth, none of which the prediction sees:
- bloom_varieties.csv, `observed_d`: dates of five places less the place's median of that year
  (doi 10.60507/FK2/MZIELI). The prediction is made from other publications alone: every observed effect is
  taken out of the parameters.
- single published tables of bloom offsets, each taken out of the catalog before its order is predicted.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import spearmanr

from recommender import open_catalog
from recommender.biology.bloom_parameters import BloomParameters, load_bloom_parameters
from recommender.biology.phenology import full_bloom
from recommender.catalog.catalog import Catalog
from recommender.catalog.package import datasets_folder
from recommender.climate.normals import normals_at
from recommender.climate.profile import build_profile

# Where most of each crop's observed varieties stand.
OBSERVED_AT = {
    "almond": (34.74, 10.76), "apple": (50.61, 6.99), "apricot": (38.24, -1.42),
    "european-pear": (41.65, -0.88), "sweet-cherry": (41.65, -0.88),
}  # fmt: skip
# Source of a table of offsets with the place it was made at.
TABLES = {
    "memoire-bloom": (44.0, 4.8),
    "greentree-almond": (37.0, -120.3),
    "burchell-almond": (37.6, -120.9),
    "fruitforum-nfc-bloom": (51.3, 0.87),
    "ucdavis-walnut-table": (38.5, -121.7),
}
THREE_WORDS = {
    "very-early": -1,
    "early": -1,
    "early-mid": 0,
    "mid": 0,
    "mid-late": 0,
    "late": 1,
    "very-late": 1,
}


@pytest.fixture(scope="module")
def catalog() -> Catalog:
    return open_catalog()


@pytest.fixture(scope="module")
def unseen() -> BloomParameters:
    """Parameters without a single observed variety."""
    parameters = load_bloom_parameters()
    return BloomParameters(parameters.crops, parameters.varieties.iloc[:0])


def middle_day(traits: pd.DataFrame, point: tuple[float, float], parameters: BloomParameters) -> np.ndarray:
    return np.nanmedian(full_bloom(traits, build_profile(normals_at(*point), years=12), parameters), axis=1)


def rank(one: pd.Series, other: pd.Series) -> float:
    """Spearman's correlation; 0 for a prediction that tells no two varieties apart."""
    return 0.0 if len(set(one)) == 1 else float(spearmanr(one, other).statistic)


def test_order_observed_by_others_is_foretold_better_than_by_three_words(
    catalog: Catalog, unseen: BloomParameters
) -> None:
    observed = pd.read_csv(datasets_folder() / "bloom_varieties.csv").dropna(subset=["variety"])
    rows = []
    for crop, point in OBSERVED_AT.items():
        traits = catalog.traits()
        traits = traits[traits["crop"] == crop].reset_index(drop=True)
        frame = traits[["variety"]].assign(
            day=middle_day(traits, point, unseen),
            word=traits["bloom_season"].astype(object).map(THREE_WORDS).fillna(0),
        )
        mine = observed[observed["crop"] == crop].groupby("variety", as_index=False)["observed_d"].mean()
        both = frame.merge(mine, on="variety")
        rows.append(
            (crop, len(both), rank(both["day"], both["observed_d"]), rank(both["word"], both["observed_d"]))
        )
    table = pd.DataFrame(rows, columns=["crop", "varieties", "model", "three words"])
    print(f"\nRank correlation with the observed order\n{table.round(2).to_string(index=False)}")
    weights = table["varieties"]
    assert np.average(table["model"], weights=weights) > np.average(table["three words"], weights=weights)
    assert (table["model"] > 0).all()


def test_published_tables_left_out_are_foretold_no_worse_than_by_three_words(catalog: Catalog) -> None:
    traits, evidence = catalog.traits().reset_index(drop=True), catalog.evidence()
    settled = catalog.settled_all()
    resting = settled[settled["trait"] == "bloom_offset"].set_index(["crop", "variety"])["source_ids"]
    of_row = (
        resting.reindex(pd.MultiIndex.from_frame(traits[["crop", "variety"]]))
        .fillna("")
        .astype(str)
        .to_numpy()
    )
    rows = []
    for source, point in TABLES.items():
        told = evidence[(evidence["trait"] == "bloom_offset") & (evidence["source_id"] == source)]
        said = told[["value", "low", "high"]].apply(pd.to_numeric, errors="coerce").mean(axis=1)
        without = traits.copy()
        hidden = [source in text.split("|") for text in of_row]
        without.loc[hidden, ["bloom_offset", "bloom_offset_low", "bloom_offset_high"]] = np.nan
        mine = without["crop"] == told["crop"].iloc[0]
        frame = without.loc[mine, ["variety"]].assign(
            day=middle_day(without[mine].reset_index(drop=True), point, load_bloom_parameters()),
            word=without.loc[mine, "bloom_season"].astype(object).map(THREE_WORDS).fillna(0),
        )
        both = frame.merge(told.assign(said=said)[["variety", "said"]].dropna(), on="variety")
        rows.append((source, len(both), rank(both["day"], both["said"]), rank(both["word"], both["said"])))
    table = pd.DataFrame(rows, columns=["table left out", "varieties", "model", "three words"])
    print(f"\nRank correlation with published tables\n{table.round(2).to_string(index=False)}")
    assert table["model"].mean() >= table["three words"].mean()
    assert (table["model"] > 0.4).all()


def test_scores_of_the_fit_stand_where_the_method_page_says() -> None:
    """Aim: errors published for a comparable data set. Met for five of seven crops; the page says which.
    The error told covers about 68 and 90 in 100 of the blooms left out."""
    scores = pd.read_csv(datasets_folder() / "bloom_scores.csv")
    years = scores[(scores["left_out"] == "years") & (scores["which"] == "all places")].set_index("crop")
    met = set(years.index[years["rmse_d"] <= years["rmse_published_d"]])
    assert met == {"almond", "apple", "apricot", "european-plum", "sweet-cherry"}
    page = (Path(__file__).parents[2] / "docs" / "bloom.md").read_text(encoding="utf-8")
    print(
        f"\nErrors of what was left out [d]\n{scores.drop(columns='rmse_published_d').to_string(index=False)}"
    )
    weight = scores["observations"].where(scores["left_out"].isin(["years", "place"]), 0.0)
    assert np.average(scores["covered_68"], weights=weight) == pytest.approx(0.73, abs=0.06)
    assert np.average(scores["covered_90"], weights=weight) == pytest.approx(0.90, abs=0.03)
    assert (years["covered_68"] > 0.55).all()
    assert (years["covered_90"] > 0.85).all()
    for crop, row in years.iterrows():
        assert f"| {crop} | {row['observations']:.0f} | {row['rmse_d']:.1f} |" in page


def test_observed_varieties_are_the_catalogs_own(catalog: Catalog) -> None:
    observed = pd.read_csv(datasets_folder() / "bloom_varieties.csv").dropna(subset=["variety"])
    known = set(zip(catalog.traits()["crop"], catalog.traits()["variety"], strict=True))
    assert len(observed) > 90
    assert set(zip(observed["crop"], observed["variety"], strict=True)) <= known


def test_a_known_date_lies_within_twice_the_stated_error(catalog: Catalog) -> None:
    """Victoria plum in full flower at Brogdale on 14 April (National Fruit Collection, evidence of source
    fruitforum-nfc-bloom)."""
    from recommender.biology.bloom_table import bloom_summary

    traits = catalog.traits()
    victoria = traits[(traits["crop"] == "european-plum") & (traits["variety"] == "Victoria")].reset_index(
        drop=True
    )
    row = bloom_summary(victoria, build_profile(normals_at(51.3, 0.87), years=12)).iloc[0]
    print(f"\nVictoria at Brogdale: {row['middle']}, give or take {row['error_days']:.0f} d; published 04-14")
    assert abs(row["middle_day"] - 287) < 2 * row["error_days"]
