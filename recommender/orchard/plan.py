"""A planting as it is saved, printed and drawn: the trees, what they cover, and what is not sure.

Plain frozen objects; `Plan` holds no arrays and no catalog, so that it can be written to a file and read
again by a later version (`plan_file`).
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

SCHEMA = "orchardwright-plan"
VERSION = 1

# Wide enough for whatever was planned, and for corners taken from a map grid; what is wider is damage.
Metres = Annotated[float, Field(ge=0, le=1_000)]
Place = Annotated[float, Field(ge=-1e9, le=1e9)]
Years = Annotated[float, Field(ge=0, le=1_000)]
Weeks = Annotated[float, Field(ge=0, le=1_000)]
Days = Annotated[float, Field(ge=0, le=1_000)]
Figure = Annotated[float, Field(ge=-1e6, le=1e6)]


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", ser_json_inf_nan="null")


class Harvest(_Part):
    """Picking at the site in the usual year, MM-DD. early, late: first picking of an early year and last of
    a late one (one year in ten each); error_d: doubt of a year's first day [d]; store_weeks: how long it
    keeps."""

    first: str
    last: str
    early: str | None = None
    late: str | None = None
    error_d: Days | None = None
    store_weeks: Weeks | None = None


class Partner(_Part):
    """A donor of a tree. sure: known to set fruit, else likely only; standing: it stands there already."""

    crop: str
    variety: str
    sure: bool
    standing: bool = False


class PlannedTree(_Part):
    """One tree to plant. x, y [m] on the plot, None without one. bloom: full bloom, MM-DD.

    usual_spacing_m: on that rootstock, where the tree stands in a row. donor_distance_m, donor_reach_m: to
    the nearest donor, and how far bees carry its pollen. shade: share of the crown in others' shade at noon
    on the equinox. grafted_with: further varieties of a family tree, all on this one. facts: settled values
    the choice rests on, as they were then.
    """

    crop: str
    variety: str
    rootstock: str
    x: Place | None = None
    y: Place | None = None
    pollinated_by: tuple[Partner, ...] = ()
    pollination: str = ""
    bloom: str | None = None
    harvest: Harvest | None = None
    score: Figure
    verdict: str
    why: str = ""
    watch: str = ""
    locked: bool = False
    height_low_m: Metres | None = None
    height_high_m: Metres | None = None
    spread_m: Metres
    spacing_m: Metres
    usual_spacing_m: Metres | None = None
    donor_distance_m: Place | None = None
    donor_reach_m: Place | None = None
    shade: Figure | None = None
    years_low: Years | None = None
    years_high: Years | None = None
    stock_why: str = ""
    stock_watch: str = ""
    staking: str = ""
    grafted_with: tuple[str, ...] = ()
    evergreen: bool = False
    facts: dict[str, str] = Field(default_factory=dict)

    @property
    def key(self) -> str:
        """ "crop:variety"."""
        return f"{self.crop}:{self.variety}"


class Week(_Part):
    """A wanted week by its first and last day (MM-DD), what was wanted, and which trees cover it."""

    first: str
    last: str
    wanted: Literal["fresh", "from store"]
    ripe: tuple[str, ...] = ()
    in_store: tuple[str, ...] = ()

    @property
    def covered(self) -> bool:
        """Whether what was wanted is there."""
        return bool(self.ripe) or (self.wanted == "from store" and bool(self.in_store))


class Measured(_Part):
    """A set and what it is worth; used for alternatives and for the greedy choice it is compared with."""

    trees: tuple[str, ...]
    value: Figure
    suitability: Figure
    harvest_cover: Figure
    served: Figure
    served_sure: Figure
    served_twice: Figure
    faults: tuple[str, ...] = ()


class Plan(_Part):
    """The whole planting. optimality_gap: relative to the proven bound, 0 when no better set exists.

    cover_low, cover_high: harvest cover in a poor and in a good year (one in ten each).
    measured: this set's own figures; greedy: what picking from the top of the ranked list would have given.
    one_tree: what else is offered where there is room for one tree. notes: what had to give.
    """

    schema_name: Literal["orchardwright-plan"] = Field(default="orchardwright-plan", alias="schema")
    version: int = VERSION
    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True, ser_json_inf_nan="null")

    made_with: str
    data_key: str
    place: str
    hemisphere: Literal["north", "south"]
    lat: Annotated[float, Field(ge=-90, le=90)]
    site: dict[str, Any]
    goals: dict[str, Any]
    planting: dict[str, Any]
    plot: dict[str, Any] | None = None
    trees: tuple[PlannedTree, ...]
    weeks: tuple[Week, ...] = ()
    harvest_cover: Figure
    cover_low: Figure | None = None
    cover_high: Figure | None = None
    optimality_gap: Figure | None
    solve_seconds: Annotated[float, Field(ge=0, le=1e6)]
    status: str
    candidates: Annotated[int, Field(ge=0, le=10_000_000)]
    measured: Measured
    greedy: Measured
    alternatives: tuple[Measured, ...] = ()
    one_tree: tuple[Measured, ...] = ()
    notes: tuple[str, ...] = ()

    def record(self) -> dict[str, Any]:
        """Plain JSON types."""
        return self.model_dump(mode="json", by_alias=True)

    def summary(self) -> list[str]:
        """Cover, pollination, proof and the comparison with the ranked list, in sentences."""
        ours, theirs = self.measured, self.greedy
        if self.status == "optimal":
            proof = (
                f"No better set exists among {self.candidates:,} varieties; "
                f"found in {self.solve_seconds:.1f} s."
            )
        else:
            gap = "" if self.optimality_gap is None else f" at most {self.optimality_gap:.1%} better"
            proof = f"Time ran out: another set could be{gap or ' better'}."
        years = ""
        if self.cover_low is not None and self.cover_high is not None:
            years = f" ({self.cover_low:.0%} to {self.cover_high:.0%} in eight years of ten)"
        return [
            f"In the usual year something is to be had in {ours.harvest_cover:.0%} of the wanted weeks"
            f"{years}; the top of the ranked list would give {theirs.harvest_cover:.0%}.",
            f"Of the trees that need a partner {ours.served:.0%} have one ({ours.served_sure:.0%} a "
            f"published one, {ours.served_twice:.0%} a second); from the list {theirs.served:.0%} "
            f"({theirs.served_sure:.0%}, {theirs.served_twice:.0%}).",
            proof,
        ]
