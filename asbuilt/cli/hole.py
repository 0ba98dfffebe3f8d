"""asbuilt hole: holes in studs and plates, one by one."""

from __future__ import annotations

from asbuilt.cli.describe import Describe

command = Describe(
    "hole",
    help="Holes and notches in studs and plates: add, change, list, remove.",
    named_by="",
    example='--face north --offset "32 in" --height "4 ft" --size "3/4 in" --cables C1,C2',
    changed="north-hole --sealed true",
)
