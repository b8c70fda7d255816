"""The folder of an atlas: what it is of, which parts are done, and where each file lies.

    atlas.json                                      what it is of (`About`)
    sites.parquet                                   one row a site, in the order of the blocks
    varieties.parquet                               crop, variety
    climates/warming=2.0/block-00003.parquet        what scores need of each site's climate
    scores/warming=2.0/crop=apple/block-00003.parquet   site, variety, score, verdict
    done/warming=2.0/block-00003.json               written last: this part is whole, its files so long

Every file is written whole or not at all, so a run that was stopped goes on where it was.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from recommender.errors import BadInput, StorageFault
from recommender.files import json_of, one_at_a_time, write_whole, written_whole
from recommender.outputs import json_text
from recommender.suitability.site import YesNo

FORMAT = 2
MOST_SITES = 2_000_000
MOST_IN_A_BLOCK = 100_000
SITES_IN_A_BLOCK = 256
# A part reads the sites of its block only, give or take this many.
SITES_TOGETHER = 16_384
_CROP = re.compile(r"[a-z][a-z-]*")
_MARK = {"of": str, "sites": int, "pairs": int, "bytes": dict, "without_climate": list}


@dataclass(frozen=True)
class About:
    """What an atlas is of. data_key: of the open data; sites_key: of the sites; method_key: see `method`;
    neighbours: whether pollen partners stand near by (yes, no, unknown); crops: empty for all; warming [K];
    years and seed of the made weather."""

    data_key: str
    sites_key: str
    sites: int
    varieties: int
    preset: str
    neighbours: YesNo
    crops: tuple[str, ...]
    warming: tuple[float, ...]
    years: int
    seed: int
    block: int = SITES_IN_A_BLOCK
    method_key: str = ""
    format: int = FORMAT

    @property
    def blocks(self) -> int:
        """Number of site blocks."""
        return -(-self.sites // self.block)

    @property
    def key(self) -> str:
        """The same for the same atlas, whatever warmings it holds."""
        told = json_text({**asdict(self), "warming": ()})
        return hashlib.sha256(told.encode()).hexdigest()[:16]


@dataclass(frozen=True)
class Part:
    """One block of sites at one warming [K]."""

    warming: float
    block: int

    @property
    def folder(self) -> str:
        """Name of the folder of its warming."""
        return f"warming={self.warming:.1f}"

    @property
    def stem(self) -> str:
        """Name of its files without their ending."""
        return f"block-{self.block:05d}"


class AtlasFolder:
    """The files of one atlas."""

    def __init__(self, path: Path | str) -> None:
        self.path = Path(path)
        self._key = ""

    def about(self) -> About:
        """What the atlas is of. Raises BadInput where there is none, StorageFault where it cannot be read."""
        from pydantic import TypeAdapter

        path = self.path / "atlas.json"
        try:
            found = TypeAdapter(About).validate_python(json_of(path.read_bytes()))
            _check(found)
        except FileNotFoundError:
            raise BadInput(
                "There is no atlas in this folder",
                where=str(self.path),
                remedy="Make one with `orchardwright atlas run FOLDER --country NAME`",
            ) from None
        except OSError as problem:
            raise StorageFault(
                f"atlas.json cannot be read ({problem.strerror or problem})",
                where=str(path),
                remedy="Name a folder you may read",
            ) from problem
        except ValueError as problem:
            raise StorageFault(
                "atlas.json cannot be read", where=str(path), remedy="Take the folder from a backup"
            ) from problem
        if found.format != FORMAT:
            raise BadInput(
                f"The atlas has format {found.format}, this version reads {FORMAT}",
                where=str(self.path),
                remedy="Run it anew into another folder",
            )
        self._key = found.key
        return found

    def begin(self, about: About, sites: pd.DataFrame, varieties: pd.DataFrame) -> About:
        """Lay out a new atlas, or go on with the same one: more warmings may be added.

        Raises BadInput if the folder holds an atlas of something else.
        """
        try:
            if (self.path / "atlas.json").exists():
                self._with_warmings_of_the_held(about)
            self.path.mkdir(parents=True, exist_ok=True)
        except OSError as problem:
            raise StorageFault(
                f"The folder cannot be made ({problem.strerror or problem})",
                where=str(self.path),
                remedy="Name a folder you may write to",
            ) from problem
        # While two runs begin at once, one waits for the other; each then works the parts of both.
        with one_at_a_time(self.path / "atlas.json", "this atlas", "Name a folder you may write to"):
            if (self.path / "atlas.json").exists():
                about = self._with_warmings_of_the_held(about)
            table = pa.Table.from_pandas(sites, preserve_index=False)
            self.write("sites.parquet", table, row_group_size=SITES_TOGETHER)
            self.write("varieties.parquet", pa.Table.from_pandas(varieties, preserve_index=False))
            write_whole(self.path / "atlas.json", json_text(asdict(about)))
        self._key = about.key
        return about

    def _with_warmings_of_the_held(self, about: About) -> About:
        """The atlas that is there, with the warmings of both. Raises BadInput if it is of something else."""
        held = self.about()
        if {**asdict(held), "warming": ()} != {**asdict(about), "warming": ()}:
            raise BadInput(
                "This folder holds an atlas of other sites, data or wishes, or of another version",
                where=str(self.path),
                remedy="Name another folder, or give the same sites and options to go on with it",
            )
        return About(**{**asdict(held), "warming": tuple(sorted({*held.warming, *about.warming}))})

    def write(self, name: str, table: pa.Table, **options: Any) -> None:
        """A Parquet file of the atlas. Raises StorageFault."""
        path = self.path / name
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as problem:
            raise StorageFault("A folder of the atlas cannot be made", where=str(path.parent)) from problem
        with written_whole(path) as temporary:
            pq.write_table(table, temporary, **options)

    def read(self, name: str, **options: Any) -> pa.Table:
        """A Parquet file of the atlas. Raises StorageFault."""
        try:
            return pq.ParquetFile(self.path / name).read(use_threads=False, **options)
        except (OSError, pa.ArrowException) as problem:
            raise self._unreadable(name) from problem

    def _unreadable(self, name: str) -> StorageFault:
        return StorageFault(
            "A file of the atlas cannot be read",
            where=str(self.path / name),
            remedy="Remove it and run the atlas again; what is whole is kept",
        )

    def sites(self) -> pd.DataFrame:
        """One row a site, in the order of the blocks: site, name, region, country, lat, lon, elevation_m,
        population."""
        return self.read("sites.parquet").to_pandas()

    def sites_of(self, block: int, size: int) -> pd.DataFrame:
        """The sites of one block of that size, as `sites` gives them. Raises StorageFault."""
        first, parts, before = block * size, [], 0
        try:
            with pq.ParquetFile(self.path / "sites.parquet") as file:
                for group in range(file.num_row_groups):
                    rows = file.metadata.row_group(group).num_rows
                    if before < first + size and before + rows > first:
                        parts.append(
                            file.read_row_group(group, use_threads=False).slice(max(0, first - before))
                        )
                    before += rows
            return pa.concat_tables(parts).slice(0, size).to_pandas()
        except (OSError, pa.ArrowException) as problem:
            raise self._unreadable("sites.parquet") from problem

    def varieties(self) -> pd.DataFrame:
        """crop and variety of every variety. Raises StorageFault."""
        held = self.read("varieties.parquet").to_pandas()
        if not {"crop", "variety"} <= set(held):
            raise StorageFault(
                "The table of varieties has other columns than an atlas writes",
                where=str(self.path / "varieties.parquet"),
                remedy="Take the folder from a backup, or run the atlas again",
            )
        return held[["crop", "variety"]].astype(str)

    def done(self, part: Part) -> dict[str, Any] | None:
        """What a finished part reported; None if it is not finished, was finished for another atlas, or has
        lost a file since.

        Raises BadInput, StorageFault as `about`.
        """
        key = self._key or self.about().key
        try:
            held = json_of(self._mark(part).read_bytes())
            if not _is_mark(held) or held["of"] != key:
                return None
            lengths = ((self.scores(part, crop), length) for crop, length in held["bytes"].items())
            return held if all(path.stat().st_size == length for path, length in lengths) else None
        except (OSError, ValueError):
            return None

    def finished(self, warming: float, about: About) -> Iterator[tuple[Part, dict[str, Any]]]:
        """The parts of a warming that are done, and what each reported."""
        marks = self._mark(Part(warming, 0)).parent
        try:
            names = sorted(path.name for path in marks.iterdir())
        except OSError:
            return
        for name in names:
            number = re.fullmatch(r"block-(\d{5,7})\.json", name)
            if number and int(number[1]) < about.blocks:
                part = Part(warming, int(number[1]))
                held = self.done(part)
                if held is not None:
                    yield part, held

    def finish(self, part: Part, report: dict[str, Any], crops: Iterable[str]) -> None:
        """Mark a part as whole, with the length of its file of each crop. Raises StorageFault."""
        path = self._mark(part)
        try:
            lengths = {crop: self.scores(part, crop).stat().st_size for crop in crops}
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as problem:
            raise StorageFault(
                f"A part of the atlas cannot be finished ({problem.strerror or problem})",
                where=str(problem.filename or path),
                remedy="Name a folder you may write to; finished parts are kept",
            ) from problem
        write_whole(path, json_text({**report, "of": self._key or self.about().key, "bytes": lengths}))

    def scores(self, part: Part, crop: str) -> Path:
        """The file with the scores of a crop."""
        return self.path / "scores" / part.folder / f"crop={crop}" / f"{part.stem}.parquet"

    def _mark(self, part: Part) -> Path:
        return self.path / "done" / part.folder / f"{part.stem}.json"

    def parts(self) -> Iterator[Part]:
        """All parts of the atlas."""
        about = self.about()
        for warming in about.warming:
            for block in range(about.blocks):
                yield Part(warming, block)


def _check(about: About) -> None:
    """Raises ValueError for what no run writes: an atlas may come from anyone."""
    counts = (
        1 <= about.sites <= MOST_SITES
        and 1 <= about.block <= MOST_IN_A_BLOCK
        and about.varieties >= 0
        and about.years >= 1
    )
    if not counts or not about.warming or any(not abs(each) <= 10.0 for each in about.warming):
        raise ValueError("a number in it cannot be")
    if len({Part(each, 0).folder for each in about.warming}) < len(about.warming):
        raise ValueError("a warming stands in it twice")
    if not all(_CROP.fullmatch(crop) for crop in about.crops):
        raise ValueError("a crop in it cannot be")


def _is_mark(held: object) -> bool:
    """Whether this is what `AtlasFolder.finish` writes: an atlas may come from anyone."""
    return (
        isinstance(held, dict)
        and all(isinstance(held.get(name), kind) for name, kind in _MARK.items())
        and all(_CROP.fullmatch(crop) and isinstance(size, int) for crop, size in held["bytes"].items())
        and all(
            isinstance(each, dict) and isinstance(each.get("site"), int) and isinstance(each.get("why"), str)
            for each in held["without_climate"]
        )
    )


def sites_key(sites: pd.DataFrame) -> str:
    """The same for the same sites in the same order."""
    hashed = pd.util.hash_pandas_object(sites, index=False).to_numpy()
    return hashlib.sha256(hashed.tobytes()).hexdigest()[:16]
