"""Who can pollinate whom: every ordered pair of a bearing variety and a pollen donor, with its reason and
standing.

In: the catalog's wide traits frame, its pair table, crop table and (for nomenclatures, notes and lists of
partners) its evidence. Out: a `PollinationMatrix` of three small code arrays, from which sentences, lists
of partners and a frame for the catalog are made. All rules run on whole arrays; docs/pollination.md states
each with its source.

Order of the rules, later ones overruling earlier ones:
1. crops that do not cross; 2. the crop's own system (self-incompatible, two sexes, two flowering types,
   none);
3. S-alleles; 4. donors without viable pollen; 5. bloom known to be apart; 6. the same clone; 7. published
   pairs;
8. bloom apart at the site, if the phenology's shared days are given; 9. male plants bear nothing.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from recommender.biology import alleles, bloom_order, crosses
from recommender.biology import fertility as fert
from recommender.biology import pollination_inputs as inputs
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

if TYPE_CHECKING:
    from recommender.catalog.catalog import Catalog

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
    [
        CODE[name]
        for name in ("published-compatible", "published-semi", "overruled-to-compatible", "listed-half")
    ],
)
"""By code: results a look at bloom times can change; reasons that rest on a published pair."""


class _Codes:
    """The three arrays under construction, in an order in which each crop's varieties stand together."""

    def __init__(self, n: int) -> None:
        self.result = np.full((n, n), WRONG_CROP, dtype=np.int8)
        self.reason = np.full((n, n), CODE["wrong-crop"], dtype=np.int8)
        self.standing = np.full((n, n), PUBLISHED, dtype=np.int8)

    def put(self, where: Any, result: Any, reason: Any, standing: Any) -> None:
        """Assign all three at one place (any NumPy index)."""
        self.result[where], self.reason[where], self.standing[where] = result, reason, standing

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

    traits: wide catalog frame (crop, variety, s_alleles, ploidy, pollen, self_fertility, sport_of, bloom_*
    ...,
        each with `<trait>_standing`). pairs: female_crop, female, male_crop, male, result, source_id.
    crops: one row a crop. evidence: long frame (crop, variety, trait, value, basis or standing, source_id,
    note); without it the settled alleles are read without notes and partner lists are not used.
    names: crop, name, variety, to resolve synonyms in lists. overlap_days: (n, n) expected shared days of
    bloom at a site [d], NaN where not known; then too few of them overrule. published: False leaves published
    pairs out, to see what the rules alone would say.
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
    frame = inputs.needed(traits if sorted_already else traits.iloc[order].reset_index(drop=True))
    shared = overlap_days if overlap_days is None or sorted_already else overlap_days[np.ix_(order, order)]
    prepared = inputs.prepare(frame, pairs, crops, evidence, names, published)
    codes, need = pair_codes(prepared, shared)
    built = PollinationMatrix(
        prepared.index,
        codes.result,
        codes.reason,
        codes.standing,
        need,
        prepared.own,
        prepared.days,
        shared,
        prepared.genotypes,
        prepared.settled,
    )
    return built if sorted_already else built.take(np.argsort(order))


def catalog_matrix(
    catalog: Catalog, crops: Collection[str] | None = None, overlap_days: np.ndarray | None = None
) -> PollinationMatrix:
    """`pollination_matrix` of a catalog's own frames.

    crops: look at these only, and at the crops whose pollen serves them; None: the whole catalog.
    overlap_days: for exactly the varieties looked at, in the order of the traits frame. Raises UnknownName.
    """
    traits, table = catalog.traits(), catalog.crops()
    if crops is not None:
        unknown = set(crops) - set(table["crop"])
        if unknown:
            raise UnknownName("crop", min(unknown))
        serving = {gives for bears, gives in crosses.crop_crosses(table) if bears in crops}
        traits = traits.loc[traits["crop"].isin(serving | set(crops))].reset_index(drop=True)
    return pollination_matrix(
        traits,
        catalog.pairs(),
        table,
        evidence=catalog.evidence(),
        names=catalog.names(),
        overlap_days=overlap_days,
    )


