"""asbuilt room: rooms of a building, one by one."""

from __future__ import annotations

from asbuilt.cli.describe import Describe

command = Describe(
    "room",
    help="Rooms: add, change, list, remove.",
    named_by="id",
    example="kitchen --name Kitchen --finished-floor 3/4in",
    changed='kitchen --origin-x "12 ft"',
)
