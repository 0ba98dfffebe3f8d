"""asbuilt opening: openings of a building, one by one."""

from __future__ import annotations

from asbuilt.cli.describe import Describe

command = Describe(
    "opening",
    help="Doors, windows and other openings: add, change, list, remove.",
    named_by="",
    example="--face north --kind window --left 3ft --right 6ft --bottom 3ft --top 80in",
    changed='north-window --right "6 ft 1 in"',
)
