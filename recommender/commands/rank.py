"""`orchardwright rank`: the site in, the ranked shortlist out, as text, JSON or CSV."""

from __future__ import annotations

from typing import TYPE_CHECKING

from recommender.commands import console, groups
from recommender.commands import options as opt
from recommender.wording import (
    MARKS,
    VERDICT_MEANINGS,
    VERDICTS,
    Units,
    as_units,
    certainty,
    climate_sentences,
    crop_in_sentence,
    crop_plural,
    list_words,
    metres,
    place_sentence,
    plain,
    rows,
)

if TYPE_CHECKING:
    from recommender.suitability.ranking import Ranking


@groups.spread
def command(
    *,
    where: groups.Where,
    crop: opt.Crops = None,
    top: opt.Top = 10,
    everything: opt.Everything = False,
    use: opt.Uses = None,
    season: opt.Seasons = None,
    storage: opt.Storage = None,
    max_height: opt.MaxHeight = None,
    preset: opt.Preset = None,
    skin: opt.Skin = None,
    flesh: opt.Flesh = None,
    fruit_size: opt.FruitSize = None,
    max_years: opt.MaxYears = None,
    low_spray: opt.LowSpray = False,
    native: opt.Native = False,
    pets_or_children: opt.Household = False,
    will_cover: opt.WillCover = False,
    room: groups.Room,
    ground: groups.Ground,
    near: groups.NearBy,
    as_json: opt.AsJson = False,
    as_csv: opt.AsCsv = False,
    units: opt.UnitsOption = "metric",
) -> None:
    """Rank fruit varieties for a site, best first, and say why.

    For example: orchardwright rank --place "Bristol, England" --crop apple --top 5
    """
    from recommender import rank

    opt.one_format(as_json, as_csv)
    view = as_units(units)
    answers = groups.answers_of(view, where, room, ground, near)
    wishes = opt.given(
        crops=crop,
        uses=use,
        storage_weeks=storage,
        seasons=season,
        max_height_m=metres(max_height, view),
        preset=preset,
        skin=skin,
        flesh=flesh,
        fruit_size=fruit_size,
        max_years_to_crop=max_years,
        low_spray=low_spray,
        native=native,
        pets_or_children=pets_or_children,
        will_cover=will_cover,
    )
    site = groups.site_from(where.site, answers)
    goals = groups.goals_from(where.site, wishes)
    catalog = console.catalog()
    ranking = rank(site, goals, catalog=catalog, intervals=True)
    shown = None if everything else top
    if as_json:
        console.write_json(
            {"site": ranking.site, "varieties": ranking.records(top=shown, one_each_group=not everything)}
        )
    elif as_csv:
        frame = ranking.frame if everything else ranking.shortlist(top)
        console.write_csv(frame)
    else:
        _print_cards(ranking, shown, view)


def _print_cards(ranking: Ranking, shown: int | None, units: Units) -> None:
    console.write(console.wrapped(place_sentence(ranking.site, units)))
    for sentence in climate_sentences(ranking.site, units):
        console.write(console.wrapped(sentence, "  ", "    "))
    frame = ranking.frame_in(units)
    if frame.empty:
        console.write("\nNo variety is left to rank. Ask for another crop, or for fewer wishes at once.")
        return
    crops = list(dict.fromkeys(frame["crop"]))
    listed = frame if shown is None else ranking.shortlist(shown, units)
    what = (
        list_words([crop_plural(crop) for crop in crops])
        if len(crops) <= 4
        else f"varieties of {len(crops)} crops"
    )
    heading = (
        f"The best {len(listed)} of {len(frame)} {what}"
        if len(listed) < len(frame)
        else f"{len(frame)} {what}"
    )
    console.write(f"\n{console.bold(heading)}")
    for row in rows(listed):
        name = (
            plain(row.variety) if len(crops) == 1 else f"{plain(row.variety)} ({crop_in_sentence(row.crop)})"
        )
        left = f"{row.rank:>3}  {MARKS[row.verdict]} {row.verdict:<9}  {name}"
        room = console.width() - len(left) - 6
        console.write()
        console.write(console.bold(left) + " " * max(2, room) + f"{row.score:.2f}")
        also = list_words([plain(name) for name in getattr(row, "also", "").split("|") if name])
        sure = "" if row.verdict == "ruled out" else certainty(row, len(frame))
        for label, text in (("why", row.why), ("watch", row.watch), ("sure", sure), ("also", also)):
            if text:
                console.write(console.wrapped(text, f"     {label:<7}"))
    counts = frame["verdict"].value_counts()
    tally = [f"{MARKS[verdict]} {counts.get(verdict, 0)} {verdict}" for verdict in VERDICTS]
    console.write()
    console.write(console.wrapped(f"In all: {', '.join(tally)}. Scores run from 0 to 1."))
    seen = [verdict for verdict in VERDICTS if verdict in set(listed["verdict"])]
    for verdict in seen:
        console.write(console.wrapped(f"{MARKS[verdict]} {verdict}: {VERDICT_MEANINGS[verdict]}", "  "))
    best = listed.iloc[0]
    console.write(
        console.wrapped(
            f'Evidence behind a line: orchardwright show "{best["variety"]}" --crop {best["crop"]}', "  "
        )
    )
