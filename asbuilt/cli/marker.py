"""asbuilt marker: markers of a building, one by one."""

from __future__ import annotations

from asbuilt.cli.describe import Describe

command = Describe(
    "marker",
    help="Marker sheets on the studs: add, change, list, remove.",
    named_by="id",
    example='7 --face north --offset "6 ft 1-1/4 in" --height 4ft',
    changed='7 --height "4 ft 1/8 in"',
)
