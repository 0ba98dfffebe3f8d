"""The media store: originals under ``media/``, named by their SHA-256, never altered."""

from __future__ import annotations

import hashlib
import os
import re
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from asbuilt.errors import MediaError, RecordError
from asbuilt.record.lent import lent_path, stray_links
from asbuilt.record.store import Record
from asbuilt.record.types import COPYING, Media

CHUNK_BYTES = 1 << 20
INCOMING_PREFIX = ".incoming-"
# A half-written copy that nobody has touched for this long belongs to a run that died.
STALE_INCOMING_S = 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredFile:
    """One original in the store; ``path`` is relative to the record folder."""

    sha256: str
    path: str
    byte_count: int


def store_original(
    record: Record, source: str | Path, progress: Callable[[int], object] = lambda byte_count: None
) -> StoredFile:
    """Copy a file into the record unaltered, or recognise it as already there.

    The copy is written under a temporary name, flushed to disk and only then given its
    final name, so that whatever stands under ``media/`` is whole. ``progress`` is told the bytes
    as they are copied.

    Raises
    ------
    MediaError
        If the file cannot be read.
    RecordError
        If the record folder cannot be written.
    """
    source = Path(source)
    if source.is_dir():
        raise MediaError(f"{plain_name(source)} is a folder, not a photo or video; name the files in it")
    try:
        known = known_media(record, source)
    except OSError as error:
        raise MediaError(f"{plain_name(source)} cannot be read: {error.strerror or error}") from error
    if known is not None and (record.folder / known.path).is_file():
        return StoredFile(sha256=known.id, path=known.path, byte_count=known.byte_count)
    return _copy_in(record, source, progress)


def plain_name(path: str | Path) -> str:
    """A file's name as text that can be stored and printed on one line, whatever bytes it has."""
    text = Path(path).name.encode("utf-8", "replace").decode()
    return "".join(c if c.isprintable() else "?" for c in text)


def known_media(record: Record, source: str | Path) -> Media | None:
    """The row of a file that is already in the record, told by its content."""
    byte_count = Path(source).stat().st_size
    # Hashing first would read every new file twice; only a file of a known size can be known.
    if all(media.state == COPYING for media in record.all(Media, byte_count=byte_count)):
        return None
    return record.find(Media, file_sha256(source))


def media_path(record: Record, media: Media) -> Path:
    """Where an original lies on this machine; of one that is still being copied, where it is copied from.

    Raises
    ------
    MediaError
        If it is not there.
    """
    if media.state == COPYING:
        return lent_path(record, media)
    path = record.folder / media.path
    if not path.is_file():
        raise MediaError(
            f"{media.name}: the original is missing from the record ({media.path}); "
            "put the media folder back, or add the file again"
        )
    return path


def file_sha256(path: str | Path) -> str:
    """SHA-256 of a file, in hex."""
    with open(path, "rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def clear_stale_incoming(record: Record) -> int:
    """Remove half-written copies and links that a killed run left behind; how many there were."""
    removed = 0
    for path in [*(record.folder / "media").glob(INCOMING_PREFIX + "*"), *stray_links(record)]:
        if time.time() - path.lstat().st_mtime > STALE_INCOMING_S:
            path.unlink(missing_ok=True)
            removed += 1
    return removed


def _stored(record: Record, sha256: str, byte_count: int) -> StoredFile | None:
    folder = record.folder / "media" / sha256[:2]
    for path in sorted(folder.glob(sha256[2:] + "*")):
        if path.stat().st_size == byte_count:
            return StoredFile(sha256=sha256, path=path.relative_to(record.folder).as_posix(), byte_count=byte_count)
    return None


def _copy_in(record: Record, source: Path, progress: Callable[[int], object]) -> StoredFile:
    folder = record.folder / "media"
    try:
        folder.mkdir(exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=INCOMING_PREFIX, dir=folder)
    except OSError as error:
        raise _not_writable(record, error) from error
    incoming = Path(name)
    try:
        with os.fdopen(handle, "wb") as target:
            sha256, byte_count = _copy_hashing(source, target, progress)
        return _give_name(record, incoming, sha256, byte_count, suffix_of(source))
    except OSError as error:
        raise _not_writable(record, error) from error
    finally:
        incoming.unlink(missing_ok=True)


def _copy_hashing(source: Path, target, progress: Callable[[int], object]) -> tuple[str, int]:
    digest, byte_count = hashlib.sha256(), 0
    try:
        stream = open(source, "rb")
    except OSError as error:
        raise MediaError(f"{plain_name(source)} cannot be read: {error.strerror or error}") from error
    with stream:
        while True:
            try:
                chunk = stream.read(CHUNK_BYTES)
            except OSError as error:
                raise MediaError(f"{plain_name(source)} cannot be read: {error.strerror or error}") from error
            if not chunk:
                break
            digest.update(chunk)
            target.write(chunk)
            byte_count += len(chunk)
            progress(len(chunk))
    target.flush()
    os.fsync(target.fileno())
    return digest.hexdigest(), byte_count


def _give_name(record: Record, incoming: Path, sha256: str, byte_count: int, suffix: str) -> StoredFile:
    known = _stored(record, sha256, byte_count)
    if known is not None:
        return known
    final = record.folder / "media" / sha256[:2] / (sha256[2:] + suffix)
    final.parent.mkdir(exist_ok=True)
    incoming.chmod(0o444)
    os.replace(incoming, final)
    _sync_folder(final.parent)
    return StoredFile(sha256=sha256, path=final.relative_to(record.folder).as_posix(), byte_count=byte_count)


def _sync_folder(folder: Path) -> None:
    # Only where the system lets a folder be opened: there the rename itself must reach the disk.
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def suffix_of(source: Path) -> str:
    """The suffix that a file's copy gets: none where it has an odd one."""
    suffix = source.suffix.lower()
    return suffix if re.fullmatch(r"\.[a-z0-9]{1,8}", suffix) else ""


def _not_writable(record: Record, error: OSError) -> RecordError:
    return RecordError(f"cannot write into {record.folder / 'media'}: {error.strerror or error}")
