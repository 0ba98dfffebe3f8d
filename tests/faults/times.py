"""Trials with time: a clock that runs backwards, two programs at once, a record of an earlier version."""

from __future__ import annotations

import shutil
import sqlite3
from datetime import UTC, datetime, timedelta
from pathlib import Path
from unittest.mock import patch

from sqlite_utils import Database

from asbuilt.record import Item, Record
from asbuilt.record.migrations import migrations
from asbuilt.record.store import DATABASE_NAME
from tests.faults.child import Child, committed
from tests.faults.scene import Stage
from tests.faults.trials import Tally, Trials

PAIRS = (
    ("intake", "intake"), ("tagging", "tagging"), ("tagging", "placing"), ("tagging", "hand-over"),
    ("placing", "placing"), ("elevation", "tagging"), ("hand-over", "placing"), ("elevation", "elevation"),
    ("large clip", "large clip"),
)  # fmt: skip


class BackwardClock(datetime):
    """Each look at it shows an hour earlier."""

    looks = 0

    @classmethod
    def now(cls, tz=None):
        """The time, as wrong as it is."""
        cls.looks += 1
        return datetime(2026, 5, 1, 12, tzinfo=UTC).astimezone(tz) - timedelta(hours=cls.looks)


def clock_backwards(trials: Trials, stage: Stage, number: int, tally: Tally) -> None:
    """Work while the clock runs backwards."""

    def run(folder: Path, confirm) -> None:
        with patch("asbuilt.record.store.datetime", BackwardClock):
            stage.run(folder, confirm)

    name = f"clock {stage.name} {number}"
    with trials.copied(stage) as folder:
        lines = trials.outcome(name, Child(run, folder), tally)
        trials.must(tally, name, not [x for x in lines if x.startswith("!")], f"refused: {lines[-1:]}")
        with Record.open(folder) as record:
            newest = [h["id"] for h in record.history(100_000)]
        trials.must(tally, name, newest == sorted(newest, reverse=True), "the history lost its order")
        trials.check(name, stage, folder, lines, committed(folder), tally)


def two_at_once(trials: Trials, number: int, tally: Tally) -> None:
    """Two programs work on one record; each ends or is refused in words, and nothing is lost."""
    first, second = (trials.stages[n] for n in PAIRS[number % len(PAIRS)])
    name = f"two {first.name} {second.name} {number}"
    dice = trials.random("two", number)
    start = first if first.start == trials.scene.taken or second.start != trials.scene.taken else second
    start = trials.stages["placing"] if {first.name, second.name} == {"placing"} else start
    if {first.name, second.name} != {"placing"} and "placing" in (first.name, second.name):
        start = trials.stages["tagging"]  # of a record that was placed before
    with trials.copied(start) as folder:
        children = [Child(first.run, folder)]
        children[0].wait(dice.uniform(0, 0.5))
        children.append(Child(second.run, folder))
        lines = [trials.outcome(name, child, tally) for child in children]
        done = [stage for stage, child in zip((first, second), children, strict=True) if child.status == 0]
        trials.must(tally, name, bool(done), f"neither got through: {[x[-1:] for x in lines]}")
        for stage, said in zip((first, second), lines, strict=True):
            confirmed = [line for line in said if not line.startswith("!")]
            if stage in done:
                lacks = list(stage.lacks(folder, confirmed))
                trials.must(tally, name, not lacks, f"{stage.name} lacks {lacks[:3]}")
            elif stage.name == "tagging":
                lacks = [x for x in stage.lacks(folder, confirmed)]
                trials.must(tally, name, not lacks, f"{stage.name} lacks {lacks[:3]}")
        trials.check(name, first, folder, lines[0], committed(folder), tally)


def older_version(trials: Trials, number: int, tally: Tally) -> None:
    """A record of an earlier version, opened; every second time killed while it is brought up to date."""
    name = f"older {number}"
    dice = trials.random("older", number)
    top = trials.scratch / "trial"
    shutil.rmtree(top, ignore_errors=True)
    folder = top / "house"
    (folder / "media").mkdir(parents=True)
    steps = [m.name for m in migrations.pending(Database(memory=True))]
    _write_older(folder / DATABASE_NAME, steps[1 + number % (len(steps) - 1)])
    if number % 2:
        child = Child(_open, folder)
        if not child.wait(dice.uniform(0, 0.04)):
            child.kill()
            tally.counts["killed"] += 1
        child.lines()
    with Record.open(folder) as record:
        items = record.all(Item)
        tally.counts["opened"] += 1
    trials.must(tally, name, [i.id for i in items] == ["old"], f"its items are {items}")
    trials.check(name, trials.stages["intake"], folder, [], set(), tally)
    shutil.rmtree(top)


def _open(folder: Path, confirm) -> None:
    Record.open(folder).close()


def _write_older(path: Path, stop_before: str) -> None:
    db = sqlite3.connect(path, isolation_level=None)
    migrations.apply(Database(db), stop_before=stop_before)
    db.execute("INSERT INTO buildings (id, name, unit, note) VALUES ('building', 'Old House', 'in', '')")
    columns = {row[1]: row for row in db.execute("PRAGMA table_info(items)")}
    given = {"id": "old", "kind": "device box"}
    given |= {n: ("" if c[2] == "TEXT" else 0) for n, c in columns.items() if c[3] and c[4] is None and n not in given}
    marks = ", ".join("?" * len(given))
    db.execute(f"INSERT INTO items ({', '.join(given)}) VALUES ({marks})", list(given.values()))
    db.close()
