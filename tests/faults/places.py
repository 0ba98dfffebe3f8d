"""Trials with the place a record lies in: a full disk, a read-only one, originals that are away."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from asbuilt.answers.behind import behind
from asbuilt.handover.verify import verify
from asbuilt.record import Face, Record
from tests.faults.child import Child, committed
from tests.faults.scene import Stage
from tests.faults.trials import Tally, Trials

LARGE_BYTES = 256 << 20


def can_mount() -> bool:
    """Whether this process may make a disk of its own in memory."""
    return os.geteuid() == 0 and subprocess.run(["unshare", "-m", "true"], capture_output=True).returncode == 0


@contextmanager
def small_disk(at: Path) -> Iterator[Path]:
    """A disk in memory, to be made smaller or read-only by ``remount``."""
    at.mkdir(parents=True, exist_ok=True)
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={LARGE_BYTES}", "none", str(at)], check=True)
    try:
        yield at
    finally:
        subprocess.run(["umount", "-l", str(at)], check=True)


def remount(at: Path, options: str) -> None:
    """Change a disk in memory."""
    subprocess.run(["mount", "-o", f"remount,{options}", str(at)], check=True)


def full_disk(trials: Trials, stage: Stage, number: int, tally: Tally) -> None:
    """A disk that becomes full somewhere in the work; then there is room again."""
    dice = trials.random(f"full {stage.name}", number)
    with small_disk(trials.scratch / "disk") as disk:
        folder = disk / "top" / "house"
        shutil.copytree(stage.start, folder)
        used = shutil.disk_usage(disk).used
        room = dice.choice([0, 1, 2, 8, 32, 128, 512, 2048]) * 1024 + dice.randrange(4096)
        remount(disk, f"size={used + room}")
        child = Child(stage.run, folder)
        lines = trials.outcome(f"full {stage.name} {number}", child, tally)
        before = committed(folder)
        remount(disk, f"size={LARGE_BYTES}")
        trials.check(f"full {stage.name} {number}", stage, folder, lines, before, tally)


def read_only(trials: Trials, stage: Stage, number: int, tally: Tally) -> None:
    """A disk that must not be written: work is refused in words, answers are given; then it may be."""
    name = f"read-only {stage.name} {number}"
    with small_disk(trials.scratch / "disk") as disk:
        folder = disk / "top" / "house"
        shutil.copytree(stage.start, folder)
        if number % 2:  # left by a program that was cut off
            keep = Record.open(folder)
            keep.put(Face(id=f"f{number}", room_id=keep.all(Face)[0].room_id, title="late", order_idx=99,
                          length_m=3.0, height_m=2.4))  # fmt: skip
            shutil.copytree(folder, disk / "torn")
            keep.close()
            shutil.rmtree(folder)
            (disk / "torn").rename(folder)
        before = committed(folder)
        remount(disk, "ro")
        lines = trials.outcome(name, Child(stage.run, folder), tally)
        asked = Child(ask, folder)
        trials.outcome(f"{name}, asked", asked, tally, "questions refused in words")
        trials.must(tally, name, not verify(folder).faults, "does not verify while read-only")
        remount(disk, "rw")
        trials.check(name, stage, folder, lines, before, tally)


def ask(folder: Path, confirm) -> None:
    """Ask what is behind every face."""
    with Record.open(folder) as record:
        for face in record.all(Face):
            confirm(behind(record, face.id, face.length_m / 2).outcome)


def missing_media(trials: Trials, stage: Stage, number: int, tally: Tally) -> None:
    """The stick with the originals is pulled out, and put back."""
    name = f"missing {stage.name} {number}"
    dice = trials.random("missing", number)
    with trials.copied(stage) as folder:
        away = folder.parent / "stick"
        files = sorted(p for p in (folder / "media").rglob("*") if p.is_file())
        gone = files if number % 2 else dice.sample(files, min(len(files), 1))
        for path in gone:
            (away / path.relative_to(folder)).parent.mkdir(parents=True, exist_ok=True)
            path.rename(away / path.relative_to(folder))
        if files:
            named = {f.name for f in verify(folder).faults}
            lost = {p.relative_to(folder).as_posix() for p in gone} - named
            trials.must(tally, name, not lost, f"not named by verify: {sorted(lost)[:2]}")
        lines = trials.outcome(name, Child(stage.run, folder), tally)
        trials.outcome(f"{name}, asked", Child(ask, folder), tally, "questions refused in words")
        for path in gone:
            if not path.exists():
                (away / path.relative_to(folder)).rename(path)
        shutil.rmtree(away, ignore_errors=True)
        for made in (folder.with_name("package"), folder.with_name("package.zip")):
            shutil.rmtree(made) if made.is_dir() else made.unlink(missing_ok=True)
        lines = [line for line in lines if "package" not in line]
        trials.check(name, stage, folder, lines, set(), tally)
