"""`orchardwright warming`: the same site today and some degrees warmer, and which verdicts change."""

from __future__ import annotations

from typing import Annotated

import typer

from recommender.commands import console, groups
from recommender.commands import options as opt
from recommender.wording import MARKS, VERDICTS, crop_in_sentence, place_sentence, plain, rows

Degrees = Annotated[
    float,
    typer.Option("--degrees", help="Warming in degrees Celsius, -2 to 6.", rich_help_panel="What you want"),
]


@groups.spread
def command(
    *,
    where: groups.Where,
    crop: opt.Crops = None,
    degrees: Degrees = 2.0,
    top: opt.Top = 10,
    as_json: opt.AsJson = False,
    as_csv: opt.AsCsv = False,
) -> None:
    """Compare the verdicts of today with those of a warmer climate.

    For example: orchardwright warming --place "Bristol, England" --crop apple --degrees 2
    """
    from recommender.suitability.warming import under_warming

    opt.one_format(as_json, as_csv)
    site = groups.site_from(where.site, where.answers("metric"))
    goals = groups.goals_from(where.site, opt.given(crops=crop))
    catalog = console.catalog()
    found = under_warming(site, goals, catalog, degrees)
    if as_json:
        from recommender.outputs import frame_records

        told = {"site": found.now.site, "warming_degC": degrees, "varieties": frame_records(found.frame)}
        console.write_json(told)
        return
    if as_csv:
        console.write_csv(found.frame)
        return
    console.write(console.wrapped(place_sentence(found.now.site, "metric")))
    console.write(f"\n{console.bold(f'Verdicts today (rows) and {degrees:+g} °C (columns)')}")
    counts = found.counts()
    console.write(f"{'':<12}" + "".join(f"{verdict:>11}" for verdict in VERDICTS))
    for verdict, row in counts.iterrows():
        console.write(f"{verdict:<12}" + "".join(f"{count:>11}" for count in row))
    frame = found.frame
    place_of = {verdict: at for at, verdict in enumerate(VERDICTS)}
    moved = frame["verdict_then"].map(place_of) - frame["verdict_now"].map(place_of)
    for heading, part in (
        (f"Today's best, and what {degrees:+g} °C makes of them", frame),
        ("Gaining most", frame[moved < 0].sort_values("rank_then", kind="stable")),
        ("Losing most", frame[moved > 0].sort_values("rank_now", kind="stable")),
    ):
        if part.empty:
            continue
        console.write(f"\n{console.bold(heading)}")
        for row in rows(part.head(top)):
            name = f"{plain(row.variety)} ({crop_in_sentence(row.crop)})"
            line = (
                f"{MARKS[row.verdict_now]} {row.verdict_now} → {MARKS[row.verdict_then]} {row.verdict_then}: "
                f"{name}, place {row.rank_now} → {row.rank_then}"
            )
            console.write(console.wrapped(f"{line}; {row.change}" if row.change else line, "  ", "    "))
    console.write()
    console.write(
        console.wrapped(
            "The warmer climate is today's weather with the degrees added to every day. It says what such a "
            "warming would do, not when it comes; rain, drought and new pests are left out."
        )
    )
