"""Copying a live record, so that a lost machine does not mean a lost record."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from asbuilt.errors import RecordError
from asbuilt.record import Media, Record
from asbuilt.record.media import file_sha256
from asbuilt.record.snapshot import copy_database, open_copy
from asbuilt.record.store import DATABASE_NAME
from asbuilt.record.types import COPYING


@dataclass(frozen=True, slots=True, kw_only=True)
class BackupReport:
    """What a backup holds, what was copied this time, and originals that could not be read."""

    target: str
    media_count: int
    copied_count: int
    copied_bytes: int
    missing: tuple[str, ...]


def backup(
    record: Record, target: str | Path, progress: Callable[[int], object] = lambda byte_count: None
) -> BackupReport:
    """Copy a record as it stands at one moment, while others read and write it.

    An earlier backup of the same building is brought up to date: originals that are there
    already are kept, the database is replaced in one step at the very end.

    Parameters
    ----------
    target : path
        A new folder, or an earlier backup.
    progress : callable
        Told the bytes of every original that was copied.

    Raises
    ------
    RecordError
        If the target holds something else, or cannot be written.
    """
    target = Path(target)
    _check_target(record, target)
    try:
        (target / "media").mkdir(parents=True, exist_ok=True)
        incoming = target / f".{DATABASE_NAME}.incoming"
        incoming.unlink(missing_ok=True)
        copy_database(record, incoming)
        copied, missing = [], []
        with open_copy(incoming, record.folder) as copy:
            media = copy.all(Media)
        for m in media:
            if m.state == COPYING:
                missing.append(f"{m.name} (still being copied into the record)")
            elif not (record.folder / m.path).is_file():
                missing.append(m.name)
            elif _copy_original(record.folder / m.path, target / m.path, m):
                copied.append(m.byte_count)
                progress(m.byte_count)
        _replace(incoming, target / DATABASE_NAME)
    except OSError as error:
        raise RecordError(f"cannot back up into {target}: {error.strerror or error}") from error
    return BackupReport(target=str(target), media_count=len(media), copied_count=len(copied),
                        copied_bytes=sum(copied), missing=tuple(missing))  # fmt: skip


def _check_target(record: Record, target: Path) -> None:
    if target.resolve() == record.folder.resolve():
        raise RecordError(f"{target} is the record itself; name another folder, best on another disk")
    if target.is_dir() and not any(target.iterdir()) or not target.exists():
        return
    if not (target / DATABASE_NAME).is_file():
        if (target / f".{DATABASE_NAME}.incoming").is_file():
            return  # a first backup that was broken off
        raise RecordError(f"{target} holds something that is no backup; name a new folder")
    with open_copy(target / DATABASE_NAME, target) as there:
        name, same = there.building.name, _birth(there) == _birth(record)
    if not same:
        raise RecordError(f"{target} is a backup of another record ({name}); name another folder")


def _birth(record: Record) -> tuple:
    """What tells a record from every other one: its first entry."""
    return record.db.execute("SELECT at, author, after FROM history ORDER BY id LIMIT 1").fetchone()


def _copy_original(source: Path, target: Path, media: Media) -> bool:
    """Copy an original unless it is there whole; whether it was copied."""
    if target.is_file() and target.stat().st_size == media.byte_count and file_sha256(target) == media.id:
        return False
    target.parent.mkdir(parents=True, exist_ok=True)
    incoming = target.with_name(f".incoming-{target.name}")
    shutil.copyfile(source, incoming)
    _flush(incoming)
    os.replace(incoming, target)
    return True


def _replace(incoming: Path, final: Path) -> None:
    # Left by somebody who opened the backup as a record; it must never be read into another database.
    for rest in ("-wal", "-shm"):
        final.with_name(final.name + rest).unlink(missing_ok=True)
    os.replace(incoming, final)


def _flush(path: Path) -> None:
    with open(path, "rb+") as stream:
        os.fsync(stream.fileno())
