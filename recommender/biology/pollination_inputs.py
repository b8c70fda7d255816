"""What is known of single varieties and of published pairs, made ready for judging all pairs at once.

In: the catalog's frames. Out: `Prepared`, for varieties sorted by crop. No pair is judged here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from recommender.biology import alleles, bloom_overlap, crosses, sports
from recommender.biology import fertility as fert
from recommender.biology.alleles import STANDINGS

POLYPLOID_CROPS = ("sour-cherry", "duke-cherry", "bush-cherry", "european-plum")


_TRAITS = (
    "self_fertility",
    "s_alleles",
    "ploidy",
    "pollen",
    "flowering_type",
    "bloom_group",
    "bloom_season",
    "bloom_offset",
    "sport_of",
)


def needed(traits: pd.DataFrame) -> pd.DataFrame:
    """Only the columns used here, text as plain objects (a wide frame has 250)."""
    wanted = ["crop", "variety", "s_alleles_unit"]
    wanted += [name for trait in _TRAITS for name in (trait, f"{trait}_standing")]
    frame = traits[[name for name in wanted if name in traits]]
    text = [name for name in frame if not pd.api.types.is_numeric_dtype(frame[name])]
    return frame.astype(dict.fromkeys(text, object))


@dataclass(frozen=True, eq=False)
class Prepared:
    """All that is known of single varieties and published pairs, for varieties sorted by crop; no pair
    judged yet.

    spans: crop -> its rows. system: crop -> its pollination system. crossing: {(bears, gives): standing
    code}.
    types (n,): 1 or 2 for the two flowering types. root (n,): first of each clone. Others as in the result.
    """

    index: pd.DataFrame
    spans: dict[str, slice]
    system: dict[str, str]
    crossing: dict[tuple[str, str], int]
    own: pd.DataFrame
    types: np.ndarray
    root: np.ndarray
    days: np.ndarray
    typed: list[alleles.Incidence]
    genotypes: pd.DataFrame
    settled: pd.DataFrame


def prepare(
    traits: pd.DataFrame,
    pairs: pd.DataFrame | None,
    crops: pd.DataFrame,
    evidence: pd.DataFrame | None,
    names: pd.DataFrame | None,
    published: bool = True,
) -> Prepared:
    """Read everything `pair_codes` needs. `traits` sorted by crop; the rest as for `pollination_matrix`."""
    root, _ = sports.roots(sports.parents(traits))
    traits = sports.inherited(traits, root)
    table, typed = _genotypes(traits, evidence, root)
    own = fert.fertility(traits, crops, _self_compatible(typed, len(traits)))
    crossing = crosses.crop_crosses(crops)
    system = dict(zip(crops["crop"], crops["incompatibility"], strict=True))
    settled = pd.DataFrame()
    if published and (pairs is not None or evidence is not None):
        settled = _settled(traits, pairs, evidence, names, crossing, own, system)
    return Prepared(
        traits[["crop", "variety"]].reset_index(drop=True),
        _spans(traits["crop"].to_numpy(dtype=object)),
        system,
        {pair: STANDINGS.index(standing) for pair, standing in crossing.items()},
        own,
        _flowering_types(traits),
        root,
        bloom_overlap.bloom_day(traits),
        typed,
        table,
        settled,
    )


def _genotypes(
    traits: pd.DataFrame, evidence: pd.DataFrame | None, root: np.ndarray
) -> tuple[pd.DataFrame, list[alleles.Incidence]]:
    """All usable genotypes, a sport's own or its parent's, and their incidence matrices."""
    keys = list(zip(traits["crop"], traits["variety"], strict=True))
    position = {key: k for k, key in enumerate(keys)}
    ploidy = dict(zip(keys, fert.numeric(traits, "ploidy"), strict=True))
    sterile = fert.column(traits, "self_fertility") == "self-sterile"
    table = alleles.genotypes(
        alleles.genotype_evidence(traits, evidence),
        ploidy,
        {key for key, is_sterile in zip(keys, sterile, strict=True) if is_sterile},
    )
    have = set(zip(table["crop"], table["variety"], strict=True))
    extra = []
    for sport in np.flatnonzero(root != np.arange(len(root))):
        if keys[sport] not in have:
            parent = table.loc[
                table["crop"].eq(keys[root[sport]][0]) & table["variety"].eq(keys[root[sport]][1])
            ]
            extra.append(parent.assign(variety=keys[sport][1]))
    if extra:
        table = pd.concat([table, *extra], ignore_index=True)
    return table, alleles.incidence(table, position)


def _self_compatible(typed: list[alleles.Incidence], n: int) -> np.ndarray:
    """(n,) int8: 1 where a variety's own pollen passes by its alleles, 0 where not, -1 where not typed."""
    out = np.full(n, -1, dtype=np.int8)
    for group in typed:
        if group.series == alleles.HAZELNUT_SERIES:
            out[group.positions] = 0
            continue
        # Four-set cherries: too few haplotypes are understood to deny what an orchard shows.
        sure = group.copies <= 3
        passes = np.diagonal(alleles.gametophytic(group)) != alleles.ACCEPTS_NONE
        out[group.positions[sure | passes]] = passes[sure | passes]
    return out


