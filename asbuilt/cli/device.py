"""asbuilt device: devices in boxes, one by one."""

from __future__ import annotations

from asbuilt.cli.describe import Describe

command = Describe(
    "device",
    help="What boxes are for, and the loads: add, change, list, remove.",
    named_by="",
    example='--item b1 --kind "duplex receptacle" --wire 12 --load-va 180',
    changed="b1-device --load-va 600",
)
