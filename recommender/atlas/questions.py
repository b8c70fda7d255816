"""What a finished (or half finished) atlas answers: where is this variety sound, how many sound varieties of
a crop has each place, and what changes when it gets warmer.

In come the folder and names as a person types them; out go frames, a row a place or a variety. Only parts
that are done are read.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path

import pandas as pd

from recommender.atlas.folder import About, AtlasFolder
from recommender.catalog import atlas_sql
from recommender.errors import BadInput, UnknownName
from recommender.suitability.answers import nearest

SOUND = ("sound",)


class Atlas:
    """An atlas to be asked. Raises BadInput where the folder holds none."""

    def __init__(self, folder: Path | str) -> None:
        self.folder = AtlasFolder(folder)
        self.about: About = self.folder.about()

    @property
    def share_done(self) -> float:
        """Share of all parts that are done."""
        done = sum(sum(1 for _ in self.folder.finished(each, self.about)) for each in self.about.warming)
        return done / (len(self.about.warming) * self.about.blocks)

    def crops(self) -> list[str]:
        """The crops it holds."""
        return sorted(self._varieties()["crop"].unique())

    def varieties(self, crop: str) -> list[str]:
        """The varieties it holds of a crop."""
        held = self._varieties()
        return sorted(held.loc[held["crop"] == crop, "variety"])

    def _varieties(self) -> pd.DataFrame:
        path = self.folder.path / "varieties.parquet"
        return _varieties(self.folder.path, path.stat().st_mtime_ns if path.exists() else 0)

    def _files(self, crop: str, warming: float) -> list[Path]:
        """Score files of a crop. Raises UnknownName, BadInput where the warming was not worked or nothing is
        done yet."""
        if crop not in self.crops():
            raise UnknownName("crop in this atlas", crop, nearest(crop, self.crops()))
        warming = round(warming, 1) + 0.0
        if warming not in self.about.warming:
            held = ", ".join(f"{each:+.1f}" for each in self.about.warming)
            raise BadInput(
                f"The atlas holds no years warmer by {warming:.1f} degrees, only {held}",
                remedy=f"Add them with `orchardwright atlas run` and --warming {warming:g}",
            )
        found = [
            self.folder.scores(part, crop)
            for part, held in self.folder.finished(warming, self.about)
            if crop in held["bytes"]
        ]
        if not found:
            raise BadInput("No part of this atlas is done yet", remedy="Run it until some are")
        return found

    def where(
        self, crop: str, variety: str, warming: float = 0.0, verdicts: Sequence[str] = SOUND
    ) -> pd.DataFrame:
        """Places where a variety is sound (or has one of `verdicts`), best first.

        Raises UnknownName for a crop or variety that the atlas does not hold, BadInput for a warming that it
        has not.
        """
        files = self._files(crop, warming)
        known = self.varieties(crop)
        match = {name.casefold(): name for name in known}.get(variety.casefold())
        if match is None:
            raise UnknownName("variety in this atlas", variety, nearest(variety, known))
        return atlas_sql.where_in(self.folder.path, files, match, verdicts)

    def sound_by_place(self, crop: str, warming: float = 0.0) -> pd.DataFrame:
        """How many varieties of a crop are sound at each place. Raises as `where`."""
        return atlas_sql.sound_by_place(self.folder.path, self._files(crop, warming))

    def change(
        self, crop: str, warming: float = 2.0, *, by: str = "place", since: float = 0.0
    ) -> pd.DataFrame:
        """What is sound of a crop now and in years warmer by `warming` [K], by "place" or by "variety".

        Only sites that are done at both. Raises as `where`.
        """
        before, after = self._files(crop, since), self._files(crop, warming)
        stems = {path.name for path in before} & {path.name for path in after}
        if not stems:
            raise BadInput("No part of this atlas is done at both warmings yet", remedy="Run it on")
        both = [[path for path in files if path.name in stems] for files in (before, after)]
        asked = atlas_sql.change_by_place if by == "place" else atlas_sql.change_by_variety
        return asked(self.folder.path, *both)


@lru_cache(maxsize=8)
def _varieties(folder: Path, written_ns: int) -> pd.DataFrame:
    """written_ns: when the file was written, so that another one is read anew."""
    return AtlasFolder(folder).varieties()
