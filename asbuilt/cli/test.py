"""asbuilt test: tests of circuits and cables, one by one."""

from __future__ import annotations

from asbuilt.cli.describe import Describe

command = Describe(
    "test",
    help="Who tested a circuit or cable, and when: add, change, list, remove.",
    named_by="",
    example='--of 2 --date 2026-03-20 --by "the electrician" --method "continuity, polarity" --result passed',
    changed='2-2026-03-20 --result "polarity reversed"',
)