def pair_codes(prepared: inputs.Prepared, overlap: np.ndarray | None = None) -> tuple[_Codes, np.ndarray]:
    """Every pair judged: the three code arrays and the (n,) need of a partner. See `pollination_matrix`."""
    own, root, spans = prepared.own, prepared.root, prepared.spans
    codes = _Codes(len(prepared.index))
    race, sexes = own["race"].to_numpy(), own["self"].to_numpy()
    for (bears, gives), standing in prepared.crossing.items():
        if bears in spans and gives in spans:
            block = codes.block(spans[bears], spans[gives])
            if bears != gives:
                block.put(..., COMPATIBLE, CODE["other-species"], standing)
            else:
                at = spans[bears]
                _within(block, bears, prepared.system[bears], prepared.types[at], sexes[at], race[at])
    _never_cross(codes, spans)
    _by_alleles(codes, prepared.typed)
    _by_donor(codes, own)
    _same_clone(codes, own, root, prepared.typed)
    for i, j, result, kind, standing_name in (
        prepared.settled[_PAIR].itertuples(index=False) if len(prepared.settled) else ()
    ):
        _overrule(codes, i, j, result, kind, standing_name)
    _bloom_apart(codes, spans, prepared.days, root)
    if overlap is not None:
        late = (overlap < bloom_order.FEWEST_DAYS) & _OPEN_RESULT[codes.result]
        late &= root[:, None] != root[None, :]
        codes.put(late, NOT_TOGETHER, CODE["bloom-apart"], ESTIMATED)
    need = own["need"].to_numpy(np.int8)
    male = np.flatnonzero(need == fert.NO_FRUIT)
    stands = own["need_standing"].to_numpy(np.int8)[male][:, None]
    codes.put(male, INCOMPATIBLE, CODE["bears-no-fruit"], stands)
    return codes, _gains(need, codes, prepared.settled)


_PAIR = ["i", "j", "result", "kind", "standing"]


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
        differ = np.isfinite(race[:, None]) & np.isfinite(race[None, :]) & (race[:, None] != race[None, :])
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
        code = (
            alleles.sporophytic(group)
            if group.series == alleles.HAZELNUT_SERIES
            else alleles.gametophytic(group)
        )
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
    """Varieties of one crop known to bloom apart, by offset, group or season; published pairs stay."""
    for at in spans.values():
        known = np.flatnonzero(np.isfinite(days[at]).any(axis=1)) + at.start
        if not len(known):
            continue
        shared = bloom_order.shared_days(days[known], days[known])
        late = np.nonzero(shared < bloom_order.FEWEST_DAYS)
        i, j = known[late[0]], known[late[1]]
        open_ = _OPEN_RESULT[codes.result[i, j]] & ~_SAID[codes.reason[i, j]] & (root[i] != root[j])
        codes.put((i[open_], j[open_]), NOT_TOGETHER, CODE["bloom-apart"], ESTIMATED)


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


def _same_clone(codes: _Codes, own: pd.DataFrame, root: np.ndarray, typed: list[alleles.Incidence]) -> None:
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
    reason = np.array([CODE[f"self-{name}"] for name in word], dtype=np.int8)
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
    """(g, g) bool: no series types two members of a clone differently (Osa-Nijisseiki is a mutant)."""
    alike = np.ones((len(group), len(group)), dtype=bool)
    for series in typed:
        order = np.argsort(series.positions)
        found = np.searchsorted(series.positions, group, sorter=order)
        rows = order[np.minimum(found, len(order) - 1)]
        typed_here = np.flatnonzero(series.positions[rows] == group)
        for a in typed_here:
            for b in typed_here:
                same = (series.style[rows[a]] == series.style[rows[b]]).all()
                alike[a, b] &= bool(same and (series.pollen[rows[a]] == series.pollen[rows[b]]).all())
    return alike


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
        codes.put((i, j), INCOMPATIBLE, CODE["overruled-to-incompatible" if overruled else name], said)
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


def _gains(need: np.ndarray, codes: _Codes, settled: pd.DataFrame) -> np.ndarray:
    """A self-fertile tree gains from a partner where a published list names one for it."""
    if settled.empty:
        return need
    i, j = settled["i"].to_numpy(np.int64), settled["j"].to_numpy(np.int64)
    listed = np.zeros(len(need), dtype=bool)
    listed[i[_SAID[codes.reason[i, j]]]] = True
    return np.where((need == fert.NOT_NEEDED) & listed, fert.GAINS, need).astype(np.int8)
