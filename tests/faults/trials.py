"""Trials of one kind each: what was done to a record, and what was wrong afterwards."""

from __future__ import annotations

import os
import random
import shutil
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from asbuilt.handover.verify import verify
from asbuilt.record import Record
from tests.faults.child import CRASHED, DONE, REFUSED, Child, committed
from tests.faults.scene import Scene, Stage

LONGEST_S = 300.0  # for a run that is not disturbed; more is a hang
MOST_DRAWS = 8


@dataclass(slots=True, kw_only=True)
class Tally:
    """How often what came about, and every failure in words."""

    counts: Counter = field(default_factory=Counter)
    failures: list[str] = field(default_factory=list)

    def line(self, name: str) -> str:
        """In one line."""
        told = ", ".join(f"{count} {what}" for what, count in self.counts.items())
        return f"{name}: {told}; {len(self.failures)} failures"


class Trials:
    """Runs trials on copies of a scene's records in a scratch folder."""

    def __init__(self, scene: Scene, scratch: Path, seed: int) -> None:
        self.scene, self.scratch, self.seed = scene, scratch, seed
        self.stages = scene.stages()
        self.spans_s: dict[str, float] = {}

    def random(self, kind: str, number: int) -> random.Random:
        """The dice of one trial."""
        return random.Random(f"{self.seed}/{kind}/{number}")

    @contextmanager
    def copied(self, stage: Stage) -> Iterator[Path]:
        """A copy of the record a stage begins with, in a folder of its own."""
        top = self.scratch / "trial"
        shutil.rmtree(top, ignore_errors=True)
        shutil.copytree(stage.start, top / "house")
        try:
            yield top / "house"
        finally:
            shutil.rmtree(top, ignore_errors=True)

    def span_s(self, stage: Stage) -> float:
        """How long an undisturbed run takes here and now [s]."""
        if stage.name not in self.spans_s:
            with self.copied(stage) as folder:
                self.spans_s[stage.name] = self.finished(stage, folder, [])
        return self.spans_s[stage.name]

    def kill(self, stage: Stage, number: int, tally: Tally) -> None:
        """Kill -9 at a random moment, then open, verify, run again."""
        dice, span_s = self.random(f"kill {stage.name}", number), self.span_s(stage)
        for _ in range(MOST_DRAWS):
            with self.copied(stage) as folder:
                child = Child(stage.run, folder)
                if child.wait(dice.uniform(0, span_s)):
                    tally.counts["had ended before"] += 1
                    self.must(tally, f"kill {stage.name} {number}", child.status == DONE, str(child.lines()[-1:]))
                    continue
                before = committed(folder)
                child.kill()
                tally.counts["killed"] += 1
                self.check(f"kill {stage.name} {number}", stage, folder, child.lines(), before, tally)
                return
        tally.counts["always ended before"] += 1

    def power_cut(self, stage: Stage, number: int, tally: Tally) -> None:
        """Copy the folder as it is at one moment, with what was not yet flushed torn."""
        dice, span_s = self.random(f"cut {stage.name}", number), self.span_s(stage)
        for _ in range(MOST_DRAWS):
            with self.copied(stage) as folder:
                child = Child(stage.run, folder)
                if child.wait(dice.uniform(0, span_s)):
                    child.lines()
                    continue
                child.stop()
                left = self.scratch / "cut" / "house"
                shutil.rmtree(left.parent, ignore_errors=True)
                shutil.copytree(folder.parent, left.parent)
                child.kill()
                _tear(left, dice)
                tally.counts["cut off"] += 1
                self.check(f"cut {stage.name} {number}", stage, left, child.lines(), set(), tally)
                shutil.rmtree(left.parent)
                return

    def check(
        self, name: str, stage: Stage, folder: Path, lines: list[str], before: set[tuple[str, str]], tally: Tally
    ) -> None:
        """After the fault: it opens, verifies, has all that was confirmed, and the work can be done again."""
        crash = next((line for line in lines if line.startswith("! ") and "Traceback" in line), None)
        self.must(tally, name, crash is None, f"crashed: {crash}")
        try:
            with Record.open(folder):
                tally.counts["opened"] += 1
            faults = [f.line() for f in verify(folder).faults]
            self.must(tally, name, not faults, f"does not verify: {faults[:3]}")
            tally.counts["verified"] += not faults
            lost = before - committed(folder)
            self.must(tally, name, not lost, f"lost {sorted(lost)[:3]}")
            confirmed = [line for line in lines if not line.startswith("! ")]
            self.finished(stage, folder, confirmed)
            tally.counts["resumed"] += 1
            faults = [f.line() for f in verify(folder).faults]
            self.must(tally, name, not faults, f"does not verify in the end: {faults[:3]}")
            tally.counts["confirmed kept"] += len(confirmed) + len(before)
        except Exception as error:
            self.must(tally, name, False, f"{type(error).__name__}: {error}")

    def finished(self, stage: Stage, folder: Path, confirmed: list[str]) -> float:
        """Run a stage to its end; how long it took [s]. What it lacks then is an error."""
        child = Child(stage.run, folder)
        if not child.wait(LONGEST_S):
            child.kill()
            raise TimeoutError(f"{stage.name} did not end in {LONGEST_S:.0f} s")
        lines = child.lines()
        if child.status != DONE:
            raise RuntimeError(f"{stage.name} cannot be done: {lines[-1:]}")
        lacks = list(stage.lacks(folder, confirmed + lines))
        if lacks:
            raise RuntimeError(f"{stage.name} is not complete: {lacks[:4]}")
        return child.seconds

    def outcome(self, name: str, child: Child, tally: Tally, refusal: str = "refused in words") -> list[str]:
        """Wait for a child that may be refused but must not crash or hang; what it said."""
        ended = child.wait(LONGEST_S)
        if not ended:
            child.kill()
        lines = child.lines()
        self.must(tally, name, ended, "hangs")
        self.must(tally, name, child.status in (DONE, REFUSED), f"ended with {child.status}: {lines[-1:]}")
        words = lines[-1] if child.status == REFUSED else ""
        self.must(tally, name, len(words) < 500, f"too many words: {words[:900]}")
        tally.counts[{DONE: "done all the same", REFUSED: refusal, CRASHED: "crashed"}.get(child.status, "died")] += 1
        return lines

    def must(self, tally: Tally, name: str, holds: bool, words: str) -> None:
        """Note a failure unless it holds."""
        if not holds:
            tally.failures.append(f"{name} (seed {self.seed}): {words}")


def _tear(folder: Path, dice: random.Random) -> None:
    """What a power cut leaves of that which nobody has been told is on the disk."""
    wal = folder / "record.db-wal"
    if wal.is_file() and dice.random() < 0.7:  # part of a transaction that was never committed
        with open(wal, "ab") as stream:
            stream.write(dice.randbytes(dice.randrange(1, 9000)))
    if dice.random() < 0.5:  # an index into the log that belongs to the memory of then
        (folder / "record.db-shm").unlink(missing_ok=True)
    for path in folder.parent.rglob("*"):
        unfinished = any(part.startswith((".incoming", ".package")) for part in path.parts)
        if unfinished and path.is_file() and path.stat().st_size:
            os.truncate(path, dice.randrange(path.stat().st_size))
