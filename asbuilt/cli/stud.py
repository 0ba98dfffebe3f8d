"""asbuilt stud: studs of a building, one by one."""

from __future__ import annotations

from asbuilt.cli.describe import Describe

command = Describe(
    "stud",
    help="Studs whose real centres were taped: add, change, list, remove.",
    named_by="",
    example='--face north --center "16 in"',
    changed='north-stud --center "15-7/8 in"',
)
