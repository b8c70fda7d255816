"""The site file: what was answered of a site and what is wished for, to keep, share and open again.

In come a `Site` and `Goals`; out goes TOML text, and back. The command line's `--site` reads the same file.
"""

from __future__ import annotations

import json
import tempfile
from pathlib import Path

from recommender.errors import BadInput
from recommender.suitability.answers import Answers
from recommender.suitability.goals import Goals
from recommender.suitability.site import Site

LARGEST_BYTES = 64_000
"""A site file longer than this is none; a house rule."""


def site_file_text(site: Site, goals: Goals) -> str:
    """Both as TOML (v1.0), answers left at their usual value left out."""
    parts = ["# A site of Orchardwright: the place and the wishes. Plain text, yours to edit."]
    for answers in (site, goals):
        lines = [f"{name} = {_toml(value)}" for name, value in _given(answers).items()]
        parts.append("\n".join([f"[{answers.section}]", *lines]))
    return "\n\n".join(parts) + "\n"


def read_site_file(raw: bytes, name: str) -> tuple[Site, Goals]:
    """Site and wishes of a file's bytes; `name` says by its ending whether it is TOML or JSON.

    Raises BadInput naming file, answer and remedy.
    """
    if len(raw) > LARGEST_BYTES:
        raise BadInput(
            f"The file is {len(raw) // 1000:,} kB long, too long for a site file",
            where=name,
            remedy="Choose a file saved here, or one written for --site",
        )
    with tempfile.TemporaryDirectory(prefix="orchardwright-") as folder:
        path = Path(folder) / f"site{'.json' if name.lower().endswith('.json') else '.toml'}"
        path.write_bytes(raw)
        try:
            return Site.from_file(path), Goals.from_file(path)
        except BadInput as error:
            where = error.where.replace(str(path), name)
            raise BadInput(error.what, where=where, remedy=error.remedy) from None


def _given(answers: Answers) -> dict[str, object]:
    return {
        name: value for name, value in answers.model_dump(exclude_defaults=True).items() if value is not None
    }


def _toml(value: object) -> str:
    if isinstance(value, tuple | list):
        return f"[{', '.join(_toml(part) for part in value)}]"
    if isinstance(value, str):
        # A JSON string is a TOML basic string but for DEL, which TOML wants escaped.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return json.dumps(value)
