"""A chart as a file: .html, .svg or .png, written whole or not at all."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from recommender.errors import BadInput
from recommender.files import written_whole

if TYPE_CHECKING:
    import altair as alt

_FORMS: dict[str, Literal["html", "svg", "png"]] = {".html": "html", ".svg": "svg", ".png": "png"}


class _WithoutTags(json.JSONEncoder):
    """JSON to stand inside an HTML script, whose end no name may bring about."""

    def encode(self, o: Any) -> str:
        return super().encode(o).replace("<", "\\u003c")


def save_chart(chart: alt.TopLevelMixin, path: Path) -> None:
    """Write the chart in the format its name ends in.

    Raises BadInput for another ending, or where the package that draws it is not installed; StorageFault if
    the file cannot be written, what was there before is kept.
    """
    form = _FORMS.get(path.suffix.lower())
    if form is None:
        raise BadInput(
            f"“{path.name}” is no kind of drawing known here",
            where=str(path),
            remedy="Let it end in .html, .svg or .png",
        )
    # Inline: the page holds its own drawing code, so that it opens without a network.
    options: dict[str, Any] = {"inline": True, "json_kwds": {"cls": _WithoutTags}} if form == "html" else {}
    try:
        with written_whole(path) as temporary:
            chart.save(str(temporary), format=form, **options)
    except (ImportError, ValueError) as error:
        if "vl-convert" not in str(error) and "vl_convert" not in str(error):
            raise
        raise BadInput(
            "Drawings need the package vl-convert-python, which is not installed",
            where=str(path),
            remedy="Install it: pip install vl-convert-python",
        ) from error
