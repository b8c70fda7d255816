"""docs/validation.md and its plot, from a `Report`. In comes the report; out go Markdown and a chart "
"file."""

from __future__ import annotations

from pathlib import Path

import altair as alt
import pandas as pd

from recommender.drawing_files import save_chart
from recommender.files import write_whole
from recommender.suitability.agreement import UNLISTED, WITH, WITHOUT, Fits, Report, report
from recommender.suitability.validation import RULES, Validation

DRAWN = (WITH, WITHOUT, *RULES)


def chart(report: Report) -> alt.VConcatChart:
    """AUC of every list by way of ranking, how many of each verdict are recommended, and how listed varieties
    were judged."""
    lists = report.lists[report.lists["way"].isin(DRAWN)]
    spread = (
        alt.Chart(lists, title="Each point one crop of one region; the tick is the mean", width=560)
        .mark_circle(size=36, opacity=0.4)
        .encode(
            x=alt.X("auc:Q", title="AUC: chance that a recommended variety stands above another").scale(
                domain=[0, 1]
            ),
            y=alt.Y("way:N", title=None, sort=list(DRAWN)),
            tooltip=["region", "crop", alt.Tooltip("auc:Q", format=".2f"), "named", "of"],
        )
    )
    mean = (
        alt.Chart(lists)
        .mark_tick(thickness=3, size=22)
        .encode(x="mean(auc):Q", y=alt.Y("way:N", sort=list(DRAWN)))
    )
    shares = report.verdicts.melt(
        "verdict",
        ["share recommended", "share marginal", "share not recommended"],
        var_name="published",
        value_name="share",
    )
    shares["published"] = shares["published"].str.removeprefix("share ")
    bars = (
        alt.Chart(shares, title="How listed varieties with each verdict were published", width=560)
        .mark_bar()
        .encode(
            x=alt.X("share:Q", title="share of those listed").axis(format="%"),
            y=alt.Y("verdict:N", title=None, sort=list(report.verdicts["verdict"])),
            color=alt.Color("published:N", title="published as").scale(
                domain=["recommended", "marginal", "not recommended"], range=["#3d6b35", "#c9a227", "#8c3b2e"]
            ),
        )
    )
    calibration = (
        alt.Chart(
            report.verdicts, title="How many varieties of each verdict the region's list names", width=560
        )
        .mark_bar(color="#3d6b35")
        .encode(
            x=alt.X("share of asked recommended:Q", title="share recommended, of all asked about").axis(
                format=".1%"
            ),
            y=alt.Y("verdict:N", title=None, sort=list(report.verdicts["verdict"])),
        )
    )
    return alt.vconcat(alt.layer(spread, mean), calibration, bars)


def draw(report: Report, path: Path) -> None:
    """Draw the chart to an .html, .svg or .png file. Raises as `drawing_files.save_chart`."""
    save_chart(chart(report), path)


def _summary(report: Report, subset: str) -> list[str]:
    rows = report.summary[report.summary["subset"] == subset]
    lines = [
        "| way of ranking | AUC | AP@10 | lists | pairs in order | pairs | with marginal |",
        "|---|---|---|---|---|---|---|",
    ]
    for row in rows.to_dict("records"):
        way = row["way"]
        pairs = f"{row['pairs_in_order']:.2f}" if row["pairs"] else "none"
        marginal = (
            f"{row['with_marginal_in_order']:.2f} of {row['with_marginal']}"
            if row["with_marginal"]
            else "none"
        )
        lines.append(
            f"| {way} | {row['auc']:.3f} | {row['ap10']:.3f} | "
            f"{row['lists']} | {pairs} | {row['pairs']} | {marginal} |"
        )
    return lines


def _figure(report: Report, way: str, column: str, subset: str = "all") -> float:
    rows = report.summary
    return float(rows.loc[(rows["subset"] == subset) & (rows["way"] == way), column].iloc[0])


