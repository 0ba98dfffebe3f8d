"""asbuilt rule: own figures for the rough-in checks, one by one."""

from __future__ import annotations

from asbuilt.cli.describe import Describe

command = Describe(
    "rule",
    help="Figures of your own for the rough-in checks, and rules left out: add, change, list, remove.",
    named_by="id",
    example='receptacle-spacing.most --value "6 ft" --note "our own rule"',
    changed='receptacle-spacing.most --value "8 ft"',
)
