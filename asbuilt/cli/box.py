"""asbuilt box: boxes of a building, one by one."""

from __future__ import annotations

from asbuilt.cli.describe import Describe

command = Describe(
    "box",
    help="What is known of boxes beside their places: add, change, list, remove.",
    named_by="id",
    example='b1 --volume "20.3 in3" --material plastic --clamps false',
    changed='b1 --set-out "1/2 in"',
)
