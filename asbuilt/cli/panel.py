"""asbuilt panel: panels of a building, one by one."""

from __future__ import annotations

from asbuilt.cli.describe import Describe

command = Describe(
    "panel",
    help="Panels: add, change, list, remove.",
    named_by="id",
    example="main --face north --amps 200 --spaces 40",
    changed='main --width "14-1/2 in" --height "30 in"',
)
