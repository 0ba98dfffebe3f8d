"""Files on their way into a record, sent in pieces; whole ones wait here for intake.

Each lies in a folder of its own under ``incoming/``, named by what the sender calls it, so
that a broken-off transfer goes on where it stopped. Nothing here belongs to the record yet.
"""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import unicodedata
from dataclasses import dataclass, replace
from pathlib import Path

from asbuilt.errors import MediaError, RecordError
from asbuilt.record.store import Record

FOLDER = "incoming"
PART = ".part"
MEMO = ".memo"  # size and name; no plain name begins with a dot
MAX_FILE_BYTES = 64 * 10**9  # two hours of 4K video of a phone is about 50 GB; common practice, no source
DISK_RESERVE_BYTES = 500 * 10**6  # left free for what the record itself has to write
MAX_NAME = 120
STAGES = ("", "open", "covered")


@dataclass(frozen=True, slots=True, kw_only=True)
class Incoming:
    """One file on its way in; ``id`` is 32 hex digits, ``stage`` open, covered or empty: tell by its date."""

    id: str
    name: str
    byte_count: int
    received_count: int
    stage: str = ""

    @property
    def is_whole(self) -> bool:
        """Whether all of it is here."""
        return self.received_count == self.byte_count


def plain_name(name: str) -> str:
    """A file name without folders, control characters or anything a file system takes amiss."""
    name = unicodedata.normalize("NFC", name).replace("\\", "/").rsplit("/", 1)[-1]
    name = "".join(c for c in name if c.isprintable() and c not in '<>:"|?*').strip(" .")
    if len(name) > MAX_NAME:
        stem, dot, suffix = name.rpartition(".")
        name = (stem or suffix)[: MAX_NAME - 9].rstrip(" .") + (dot + suffix[:8] if stem else "")
    return name or "unnamed"


def begin(record: Record, name: str, byte_count: int, sender_key: str, stage: str = "") -> Incoming:
    """Start to take a file in, or find how far it got before.

    Parameters
    ----------
    name : str
        What the sender calls it.
    byte_count : int
        Its whole size.
    sender_key : str
        Whatever tells this file from others of that name and size, such as its date.
    stage : str
        What it shows: open walls, covered ones, or empty to tell by its date.

    Raises
    ------
    MediaError
        If it is empty, or too large for the disk or altogether.
    """
    name = plain_name(name)
    if stage not in STAGES:
        raise MediaError(f"{name}: stage {stage!r} is not open or covered")
    if byte_count <= 0:
        raise MediaError(f"{name} is empty")
    if byte_count > MAX_FILE_BYTES:
        raise MediaError(
            f"{name} is larger than {MAX_FILE_BYTES // 10**9} GB; split it, or copy it over and add it there"
        )
    upload_id = hashlib.sha256(f"{name}\0{byte_count}\0{sender_key}".encode()).hexdigest()[:32]
    folder = record.folder / FOLDER / upload_id
    received = _received(folder, name)
    free = shutil.disk_usage(record.folder).free
    if byte_count - received + DISK_RESERVE_BYTES > free:
        raise MediaError(f"{name} does not fit: {free // 10**6} MB are free on the disk of the record")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        (folder / MEMO).write_text(f"{byte_count}\n{stage}\n{name}", "utf-8")
    except OSError as error:
        raise RecordError(f"cannot write into {record.folder / FOLDER}: {error.strerror}") from error
    return Incoming(id=upload_id, name=name, byte_count=byte_count, received_count=received, stage=stage)


def find(record: Record, upload_id: str) -> Incoming | None:
    """A file on its way in, or None."""
    if not re.fullmatch(r"[0-9a-f]{32}", upload_id):
        return None
    folder = record.folder / FOLDER / upload_id
    try:
        size, stage, name = (folder / MEMO).read_text("utf-8").split("\n", 2)
        count = _received(folder, name)
        return Incoming(id=upload_id, name=name, byte_count=int(size), received_count=count, stage=stage)
    except (OSError, ValueError):
        return None


def append(record: Record, incoming: Incoming, offset: int, data: bytes) -> Incoming:
    """Add a piece that begins at ``offset``; one that does not follow on is refused.

    Raises
    ------
    MediaError
        If the piece leaves a gap, repeats what is there, or goes past the end.
    """
    if offset != incoming.received_count:
        raise MediaError(f"{incoming.name}: {incoming.received_count} bytes are here, not {offset}; go on from there")
    if offset + len(data) > incoming.byte_count:
        raise MediaError(f"{incoming.name}: more bytes than the {incoming.byte_count} that were announced")
    folder = record.folder / FOLDER / incoming.id
    part = folder / (incoming.name + PART)
    try:
        with open(part, "ab") as stream:
            if stream.tell() != offset:  # two senders of the same file
                raise MediaError(f"{incoming.name} is being sent from elsewhere too; wait for it")
            stream.write(data)
            stream.flush()
            if offset + len(data) == incoming.byte_count:
                os.fsync(stream.fileno())
        if offset + len(data) == incoming.byte_count:
            os.replace(part, folder / incoming.name)
    except OSError as error:
        raise RecordError(f"cannot write into {folder}: {error.strerror}") from error
    return replace(incoming, received_count=offset + len(data))


def whole_files(record: Record) -> list[tuple[Path, str]]:
    """Files that are all here and wait for intake with their stage, the oldest first."""
    waiting: list[tuple[Path, str]] = []
    for folder in (record.folder / FOLDER).glob("*"):
        found = find(record, folder.name)
        if found is not None and found.is_whole:
            waiting.append((folder / found.name, found.stage))
    return sorted(waiting, key=lambda w: w[0].stat().st_mtime)


def discard(record: Record, path: Path) -> None:
    """Take a file that intake has dealt with out of ``incoming/``."""
    if path.parent.parent == record.folder / FOLDER:
        shutil.rmtree(path.parent, ignore_errors=True)


def _received(folder: Path, name: str) -> int:
    for path in (folder / name, folder / (name + PART)):
        if path.is_file():
            return path.stat().st_size
    return 0
