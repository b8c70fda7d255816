"""A row of the table of `power_cuts`."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Row:
    """What so many kills did. under_way: of them met work under way; lost: acknowledged work that was gone;
    broken: files that did not read."""

    kind: str
    kills: int
    under_way: int
    lost: int
    broken: int
