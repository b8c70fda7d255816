"""Who can pollinate whom: every ordered pair of a bearing variety and a pollen donor, with its reason and standing.

In: the catalog's wide traits frame, its pair table, crop table and (for nomenclatures, notes and lists of partners)
its evidence. Out: a `PollinationMatrix` of three small code arrays, from which sentences, lists of partners and a
frame for the catalog are made. All rules run on whole arrays; docs/pollination.md states each with its source.

Order of the rules, later ones overruling earlier ones:
1. crops that do not cross; 2. the crop's own system (self-incompatible, two sexes, two flowering types, none);
3. S-alleles; 4. donors without viable pollen; 5. bloom known to be apart; 6. the same clone; 7. published pairs;
8. bloom apart at the site, if the phenology's shared days are given; 9. male plants bear nothing.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from recommender.biology import alleles, bloom_overlap, crosses, sports
from recommender.biology import fertility as fert
from recommender.biology.alleles import STANDINGS
from recommender.biology.pollination_result import PollinationMatrix
from recommender.biology.reasons_pollination import (
    CODE,
    COMPATIBLE,
    INCOMPATIBLE,
    NO_POLLEN_RESULT,
    NOT_TOGETHER,
    REASONS,
    RESULTS,
    SEMI,
    UNKNOWN,
    WRONG_CROP,
)
from recommender.errors import BadInput, UnknownName

HAZELNUT = "hazelnut numbers"
POLYPLOID_CROPS = ("sour-cherry", "duke-cherry", "bush-cherry", "european-plum")
PUBLISHED, PRACTICE, ESTIMATED, MEMORY, NOT_KNOWN = range(len(STANDINGS))

_ALLELES = {
    alleles.ACCEPTS_ALL: (COMPATIBLE, "alleles-all"),
    alleles.ACCEPTS_SOME: (SEMI, "alleles-some"),
    alleles.ACCEPTS_NONE: (INCOMPATIBLE, "alleles-none"),
    alleles.NOT_KNOWN: (UNKNOWN, "hazel-silent"),
}
_ALLELE_RESULT = np.array([_ALLELES[k][0] for k in range(4)], dtype=np.int8)
_ALLELE_REASON = np.array([CODE[_ALLELES[k][1]] for k in range(4)], dtype=np.int8)
_DONOR = {
    fert.STERILE: (NO_POLLEN_RESULT, "sterile-pollen"),
    fert.TRIPLOID: (NO_POLLEN_RESULT, "triploid-donor"),
    fert.POOR: (NO_POLLEN_RESULT, "poor-pollen"),
    fert.FEMALE: (NO_POLLEN_RESULT, "female-donor"),
    fert.NO_POLLEN: (NO_POLLEN_RESULT, "no-pollen-type"),
    fert.MALE_UNKNOWN: (UNKNOWN, "sex-unknown"),
}
_SELF = {
    fert.SELF_FERTILE: (COMPATIBLE, "fertile"),
    fert.PARTLY: (SEMI, "partly"),
    fert.SELF_STERILE: (INCOMPATIBLE, "sterile"),
}


_OPEN_RESULT = np.isin(np.arange(len(RESULTS)), (COMPATIBLE, SEMI, UNKNOWN))
_SAID = np.isin(
    np.arange(len(REASONS)),
    [CODE[name] for name in ("published-compatible", "published-semi", "overruled-to-compatible", "listed-half")],
)
"""By code: results a look at bloom times can change; reasons that rest on a published pair."""


class _Codes:
    """The three arrays under construction, in an order in which each crop's varieties stand together."""

    def __init__(self, n: int) -> None:
        self.result = np.full((n, n), WRONG_CROP, dtype=np.int8)
        self.reason = np.full((n, n), CODE["wrong-crop"], dtype=np.int8)
        self.standing = np.full((n, n), PUBLISHED, dtype=np.int8)

    def put(self, where: object, result: object, reason: object, standing: object) -> None:
        """Assign all three at one place (any NumPy index)."""
        self.result[where], self.reason[where], self.standing[where] = result, reason, standing  # type: ignore[index]

    def block(self, rows: slice, cols: slice) -> _Codes:
        """A view on the pairs of two crops."""
        view = object.__new__(_Codes)
        view.result = self.result[rows, cols]
        view.reason = self.reason[rows, cols]
        view.standing = self.standing[rows, cols]
        return view


