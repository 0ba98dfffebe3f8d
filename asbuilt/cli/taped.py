"""asbuilt taped: taped places of items, one by one."""

from __future__ import annotations

from asbuilt.cli.describe import Describe

command = Describe(
    "taped",
    help="Places of items taken with a tape: add, change, list, remove.",
    named_by="",
    example='--item b1 --face north --offset "6 ft 1 in" --height 16',
    changed='b1-taped --depth "-1/2 in"',
)