def _spans(crop_of: np.ndarray) -> dict[str, slice]:
    if not len(crop_of):
        return {}
    starts = np.flatnonzero(np.r_[True, crop_of[1:] != crop_of[:-1]])
    ends = np.r_[starts[1:], len(crop_of)]
    return {str(crop_of[a]): slice(int(a), int(b)) for a, b in zip(starts, ends, strict=True)}


def _flowering_types(traits: pd.DataFrame) -> np.ndarray:
    """(n,) int8: 1 or 2 for the two halves of a crop that sheds and receives by turns, 0 not known."""
    kind = pd.Series(fert.column(traits, "flowering_type")).map({"A": 1, "B": 2})
    turn = pd.Series(fert.column(traits, "bloom_group")).map({"protandrous": 1, "protogynous": 2})
    return kind.fillna(turn).fillna(0).to_numpy(np.int8)


def _settled(
    traits: pd.DataFrame,
    pairs: pd.DataFrame | None,
    evidence: pd.DataFrame | None,
    names: pd.DataFrame | None,
    crossing: dict[tuple[str, str], str],
    own: pd.DataFrame,
    system: dict[str, str],
) -> pd.DataFrame:
    """Published pairs, and those they imply the other way round, with the positions `i` and `j` they stand
    at.
    """
    keys = list(zip(traits["crop"], traits["variety"], strict=True))
    position = {key: k for k, key in enumerate(keys)}
    statements, _ = crosses.published_pairs(pairs, evidence, crosses.VarietyNames(keys, crossing, names))
    settled = crosses.settled_pairs(statements)
    if settled.empty:
        return settled
    diploid_crop = traits["crop"].map(system).eq("gametophytic") & ~traits["crop"].isin(POLYPLOID_CROPS)
    # A ploidy nobody has published counts as the crop's usual two sets.
    diploid = diploid_crop.to_numpy() & ~(own["race"].to_numpy() > 2)

    def places(frame: pd.DataFrame, crop: str, variety: str) -> np.ndarray:
        return np.array([position[key] for key in zip(frame[crop], frame[variety], strict=True)], dtype=int)

    i, j = places(settled, "female_crop", "female"), places(settled, "male_crop", "male")
    same_crop = settled["female_crop"].eq(settled["male_crop"]).to_numpy()
    turned = crosses.mirrored(settled, diploid[i] & diploid[j] & same_crop)
    settled = pd.concat([settled, turned], ignore_index=True)
    settled["i"] = np.r_[i, places(turned, "female_crop", "female")]
    settled["j"] = np.r_[j, places(turned, "male_crop", "male")]
    return settled
