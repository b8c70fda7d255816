"""The questions that are asked of an atlas, in SQL over its Parquet files.

In come the folder of the atlas, paths of Parquet files in it and plain values, which are only ever bound; out
go frames. Whether a crop or a
variety is in the atlas, and which files are done, is the business of `atlas.questions`.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

import duckdb
import pandas as pd

from recommender.catalog import sealed
from recommender.errors import StorageFault

# The names of folders are no columns: an atlas may stand below one that is called site=5.
_SCORES, _WARMER, _SITES = (
    f"read_parquet(${name}, hive_partitioning = false)" for name in ("scores", "warmer", "sites")
)
_SITE = "s.site, s.name, s.region, s.country, s.lat, s.lon, s.elevation_m, s.population"
_WHERE_SOUND = f"""
    SELECT {_SITE}, p.score, p.verdict::VARCHAR AS verdict
    FROM {_SCORES} p JOIN {_SITES} s USING (site)
    WHERE p.variety = $variety AND p.verdict IN (SELECT unnest($verdicts))
    ORDER BY p.score DESC, s.population DESC, s.site
"""
_SOUND_BY_PLACE = f"""
    WITH counted AS (
        SELECT site, count(*) AS varieties, count(*) FILTER (verdict = 'sound') AS sound,
               count(*) FILTER (verdict = 'with care') AS with_care,
               count(*) FILTER (verdict = 'ruled out') AS ruled_out,
               max(score) AS best_score, arg_max(variety, score)::VARCHAR AS best
        FROM {_SCORES} GROUP BY site
    )
    SELECT {_SITE}, c.* EXCLUDE (site)
    FROM counted c JOIN {_SITES} s USING (site)
    ORDER BY c.sound DESC, s.population DESC, s.site
"""
_CHANGE_BY_VARIETY = f"""
    WITH before AS (SELECT site, variety, score, verdict = 'sound' AS sound FROM {_SCORES}),
         after AS (SELECT site, variety, score, verdict = 'sound' AS sound FROM {_WARMER})
    SELECT b.variety::VARCHAR AS variety, count(*) AS sites,
           count(*) FILTER (b.sound) AS sound_before, count(*) FILTER (a.sound) AS sound_after,
           count(*) FILTER (a.sound AND NOT b.sound) AS won,
           count(*) FILTER (b.sound AND NOT a.sound) AS lost,
           avg(a.score - b.score) AS score_change
    FROM before b JOIN after a USING (site, variety) GROUP BY 1
    ORDER BY sound_after - sound_before DESC, 1
"""
_CHANGE_BY_PLACE = f"""
    WITH before AS (SELECT site, count(*) FILTER (verdict = 'sound') AS sound
                    FROM {_SCORES} GROUP BY site),
         after AS (SELECT site, count(*) FILTER (verdict = 'sound') AS sound
                   FROM {_WARMER} GROUP BY site)
    SELECT {_SITE}, b.sound AS sound_before, a.sound AS sound_after, a.sound - b.sound AS change
    FROM before b JOIN after a USING (site) JOIN {_SITES} s USING (site)
    ORDER BY change, s.population DESC, s.site
"""


def where_in(folder: Path, scores: Sequence[Path], variety: str, verdicts: Sequence[str]) -> pd.DataFrame:
    """Sites at which a variety has one of the verdicts, best first: the site's columns, score, verdict."""
    return _asked(_WHERE_SOUND, folder, scores, variety=variety, verdicts=list(verdicts))


def sound_by_place(folder: Path, scores: Sequence[Path]) -> pd.DataFrame:
    """How many varieties are sound at each site, most first: the site's columns, varieties, sound, with_care,
    ruled_out, best_score, best."""
    return _asked(_SOUND_BY_PLACE, folder, scores)


def change_by_variety(folder: Path, scores: Sequence[Path], warmer: Sequence[Path]) -> pd.DataFrame:
    """At how many sites each variety is sound before and after: variety, sites, sound_before, sound_after,
    won, lost, score_change."""
    return _asked(_CHANGE_BY_VARIETY, folder, scores, warmer)


def change_by_place(folder: Path, scores: Sequence[Path], warmer: Sequence[Path]) -> pd.DataFrame:
    """How many varieties are sound at each site before and after, greatest loss first: the site's columns,
    sound_before, sound_after, change."""
    return _asked(_CHANGE_BY_PLACE, folder, scores, warmer)


def _asked(
    query: str, folder: Path, scores: Sequence[Path], warmer: Sequence[Path] = (), **values: object
) -> pd.DataFrame:
    """folder: of the atlas; files that do not lie in it are refused."""
    files = {"scores": scores, "warmer": warmer, "sites": [folder / "sites.parquet"]}
    bound = {name: [str(path.resolve()) for path in paths] for name, paths in files.items()}
    asked_for = {name: paths for name, paths in bound.items() if f"${name}" in query}
    try:
        with closing(sealed.over_folder(folder)) as connection:
            return connection.execute(query, {**asked_for, **values}).df()
    except duckdb.Error as problem:
        raise StorageFault(
            "The files of the atlas cannot be read",
            where=str(folder),
            remedy="Remove the folder scores in it and run the atlas again; climates are kept",
        ) from problem
