"""asbuilt control: switches and what they work, one by one."""

from __future__ import annotations

from asbuilt.cli.describe import Describe

command = Describe(
    "control",
    help="Which switch works which outlet: add, change, list, remove.",
    named_by="",
    example="--switch s1 --load l1 --way 3-way --cable C7",
    changed="s1-l1 --gang 2",
)
