"""Photos into the record: several looked at side by side, written one after another."""

from __future__ import annotations

import os
import queue
from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path

from tqdm import tqdm

from asbuilt.errors import MediaError
from asbuilt.record.media import plain_name, store_original
from asbuilt.record.pixels import photo_id
from asbuilt.record.store import Record
from asbuilt.record.types import Media, Picture
from asbuilt.steps.filing import stage_at
from asbuilt.steps.scanner import Scanner

# Each scanning process may hold one large photo decoded.
MOST_SCANNERS = 4


def add_photos(
    record: Record, paths: list[Path], stage: str | None, progress: bool
) -> Iterator[tuple[Path, Media | MediaError]]:
    """Take photos in, in the order given; each with its row or why it could not be used."""
    with tqdm(total=len(paths), desc="photos", unit="photo", disable=None if progress else True) as bar:
        for path, look in _looks(paths):
            yield path, _add(record, path, look, stage)
            bar.update()


def _looks(paths: list[Path]) -> Iterator[tuple[Path, Future]]:
    count = max(1, min(len(paths), os.cpu_count() or 1, MOST_SCANNERS))
    scanners: queue.SimpleQueue[Scanner] = queue.SimpleQueue()
    made = [Scanner() for _ in range(count)]
    for scanner in made:
        scanners.put(scanner)

    def look(path: Path) -> dict:
        scanner = scanners.get()
        try:
            return scanner.look(path, plain_name(path))
        finally:
            scanners.put(scanner)

    pool = ThreadPoolExecutor(count)
    try:
        waiting: deque[tuple[Path, Future]] = deque()
        for path in paths:
            waiting.append((path, pool.submit(look, path)))
            if len(waiting) > 2 * count:  # no more than that looked at ahead of the writing
                yield waiting.popleft()
        yield from waiting
    finally:
        pool.shutdown(wait=False, cancel_futures=True)
        for scanner in made:
            scanner.close()


def _add(record: Record, path: Path, look: Future, stage: str | None) -> Media | MediaError:
    try:
        found = look.result()
        stored = store_original(record, path)
    except MediaError as error:
        return error
    known = record.find(Media, stored.sha256)
    if known is not None:
        return known
    media = Media(
        id=stored.sha256,
        name=plain_name(path),
        kind="photo",
        byte_count=stored.byte_count,
        path=stored.path,
        state="done",
        **found["facts"],
    )
    picture = Picture(
        id=photo_id(media.id),
        media_id=media.id,
        kind="photo",
        width_px=media.width_px,
        height_px=media.height_px,
        taken_at=media.taken_at,
        stage=stage or stage_at(record, media.taken_at),
        light=found["light"],
        flags=tuple(found["flags"]),
    )
    record.put(media, picture)
    return media
