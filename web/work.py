"""The work on a record that takes longer than a request: a process of its own.

It runs apart so that a broken or hostile file cannot take the viewer down with it. What it
is doing goes to its standard output, one JSON object a line:

``{"step", "name", "share"}``
    what is being done, to what, and how much of it (0..1, or null)
``{"note"}``
    a line for people
``{"done": true}``
    at the end
"""

from __future__ import annotations

import io
import json
import re
import sys
import traceback

from asbuilt.errors import AsbuiltError
from asbuilt.record import Face, Picture, Record, incoming
from asbuilt.steps import coverage, elevation, intake, locate, place

STEP_WORDS = {
    "intake": "Taking in",
    "place": "Placing pictures",
    "locate": "Measuring",
    "coverage": "Coverage",
    "elevation": "Wall pictures",
}
_BAR = re.compile(r"([^\r\n]*?):\s+(\d{1,3})%")


class BarReader(io.TextIOBase):
    """Stands in for the terminal: reads progress bars and tells them as JSON."""

    def __init__(self, tell) -> None:
        self.tell, self.step, self.last = tell, "", None

    def isatty(self) -> bool:
        """So that bars are drawn."""
        return True

    def writable(self) -> bool:
        """It takes text."""
        return True

    def write(self, text: str) -> int:
        """Note the newest state of a bar in ``text``."""
        for name, percent in _BAR.findall(text):
            now = (self.step, name.strip(), int(percent))
            if now != self.last:
                self.last = now
                self.tell(step=self.step, name=name.strip(), share=int(percent) / 100)
        return len(text)


def tell(**facts) -> None:
    """One line for the viewer."""
    sys.stdout.write(json.dumps(facts) + "\n")
    sys.stdout.flush()


def main(folder: str, author: str, tasks: list[str]) -> None:
    """Do the tasks in order; a task that cannot be done leaves a note and the rest goes on."""
    bars = BarReader(tell)
    terminal, sys.stderr = sys.stderr, bars
    try:
        _do(folder, author, tasks, bars)
    except Exception:
        traceback.print_exc(file=terminal)  # for whoever runs the viewer
        raise SystemExit(1) from None


def _do(folder: str, author: str, tasks: list[str], bars: BarReader) -> None:
    with Record.open(folder, author=author) as record:
        for task in tasks:
            bars.step = STEP_WORDS[task]
            tell(step=bars.step, name="", share=None)
            try:
                for note in TASKS[task](record):
                    tell(note=note)
            except AsbuiltError as error:
                tell(note=str(error))
    tell(done=True)


def _intake(record: Record) -> list[str]:
    """Take in what waits, and say what became of it; a refused file does not stay."""
    waiting = incoming.whole_files(record)
    notes = []
    for stage in sorted({stage for _, stage in waiting}) or [""]:
        paths = [path for path, told in waiting if told == stage]
        notes += intake.run(record, paths, intake.IntakeOptions(stage=stage or None)).lines()
        for path in paths:
            incoming.discard(record, path)
    return notes


def _place(record: Record) -> list[str]:
    if not record.all(Picture) or not record.all(Face):
        return []
    report = place.run(record)
    return [
        f"{report.placed} pictures placed",
        *(f"{count} not placed: {why}" for why, count in report.not_placed.items()),
    ]


def _locate(record: Record) -> list[str]:
    locate.run(record, look_again=True)
    return []


def _coverage(record: Record) -> list[str]:
    coverage.run(record, coverage.CoverageOptions(progress=True))
    return []


def _elevation(record: Record) -> list[str]:
    """The wall's picture at the stud face and at the usual depth of a cable."""
    elevation.run(record, elevation.ElevationOptions(depths_m=(0.0, None), progress=True))
    return []


TASKS = {"intake": _intake, "place": _place, "locate": _locate, "coverage": _coverage, "elevation": _elevation}

if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], sys.argv[3:])
