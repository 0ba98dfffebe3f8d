"""asbuilt face: faces of a building, one by one."""

from __future__ import annotations

from asbuilt.cli.describe import Describe

command = Describe(
    "face",
    help="Faces, clockwise seen from above: add, change, list, remove.",
    named_by="id",
    example='north --room kitchen --length "12 ft 4-1/2 in" --height 8ft --stud 2x6',
    changed="north --cover-up 2026-04-20",
)
