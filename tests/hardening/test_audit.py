"""The page that says which test shows what names only tests that are there."""

from __future__ import annotations

import ast
import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "hardening.md"


def test_every_test_that_the_page_names_exists() -> None:
    named = re.findall(r"`(tests/[\w/]+\.py)::(\w+)`", PAGE.read_text(encoding="utf-8"))
    assert len(named) > 40
    for path, test in named:
        tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
        assert test in {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}, (
            f"{path}::{test}"
        )


def test_every_test_of_hardening_stands_on_the_page() -> None:
    said = PAGE.read_text(encoding="utf-8")
    for path in (ROOT / "tests" / "hardening").glob("test_*.py"):
        assert path == Path(__file__) or f"tests/hardening/{path.name}" in said, path.name
