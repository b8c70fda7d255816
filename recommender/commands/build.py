"""`orchardwright build`: check the data package and build the catalog from it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from recommender.commands import console
from recommender.commands import options as opt
from recommender.errors import DataFaults
from recommender.wording import missing, plain, rows

if TYPE_CHECKING:
    import pandas as pd


def command(
    check: Annotated[bool, typer.Option("--check", help="Check the data and fail on faults.")] = False,
    as_json: opt.AsJson = False,
) -> None:
    """Check the open data and build the catalog from it; done by itself when first needed."""
    if check:
        from recommender.catalog.package import check_package, datasets_folder

        check_package(datasets_folder())
        _check_pollination()
        console.write("The data package is sound: no faults found.")
        return
    from recommender import open_catalog
    from recommender.biology.pollination_tables import pollination_tables
    from recommender.catalog.derived import read_derived

    with console.progress("Building the catalog") as report:
        catalog = open_catalog(progress=report)
        info, tables = catalog.info, pollination_tables(catalog)
    findings = read_derived(tables, "pollination_findings")
    info["pollination_findings"] = findings.to_dict("records")
    if as_json:
        console.write_json(info)
        return
    counts = info["counts"]
    console.write(f"Catalog built {plain(info['built_at'])} from data {plain(info['data_key'])[:16]}.")
    console.write(
        console.wrapped(
            f"{counts['varieties']:,} varieties of {counts['crops']} crops, {counts['evidence']:,} statements"
            f" from {counts['sources']:,} sources, settled into {counts['settled']:,} values."
        )
    )
    for heading, left_out in (("Rows rejected", info["rejected"]), ("Values set aside", info["set_aside"])):
        console.write(f"{heading}: {len(left_out)}")
        for record in left_out:
            told = " ".join(str(part) for part in record.values() if not missing(part))
            console.write(console.wrapped(told, "  ", "    "))
    counted = ", ".join(
        f"{(findings['severity'] == severity).sum()} {severity}s" for severity in ("fault", "warning", "note")
    )
    console.write(f"Evidence on pollination: {counted}")
    for line in finding_lines(findings[findings["severity"] != "note"]):
        console.write(console.wrapped(line, "  ", "    "))


def finding_lines(findings: pd.DataFrame) -> list[str]:
    """One line a finding: severity, what, where and what to do."""
    return [
        f"{row.severity}: {row.what} ({row.file}, row {row.row}). {row.remedy}." for row in rows(findings)
    ]


def _check_pollination() -> None:
    """Raises DataFaults if the evidence on pollination holds what cannot be right."""
    from recommender import open_catalog
    from recommender.biology.pollination_tables import pollination_findings

    with console.progress("Checking the evidence on pollination") as report:
        found = pollination_findings(open_catalog(progress=report))
    faults = found[found["severity"] == "fault"]
    if len(faults):
        raise DataFaults(
            f"The evidence on pollination has {len(faults)} faults",
            finding_lines(faults),
            remedy="Correct the rows named, or leave them out",
        )
