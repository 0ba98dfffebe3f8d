"""asbuilt covering: coverings of a building, one by one."""

from __future__ import annotations

from asbuilt.cli.describe import Describe

command = Describe(
    "covering",
    help="Layers that close a face: add, change, list, remove.",
    named_by="",
    example='--face north --material "gypsum board" --thickness 1/2in',
    changed="north-layer --date 2026-04-20",
)