def pollination_matrix(
    traits: pd.DataFrame,
    pairs: pd.DataFrame | None,
    crops: pd.DataFrame,
    *,
    evidence: pd.DataFrame | None = None,
    names: pd.DataFrame | None = None,
    overlap_days: np.ndarray | None = None,
    published: bool = True,
) -> PollinationMatrix:
    """The result for every ordered pair of the n varieties of `traits`, in its row order.

    traits: wide catalog frame (crop, variety, s_alleles, ploidy, pollen, self_fertility, sport_of, bloom_* ...,
        each with `<trait>_standing`). pairs: female_crop, female, male_crop, male, result, source_id.
    crops: one row a crop. evidence: long frame (crop, variety, trait, value, basis or standing, source_id, note);
        without it the settled alleles are read without notes and partner lists are not used.
    names: crop, name, variety, to resolve synonyms in lists. overlap_days: (n, n) expected shared days of bloom at
        a site [d], NaN where not known; then too few of them overrule. published: False leaves published pairs
        out, to see what the rules alone would say.
    Raises BadInput for a traits frame with a variety twice, a crop not in the crop table, or a wrong shape.
    """
    n = len(traits)
    traits = traits.reset_index(drop=True)
    if traits.duplicated(["crop", "variety"]).any():
        twice = traits.loc[traits.duplicated(["crop", "variety"]), "variety"].iloc[0]
        raise BadInput(f"The traits hold {twice} twice", remedy="Give one row a variety")
    strangers = set(traits["crop"]) - set(crops["crop"])
    if strangers:
        raise UnknownName("crop", min(strangers), where="traits")
    if overlap_days is not None and overlap_days.shape != (n, n):
        raise BadInput(
            f"Shared days have the shape {overlap_days.shape}, not ({n}, {n})",
            remedy="Give one row and one column for each variety of the traits frame, in its order",
        )
    order = np.argsort(traits["crop"].to_numpy(dtype=str), kind="stable")
    sorted_already = bool((order == np.arange(n)).all())
    frame = traits if sorted_already else traits.iloc[order].reset_index(drop=True)
    shared = overlap_days if overlap_days is None or sorted_already else overlap_days[np.ix_(order, order)]
    built = _build(frame, pairs, crops, evidence, names, shared, published)
    return built if sorted_already else built.take(np.argsort(order))


def _build(
    traits: pd.DataFrame,
    pairs: pd.DataFrame | None,
    crops: pd.DataFrame,
    evidence: pd.DataFrame | None,
    names: pd.DataFrame | None,
    overlap: np.ndarray | None,
    published: bool,
) -> PollinationMatrix:
    """`pollination_matrix` for a frame sorted by crop."""
    root, _ = sports.roots(sports.parents(traits))
    traits = sports.inherited(traits, root)
    table, typed = _genotypes(traits, evidence, root)
    compatible_with_itself = _self_compatible(typed, len(traits))
    own = fert.fertility(traits, crops, compatible_with_itself)
    crossing = crosses.crop_crosses(crops)
    codes = _Codes(len(traits))
    spans = _spans(traits["crop"].to_numpy(dtype=object))
    system = dict(zip(crops["crop"], crops["incompatibility"], strict=True))
    types = _flowering_types(traits)
    race = own["race"].to_numpy()
    sexes = own["self"].to_numpy()
    for (bears, gives), standing in crossing.items():
        if bears in spans and gives in spans:
            block = codes.block(spans[bears], spans[gives])
            if bears != gives:
                block.put(..., COMPATIBLE, CODE["other-species"], STANDINGS.index(standing))
            else:
                at = spans[bears]
                _within(block, str(bears), str(system[bears]), types[at], sexes[at], race[at])
    _never_cross(codes, spans)
    _by_alleles(codes, typed)
    _by_donor(codes, own)
    _same_clone(codes, own, root, typed)
    settled = pd.DataFrame()
    if published and (pairs is not None or evidence is not None):
        settled = _published(codes, traits, pairs, evidence, names, crossing, own, system)
    days = bloom_overlap.bloom_day(traits)
    _bloom_apart(codes, spans, days, root)
    if overlap is not None:
        late = (overlap < bloom_overlap.ENOUGH_DAYS) & _OPEN_RESULT[codes.result]
        late &= root[:, None] != root[None, :]
        codes.put(late, NOT_TOGETHER, CODE["bloom-apart"], ESTIMATED)
    male = own["need"].to_numpy() == fert.NO_FRUIT
    codes.put(
        male, INCOMPATIBLE, CODE["bears-no-fruit"], own["need_standing"].to_numpy(np.int8)[male][:, None]
    )
    index = traits[["crop", "variety"]].reset_index(drop=True)
    need = _gains(own["need"].to_numpy(np.int8), codes)
    return PollinationMatrix(
        index, codes.result, codes.reason, codes.standing, need, own, days, overlap, table, settled
    )


