"""asbuilt item: items of a building, one by one."""

from __future__ import annotations

from asbuilt.cli.describe import Describe

command = Describe(
    "item",
    help="Items: add, change, list, remove. Items seen in pictures come from their sightings.",
    named_by="id",
    example='b1 --kind "device box" --face north --circuit 2 --label "receptacle left of the door"',
    changed="b1 --gangs 2",
)