def _crops(lists: pd.DataFrame) -> list[str]:
    ours = lists[lists["way"] == WITH].groupby("crop")["auc"].agg(["mean", "count"])
    plain = lists[lists["way"].isin(RULES)].pivot_table("auc", index="crop", columns="way")
    lines = ["| crop | lists | AUC | " + " | ".join(RULES) + " |", "|---|---|---|" + "---|" * len(RULES)]
    named = plain.to_dict("index")
    for crop in map(str, ours.sort_values("mean", ascending=False).index):
        row = ours.loc[crop]
        rules = " | ".join(f"{named[crop][rule]:.2f}" for rule in RULES)
        lines.append(f"| {crop!s} | {row['count']:.0f} | {row['mean']:.2f} | {rules} |")
    return lines


# Why a list may recommend what a criterion rules out.
WHY = {
    "winter": "citrus that the list grows under cover or by a wall, at a point that the climate grid makes "
    "colder than the list's own zone",
    "chill": "upland tropics, where trees that get no chill crop on stripped branches; only those of the "
    "lowest need are let through",
    "season": "subarctic sites: harvest dates are fitted between 26 and 56 degrees of latitude and come out "
    "late where days are long; other ripening dates rest on one season at one place",
    "warmth": "summers as cool as those of coastal Alaska, where growers use walls and tunnels",
}


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}." if words else ""


def _failures(report: Report) -> list[str]:
    """Which recommended varieties are ruled out, by what, and which pairs stand in the wrong order."""
    lines = []
    out = report.failures[report.failures["kind"] == "ruled out"]
    named = int(report.verdicts["recommended"].sum())
    lines.append(
        f"- {len(out)} of {named} recommended varieties ({len(out) / max(named, 1):.1%}) are ruled out at "
        "the region that recommends them:"
    )
    for criterion, rows in out.groupby("criterion"):
        where = "; ".join(
            f"{region} ({', '.join(part['variety'])})" for region, part in rows.groupby("region")
        )
        lines.append(f"  - by {criterion}: {where}. {_sentence(WHY.get(str(criterion), ''))}")
    pairs = report.failures[report.failures["kind"] == "pair"]
    told = "; ".join(
        f"{row.region}, {row.crop}: {row.variety} below {row.other}" for row in pairs.itertuples(index=False)
    )
    lines.append(f"- Explicit pairs out of order: {told or 'none'}.")
    return lines


def write_page(validation: Validation, found: Report, fits: Fits, path: Path) -> None:
    """Write the page: `found` is the report on the validation; the two others on it are worked out."""
    other = report(Validation(validation.catalog, same_state=False, like=validation), fits=fits)
    write_whole(path, agreement_page(found, other, report(validation, everyone=True, fits=fits)))