def _genotypes(
    traits: pd.DataFrame, evidence: pd.DataFrame | None, root: np.ndarray
) -> tuple[pd.DataFrame, list[alleles.Incidence]]:
    """All usable genotypes, sports given their parent's where they have none, and their incidence matrices."""
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
        if group.series == HAZELNUT:
            out[group.positions] = 0
            continue
        # Four-set cherries: too few haplotypes are understood to deny what an orchard shows.
        sure = group.copies <= 3
        passes = np.diagonal(alleles.gametophytic(group)) != alleles.ACCEPTS_NONE
        out[group.positions[sure | passes]] = passes[sure | passes]
    return out


def _spans(crop_of: np.ndarray) -> dict[str, slice]:
    starts = np.flatnonzero(np.r_[True, crop_of[1:] != crop_of[:-1]]) if len(crop_of) else np.array([], int)
    ends = np.r_[starts[1:], len(crop_of)]
    return {str(crop_of[a]): slice(int(a), int(b)) for a, b in zip(starts, ends, strict=True)}


def _flowering_types(traits: pd.DataFrame) -> np.ndarray:
    """(n,) int8: 1 or 2 for the two halves of a crop that sheds and receives by turns, 0 not known."""
    kind = pd.Series(fert.column(traits, "flowering_type")).map({"A": 1, "B": 2})
    turn = pd.Series(fert.column(traits, "bloom_group")).map({"protandrous": 1, "protogynous": 2})
    return kind.fillna(turn).fillna(0).to_numpy(np.int8)


def _within(
    block: _Codes, crop: str, system: str, types: np.ndarray, sexes: np.ndarray, race: np.ndarray
) -> None:
    """Two varieties of one crop, by the crop's own system, before anything is known of their alleles."""
    if crop == "fig":
        block.put(..., COMPATIBLE, CODE["caprifig"], PUBLISHED)
    elif system == "none":
        block.put(..., COMPATIBLE, CODE["any-of-crop"], PRACTICE)
    elif system == "protogynous":
        block.put(..., COMPATIBLE, CODE["any-other"], PRACTICE)
    elif system == "dichogamous":
        known = (types[:, None] > 0) & (types[None, :] > 0)
        same = types[:, None] == types[None, :]
        block.put(..., UNKNOWN, CODE["type-unknown"], NOT_KNOWN)
        block.put(known & ~same, COMPATIBLE, CODE["opposite-type"], PUBLISHED)
        # Avocado types keep to the clock; two walnuts of one type may still overlap by their dates.
        together = NOT_TOGETHER if crop == "avocado" else UNKNOWN
        block.put(known & same, together, CODE["same-type"], PUBLISHED)
    elif system == "dioecious":
        block.put(..., COMPATIBLE, CODE["sexes"], PUBLISHED)
        differ = (
            np.isfinite(race[:, None]) & np.isfinite(race[None, :]) & (race[:, None] != race[None, :])
        )
        block.put(differ, UNKNOWN, CODE["race-differs"], NOT_KNOWN)
    else:
        block.put(..., UNKNOWN, CODE["alleles-untyped"], NOT_KNOWN)


