"""One record's share of a batch, as plain data in and plain data out: the same wherever it runs.

    python -m asbuilt.library.task

reads one job as JSON from standard input and writes its outcome as the last line of standard output.
"""

from __future__ import annotations

import hashlib
import json
import os
import socket
import sqlite3
import sys
import time
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import cv2

from asbuilt.errors import AsbuiltError, RecordError
from asbuilt.record import Face, Item, Marker, Media, Opening, Picture, Record, ReferencePoint, Room, Sighting, now
from asbuilt.record.claim import claimed
from asbuilt.record.clicks import load_clicks
from asbuilt.record.plan import load_plan
from asbuilt.record.store import DATABASE_NAME
from asbuilt.record.types import Covering, Placement, Stud
from asbuilt.record.wiring import TapedPlace

ADD, PLACE = "add", "place"
DONE, NOTHING, FAILED = "done", "nothing to do", "failed"
BATCH_STEP = "library place"
# What placing, locating and coverage start from; of a picture also where a person filed it.
INPUTS = (Room, Face, Marker, ReferencePoint, Opening, Covering, Stud, Item, Sighting, TapedPlace, Media)


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """What to do with one record; paths are absolute, as every machine that may do it sees them."""

    what: str
    name: str  # what the report calls the record
    folder: str
    author: str = ""
    files: tuple[str, ...] = ()
    plan: str = ""
    clicks: str = ""
    stage: str | None = None
    again: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What became of it: done, nothing to do, or failed with the reason as ``text``."""

    name: str
    outcome: str
    text: str = ""
    seconds: float = 0.0
    processor_s: float = 0.0
    host: str = ""
    tries: int = 1


def do(job: dict) -> dict:
    """Do a job, alone on its record.

    Returns
    -------
    dict
        The fields of an :class:`Outcome`.

    Raises
    ------
    RecordError, OSError, sqlite3.Error
        Trouble with the storage, which may be over at another try.
    """
    job = Job(**job | {"files": tuple(job.get("files", ()))})
    started, used = time.monotonic(), os.times()
    cv2.setNumThreads(1)  # the other cores have records of their own
    try:
        with claimed(job.folder):
            outcome = _add(job) if job.what == ADD else _place(job)
    except Exception as error:  # whatever it is, the other records must go on
        if _may_pass(error):
            raise
        outcome = failure(job.name, error)
    spent = sum(os.times()[:4]) - sum(used[:4])
    return asdict(replace(outcome, seconds=time.monotonic() - started, processor_s=spent, host=socket.gethostname()))


def _may_pass(error: BaseException) -> bool:
    """Whether it is trouble with the storage, or says that it comes of such."""
    if isinstance(error, RecordError) and error.__cause__ is not None:
        return _may_pass(error.__cause__)
    return isinstance(error, (OSError, sqlite3.OperationalError))


def failure(name: str, error: Exception | str) -> Outcome:
    """A failed outcome with its reason on one line."""
    told = isinstance(error, (AsbuiltError, str)) or not str(error)
    text = str(error) if told and str(error) else f"{type(error).__name__}: {error}".rstrip(": ")
    return Outcome(name=name, outcome=FAILED, text=" ".join(text.split()))


def _add(job: Job) -> Outcome:
    from asbuilt.steps import intake

    made = not (Path(job.folder) / DATABASE_NAME).exists()
    opened = Record.create(job.folder, Path(job.folder).name, author=job.author) if made else None
    with opened or Record.open(job.folder, author=job.author) as record:
        told = _described(record, job)
        report = intake.run(record, job.files, intake.IntakeOptions(stage=job.stage, progress=False))
        if job.clicks and not record.all(Item):
            load_clicks(record, job.clicks)
            told.append("clicks read")
    counts = {o: [f for f in report.files if f.outcome == o] for o in ("added", "halted", "known", "refused")}
    if counts["added"]:
        told.append(f"{len(counts['added'])} files, {sum(f.picture_count for f in counts['added'])} pictures")
    told += [f"not used: {f.text}" for f in counts["refused"]]
    told += [f"{f.name}: {f.text}" for f in counts["halted"]]
    if counts["refused"] and len(counts["refused"]) == len(report.files):
        return Outcome(name=job.name, outcome=FAILED, text="; ".join(told))
    changed = made or counts["added"] or told
    return Outcome(name=job.name, outcome=DONE if changed else NOTHING, text="; ".join(told) or "all there already")


def _described(record: Record, job: Job) -> list[str]:
    # Read once: what was changed in the record since must not be put back.
    if not job.plan or record.all(Face):
        return []
    load_plan(record, job.plan)
    return ["plan read"]


def _place(job: Job) -> Outcome:
    from asbuilt.steps import coverage, locate, place

    with Record.open(job.folder, author=job.author) as record:
        before, started = inputs_of(record), now()
        last = record.last_report(BATCH_STEP)
        if last is not None and last["inputs"] == before and not job.again:
            return Outcome(name=job.name, outcome=NOTHING, text="nothing changed since it was placed")
        placed = place.run(record, place.PlaceOptions(quiet=True))
        located = locate.run(record, look_again=True)
        coverage.run(record)
        record.add_step_report(BATCH_STEP, started, {"inputs": inputs_of(record)})
        count = len(record.all(Placement))
    text = f"{placed.placed} of {count} pictures placed, {located.located} places measured"
    notes = "".join(f"; {note}" for note in placed.notes)
    return Outcome(name=job.name, outcome=DONE if placed.placed else FAILED, text=text + notes)


def inputs_of(record: Record) -> str:
    """A digest of everything that placing, locating and coverage start from."""
    digest = hashlib.sha256()
    for cls in INPUTS:
        digest.update("\n".join(map(repr, record.all(cls))).encode())
    for p in record.all(Picture):
        by_hand = p.face_id if p.filed_by == "hand" else None
        digest.update(repr((p.id, p.stage, p.flags, by_hand)).encode())
    return digest.hexdigest()


def main() -> None:
    """Do the job on standard input."""
    job = json.load(sys.stdin)
    try:
        print(json.dumps({"outcome": do(job)}))
    except (RecordError, sqlite3.Error, OSError) as error:
        print(json.dumps({"try_again": asdict(failure(job["name"], error))}))


if __name__ == "__main__":
    main()
