"""How fast a record is packed, checked, opened and backed up, against plain copying of its files.

Run as ``python -m tests.benchmarks.handover``. The record holds 500 pictures of 3 MB of
noise; the parts that draw and decode (viewer, binder, drawings) are left away, because
their time is that of the pictures in them, not of the packing. Each way is timed with the
originals in memory, and with the originals dropped from memory first, so that they come
from the disk, as they do months after they were taken. A package is on the disk when it is
said to be done, so that plain copying ends there too; copying that leaves the copies in
memory is told beside it, and how fast SHA-512 goes on all cores, which bounds packing
whatever the copying does. Each figure is the best of the rounds, which take turns.
"""

from __future__ import annotations

import argparse
import hashlib
import math
import os
import shutil
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
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


def _copied_to_disk(record: Record, target: Path) -> None:
    """Four copies at a time, each waited for on the disk: the fastest of the plain ways tried."""

    def copy(source: Path) -> None:
        path = target / source.relative_to(record.folder)
        path.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(source, path)
        with open(path, "rb") as stream:
            os.fsync(stream.fileno())

    sources = [p for p in (record.folder / "media").rglob("*") if p.is_file()]
    with ThreadPoolExecutor(4) as pool:
        list(pool.map(copy, [*sources, record.folder / "record.db"]))


def _hashed(record: Record) -> None:
    """SHA-512 of every original on all cores, with nothing written."""

    def digest(path: Path) -> str:
        with open(path, "rb") as stream:
            return hashlib.file_digest(stream, "sha512").hexdigest()

    with ThreadPoolExecutor(os.cpu_count()) as pool:
        list(pool.map(digest, [p for p in (record.folder / "media").rglob("*") if p.is_file()]))


def _forget(folder: Path) -> None:
    """Drop the files under a folder from memory, so that they are read from the disk."""
    for path in folder.rglob("*"):
        if path.is_file():
            with open(path, "rb") as stream:
                os.fsync(stream.fileno())
                os.posix_fadvise(stream.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)


def _seconds(work: Callable[[Path], object], base: Path, cold: bool) -> float:
    if cold:
        _forget(base / "record" / "media")
        _forget(base / "package")
    started = time.perf_counter()
    work(base / "out")
    seconds = time.perf_counter() - started
    for path in base.glob("out*"):
        shutil.rmtree(path) if path.is_dir() else path.unlink()
    os.sync()
    return seconds


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
            "copy to disk": lambda target: _copied_to_disk(record, target),
            "copy, in memory": lambda target: _copied(record, target),
            "SHA-512 alone": lambda target: _hashed(record),
            "package, folder": lambda target: hand_over(record, target, PLAIN),
            "package, ZIP": lambda target: _zipped(record, target),
            "backup": lambda target: backup(record, target),
            "open": lambda target: open_package(base / "package", target),
        }
        print(f"{options.pictures} pictures, {megabytes:.0f} MB, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
        for cold in (False, True):
            print("originals from the disk:" if cold else "originals in memory:")
            seconds = {name: math.inf for name in ways}
            for _ in range(options.rounds):
                for name, work in ways.items():
                    seconds[name] = min(seconds[name], _seconds(work, base, cold))
            for name, taken in seconds.items():
                shares = [f"{seconds[peer] / taken:5.2f} of {peer}" for peer in ("copy to disk", "copy, in memory")]
                print(f"  {name:16} {taken:6.2f} s {megabytes / taken:6.0f} MB/s {'  '.join(shares)}")
        started = time.perf_counter()
        report = verify(base / "package")
        seconds = time.perf_counter() - started
        print(f"verify             {seconds:6.1f} s {megabytes / seconds:6.0f} MB/s, {len(report.faults)} faults")


if __name__ == "__main__":
    main()
