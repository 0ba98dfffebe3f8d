"""asbuilt feed: feed order of circuits, one by one."""

from __future__ import annotations

from asbuilt.cli.describe import Describe

command = Describe(
    "feed",
    help="Feed order, from the panel on: add, change, list, remove.",
    named_by="",
    example="--circuit 2 --from main --to b1 --cable C1",
    changed="2-b1 --cable C2",
)
