"""`orchardwright pollinators` and `orchardwright rootstocks`: partners of a tree, roots for the ground."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from recommender.commands import console
from recommender.commands import options as opt
from recommender.wording import (
    Units,
    as_units,
    crop_in_sentence,
    length_words,
    metres,
    missing,
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


def pollinators(
    variety: Annotated[str, typer.Argument(help="Variety, or crop:variety.", show_default=False)],
    crop: Annotated[str | None, typer.Option("--crop", help="Its crop, where two share the name.")] = None,
    among: Annotated[
        list[str] | None,
        typer.Option("--among", help="Look at this donor only, such as apple:Discovery; repeatable."),
    ] = None,
    top: opt.Top = 20,
    everything: opt.Everything = False,
    as_json: opt.AsJson = False,
    as_csv: opt.AsCsv = False,
) -> None:
    """List who can pollinate a variety, best partner first, with the reason.

    For example: orchardwright pollinators "Bramley's Seedling"
    """
    from recommender import open_catalog
    from recommender.biology.pollination import catalog_matrix

    opt.one_format(as_json, as_csv)
    with console.progress("Opening the catalog") as report:
        catalog = open_catalog(progress=report)
    own = catalog.resolve(variety, crop)
    donors = [catalog.resolve(name) for name in among or ()]
    matrix = catalog_matrix(catalog, {own[0], *(donor[0] for donor in donors)})
    here = matrix.position(*own)
    found = matrix.partners(here, [matrix.position(*donor) for donor in donors] or None)
    shown = found if everything else found.head(top)
    records = partner_records(shown)
    if as_json:
        from recommender.outputs import json_text

        about = dict(zip(("crop", "variety"), own, strict=True)) | need_record(matrix, here)
        console.write(json_text({**about, "pollinators": records}).rstrip("\n"))
    elif as_csv:
        import pandas as pd

        from recommender.outputs import csv_text

        console.write(csv_text(pd.DataFrame(records)).rstrip("\n"))
    else:
        _print_partners(own, need_record(matrix, here), shown, len(found))


def need_record(matrix: PollinationMatrix, position: int) -> dict[str, str]:
    """need and need_standing of a variety, in house words."""
    row = matrix.need_frame().iloc[position]
    return {"need": str(row["need"]), "need_standing": str(row["need_standing"])}


def partner_records(partners: pd.DataFrame) -> list[dict[str, Any]]:
    """Records donor, crop, result, reason, standing, overlap_days of a frame from
    `PollinationMatrix.partners`.
    """
    return [
        {
            "donor": row.variety,
            "crop": row.crop,
            "result": row.result,
            "reason": row.reason,
            "standing": row.standing,
            "overlap_days": row.overlap_days,
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

    For example: orchardwright rootstocks apple --soil clay --wetness wet
    """
    from recommender import open_catalog
    from recommender.biology.rootstocks import rootstocks_for

    opt.one_format(as_json, as_csv)
    view = as_units(units)
    with console.progress("Opening the catalog") as report:
        catalog = open_catalog(progress=report)
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
        from recommender.outputs import frame_records, json_text

        console.write(json_text({"crop": kind, "rootstocks": frame_records(found)}).rstrip("\n"))
    elif as_csv:
        from recommender.outputs import csv_text

        console.write(csv_text(found).rstrip("\n"))
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
