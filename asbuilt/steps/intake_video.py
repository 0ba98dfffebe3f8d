"""Videos into the record: the original whole, and a row for each frame worth keeping.

No frame is written as a file: a row holds the clip and the exact time, and the pixels are
decoded again when they are wanted. So taking a clip in costs little more than decoding it.
"""

from __future__ import annotations

from pathlib import Path

from asbuilt.errors import MediaError
from asbuilt.record.media import media_path, plain_name, store_original
from asbuilt.record.store import Record
from asbuilt.record.types import HALTED, SCANNING, Media
from asbuilt.steps.filing import stage_at
from asbuilt.steps.intake_scan import FIRST_LOOK, picture_of, scan_clip
from asbuilt.steps.scanner import Scanner


def add_video(record: Record, scanner: Scanner, path: Path, stage: str | None, progress: bool) -> Media:
    """Take a video in, or go on with one that an earlier run left.

    Raises
    ------
    MediaError
        If it cannot be used.
    """
    found = scanner.look(path, plain_name(path))
    stored = store_original(record, path)
    media = record.find(Media, stored.sha256)
    if media is None:
        facts = found["facts"]
        stage = stage or stage_at(record, facts["taken_at"])
        media = Media(
            id=stored.sha256,
            name=plain_name(path),
            kind="video",
            byte_count=stored.byte_count,
            path=stored.path,
            state=SCANNING,
            **facts | {"meta": facts["meta"] | {"stage": stage}},
        )
        record.put(media)
        _first_look(record, scanner, media)
    return scan_clip(record, scanner, media, progress) if media.state in (SCANNING, HALTED) else media


def _first_look(record: Record, scanner: Scanner, media: Media) -> None:
    try:
        shown = scanner.first_look(media_path(record, media), media.name, media.meta["start_s"])
    except MediaError:
        return  # scanning it will tell what is wrong with it
    record.put(*(picture_of(media, s, FIRST_LOOK) for s in shown))