def _never_cross(codes: _Codes, spans: dict[str, slice]) -> None:
    for pair in crosses.NEVER_CROSS:
        one, two = sorted(pair)
        if one in spans and two in spans:
            for rows, cols in ((one, two), (two, one)):
                codes.block(spans[rows], spans[cols]).put(..., WRONG_CROP, CODE["never-cross"], PUBLISHED)


def _by_alleles(codes: _Codes, typed: list[alleles.Incidence]) -> None:
    """S-alleles, one series at a time; where two series type a pair, the better standing speaks."""
    for group in typed:
        code = alleles.sporophytic(group) if group.series == HAZELNUT else alleles.gametophytic(group)
        where = np.ix_(group.positions, group.positions)
        standing = np.maximum(group.standing[:, None], group.standing[None, :])
        by_rule = codes.reason[where]
        before = np.isin(by_rule, (CODE["alleles-untyped"], CODE["other-species"]))
        better = before | (np.isin(by_rule, _ALLELE_REASON) & (standing < codes.standing[where]))
        codes.result[where] = np.where(better, _ALLELE_RESULT[code], codes.result[where])
        codes.reason[where] = np.where(better, _ALLELE_REASON[code], by_rule)
        stands = np.where(code == alleles.NOT_KNOWN, NOT_KNOWN, standing)
        codes.standing[where] = np.where(better, stands, codes.standing[where])


def _bloom_apart(codes: _Codes, spans: dict[str, slice], days: np.ndarray, root: np.ndarray) -> None:
    """Varieties of one crop known to bloom apart, from offsets, groups or seasons alone; published pairs stay."""
    for at in spans.values():
        if not np.isfinite(days[at]).any():
            continue
        block = codes.block(at, at)
        late = bloom_overlap.shared_days(days[at], days[at]) < bloom_overlap.ENOUGH_DAYS
        late &= _OPEN_RESULT[block.result] & ~_SAID[block.reason]
        late &= root[at, None] != root[None, at]
        block.put(late, NOT_TOGETHER, CODE["bloom-apart"], ESTIMATED)


def _by_donor(codes: _Codes, own: pd.DataFrame) -> None:
    """Donors that give nothing, or of which nobody has said whether they bear male flowers."""
    sheds, standing = own["sheds"].to_numpy(), own["sheds_standing"].to_numpy(np.int8)
    donors = np.flatnonzero(sheds != fert.VIABLE)
    result = np.array([_DONOR[int(code)][0] for code in sheds[donors]], dtype=np.int8)
    reason = np.array([CODE[_DONOR[int(code)][1]] for code in sheds[donors]], dtype=np.int8)
    stands = np.where(result == UNKNOWN, NOT_KNOWN, standing[donors]).astype(np.int8)
    serve = codes.result[:, donors] != WRONG_CROP
    for array, values in ((codes.result, result), (codes.reason, reason), (codes.standing, stands)):
        array[:, donors] = np.where(serve, values, array[:, donors])


def _same_clone(
    codes: _Codes, own: pd.DataFrame, root: np.ndarray, typed: list[alleles.Incidence]
) -> None:
    """A variety with its own pollen, and with that of its sports."""
    kind, standing = own["self"].to_numpy(), own["need_standing"].to_numpy(np.int8)
    result = np.full(len(kind), UNKNOWN, dtype=np.int8)
    word = np.full(len(kind), "unknown", dtype=object)
    for code, (outcome, name) in _SELF.items():
        result[kind == code], word[kind == code] = outcome, name
    # That a crop often sets a little by itself says nothing sure of one tree.
    guess = own["self_by_crop"].to_numpy() & (result == SEMI)
    result[guess], word[guess] = UNKNOWN, "unknown"
    standing = np.where(result == UNKNOWN, NOT_KNOWN, standing)
    everyone = np.arange(len(kind))
    open_ = (codes.result[everyone, everyone] != NO_POLLEN_RESULT) | (result == COMPATIBLE)
    reason = pd.Series(word).map({name: CODE[f"self-{name}"] for name in set(word)}).to_numpy(np.int8)
    at = everyone[open_]
    codes.put((at, at), result[open_], reason[open_], standing[open_])
    sizes = np.bincount(root, minlength=len(root))
    for first in np.flatnonzero(sizes > 1):
        group = np.flatnonzero(root == first)
        alike = _alike(group, typed)
        for a, female in enumerate(group):
            for b, donor in enumerate(group):
                lost = codes.result[female, donor] == NO_POLLEN_RESULT and result[female] != COMPATIBLE
                if female != donor and alike[a, b] and not lost:
                    sport = CODE[f"sport-{word[female]}"]
                    codes.put((female, donor), result[female], sport, standing[female])


