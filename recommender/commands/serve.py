"""`orchardwright app`: open the pages in a browser on this machine."""

from __future__ import annotations

import importlib.util
import subprocess
import sys
from pathlib import Path
from typing import Annotated

import typer

from recommender.errors import StorageFault


def script() -> Path:
    """The page registry: `app.py` of a checkout, or `_app.py` of an installed package."""
    package = Path(__file__).resolve().parents[1]
    for candidate in (package / "_app.py", package.parent / "app.py"):
        if candidate.is_file():
            return candidate
    raise StorageFault("The page registry app.py is missing", remedy="Install the package again")


def command(
    port: Annotated[int, typer.Option("--port", min=1, max=65535, help="Port on this machine.")] = 8501,
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help="Open a browser window too.")
    ] = True,
) -> None:
    """Open the pages in a browser. They are served to this machine only."""
    if importlib.util.find_spec("streamlit") is None:
        raise StorageFault("Streamlit is not installed", remedy="Install orchardwright with its dependencies")
    arguments = [sys.executable, "-m", "streamlit", "run", str(script())]
    settings = [f"--server.port={port}", f"--server.headless={'false' if browser else 'true'}"]
    private = ["--server.address=127.0.0.1", "--browser.gatherUsageStats=false"]
    raise typer.Exit(subprocess.call([*arguments, *settings, *private]))
