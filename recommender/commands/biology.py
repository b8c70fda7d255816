"""`orchardwright pollinators` and `orchardwright rootstocks`: partners of a tree, roots for the ground."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from recommender.commands import console, groups
from recommender.commands import options as opt
from recommender.wording import (
    Units,
    as_units,
    crop_in_sentence,
    length_words,
    metres,
    missing,
    place_sentence,
    plain,
    rows,
)

if TYPE_CHECKING:
    import pandas as pd

    from recommender.biology.pollination_result import PollinationMatrix

_NEED_WORDS = {
    "not needed": "bears without a partner",
    "gains": "bears alone, better with a partner",
    "needed": "needs a pollen partner",
    "bears no fruit": "bears no fruit itself; it gives pollen",
    "unknown": "nobody has published whether it needs a partner",
}


@groups.spread
def pollinators(
    variety: opt.Variety,
    *,
    crop: opt.CropOfVariety = None,
    where: groups.Where,
    among: Annotated[
        list[str] | None,
        typer.Option("--among", help="Look at this donor only, such as apple:Discovery; repeatable."),
    ] = None,
    top: opt.Top = 20,
    everything: opt.Everything = False,
    as_json: opt.AsJson = False,
    as_csv: opt.AsCsv = False,
    units: opt.UnitsOption = "metric",
) -> None:
    """List who can pollinate a variety, best partner first, with the reason.

    With a place, shared days of bloom are those expected there; without one they come from published offsets,
    groups and seasons of bloom. --json prints one list with a record for each donor.

    For example: orchardwright pollinators "Bramley's Seedling" --place "Hereford, England"
    """
    from recommender.biology.partners import pollinators_at, pollinators_of

    opt.one_format(as_json, as_csv)
    view = as_units(units)
    answers = where.answers(view)
    there = groups.climate_for(where.site, answers) if where.site is not None or answers else None
    catalog = console.catalog()
    own = catalog.resolve(variety, crop)
    donors = [catalog.resolve(name) for name in among or ()]
    if there is None:
        matrix, here, found = pollinators_of(catalog, own, donors)
    else:
        matrix, here, found = pollinators_at(catalog, own, there[0], donors)
    shown = found if everything else found.head(top)
    records = partner_records(shown)
    if as_json:
        console.write_json(records)
    elif as_csv:
        import pandas as pd

        console.write_csv(pd.DataFrame(records))
    else:
        _print_partners(own, need_record(matrix, here), shown, len(found))
        if there is not None:
            console.write()
            console.write(console.wrapped(place_sentence(there[1], view)))


def need_record(matrix: PollinationMatrix, position: int) -> dict[str, str]:
    """need and need_standing of a variety, in house words."""
    row = matrix.need_frame().iloc[position]
    return {"need": str(row["need"]), "need_standing": str(row["need_standing"])}


def partner_records(partners: pd.DataFrame) -> list[dict[str, Any]]:
    """Records donor, donor_crop, result, reason, standing, overlap_days of a frame from
    `PollinationMatrix.partners`.
    """
    return [
        {
            "donor": row.variety,
            "donor_crop": row.crop,
            "result": row.result,
            "reason": row.reason,
            "standing": row.standing,
            "overlap_days": None if missing(row.overlap_days) else round(float(row.overlap_days), 1),
        }
        for row in rows(partners)
    ]


def _print_partners(own: tuple[str, str], need: dict[str, str], shown: pd.DataFrame, found: int) -> None:
    name = f"{plain(own[1])} ({crop_in_sentence(own[0])})"
    console.write(console.bold(f"{name} {_NEED_WORDS[need['need']]}") + f" ({need['need_standing']})")
    if shown.empty:
        console.write("No other variety in the catalog can be looked at for it.")
        return
    for row in rows(shown):
        days = "" if missing(row.overlap_days) else f", about {row.overlap_days:.0f} shared days of bloom"
        crop = "" if row.crop == own[0] else f" ({crop_in_sentence(row.crop)})"
        console.write(f"\n{console.bold(plain(row.variety) + crop)}: {row.result} ({row.standing}{days})")
        console.write(console.wrapped(row.reason, "  "))
    if len(shown) < found:
        console.write(f"\n{found - len(shown)} more; --all shows them.")


def rootstocks(
    crop: Annotated[str, typer.Argument(help="Crop, such as apple.", show_default=False)],
    soil: opt.Soil = None,
    wetness: opt.Wetness = None,
    variety: Annotated[
        str | None, typer.Option("--variety", help="Look also at whether this variety takes on them.")
    ] = None,
    replant: Annotated[
        bool, typer.Option("--replant", help="The same kind of fruit grew there before.")
    ] = False,
    against: Annotated[
        list[str] | None,
        typer.Option("--against", help="fire-blight, crown-rot, woolly-aphid or nematodes; repeatable."),
    ] = None,
    pot: Annotated[bool, typer.Option("--pot", help="For a tree in a container.")] = False,
    max_height: opt.MaxHeight = None,
    as_json: opt.AsJson = False,
    as_csv: opt.AsCsv = False,
    units: opt.UnitsOption = "metric",
) -> None:
    """List the rootstocks of a crop that suit the ground, best first, with the reasons.

    --json prints one list with a record for each rootstock.

    For example: orchardwright rootstocks apple --soil clay --wetness wet
    """
    from recommender.biology.rootstocks import rootstocks_for

    opt.one_format(as_json, as_csv)
    view = as_units(units)
    catalog = console.catalog()
    kind = catalog.resolve_crop(crop)
    row = None
    if variety is not None:
        own = catalog.resolve(variety, kind)
        traits = catalog.traits()
        row = traits.loc[traits["crop"].eq(own[0]) & traits["variety"].eq(own[1])].iloc[0]
    found = rootstocks_for(
        kind,
        catalog.rootstocks(),
        catalog.crops(),
        soil=soil or "unknown",
        wetness=wetness or "unknown",
        replant=replant,
        diseases=against or (),
        container=pot,
        max_height_m=metres(max_height, view),
        variety=row,
        facts=catalog.rootstock_facts(),
        names=catalog.names(),
    )
    if as_json:
        from recommender.outputs import frame_records

        console.write_json(frame_records(found))
    elif as_csv:
        console.write_csv(found)
    else:
        _print_stocks(kind, found, view)


def _print_stocks(crop: str, found: pd.DataFrame, units: Units) -> None:
    if found.empty:
        console.write(
            f"No rootstock for {crop_in_sentence(crop)} is in the catalog; it is often on its own roots."
        )
        return
    for row in rows(found):
        size = ""
        if not missing(row.height_low):
            size = f", {length_words(row.height_low, units)} to {length_words(row.height_high, units)} tall"
        console.write(f"{console.bold(plain(row.rootstock))}: {row.verdict}{size} ({row.standing})")
        for word, text in (("why", row.why), ("watch", row.watch)):
            if text:
                console.write(console.wrapped(text, f"  {word}: ", "    "))
