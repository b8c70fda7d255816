"""A plan on paper: its calendar file and its planting sheet, from the plan and the catalog alone.

In comes a `Plan` (also one opened from a file); the site's climate is worked out again from its answers.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from recommender.orchard.calendar import Event, events, ical_text
from recommender.orchard.facts import Facts
from recommender.orchard.plan import Plan
from recommender.orchard.planting import Sheet, planting_sheet
from recommender.orchard.sheet_html import html_text
from recommender.orchard.sheet_pdf import pdf_bytes
from recommender.suitability.site import Site, climate_of
from recommender.wording import Units, missing

if TYPE_CHECKING:
    from recommender.catalog.catalog import Catalog


def events_of(plan: Plan, catalog: Catalog, year: int) -> list[Event]:
    """The plan's dates; year: in whose growing season the trees start."""
    profile, _ = climate_of(Site(**plan.site))
    return events(plan, profile, Facts(catalog.planting()), year)


def calendar_of(plan: Plan, catalog: Catalog, year: int) -> str:
    """The plan's dates as an iCalendar file."""
    return ical_text(events_of(plan, catalog, year), title_of(plan))


def title_of(plan: Plan) -> str:
    """A name for the sheet and the calendar."""
    trees = "tree" if len(plan.trees) == 1 else "trees"
    return f"Planting sheet: {len(plan.trees)} {trees}"


def sheet_of(plan: Plan, catalog: Catalog, units: Units = "metric") -> Sheet:
    """The planting sheet of a plan. Raises what reading the site's climate raises."""
    profile, match = climate_of(Site(**plan.site))
    return planting_sheet(
        plan,
        catalog.planting(),
        catalog.cautions(),
        profile,
        country=match.country if match else "",
        region=match.region if match else "",
        title=title_of(plan),
        units=units,
        sources=_titles(catalog),
    )


def _titles(catalog: Catalog) -> dict[str, str]:
    """Author of each source, its title where none is named."""
    table = catalog.sources()
    return {
        str(name): str(title if missing(author) or not author else author)
        for name, title, author in zip(table["source_id"], table["title"], table["author"], strict=True)
    }


def pdf_of(plan: Plan, catalog: Catalog, paper: str = "A4", units: Units = "metric") -> bytes:
    """The planting sheet as PDF. Raises BadInput for an unknown paper size."""
    return pdf_bytes(sheet_of(plan, catalog, units), paper)


def html_of(plan: Plan, catalog: Catalog, units: Units = "metric") -> str:
    """The planting sheet as HTML."""
    return html_text(sheet_of(plan, catalog, units))
