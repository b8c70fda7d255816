"""The pages as `app.py` registers them, so that a new one is tested without being named again."""

from __future__ import annotations

import runpy
from pathlib import Path
from unittest import mock

from recommender.pages import frame


def entries() -> list[frame.Entry]:
    """Every page of the app, in its order."""
    with mock.patch.object(frame, "show") as shown:
        runpy.run_path(str(Path(__file__).parents[2] / "app.py"))
    found: list[frame.Entry] = shown.call_args.args[0]
    return found