def _alike(group: np.ndarray, typed: list[alleles.Incidence]) -> np.ndarray:
    """(g, g) bool: no series types two members of one clone differently (Osa-Nijisseiki is a style mutant)."""
    alike = np.ones((len(group), len(group)), dtype=bool)
    for series in typed:
        place = {int(k): row for row, k in enumerate(series.positions)}
        rows = [(a, place[int(k)]) for a, k in enumerate(group) if int(k) in place]
        for a, one in rows:
            for b, two in rows:
                same = (series.style[one] == series.style[two]).all()
                alike[a, b] &= bool(same and (series.pollen[one] == series.pollen[two]).all())
    return alike


def _published(
    codes: _Codes,
    traits: pd.DataFrame,
    pairs: pd.DataFrame | None,
    evidence: pd.DataFrame | None,
    names: pd.DataFrame | None,
    crossing: dict[tuple[str, str], str],
    own: pd.DataFrame,
    system: dict[str, str],
) -> pd.DataFrame:
    """Published pairs over the rule. Returns the settled pairs with the positions `i` and `j` they stand at."""
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
    for row in settled.itertuples(index=False):
        _overrule(codes, int(row.i), int(row.j), str(row.result), str(row.kind), str(row.standing))
    return settled


def _overrule(codes: _Codes, i: int, j: int, result: str, kind: str, standing: str) -> None:
    """One published pair against what the rules gave."""
    now, why, stands = codes.result[i, j], codes.reason[i, j], int(codes.standing[i, j])
    said = STANDINGS.index(standing)
    if result == "incompatible":
        if kind == "mirrored" and now not in (UNKNOWN, INCOMPATIBLE):
            return
        if why in (CODE["sterile-pollen"], CODE["triploid-donor"], CODE["bears-no-fruit"]):
            return
        overruled = now in (COMPATIBLE, SEMI)
        name = "published-reverse" if kind == "mirrored" else "published-incompatible"
        codes.put(
            (i, j), INCOMPATIBLE, CODE["overruled-to-incompatible" if overruled else name], said
        )
    elif said > PUBLISHED and now != UNKNOWN:
        return
    elif result == "semi-compatible":
        codes.put((i, j), SEMI, CODE["published-semi"], said)
    elif now == SEMI and why == CODE["alleles-some"]:
        codes.put((i, j), SEMI, CODE["listed-half"], min(said, stands))
    elif kind == "partner list" and now == NO_POLLEN_RESULT and stands == PUBLISHED:
        codes.reason[i, j] = CODE["list-against-pollen"]
    elif kind == "partner list" and why == CODE["alleles-none"] and stands == PUBLISHED:
        codes.reason[i, j] = CODE["list-against-alleles"]
    else:
        overruled = now in (INCOMPATIBLE, NO_POLLEN_RESULT, NOT_TOGETHER, WRONG_CROP)
        name = "overruled-to-compatible" if overruled else "published-compatible"
        codes.put((i, j), COMPATIBLE, CODE[name], said)


def _gains(need: np.ndarray, codes: _Codes) -> np.ndarray:
    """A self-fertile tree gains from a partner where a published list names one for it."""
    listed = _SAID[codes.reason].any(axis=1)
    return np.where((need == fert.NOT_NEEDED) & listed, fert.GAINS, need).astype(np.int8)
