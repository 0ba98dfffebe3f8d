"""asbuilt cable: cables of a building, one by one."""

from __future__ import annotations

from asbuilt.cli.describe import Describe

command = Describe(
    "cable",
    help="Cables with both ends: add, change, list, remove.",
    named_by="id",
    example='C1 --circuit 2 --type "12/2 NM-B yellow" --from main --to b1',
    changed='C1 --length "42 ft" --coil "4 ft"',
)
