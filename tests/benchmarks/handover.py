"""How fast a record is packed, checked, opened and backed up, against plain copying of its files.

Run as ``python -m tests.benchmarks.handover``. The record holds 500 pictures of 3 MB of
noise; the parts that draw and decode (viewer, binder, drawings) are left away, because
their time is that of the pictures in them, not of the packing. Each way is timed with the
originals in memory, and with the originals dropped from memory first, so that they come
from the disk, as they do months after they were taken. Each figure is the best of the rounds.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import shutil
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from asbuilt.handover.backup import backup
from asbuilt.handover.opening import open_package
from asbuilt.handover.package import HandoverOptions, hand_over
from asbuilt.handover.verify import verify
from asbuilt.record import Media, Picture, Record
from tests.truth import truth_record

PLAIN = HandoverOptions(without=frozenset({"viewer", "binder", "drawings"}))


def made_record(folder: Path, count: int, byte_count: int) -> Record:
    """The sample room without its media, and ``count`` originals of noise."""
    record = truth_record(folder, pictures=False)
    rng = np.random.default_rng(1)
    for number in range(count):
        data = rng.bytes(byte_count)
        sha = hashlib.sha256(data).hexdigest()
        path = f"media/{sha[:2]}/{sha[2:]}.jpg"
        (folder / path).parent.mkdir(exist_ok=True)
        (folder / path).write_bytes(data)
        media = Media(id=sha, name=f"{number:04d}.jpg", kind="photo", byte_count=byte_count, path=path, state="done")
        record.put(media, Picture(id=sha[:10], media_id=sha, kind="photo", width_px=4000, height_px=3000))
    return record


def _copied(record: Record, target: Path) -> None:
    shutil.copytree(record.folder / "media", target / "media", copy_function=shutil.copyfile)
    shutil.copyfile(record.folder / "record.db", target / "record.db")


def _forget(folder: Path) -> None:
    """Drop the files under a folder from memory, so that they are read from the disk."""
    for path in folder.rglob("*"):
        if path.is_file():
            with open(path, "rb") as stream:
                os.fsync(stream.fileno())
                os.posix_fadvise(stream.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)


def _best(work: Callable[[Path], object], base: Path, rounds: int, cold: bool) -> float:
    seconds = []
    for number in range(rounds):
        if cold:
            _forget(base / "record" / "media")
            _forget(base / "package")
        started = time.perf_counter()
        work(base / f"out{number}")
        seconds.append(time.perf_counter() - started)
        for path in base.glob(f"out{number}*"):
            shutil.rmtree(path) if path.is_dir() else path.unlink()
    return min(seconds)


def _zipped(record: Record, target: Path) -> None:
    hand_over(record, target.with_suffix(".zip"), PLAIN)


def main() -> None:
    """Print one line for each way."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--pictures", type=int, default=500)
    parser.add_argument("--bytes", type=int, default=3_000_000)
    parser.add_argument("--rounds", type=int, default=2)
    parser.add_argument("--folder", type=Path, default=None, help="where to work")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=options.folder) as scratch:
        base = Path(scratch)
        record = made_record(base / "record", options.pictures, options.bytes)
        megabytes = options.pictures * options.bytes / 1e6
        hand_over(record, base / "package", PLAIN)
        ways = {
            "copy its files": lambda target: _copied(record, target),
            "package, folder": lambda target: hand_over(record, target, PLAIN),
            "package, ZIP": lambda target: _zipped(record, target),
            "backup": lambda target: backup(record, target),
            "open": lambda target: open_package(base / "package", target),
        }
        print(f"{options.pictures} pictures, {megabytes:.0f} MB, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
        for cold in (False, True):
            print("originals from the disk:" if cold else "originals in memory:")
            copying = 0.0
            for name, work in ways.items():
                seconds = _best(work, base, options.rounds, cold)
                copying = copying or seconds
                share = copying / seconds
                print(f"  {name:16} {seconds:6.1f} s {megabytes / seconds:6.0f} MB/s {share:5.2f} of copying")
        started = time.perf_counter()
        report = verify(base / "package")
        seconds = time.perf_counter() - started
        print(f"verify             {seconds:6.1f} s {megabytes / seconds:6.0f} MB/s, {len(report.faults)} faults")


if __name__ == "__main__":
    main()
