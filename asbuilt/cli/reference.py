"""asbuilt reference: reference points of a building, one by one."""

from __future__ import annotations

from asbuilt.cli.describe import Describe

command = Describe(
    "reference",
    help="Reference points, spots whose place was taped: add, change, list, remove.",
    named_by="id",
    example='nail1 --face north --offset 3ft --height 4ft --label "nail in stud"',
    changed='nail1 --offset "3 ft 0-1/8 in"',
)
