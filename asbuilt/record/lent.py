"""Large originals that are looked at where they lie, until they are copied into the record.

A link under ``media/`` leads to the file and a row in the state *copying* stands for it. The place
of the file is in the link alone: no package, table or database carries it to another machine, and
of a folder that comes from elsewhere a link counts only where size and time of what it leads to are
those on record, to the nanosecond.
"""

from __future__ import annotations

import hashlib
import os
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from asbuilt.errors import MediaError, RecordError
from asbuilt.record.store import Record
from asbuilt.record.types import COPYING, Media

LINK_PREFIX = ".lent-"
QUICK_BLOCKS, QUICK_BLOCK_BYTES = 32, 1 << 16
FRAMES_AS = "frames_as"  # of the row's meta: what ids of its frames begin with instead of its own id


def quick_sha256(path: str | Path) -> str:
    """SHA-256 of a file's size and of blocks spread over it from its first byte to its last, in hex."""
    with open(path, "rb") as stream:
        byte_count = os.fstat(stream.fileno()).st_size
        digest = hashlib.sha256(str(byte_count).encode())
        for number in range(QUICK_BLOCKS):
            stream.seek(max(byte_count - QUICK_BLOCK_BYTES, 0) * number // (QUICK_BLOCKS - 1))
            digest.update(stream.read(QUICK_BLOCK_BYTES))
    return digest.hexdigest()


def lend(record: Record, source: Path, media: Media, suffix: str) -> Media | None:
    """Link to a file and give the row that stands for it, not yet written; None where that cannot be.

    Frames of it keep their ids when it is copied: they begin with its quick digest. So it cannot be
    lent where another file of that digest is in the record, nor where the disk knows no links.
    """
    quick = quick_sha256(source)
    row_id = f"{quick}-{COPYING}"
    if any(m.meta.get(FRAMES_AS) == quick and m.id != row_id for m in record.all(Media, kind="video")):
        return None
    link = f"media/{LINK_PREFIX}{quick[:32]}{suffix}"
    try:
        _link(record.folder / link, source.resolve())
    except (OSError, NotImplementedError):
        return None  # copying first will tell if the folder cannot be written at all
    own = {FRAMES_AS: quick, "source_mtime_ns": source.stat().st_mtime_ns}
    known = record.find(Media, row_id)
    if known is not None:  # an earlier run left it
        return replace(known, path=link, meta=dict(known.meta) | own)
    return replace(media, id=row_id, path=link, state=COPYING, meta=dict(media.meta) | own)


def lent_path(record: Record, media: Media) -> Path:
    """Where the file that a row in the state copying stands for lies.

    Raises
    ------
    MediaError
        If it is not there any more, or was changed since.
    """
    path = record.folder / media.path
    try:
        found = path.resolve(strict=True).stat()
        same = (found.st_size, found.st_mtime_ns) == (media.byte_count, media.meta.get("source_mtime_ns"))
    except (OSError, RuntimeError):  # a link that leads round in a circle
        same = False
    if not same:
        raise MediaError(
            f"{media.name}: its original was never copied into the record, and is no longer where it was or was "
            "changed; its first pictures stay listed, add the file again"
        )
    return path


def settle(record: Record, media: Media, sha256: str, path: str) -> Media:
    """The file was copied: the row under its hash takes over pictures and all, in one step."""
    with record.transaction():
        lent, copied = record.find(Media, media.id), record.find(Media, sha256)
        if copied is None:
            meta = {key: value for key, value in (lent or media).meta.items() if key != "source_mtime_ns"}
            copied = replace(lent or media, id=sha256, path=path, state="scanning", meta=meta)
            record.put(copied)
        if lent is not None:  # else another run was faster
            record.db.execute("UPDATE pictures SET media_id = ? WHERE media_id = ?", [sha256, media.id])
            record.clear(Media, id=media.id)
    with suppress(OSError):
        (record.folder / media.path).unlink()
    return copied


def present(record: Record, media: Media) -> Media:
    """The row that stands for a file now, also where another program has copied a lent one since.

    Raises
    ------
    RecordError
        If it is gone.
    """
    found = record.find(Media, media.id)
    if found is None and FRAMES_AS in media.meta:
        same = (m for m in record.all(Media, kind="video") if m.meta.get(FRAMES_AS) == media.meta[FRAMES_AS])
        found = next(same, None)
    if found is None:
        raise RecordError(f"{media.name} was taken out of the record by another program")
    return found


def stray_links(record: Record) -> list[Path]:
    """Links that no row refers to: a run was killed just before it wrote the row, or just after."""
    known = {record.folder / m.path for m in record.all(Media, state=COPYING)}
    return [p for p in (record.folder / "media").glob(LINK_PREFIX + "*") if p.is_symlink() and p not in known]


def _link(link: Path, target: Path) -> None:
    fresh = link.with_name(f"{link.name}.{os.getpid()}")
    with suppress(FileNotFoundError):
        fresh.unlink()
    link.parent.mkdir(exist_ok=True)
    fresh.symlink_to(target)
    os.replace(fresh, link)