def agreement_page(report: Report, source_only: Report, everyone: Report) -> str:
    """The page in Markdown; every figure in it is from the three reports."""
    best = max(_figure(report, rule, "auc") for rule in RULES)
    ours, pairs = _figure(report, WITH, "auc"), _figure(report, WITH, "pairs_in_order")
    lines = [
        "# Agreement with published recommendations",
        "",
        "*Written by `orchardwright validate --page docs/validation.md`; every figure is measured by "
        "that command.*",
        "",
        f"Over {_figure(report, WITH, 'lists'):.0f} lists (one crop of one region, three recommended "
        f"varieties or more), "
        f"a recommended variety stands above another of its crop with a chance of {ours:.3f} (AUC). The "
        f"best of the "
        f"three plain rules reaches {best:.3f}. Of {_figure(report, WITH, 'pairs'):.0f} pairs of a "
        f"recommended and a "
        f"not recommended variety of one list, {pairs:.0%} stand in the right order. The aim was 0.85 "
        f"for both and 0.10 "
        "ahead of every rule.",
        "",
        "## How it is measured",
        "",
        "- Each region is ranked as a grower there would rank it, from its point on the map, without wishes.",
        "- Left out before it is ranked: every list and every description by the same source or by "
        "another source of "
        "the same web host, by anybody in the same state, province or (elsewhere) country, and lists of "
        "places within "
        "150 km. Weights are fitted on regions that share no state and no source with it.",
        "- Asked about are the varieties that a catalog without those records would hold: one that only "
        "the left out "
        "records name is neither counted as found nor as missed.",
        "- What single facts say (hardiness, chill, season) is not left out, as a fact is no "
        "recommendation; but some "
        "of these facts come from the same bulletins, so figures without the track record are on the "
        "friendly side.",
        "- Zones of regions and their points are the compiler's. A variety missing from a list is no "
        "negative.",
        "- Strict lists are those of extension services, authorities, papers and genebanks without a flag.",
        "",
        "## All lists",
        "",
        *_summary(report, "all"),
        "",
        "## Strict lists",
        "",
        *_summary(report, "strict"),
        "",
        "## Where the state is covered already",
        "",
        "The same with only the region's own sources and their kin left out (`--source-only`): what a "
        "new list from a "
        "state that others have described meets.",
        "",
        *_summary(source_only, "all"),
        "",
        "## Asked about every variety",
        "",
        "The same as the first table, but asking also about varieties that are known from nowhere but "
        "what is left "
        "out (`--everyone`). Nothing can be said of these, so they sink, and every way of ranking loses.",
        "",
        *_summary(everyone, "all"),
        "",
        "## By crop",
        "",
        *_crops(report.lists),
        "",
        "## Verdicts",
        "",
        "How the varieties asked about were judged here with their region's own records left out, and how "
        "many of each "
        "verdict the region's list recommends. A list names few of all that would thrive, so the last column "
        "is small "
        "throughout; what counts is that it rises with the verdict.",
        "",
        "| our verdict | recommended | marginal | not recommended | asked about | of these recommended |",
        "|---|---|---|---|---|---|",
    ]
    for _, row in report.verdicts.iterrows():
        cells = [
            f"{row[name]} ({row[f'share {name}']:.0%})"
            for name in ("recommended", "marginal", "not recommended")
        ]
        cells += [str(row["asked"]), f"{row['share of asked recommended']:.2%}"]
        lines.append(f"| {row['verdict']} | {' | '.join(cells)} |")
    lines += [
        "",
        "## What each criterion is worth",
        "",
        "Change of the mean AUC, and mean places a variety moves within its crop, when a criterion "
        "counts nothing.",
        "",
        "| criterion | AUC | places moved |",
        "|---|---|---|",
    ]
    lines += [
        f"| {row.criterion} | {row.auc_change:+.4f} | {row.places_moved:.1f} |"
        for row in report.sensitivity.itertuples()
    ]
    lines += [
        "",
        "## What remains",
        "",
        f"- Varieties no other list names are ranked with an AUC of "
        f"{_figure(report, UNLISTED, 'auc'):.3f}: for these the "
        "record is who described them, and where.",
        f"- Without its track record the model reaches {_figure(report, WITHOUT, 'auc'):.3f}: "
        f"hardiness, chill and frost tell "
        "what lives, not what is grown; many obscure varieties would live.",
        "- Peaches of the Gulf states rank lowest of the large crops when all of their state is left out: "
        "most that the Alabama lists name are on no list elsewhere, and many are described nowhere else.",
        "- This is no independent test of everything. The weights set by hand, the kinds of record, the "
        "bounds of verdicts and the pull of the fit were chosen after figures on these same lists had been "
        "seen; only the learned weights and the kernel are fitted on other regions throughout. Origins were "
        "looked up for all varieties alike, after being bred in the country had been seen to help; they "
        "count where a source states them. `datasets/score_weights.json` says how the two sets of weights "
        "compare and which ship.",
        *_failures(report),
        "- Pairs are few, so a difference of a few hundredths between two ways is one or two pairs.",
        "",
    ]
    return "\n".join(lines)
