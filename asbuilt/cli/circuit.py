"""asbuilt circuit: circuits of a building, one by one."""

from __future__ import annotations

from asbuilt.cli.describe import Describe

command = Describe(
    "circuit",
    help="Circuits: add, change, list, remove.",
    named_by="number",
    example='1+3 --name range --amps 50 --volts 240 --cable "6/3 black"',
    changed="1+3 --state terminated",
)
